"""Draws of the fuel supply circuit: every circuit is a point of independent standard normals.

The coordinates of a draw are, in this order: the type (8), the unit's own scatter (10), the
first fault (3) and the second fault (3). Working in standard normals makes the prior density of
every draw trivial, so proposals of any shape can be weighted exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.fuel_groups import (
    AIR,
    FILTER,
    GAUGE,
    LEAK,
    PUMP,
    RELIEF,
    RETURN,
    SUCTION,
)
from witnessmark.late import late
from witnessmark.physics.fuel.supply_circuit import PSI, Circuit, solve
from witnessmark.physics.fuel.supply_types import PARAMETERS, TypeValues, type_circuit

if TYPE_CHECKING:
    from scipy import special
else:
    special = late("scipy.special")

__all__ = [
    "DIMENSIONS",
    "FAULT_DIMENSIONS",
    "RENEWAL_DIMENSIONS",
    "TYPE_DIMENSIONS",
    "UNIT_DIMENSIONS",
    "LearntType",
    "TypePrior",
    "UnknownType",
    "apply_fault",
    "healthy_units",
    "idle_reference",
    "renew",
]

Floats = npt.NDArray[np.float64]

TYPE_DIMENSIONS, UNIT_DIMENSIONS, FAULT_DIMENSIONS = 8, 10, 3
#: Coordinates of a renewed part's own scatter.
RENEWAL_DIMENSIONS = 2
DIMENSIONS = TYPE_DIMENSIONS + UNIT_DIMENSIONS + 2 * FAULT_DIMENSIONS

#: Shares of the layouts where the type is not known (assumed, no source).
LAYOUT_SHARES = (0.70, 0.15, 0.15)
#: Chance that a weak relief valve is its spring (else its seat), a return regulator likewise,
#: and that a wrong gauge is off by a constant (else by a share). Assumed, no source.
SPRING_SHARE, RETURN_SPRING_SHARE, BIAS_SHARE, READS_LOW = 0.6, 0.6, 0.5, 0.7
#: Chance that a pump that sends too little slips inside; else it turns too slowly or a part of its
#: gears does not carry, and loses a share of its delivery at every speed. Assumed, no source.
SLIP_SHARE = 0.65
#: Share of leaking seats that are larger than the usual range. Assumed, no source.
BEYOND = 0.10


#: Which coordinates of a unit's scatter belong to the part of a group.
_SCATTER_OF: dict[int, tuple[int, ...]] = {
    RELIEF: (4, 5), RETURN: (2, 3), FILTER: (6,), PUMP: (0, 1), SUCTION: (7,), AIR: (8,),
    LEAK: (), GAUGE: (),
}  # fmt: skip


class TypePrior(Protocol):
    """What is known of the engine type."""

    @property
    def key(self) -> str:
        """A name that is equal only for equal knowledge."""
        ...

    @property
    def known(self) -> bool:
        """Whether the type counts as known."""
        ...

    @property
    def layout_shares(self) -> tuple[float, ...]:
        """Probability of each layout, as the first coordinate is cut; one entry: not cut."""
        ...

    def values(self, z: Floats) -> TypeValues:
        """Return type values for standard normals of shape (n, 8)."""
        ...


@dataclass(frozen=True, slots=True)
class UnknownType:
    """Only the two trade pressures are known."""

    key: str = "unknown"
    known: bool = False
    layout_shares: tuple[float, ...] = LAYOUT_SHARES

    def values(self, z: Floats) -> TypeValues:
        """Return type values for standard normals of shape (n, 8)."""
        layout = np.searchsorted(np.cumsum(LAYOUT_SHARES)[:2], special.ndtr(z[:, 0])).astype(
            np.intp
        )
        return type_values(layout, z)


@dataclass(frozen=True)
class LearntType:
    """Known from the shop's own healthy readings of the type, with what they leave open.

    Attributes:
        key: name of the knowledge.
        shares: (3,) probability of each layout.
        means: (3, 7) of the type coordinates, per layout.
        roots: (3, 7, 7) lower roots of their covariance, per layout.
        known: whether the readings were enough to call the type known.
    """

    key: str
    shares: Floats
    means: Floats
    roots: Floats
    known: bool = True

    @property
    def layout_shares(self) -> tuple[float, ...]:
        """Probability of each layout."""
        return tuple(float(s) for s in self.shares)

    def values(self, z: Floats) -> TypeValues:
        """Return type values for standard normals of shape (n, 8)."""
        layout = np.searchsorted(np.cumsum(self.shares)[:2], special.ndtr(z[:, 0])).astype(np.intp)
        moved = z.copy()
        for index in range(3):
            here = layout == index
            moved[here, 1:] = self.means[index] + z[here, 1:] @ self.roots[index].T
        return type_values(layout, moved)


def type_values(layout: npt.NDArray[np.intp], z: Floats) -> TypeValues:
    """Return the values of unknown types; ranges of ``PARAMETERS``.

    Args:
        layout: index of the layout, shape (n,).
        z: standard normals, shape (n, 8); the first column is not used here.
    """
    u = special.ndtr(z)
    large = layout == 2
    size = np.where(large, 0.4815, PARAMETERS["displacement"].nominal)
    return TypeValues(
        layout=layout,
        displacement=size * np.exp(0.18 * z[:, 1]),
        slip_share=0.04 + 0.12 * u[:, 2],
        crack_share=0.45 + 0.49 * u[:, 3],
        relief_slope=np.where(large, 4.0 + 6.0 * u[:, 4], 8.0 + 17.0 * u[:, 4]),
        relief_margin=np.where(large, 8.0 + 22.0 * u[:, 5], 3.0 + 27.0 * u[:, 5]),
        filter_drop=1.5 + 4.5 * u[:, 6],
        suction_drop=np.where(large, 1.0 + 2.0 * u[:, 7], 0.4 + 1.6 * u[:, 7]),
        idle_psi=np.full(len(z), 75.0),
        rated_psi=np.full(len(z), 95.0),
    )


def healthy_units(types: Circuit, z: Floats) -> Circuit:
    """Give each healthy type circuit the scatter of one truck's own parts.

    Args:
        types: n circuits of ``type_circuit``.
        z: standard normals, shape (n, 10).
    """
    spread = PARAMETERS
    slope = np.exp(spread["relief_slope"].unit_spread * z[:, 5])
    filter_ = np.exp(spread["filter_drop"].unit_spread * z[:, 6])
    suction = np.exp(spread["suction_drop"].unit_spread * z[:, 7])
    return_ = np.exp(spread["return_orifice"].unit_spread * z[:, 3])
    return types.with_(
        displacement=types.displacement * np.exp(spread["displacement"].unit_spread * z[:, 0]),
        slip=types.slip * np.exp(spread["slip"].unit_spread * z[:, 1]),
        return_crack=types.return_crack * np.exp(spread["return_crack"].unit_spread * z[:, 2]),
        return_orifice=types.return_orifice * return_,
        return_linear=types.return_linear * return_,
        relief_crack=types.relief_crack * np.exp(spread["relief_crack"].unit_spread * z[:, 4]),
        relief_gain=types.relief_gain / slope,
        filter_laminar=types.filter_laminar * filter_,
        filter_turbulent=types.filter_turbulent * filter_,
        suction_laminar=types.suction_laminar * suction,
        suction_turbulent=types.suction_turbulent * suction,
        air=types.air * np.exp(spread["air"].unit_spread * z[:, 8]),
        viscosity=types.viscosity * np.exp(spread["viscosity"].unit_spread * z[:, 9]),
    )


def idle_reference(types: Circuit) -> tuple[Floats, Floats]:
    """Return (return conductance at idle [m3/s/sqrt(Pa)], pump delivery at idle [m3/s]).

    Leaks are scaled by these, so that "a leak of 20 %" means the same on a small and a large
    pump. Taken at 650 r/min.
    """
    idle = solve(types, 650.0)
    back = np.maximum(idle.return_flow, 1e-9)
    return back / np.sqrt(np.maximum(idle.gallery, PSI)), types.displacement * 650.0


def apply_fault(c: Circuit, group: int, z: Floats, reference: tuple[Floats, Floats]) -> Circuit:
    """Put one group at fault; kind and size from standard normals of shape (n, 3).

    Sizes are drawn evenly inside the fault ranges of ``PARAMETERS``; a leaking seat may also be
    a good deal larger than its usual range (one in ``1 / BEYOND``). Judgement.
    """
    kind, size, extra = special.ndtr(z[:, 0]), special.ndtr(z[:, 1]), special.ndtr(z[:, 2])
    conductance, delivery = reference
    if group == RELIEF:
        spring = kind < SPRING_SHARE
        leak = _seat(size, 0.08, 0.60, 1.2) * delivery / np.sqrt(75.0 * PSI)
        return c.with_(
            relief_crack=c.relief_crack * np.where(spring, 1.0 - _even(size, 0.08, 0.45), 1.0),
            relief_leak=np.where(spring, 0.0, leak),
        )
    if group == RETURN:
        spring = kind < RETURN_SPRING_SHARE
        lower = np.maximum(c.return_crack - _even(size, 5.0, 40.0) * PSI, 0.0)
        return c.with_(
            return_crack=np.where(spring, lower, c.return_crack),
            return_leak=np.where(spring, 0.0, _seat(size, 0.08, 0.70, 2.0) * conductance),
        )
    if group == FILTER:
        factor = _even(size, 4.0, 40.0)
        return c.with_(
            filter_laminar=c.filter_laminar * factor, filter_turbulent=c.filter_turbulent * factor
        )
    if group == PUMP:
        slips = kind < SLIP_SHARE
        return c.with_(
            slip=np.where(slips, c.slip * _even(size, 2.5, 12.0), c.slip),
            displacement=c.displacement * np.where(slips, 1.0, 1.0 - _even(size, 0.06, 0.50)),
        )
    if group == SUCTION:
        factor = _even(size, 4.0, 40.0)
        return c.with_(
            suction_laminar=c.suction_laminar * factor,
            suction_turbulent=c.suction_turbulent * factor,
        )
    if group == AIR:
        # a pump that swallows a fifth of its volume as air hardly keeps an engine running
        return c.with_(air=0.03 * (0.40 / 0.03) ** (size**1.6))
    if group == LEAK:
        return c.with_(injector_leak=_even(size, 0.08, 0.60) * conductance, leak_to_return=extra)
    if group == GAUGE:
        sign = np.where(extra < READS_LOW, -1.0, 1.0)
        constant = kind < BIAS_SHARE
        return c.with_(
            gauge_bias=np.where(constant, sign * _even(size, 4.0, 18.0) * PSI, 0.0),
            gauge_gain=np.where(constant, 0.0, sign * _even(size, 0.05, 0.18)),
        )
    raise ValueError(f"the circuit has no part for group {group}")


def _even(size: Floats, low: float, high: float) -> Floats:
    return low + (high - low) * size


def _seat(size: Floats, low: float, high: float, most: float) -> Floats:
    """Return the leak of a seat: evenly in its range, now and then beyond, up to *most*."""
    usual = 1.0 - BEYOND
    beyond = high * (most / high) ** np.maximum((size - usual) / BEYOND, 0.0)
    return np.where(size < usual, _even(size / usual, low, high), beyond)


def renew(c: Circuit, types: Circuit, group: int, z: Floats) -> Circuit:
    """Fit a new healthy part of one group, drawn afresh.

    Args:
        c: circuits as they are.
        types: the healthy types they belong to.
        group: the group that is renewed.
        z: standard normals, shape (n, RENEWAL_DIMENSIONS), for the new part's own scatter.
    """
    scatter = np.zeros((len(z), UNIT_DIMENSIONS))
    for column, place in enumerate(_SCATTER_OF[group]):
        scatter[:, place] = z[:, column]
    new = healthy_units(types, scatter)
    parts: dict[int, tuple[str, ...]] = {
        RELIEF: ("relief_crack", "relief_gain", "relief_leak"),
        RETURN: ("return_crack", "return_orifice", "return_linear", "return_leak"),
        FILTER: ("filter_laminar", "filter_turbulent"),
        PUMP: ("displacement", "slip"),
        SUCTION: ("suction_laminar", "suction_turbulent"),
        AIR: ("air",),
        LEAK: ("injector_leak", "leak_to_return"),
        GAUGE: ("gauge_bias", "gauge_gain"),
    }
    return c.with_(**{name: getattr(new, name) for name in parts[group]})


def draws(prior: TypePrior, z: Floats) -> tuple[Circuit, Circuit]:
    """Return (healthy types, healthy units) for standard normals of shape (n, DIMENSIONS)."""
    types = type_circuit(prior.values(z[:, :TYPE_DIMENSIONS]))
    return types, healthy_units(types, z[:, TYPE_DIMENSIONS : TYPE_DIMENSIONS + UNIT_DIMENSIONS])
