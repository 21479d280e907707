"""Universal joints and shafts: angles in, second-order excitation out.

A single joint at an angle turns uniform rotation into rotation that speeds up and slows down
twice a turn. Two equal angles with the yokes in phase cancel; unequal angles or yokes out of
phase leave a rest, written here as the one joint angle that would do the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = [
    "UNIFORMITY_LIMIT",
    "Joint",
    "Train",
    "bending_critical_speed",
    "equivalent_joint_angle",
    "joint_acceleration",
    "joint_train",
    "uniformity",
]

#: Largest sin(b)*tan(b) of the rest of a driveline that published driveline calculations allow,
#: about 3 degrees of one joint (shared/checks, R-uj-lim, read on a driveline-calculation page).
UNIFORMITY_LIMIT = 0.0027

_STEEL_MODULUS = 206e9
_STEEL_DENSITY = 7850.0


@dataclass(frozen=True, slots=True)
class Joint:
    """One universal joint.

    Attributes:
        vertical: joint angle seen from the side, up positive [rad].
        horizontal: joint angle seen from above, right positive [rad].
        yoke: angle by which the shaft's yokes are out of phase at this joint [rad]; 0: in line.
    """

    vertical: float
    horizontal: float = 0.0
    yoke: float = 0.0

    @property
    def angle(self) -> float:
        """True working angle [rad]: tan^2 b = tan^2 v + tan^2 h."""
        return math.atan(math.hypot(math.tan(self.vertical), math.tan(self.horizontal)))

    @property
    def plane(self) -> float:
        """Direction of the plane the joint bends in [rad]; 0: vertical."""
        return math.atan2(math.tan(self.horizontal), math.tan(self.vertical))


@dataclass(frozen=True, slots=True)
class Train:
    """What a chain of joints does together.

    Attributes:
        equivalent_angle: the one joint angle that would excite the same [rad].
        excitation: complex second-order speed ripple of the output over the mean speed [-].
        uniformity: sin(b)*tan(b) of the equivalent angle [-], limit ``UNIFORMITY_LIMIT``.
        centre: the same equivalent angle [rad] for the shaft behind the first joint, whose own
            inertia shakes even where the two ends cancel.
    """

    equivalent_angle: float
    excitation: complex
    uniformity: float
    centre: float


def joint_acceleration(angle: float, speed: float) -> float:
    """Amplitude of the second-order angular acceleration [rad/s2]: 4 tan^2(b/2) w^2.

    Args:
        angle: joint working angle [rad].
        speed: shaft speed w [rad/s].
    """
    return 4.0 * math.tan(angle / 2.0) ** 2 * speed**2


def uniformity(angle: float) -> float:
    """Non-uniformity of one joint sin(b) tan(b) = (max - min) / input speed [-].

    Args:
        angle: joint working angle b [rad].
    """
    return math.sin(angle) * math.tan(angle)


def equivalent_joint_angle(excitation: complex) -> float:
    """Angle of the single joint with that second-order ripple [rad].

    Args:
        excitation: complex ripple 2 tan^2(b/2) e^{i..} [-].
    """
    return 2.0 * math.atan(math.sqrt(abs(excitation) / 2.0))


def joint_train(joints: Sequence[Joint]) -> Train:
    """Add the second orders of the joints of one driveline.

    Joint i contributes (-1)^i 2 tan^2(b_i/2) exp 2i(plane_i - yoke_i): with the yokes of a shaft
    in line the driving yoke of the next joint stands a quarter turn on, which turns its second
    order over. Valid for small ripple (angles to about 15 degrees), no play, joints that turn
    freely.

    Args:
        joints: from the transmission to the axle.
    """
    total, first = 0j, 0j
    for number, joint in enumerate(joints):
        ripple = 2.0 * math.tan(joint.angle / 2.0) ** 2
        total += (-1) ** number * ripple * np.exp(2j * (joint.plane - joint.yoke))
        if number == 0:
            first = total
    angle = equivalent_joint_angle(total)
    return Train(angle, complex(total), uniformity(angle), equivalent_joint_angle(first))


def bending_critical_speed(
    length: float,
    outer: float,
    inner: float = 0.0,
    *,
    modulus: float = _STEEL_MODULUS,
    density: float = _STEEL_DENSITY,
) -> float:
    """First bending (whirl) speed of a uniform round shaft on two joints [r/min].

    w = pi^2 sqrt(E I / (rho A L^4)), simply supported, no joint mass, no bearing give: the real
    one lies lower; common practice (no source) keeps to 70-75 % of it.

    Args:
        length: between joint centres [m].
        outer: tube's outer diameter [m].
        inner: tube's inner diameter [m], 0: solid.
        modulus: Young's modulus [Pa].
        density: density [kg/m3].
    """
    if not (length > 0 and outer > inner >= 0):
        raise ValueError("a shaft needs a length and an outer diameter above the inner one")
    second = math.pi / 64.0 * (outer**4 - inner**4)
    area = math.pi / 4.0 * (outer**2 - inner**2)
    w = math.pi**2 * math.sqrt(modulus * second / (density * area * length**4))
    return 60.0 * w / (2.0 * math.pi)
