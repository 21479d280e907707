"""The charging circuit: alternator, regulator, belt, cables, loads and batteries as a network.

The equations and their sources stand in ``physics.circuits.charging_network`` and docs/circuits.md.
"""

from __future__ import annotations

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "alternator_back_current", "battery_voltage", "charge_battery_current",
        "charge_belt_slip", "charge_current", "charge_drop_ground", "charge_drop_positive",
        "charge_excite_voltage", "charge_gauge_difference", "charge_ripple",
        "charge_sense_offset",
    }
)  # fmt: skip


def _settled(most: float) -> float:
    """Return the volts with loads of 65 A at 13 V and batteries of 12.6 V behind 0.1 ohm [V].

    Emptied, the batteries stand behind 0.01 ohm.
    """
    import numpy as np

    from witnessmark.physics.circuits.charging_network import settle

    figures = (most, 14.2, 5e-3, 1.0, 0.0, 65.0, 12.6, 0.1, 0.01)
    return float(settle(*(np.array([f]) for f in figures))[0][0])


def _examples() -> tuple[Example, ...]:
    held = (14.2 + 5e-3 * 126.0) / (1.0 + 5e-3 * 15.0)
    return (
        Example(
            "volts at the posts, regulated [V]", lambda: _settled(300.0), held, 1e-9, "exact",
            "Ohm and Kirchhoff: V + R I = 14.2, I = 5 V + (V - 12.6) / 0.1",
        ),
        Example(
            "the same with 60 A at most [V]", lambda: _settled(60.0), 1320.0 / 105.0, 1e-9, "exact",
            "Kirchhoff: 60 = 5 V + (V - 12.6) / 0.01, under 12.6 V",
        ),
    )  # fmt: skip


MODEL = CircuitPlug(
    id="charge",
    version="1",
    needs=(Need(needs.charge_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.charge_circuit",
    numbers=_examples,
)
