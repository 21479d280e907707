"""The starting circuit: a battery, joints and a motor, with the volts lost while it cranks.

The equations and their sources stand in ``physics.circuits.start_network`` and docs/circuits.md.
"""

from __future__ import annotations

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "battery_voltage", "crank_drop_positive", "crank_drop_ground",
        "crank_drop_engine_to_frame", "crank_drop_frame_to_battery", "crank_drop_solenoid",
        "crank_current", "engine_speed", "start_command_voltage",
    }
)  # fmt: skip


def _cranked(part: int, dry: float) -> float:
    """Return current [A] or speed [r/min] of 12 V over 10 mohm, 0.05 V min, 2 A min."""
    import numpy as np

    from witnessmark.physics.circuits.start_network import cranking

    figures = (12.0, 0.01, 0.0, 0.05, dry, 2.0)
    return float(cranking(*(np.array([f]) for f in figures))[part][0])


def _examples() -> tuple[Example, ...]:
    turning = (12.0 + 0.05 / 2.0 * 200.0) / (0.01 + 0.05 / 2.0)
    return (
        Example(
            "current of a motor that turns [A]", lambda: _cranked(0, 200.0), turning, 1e-9,
            "exact", "E = I R + k (I - I0) / b, solved for I",
        ),
        Example(
            "speed of the same [r/min]", lambda: _cranked(1, 200.0), (turning - 200.0) / 2.0, 1e-9,
            "exact", "n = (I - I0) / b",
        ),
        Example(
            "current of a locked motor [A]", lambda: _cranked(0, 1500.0), 1200.0, 1e-9, "exact",
            "Ohm: 12 V over 10 mohm",
        ),
    )  # fmt: skip


MODEL = CircuitPlug(
    id="start",
    version="1",
    needs=(Need(needs.crank_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.start_circuit",
    numbers=_examples,
)
