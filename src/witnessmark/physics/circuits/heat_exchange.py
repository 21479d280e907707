"""Cooling as a heat balance: a core in cross flow, air by fan and wind, a thermostat.

Effectiveness and number of transfer units as in any text of heat exchangers (W. M. Kays and A. L.
London, Compact Heat Exchangers); a fan moves air in proportion to its speed.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["AIR", "COOLANT", "FUEL", "air_flow", "balance", "effectiveness", "fuel_power"]

Floats = npt.NDArray[np.float64]

#: Heat capacity of air and of half-and-half coolant [J/(kg K)], heat of diesel fuel [J/m3].
AIR, COOLANT, FUEL = 1006.0, 3550.0, 35.9e9
_STEPS, _LIFT = 22, 10.0


def fuel_power(rate: Floats) -> Floats:
    """Return the power in the fuel [W] of a rate [m3/s]."""
    return np.asarray(rate * FUEL)


def effectiveness(ntu: Floats, ratio: Floats) -> Floats:
    """Return the effectiveness of cross flow, both streams unmixed [-].

    1 - exp((exp(-Cr NTU^0.78) - 1) NTU^0.22 / Cr), the usual approximation of Kays and London.

    Args:
        ntu: conductance over the smaller heat capacity flow [-].
        ratio: smaller over larger heat capacity flow [-].
    """
    r = np.maximum(ratio, 1e-6)
    return np.asarray(-np.expm1(np.expm1(-r * ntu**0.78) * ntu**0.22 / r))


def air_flow(fan: Floats, wind: Floats) -> Floats:
    """Return the air through the stack [kg/s]: the pressures of fan and wind add up.

    Both move air with the root of their pressure: m^2 = m_fan^2 + m_wind^2.

    Args:
        fan: what the fan alone would move [kg/s].
        wind: what the wind of the road alone would move [kg/s].
    """
    return np.asarray(np.hypot(fan, wind))


def balance(
    heat: Floats, front: Floats, air: Floats, coolant: Floats, clean: Floats, tubes: Floats,
    opens: Floats,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Return the coolant's temperature into and out of the radiator in the steady state [degC].

    The thermostat opens in proportion from *opens* over 10 K; where it is fully open and that is
    not enough the coolant gets as hot as the heat needs.

    Args:
        heat: into the coolant [W].
        front: air in front of the core [degC].
        air: through it [kg/s].
        coolant: through it with the thermostat fully open [kg/s].
        clean: conductance of the core at 6.5 kg/s of both [W/K], with fouled fins taken off.
        tubes: what is left of the coolant's side [-].
        opens: where the thermostat begins to open [degC].
    """

    def takes(lift: Floats) -> Floats:
        """Return the heat it takes for each kelvin between coolant and air [W/K]."""
        flow = coolant * lift
        films = 0.75 * (6.5 / air) ** 0.6 + 0.25 * (6.5 / flow) ** 0.8 / tubes
        small = np.minimum(air * AIR, flow * COOLANT)
        large = np.maximum(air * AIR, flow * COOLANT)
        return np.asarray(effectiveness(clean / films / small, small / large) * small)

    low, high = np.full(len(heat), 0.01), np.ones(len(heat))
    for _ in range(_STEPS):
        lift = 0.5 * (low + high)
        enough = takes(lift) * (opens + _LIFT * lift - front) > heat
        low, high = np.where(enough, low, lift), np.where(enough, lift, high)
    lift = high
    top = np.maximum(front + heat / takes(lift), opens)
    return top, top - heat / (coolant * lift * COOLANT)
