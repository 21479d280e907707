"""The air system: tanks, holes and a compressor, with the needles' minute and the build time.

The equations and their sources stand in ``physics.circuits.air_tanks`` and docs/circuits.md.
"""

from __future__ import annotations

import math

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "air_loss_released", "air_loss_applied", "air_loss_primary_released",
        "air_loss_secondary_released", "air_loss_primary_applied", "air_loss_secondary_applied",
        "air_loss_hooked", "air_loss_wet_tank", "air_loss_wet_tank_empty", "air_build_time",
        "air_cut_out_pressure", "air_cut_in_pressure", "air_purge_interval",
        "air_gauge_difference", "air_tank_volume",
    }
)  # fmt: skip


def _isothermal() -> float:
    """Return what is left of 900 kPa after a minute at a rate of 0.001 a second [Pa]."""
    from witnessmark.physics.circuits.air_tanks import blow_down

    return blow_down(9e5, 1e-3, 60.0)


def _choked() -> float:
    """Return the mass flow through a square centimetre at 1 MPa and 300 K [kg/s]."""
    from witnessmark.physics.circuits.air_tanks import hole_conductance, hole_mass_flow

    conductance = hole_conductance(math.sqrt(4e-4 / math.pi), jet=1.0)
    return hole_mass_flow(conductance, 1e6, 1e5, 300.0)


def _examples() -> tuple[Example, ...]:
    choked = 1e-4 * 1e6 * math.sqrt(1.4 / (287.05 * 300.0)) * (2.0 / 2.4) ** 3
    return (
        Example(
            "isothermal leak-down of a tank [Pa]", _isothermal, 9e5 * math.exp(-0.06), 1e-6,
            "exact", "p0 exp(-r t) of a choked leak at constant temperature",
        ),
        Example(
            "choked flow of air through 1 cm2 at 1 MPa, 300 K [kg/s]", _choked, choked,
            1e-9, "exact", "A p sqrt(g/(R T)) (2/(g+1))^((g+1)/(2(g-1))), g = 1.4",
        ),
    )  # fmt: skip


MODEL = CircuitPlug(
    id="air",
    version="1",
    needs=(Need(needs.air_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.air_circuit",
    numbers=_examples,
)
