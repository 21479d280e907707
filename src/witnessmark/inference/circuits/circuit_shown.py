"""What may be said of a circuit after its readings: a place, a group of places, or not decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.inference.circuits.circuit import Circuit, Floats
from witnessmark.inference.circuits.circuit_weights import CircuitWeights, marginals

__all__ = ["SURE", "Shown", "Size", "sizes", "what_may_be_said"]

#: From this probability on a place, or a group of places, is named.
SURE = 0.8
_SUSPECT, _WORTH_NAMING, _MOST = 0.5, 0.1, 3


@dataclass(frozen=True, slots=True)
class Shown:
    """What may be said.

    Attributes:
        level: points to, suspect, not decided, healthy, perhaps healthy or none fits.
        places: places named, the likeliest first.
        probability: that one of them is at fault (of healthy: that nothing is).
        by_place: P(place at fault), in the circuit's order.
        nothing: P(nothing wrong).
    """

    level: str
    places: tuple[str, ...]
    probability: float
    by_place: tuple[float, ...]
    nothing: float


@dataclass(frozen=True, slots=True)
class Size:
    """How big a fault is: middle and 90 % interval, in its unit."""

    middle: float
    low: float
    high: float
    unit: str


def what_may_be_said(weights: CircuitWeights, chance: Floats) -> Shown:
    """Return what the readings allow to say.

    Args:
        weights: how the sets of places explain them.
        chance: P(set at fault | readings).
    """
    circuit = weights.circuit
    each = marginals(weights.sets, chance, len(circuit.spots))
    nothing = float(chance[0])
    by_place = tuple(float(p) for p in each)
    order = [circuit.spots[n].key for n in np.argsort(-each)]
    first = float(each.max())
    if not weights.fits:
        return Shown("none fits", (), 0.0, by_place, nothing)
    if nothing >= SURE:
        return Shown("healthy", (), nothing, by_place, nothing)
    if first >= SURE and order[0] not in circuit.never_alone:
        return Shown("points to", (order[0],), first, by_place, nothing)
    group = _alike(circuit, weights.sets, chance, order[0])
    if group is not None:
        named = tuple(k for k in order if k in group[0])
        return Shown("points to", named, group[1], by_place, nothing)
    if nothing > first:
        return Shown("perhaps healthy", (), nothing, by_place, nothing)
    if first >= _SUSPECT:
        twin = circuit.never_alone.get(order[0])
        named = (order[0],) if twin is None else (order[0], twin)
        return Shown("suspect", named, first, by_place, nothing)
    likely = tuple(k for k, p in zip(order, sorted(each, reverse=True), strict=True)
                   if p >= _WORTH_NAMING)[:_MOST]  # fmt: skip
    return Shown("not decided", likely, first, by_place, nothing)


def _alike(
    circuit: Circuit, sets: Sequence[frozenset[int]], chance: Floats, first: str
) -> tuple[frozenset[str], float] | None:
    """Return the smallest group of places that read alike and is surely at fault."""
    for group in sorted(circuit.alike, key=len):
        if first not in group or circuit.never_alone.get(first, first) not in group:
            continue
        numbers = {circuit.number(k) for k in group}
        any_ = float(sum(c for s, c in zip(sets, chance, strict=True) if s & numbers))
        if any_ >= SURE:
            return group, any_
    return None


def sizes(weights: CircuitWeights, chance: Floats, place: str) -> Size | None:
    """Return how big a fault at a place is, ``None`` where the circuit tells no size of it."""
    circuit = weights.circuit
    unit = circuit.size_unit.get(place)
    number = circuit.number(place)
    rows = [r for r, s in enumerate(weights.sets) if number in s and chance[r] > 1e-6]
    if unit is None or not rows:
        return None
    mass = np.exp(weights.log_weight[rows]) * chance[rows][:, None]
    found = circuit.size(weights.z[rows][:, :, circuit.scatter + number].ravel(), place)
    order = np.argsort(found)
    steps = np.cumsum(mass.ravel()[order])
    steps /= steps[-1]
    low, middle, high = (float(found[order][np.searchsorted(steps, q)]) for q in (0.05, 0.5, 0.95))
    return Size(middle, low, high, unit)
