"""A phone's accelerometer on the seat rail, riding along a drive: a table in text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from witnessmark.demo.machines.drive_cycle import DriveCycle

__all__ = ["Shake", "phone_table"]

Floats = npt.NDArray[np.float64]

#: Noise of a phone's own sensor, one axis [m/s2] (from memory, for about 100 Hz of bandwidth with
#: some to spare), and from which speed on the road adds its own [m/s].
_OWN_NOISE, _ROLLS_MPS = 0.03, 0.5


@dataclass(frozen=True, slots=True)
class Shake:
    """One line of a vibration.

    Attributes:
        order: multiple of the carrier's turns.
        rms: strength over all axes under full load [m/s2].
        carrier: what it turns with.
        resonance_rpm: engine speed at which it is strongest; ``None`` for even strength.
        width_rpm: half width of that peak.
        unloaded: share that is left without load.
    """

    order: float
    rms: float
    carrier: Literal["engine", "shaft"] = "engine"
    resonance_rpm: float | None = None
    width_rpm: float = 250.0
    unloaded: float = 0.2


def phone_table(
    drive: DriveCycle,
    shakes: Sequence[Shake],
    rng: np.random.Generator,
    *,
    rate_hz: float = 200.0,
    offset_s: float = 0.0,
    noise: float = 0.08,
) -> str:
    """Return the recording as a table: time [s], ax, ay, az [m/s2]; the clock is the phone's own.

    Args:
        drive: the drive; three throttle blips in neutral let the clocks be matched.
        shakes: the lines.
        rng: noise, jitter and directions.
        rate_hz: nominal rate; the real time stamps jitter.
        offset_s: the phone's clock minus the bus's.
        noise: standard deviation of the noise of one axis while the truck rolls [m/s2].
    """
    turn = np.concatenate([[0.0], np.cumsum(drive.rpm[:-1] / 60 * np.diff(drive.time))])
    per_shaft = np.nan_to_num(1.0 / drive.gear_ratio)
    shaft = np.concatenate(
        [[0.0], np.cumsum((drive.rpm / 60 * per_shaft)[:-1] * np.diff(drive.time))]
    )
    t = np.arange(0.4, drive.seconds - 0.4, 1.0 / rate_hz)
    t = np.sort(t + 0.08 / rate_hz * rng.standard_normal(t.size))
    rpm, load = np.interp(t, drive.time, drive.rpm), np.interp(t, drive.time, drive.load)
    carriers = {
        "engine": np.interp(t, drive.time, turn),
        "shaft": np.interp(t, drive.time, shaft),
    }
    # The road is felt only while it passes: the blips are given standing, and stand out of it.
    rolls = np.interp(t, drive.time, drive.road) > _ROLLS_MPS
    values = np.where(rolls, noise, _OWN_NOISE)[:, None] * rng.standard_normal((t.size, 3))
    values += 0.15 * np.sin(2 * np.pi * 1.7 * t)[:, None]  # the cab on its springs
    for shake in shakes:
        direction = rng.standard_normal(3)
        direction /= float(np.linalg.norm(direction))
        size = 2**0.5 * shake.rms * (shake.unloaded + (1 - shake.unloaded) * load)
        if shake.resonance_rpm is not None:
            size = size / (1.0 + ((rpm - shake.resonance_rpm) / shake.width_rpm) ** 2)
        phase = 2 * np.pi * (shake.order * carriers[shake.carrier] + float(rng.uniform()))
        values += (size * np.cos(phase))[:, None] * direction
    values[:, 2] += 9.80665
    lines = ["time (s),ax (m/s2),ay (m/s2),az (m/s2)"]
    lines += [
        f"{s:.5f},{x:.3f},{y:.3f},{z:.3f}"
        for s, (x, y, z) in zip((t + offset_s).tolist(), values.tolist(), strict=True)
    ]
    return "\n".join(lines) + "\n"
