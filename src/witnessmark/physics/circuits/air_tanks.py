"""Compressed air: holes, tanks that leak down, a compressor that fills them.

Pressures are absolute [Pa] unless a name says otherwise; air is an ideal gas. A hole is its sonic
conductance C of ISO 6358 [m3/(s Pa)], reference air of 100 kPa and 293.15 K (ISO 8778).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = [
    "ATMOSPHERE",
    "GAMMA",
    "REFERENCE",
    "blow_down",
    "compressor_flow",
    "fill_time",
    "hole_conductance",
    "hole_diameter",
    "hole_mass_flow",
]

Floats = npt.NDArray[np.float64]

GAS, GAMMA, ATMOSPHERE = 287.05, 1.4, 101325.0
#: Reference state of ISO 8778: pressure [Pa], temperature [K], density [kg/m3].
REFERENCE, REFERENCE_K, REFERENCE_DENSITY = 1e5, 293.15, 1e5 / (287.05 * 293.15)
#: Share of a sharp hole's area that the jet fills (handbooks: 0.6 to 0.9).
_JET = 0.75


def hole_conductance(diameter: float, jet: float = _JET) -> float:
    """Return the sonic conductance of a round hole [m3/(s Pa)].

    Choked mass flow A p sqrt(g/(R T)) (2/(g+1))^((g+1)/(2(g-1))) over the reference density;
    the usual text of gas dynamics.

    Args:
        diameter: of the hole [m].
        jet: share of its area that the jet fills [-].
    """
    area = jet * math.pi / 4.0 * diameter**2
    most = math.sqrt(GAMMA / (GAS * REFERENCE_K)) * (2.0 / (GAMMA + 1.0)) ** 3.0
    return float(area * most / REFERENCE_DENSITY)


def hole_diameter(conductance: float, jet: float = _JET) -> float:
    """Return the diameter of a round hole of that conductance [m]; see :func:`hole_conductance`."""
    return math.sqrt(max(conductance, 0.0) / hole_conductance(1.0, jet))


def hole_mass_flow(
    conductance: float, up: float, down: float, kelvin: float = REFERENCE_K, ratio: float = 0.528
) -> float:
    """Return the mass flow through a hole by ISO 6358 [kg/s].

    Args:
        conductance: sonic conductance [m3/(s Pa)].
        up: pressure before it, absolute [Pa].
        down: pressure behind it, absolute [Pa].
        kelvin: temperature before it [K].
        ratio: critical pressure ratio; 0.528 of an ideal nozzle.
    """
    if up <= down:
        return 0.0
    choked = conductance * up * REFERENCE_DENSITY * math.sqrt(REFERENCE_K / kelvin)
    share = down / up
    if share <= ratio:
        return choked
    return choked * math.sqrt(1.0 - ((share - ratio) / (1.0 - ratio)) ** 2)


def blow_down(start: float, rate: float, seconds: float, *, adiabatic: bool = False) -> float:
    """Return a tank's pressure after a choked leak, absolute [Pa].

    Isothermal: p0 exp(-r t). Adiabatic: p0 (1 + (g-1)/2 r t)^(-2g/(g-1)); both from the choked
    flow's proportion to p and the tank's energy balance (the usual text of gas dynamics).

    Args:
        start: pressure at the beginning, absolute [Pa].
        rate: C p_ref / V at the reference temperature [1/s].
        seconds: how long it leaks [s].
        adiabatic: no heat comes back from the walls.
    """
    if not adiabatic:
        return start * math.exp(-rate * seconds)
    base = 1.0 + 0.5 * (GAMMA - 1.0) * rate * seconds
    return float(start * base ** (-2.0 * GAMMA / (GAMMA - 1.0)))


def compressor_flow(
    displaced: Floats, breathing: Floats, clearance: Floats, head: Floats
) -> Floats:
    """Return the free air that a reciprocating compressor gives [m3/s at 100 kPa].

    Volumetric efficiency: breathing - c ((p/p0)^(1/n) - 1) with n = 1.3, the re-expansion of what
    stays in the clearance (handbooks of compressors).

    Args:
        displaced: swept volume times speed [m3/s].
        breathing: what it takes in against no pressure [-].
        clearance: clearance volume over swept volume [-].
        head: pressure it works against, absolute [Pa].
    """
    again = clearance * ((head / ATMOSPHERE) ** (1.0 / 1.3) - 1.0)
    return np.asarray(displaced * np.maximum(breathing - again, 0.0))


def fill_time(
    volume: Floats, low: float, high: float, net: tuple[Floats, Floats, Floats]
) -> Floats:
    """Return the time to fill tanks from *low* to *high* [s] by Simpson's rule over the pressure.

    Isothermal: t = integral of V / (p_ref q) dp. Where less comes in than goes out it takes 900 s.

    Args:
        volume: of the tanks [m3].
        low: pressure at the beginning [Pa].
        high: pressure at the end [Pa].
        net: what comes in less what leaks, at low, middle and high [m3/s at 100 kPa].
    """
    least = volume * (high - low) / (REFERENCE * 900.0)
    a, b, c = (1.0 / np.maximum(q, least) for q in net)
    return np.asarray(volume * (high - low) / REFERENCE * (a + 4.0 * b + c) / 6.0)
