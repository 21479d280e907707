"""Vibration: what a shake follows, and what the joint angles of the driveline do to it.

Order tracking, families and their sources stand in ``physics.vibration`` and docs/vibration.md.
"""

from __future__ import annotations

import math

from witnessmark.inference.analysis_plug import AnalysisModel
from witnessmark.inference.models import Example, Need, Traits
from witnessmark.words.say import needs

__all__ = ["MODEL"]


def _order() -> float:
    """Return the fitted amplitude of a pure half-order line in one stretch of raw samples."""
    import numpy as np

    from witnessmark.physics.vibration.orders.order_tracking import fit_orders

    time = np.arange(0.0, 1.0, 0.005)
    turns = 20.0 * time + 2.0 * time**2
    cycles = np.column_stack([0.5 * turns, 3.0 * turns])
    fitted = fit_orders(time, 0.7 * np.cos(2 * math.pi * cycles[:, 0] + 0.4), cycles)
    return float(abs(np.ravel(fitted)[0]))


def _joint() -> float:
    """Return the second-order acceleration of one joint."""
    from witnessmark.physics.vibration.joint_angles import joint_acceleration

    return joint_acceleration(math.radians(6.0), 100.0)


def _examples() -> tuple[Example, ...]:
    small = math.tan(math.radians(3.0)) ** 2
    return (
        Example(
            "amplitude of a line that rises with the speed", _order, 0.7, 1e-3, "exact",
            "the line itself: 0.7 cos(phase), speed swept by 20 %",
        ),
        Example(
            "second-order acceleration of a joint at 6 degrees and 100 rad/s [rad/s2]",
            _joint, 4.0 * small * 1e4, 1e-6, "exact",
            "Fourier series of cos b / (1 - sin2 b cos2 t): second order 4 tan2(b/2) w2",
        ),
    )  # fmt: skip


MODEL = AnalysisModel(
    id="vibration",
    version="1",
    needs=(
        Need(
            needs.shake_recording(),
            recordings=frozenset({"waveform", "table", "bus"}),
        ),
        Need(needs.joint_angles(), quantities=frozenset({"joint_angle"})),
        Need(needs.shafts(), truck=frozenset({"shafts"})),
    ),
    traits=Traits(order_tells=True),
    modules=(
        "witnessmark.analyses.vibration.what_it_follows",
        "witnessmark.analyses.vibration.shaft_joints",
    ),
    numbers=_examples,
)
