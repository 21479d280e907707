"""Orders of a shake and the damping of a run-up, from arrays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.physics.vibration.orders.order_tracking import (
    Level,
    level,
    order_windows,
    turns,
)
from witnessmark.physics.vibration.twist.damper_fit import DamperFit, judge
from witnessmark.physics.vibration.twist.tooth_edges import find_marks
from witnessmark.physics.vibration.twist.tooth_timing import torsion

if TYPE_CHECKING:
    from witnessmark.model.recording import Floats

__all__ = ["damping", "orders"]


def orders(
    time_s: Floats,
    values: Floats,
    speed_time_s: Floats,
    speed_rpm: Floats,
    multiples: Mapping[str, float],
    *,
    window_s: float = 2.0,
) -> dict[str, Level]:
    """Return how strong each order of a turning part is in a shake.

    All orders are fitted at once to the raw samples, window by window, with the noise floor taken
    off; see docs/vibration.md for the method and its limits.

    Args:
        time_s: shape (n,), rising; irregular stamps are allowed [s].
        values: shape (n,) or (n, axes), acceleration in any one unit.
        speed_time_s: shape (m,), rising, on the same clock [s].
        speed_rpm: shape (m,), speed of the reference, such as the engine [r/min].
        multiples: name -> turns of the part in one turn of the reference [-].
        window_s: length of a window [s].

    Returns:
        Name -> amplitude, zero to peak over all axes, with its 95 % interval, in the unit of
        *values*.

    Raises:
        ValueError: shapes do not agree, or the speed covers less than one window.
    """
    samples = np.asarray(values, dtype=np.float64)
    samples = samples[:, None] if samples.ndim == 1 else samples
    if len(samples) != len(time_s):
        raise ValueError("time and values are of different lengths")
    base = turns(time_s, speed_time_s, speed_rpm)
    cycles = base[:, None] * np.asarray([multiples[name] for name in multiples])
    found = order_windows(time_s, samples, cycles, window=window_s)
    if not len(found.time):
        raise ValueError("the speed covers less than one window of the samples")
    power = found.power()
    return {name: level(power[:, k]) for k, name in enumerate(multiples)}


def damping(edges_s: Floats, *, places: int | None = None, missing: int | None = None) -> DamperFit:
    """Return what the teeth of a wheel on the crankshaft's nose say of the torsional damper.

    Args:
        edges_s: shape (n,), time at which each tooth passed in one slow, warm run-up [s].
        places: places on the wheel, gaps included; ``None`` to find out.
        missing: teeth left out in the gap; ``None`` to find out.

    Returns:
        The fit: ``verdict`` is ``healthy``, ``dead``, ``between`` or ``refused`` (then
        ``refusal`` says why); ``damping`` is the ratio with its 90 % interval [-].

    Raises:
        ValueError: too few teeth, no pattern to be found, or no order out of the noise.
    """
    edges = np.asarray(edges_s, dtype=np.float64)
    return judge(torsion(find_marks(edges, places=places, missing=missing)))
