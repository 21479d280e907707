"""Cooling on a steady pull: a heat balance of radiator, air, coolant and thermostat.

The equations and their sources stand in ``physics.circuits.heat_exchange`` and docs/circuits.md.
"""

from __future__ import annotations

import math

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "pull_air_behind_temperature", "pull_bottom_hose_temperature",
        "pull_charge_air_temperature", "pull_display_temperature", "pull_fan_speed",
        "pull_fuel_rate", "pull_outside_air_temperature", "pull_road_speed",
        "pull_top_hose_temperature",
    }
)  # fmt: skip


def _crossed(ratio: float) -> float:
    """Return the effectiveness of one transfer unit [-]."""
    import numpy as np

    from witnessmark.physics.circuits.heat_exchange import effectiveness

    return float(effectiveness(np.array([1.0]), np.array([ratio]))[0])


def _left_over() -> float:
    """Return heat in less heat taken by the coolant, as a share, at a balance found [-]."""
    import numpy as np

    from witnessmark.physics.circuits.heat_exchange import COOLANT, balance

    figures = (260e3, 30.0, 5.0, 6.0, 6000.0, 1.0, 82.0)
    top, bottom = balance(*(np.array([f]) for f in figures))
    return float((top - bottom)[0]) * 6.0 * COOLANT / 260e3


def _examples() -> tuple[Example, ...]:
    return (
        Example(
            "one transfer unit against an endless stream [-]", lambda: _crossed(0.0),
            1.0 - math.exp(-1.0), 1e-4, "exact", "1 - exp(-NTU) where the ratio is nothing",
        ),
        Example(
            "one transfer unit, both streams alike [-]", lambda: _crossed(1.0), 0.476, 0.01,
            "second_hand", "Kays and London, cross flow unmixed, NTU 1, ratio 1: 0.47 to 0.48",
        ),
        Example(
            "heat taken at full flow against heat put in [-]", _left_over, 1.0, 1e-3, "exact",
            "Q = m c (T_in - T_out) with the thermostat fully open",
        ),
    )  # fmt: skip


MODEL = CircuitPlug(
    id="cooling",
    version="1",
    needs=(Need(needs.cooling_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.cooling_circuit",
    numbers=_examples,
)
