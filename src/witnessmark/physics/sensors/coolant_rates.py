"""How fast coolant can really change, and how a sensor follows it.

Everything here answers one question: what would the coolant have to do for a sensor to read
this? Sources stand beside each function; figures "from memory" are marked so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from witnessmark.words.say import needs

__all__ = [
    "COOLANT_RANGE",
    "Lag",
    "bulk_rate",
    "glycol_density",
    "glycol_heat_capacity",
    "largest_credible_rate",
    "medium_step_needed",
]

Floats = npt.NDArray[np.float64]
Basis = Literal["mass", "volume"]

#: Validity of the glycol fits [degC].
COOLANT_RANGE = (-30.0, 125.0)

# Polynomials in degC, lowest power first, of 50 % ethylene glycol in water. Fitted to the
# Melinder (by mass) and ASHRAE (by volume) formulations of CoolProp 8.0.0 on -30 to 100 degC,
# which they reproduce to 1e-6; above 100 degC they are an extrapolation by 25 K, checked for the
# density against the printed ASHRAE table up to 121 degC (see tests/physics).
_DENSITY: dict[Basis, tuple[float, ...]] = {
    "mass": (1.07462361e3, -4.34422550e-1, -2.65377073e-3, 6.87643587e-6),
    "volume": (1.08108481e3, -3.38126152e-1, -2.43714305e-3, 5.41909600e-8),
}
_HEAT: dict[Basis, tuple[float, ...]] = {
    "mass": (3.20287647e3, 5.64129370, -8.42031444e-3, -3.65393349e-5),
    "volume": (3.20338819e3, 3.86033676, -2.87039819e-6, 2.67925325e-7),
}


@dataclass(frozen=True, slots=True)
class Lag:
    """A sensor's first-order lag in flowing liquid.

    Attributes:
        low: shortest time constant to expect [s].
        typical: typical time constant [s].
        high: longest time constant to expect [s].
        source: where it comes from.
    """

    low: float = 3.0
    typical: float = 4.0
    high: float = 10.0
    source: str = "common practice, no source: 3 to 10 s for a brass-bodied sensor in flow"


def glycol_density(temperature: float, basis: Basis = "mass") -> float:
    """Return the density of 50 % ethylene glycol in water.

    Args:
        temperature: [degC], -30 to 125; above 100 degC an extrapolation.
        basis: whether the 50 % is by mass (Melinder) or by volume (ASHRAE).

    Returns:
        Density [kg/m3]. Inhibited field coolant may read 1.5 % higher.

    Raises:
        ValueError: outside the range of validity.
    """
    return _polynomial(_DENSITY[basis], temperature)


def glycol_heat_capacity(temperature: float, basis: Basis = "mass") -> float:
    """Return the specific heat capacity of 50 % ethylene glycol in water.

    Args:
        temperature: [degC], -30 to 125; above 100 degC an extrapolation.
        basis: whether the 50 % is by mass (Melinder) or by volume (ASHRAE).

    Returns:
        Specific heat capacity [J/(kg K)]. The two formulations differ by up to 2 %.

    Raises:
        ValueError: outside the range of validity.
    """
    return _polynomial(_HEAT[basis], temperature)


def bulk_rate(
    heat: float,
    volume: float,
    *,
    metal_mass: float = 0.0,
    metal_heat_capacity: float = 460.0,
    temperature: float = 90.0,
) -> float:
    """Return how fast coolant warms when all of a heat stays in it: dT/dt = Q / sum(m c).

    Args:
        heat: heat into the coolant less what leaves it [W].
        volume: coolant that takes part [m3].
        metal_mass: wetted metal that warms with it [kg].
        metal_heat_capacity: [J/(kg K)]; 460 for cast iron (handbook value).
        temperature: temperature for the properties [degC].

    Returns:
        Rate [K/s]. An upper bound: no through-flow, no mixing with colder coolant.
    """
    capacity = volume * glycol_density(temperature) * glycol_heat_capacity(temperature)
    return heat / (capacity + metal_mass * metal_heat_capacity)


def largest_credible_rate(
    *, heat: float = 200e3, volume: float = 0.022, slug: float = 15.0, lag: float = 4.0
) -> tuple[float, str]:
    """Return the fastest change of a coolant reading that coolant can bring about.

    The larger of (a) all heat of a full-load engine staying in the engine's own coolant, without
    any metal, and (b) a cold slug of *slug* K arriving at once at a sensor of time constant
    *lag*, in its first second.

    Args:
        heat: heat to coolant at full load [W]; 200 kW from memory for 450-600 hp.
        volume: coolant in the engine itself [m3]; 22 L, judgement.
        slug: largest step of the coolant at the sensor [K]; 15 K, common practice, no source.
        lag: sensor time constant [s].

    Returns:
        Rate [K/s], and the reason in words.
    """
    bulk = bulk_rate(heat, volume, temperature=85.0)
    local = slug * (1.0 - math.exp(-1.0 / lag))
    if bulk >= local:
        return bulk, needs.all_heat()
    return local, needs.cold_slug(slug)


def medium_step_needed(change: float, within: float, lag: float) -> float:
    """Return the step of the coolant that moves a lagging sensor by *change* in a time.

    First-order lag, step at the start: change = step (1 - exp(-within / lag)).

    Args:
        change: change of the reading [K].
        within: time it took [s], > 0.
        lag: sensor time constant [s], > 0.

    Returns:
        Step of the medium [K], same sign as *change*.
    """
    return change / -math.expm1(-within / lag)


def _polynomial(coefficients: tuple[float, ...], temperature: float) -> float:
    low, high = COOLANT_RANGE
    if not low <= temperature <= high:
        raise ValueError(f"the glycol fit holds from {low:.0f} to {high:.0f} degC")
    value = 0.0
    for coefficient in reversed(coefficients):
        value = value * temperature + coefficient
    return value
