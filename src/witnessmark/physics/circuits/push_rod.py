"""The push rod of an air brake: clearance first, then what everything behind it gives.

The way until the linings touch grows with the clearance; what the parts give from there on grows
with the force, the force with pressure and area. Everything grows with the arm it turns.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

__all__ = ["FULL", "arm_share", "effective_area", "stroke_at"]

Floats = npt.NDArray[np.float64]

#: The pressure of a full application at which a stroke is read [Pa].
FULL = 90.0 * 6894.757
_FLANGE = 1.85 * 0.0254


def stroke_at(
    pressure: Floats, free: Floats, gives: Floats, bend: Floats, area: Floats, arm: Floats
) -> Floats:
    """Return the way of the push rod at a pressure [m].

    s = a (s0 + g (A p / 90 psi)^n), a the arm's length against the usual one, g with a^n more
    torque.

    Args:
        pressure: that arrives at the chamber [Pa].
        free: until the linings touch [m].
        gives: what the parts give at 90 psi [m].
        bend: exponent, under 1: parts get stiffer as they bed in [-].
        area: of the chamber against its mate's [-].
        arm: length of the slack's arm against its mate's [-].
    """
    load = np.maximum(arm * area * pressure / FULL, 0.0)
    return np.asarray(arm * (free + gives * load**bend))


def effective_area(ring: Floats) -> Floats:
    """Return the effective area of a clamp-type chamber [m2] by the outside of its clamp ring [m].

    The type is its area in square inches; the rings of 49 CFR 393.47(e), 5 11/16, 6 3/8 and
    8 3/32 in of types 12, 16 and 30, are 1.85 in wider than a circle of that area within 4 %.

    Args:
        ring: outside diameter of the clamp ring [m].
    """
    return np.asarray(np.pi / 4.0 * np.maximum(ring - _FLANGE, 0.0) ** 2)


def arm_share(degrees: float) -> float:
    """Return the share of a push rod's force that turns the slack [-]: the cosine off square.

    Args:
        degrees: how far rod and arm are from 90 degrees at full application [deg].
    """
    return math.cos(math.radians(degrees))
