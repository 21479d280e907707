"""What would be read: after a repair, or at a measurement not yet taken."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.inference.circuits.circuit import Bools, Floats, Observed
from witnessmark.inference.circuits.circuit_weights import CircuitWeights
from witnessmark.knowledge import Family, Knowledge
from witnessmark.model.step import Forecast
from witnessmark.units import QUANTITIES, display_unit, from_house
from witnessmark.words.numbers import chance_words
from witnessmark.words.say import circuits as say

__all__ = ["drawn_sets", "figure", "repair_forecasts", "shown_at"]

_COUNT, _MOST = 240, 4
#: Chance that the new part or its fitting is itself wrong (judgement, as of the fuel supply).
_WRONG_PART = 0.04


def drawn_sets(
    weights: CircuitWeights, chance: Floats, count: int = _COUNT, seed: int = 5
) -> tuple[Floats, Bools]:
    """Return equally weighted draws of the circuit as it is now: coordinates, places at fault."""
    mass = (np.exp(weights.log_weight) * chance[:, None]).ravel()
    edges = np.cumsum(mass / mass.sum())
    edges[-1] = 1.0
    rng = np.random.default_rng(seed)
    index = np.searchsorted(edges, (np.arange(count) + rng.random()) / count)
    rows = index // weights.z.shape[1]
    bad = np.zeros((count, len(weights.circuit.spots)), dtype=bool)
    for n, row in enumerate(rows):
        bad[n, list(weights.sets[row])] = True
    return weights.z.reshape(-1, weights.circuit.dimensions)[index], bad


def shown_at(
    weights: CircuitWeights, z: Floats, bad: Bools, wanted: Sequence[Observed], seed: int = 6
) -> Floats:
    """Return what draws would show, with the errors of reading and of the curves, (n, wanted)."""
    plain = weights.circuit.predict(z, bad, wanted)
    shape = np.array([o.channel.shape for o in wanted])
    own = np.array([o.channel.noise for o in wanted])
    part = np.array([o.channel.share for o in wanted])
    sd = np.sqrt(own**2 + (part**2 + shape**2) * plain**2)
    shown = plain + sd * np.random.default_rng(seed).standard_normal(plain.shape)
    # what cannot be below nothing is not foretold below nothing
    return np.asarray(np.where(plain >= 0.0, np.maximum(shown, 0.0), shown))


def repair_forecasts(
    weights: CircuitWeights, chance: Floats, knowledge: Knowledge, family: Family
) -> dict[str, tuple[Forecast, ...]]:
    """Return what the readings taken would show after each repair.

    Where the part was not at fault, or the new one is wrong too, nothing changes.
    """
    circuit = weights.circuit
    z, bad = drawn_sets(weights, chance)
    points = _told_most(weights)
    rng = np.random.default_rng(17)
    fresh = rng.standard_normal(z.shape)
    luck = rng.random(len(z))
    found: dict[str, tuple[Forecast, ...]] = {}
    mine = {c.id for c in family.causes}
    for group in circuit.groups:
        places = [circuit.number(k) for k in group.shows]
        if not places:
            continue
        held = luck >= _WRONG_PART
        after, sound = z.copy(), bad.copy()
        for place in places:
            cured = held & bad[:, place]
            sound[cured, place] = False
            after[cured, circuit.scatter + place] = fresh[cured, circuit.scatter + place]
        shown = shown_at(weights, after, sound, points)
        true = circuit.predict(after, sound, points)
        told = tuple(_forecast(o, shown[:, j], true[:, j], knowledge) for j, o in enumerate(points))
        found |= dict.fromkeys((c for c in group.causes if c in mine), told)
    return found


def _told_most(weights: CircuitWeights) -> tuple[Observed, ...]:
    """Return the readings that a sound circuit explains worst, at most four, one a channel."""
    sound = weights.predicted[0]
    spread = np.sqrt(sound.std(axis=0) ** 2 + np.array([o.sd for o in weights.observed]) ** 2)
    value = np.array([o.value for o in weights.observed])
    off = np.abs(value - np.median(sound, axis=0)) / np.maximum(spread, 1e-12)
    kept: dict[str, Observed] = {}
    for n in np.argsort(-off):
        kept.setdefault(weights.observed[n].channel.key, weights.observed[n])
    return tuple(list(kept.values())[:_MOST])


def _forecast(o: Observed, shown: Floats, true: Floats, knowledge: Knowledge) -> Forecast:
    low, middle, high = (float(v) for v in np.quantile(shown, [0.05, 0.5, 0.95]))
    bands = knowledge.bands_at(o.channel.quantity, o.point)
    inside = _inside(true, bands[0].low, bands[0].high) if bands else None
    symbol = display_unit(o.channel.quantity)
    text = [figure(from_house(o.channel.quantity, v, symbol)) for v in (middle, low, high)]
    chance = "" if inside is None else chance_words(inside)
    words = say.forecast(o.channel.quantity, text[0], text[1], text[2], symbol, chance)
    house = QUANTITIES[o.channel.quantity].house
    return Forecast(o.channel.quantity, o.point, middle, low, high, house, inside, words)


def _inside(true: Floats, low: float | None, high: float | None) -> float:
    good: npt.NDArray[np.bool_] = np.ones(len(true), dtype=bool)
    if low is not None:
        good &= true >= low
    if high is not None:
        good &= true <= high
    return float(good.mean())


def figure(value: float) -> str:
    """Return a figure as a gauge shows it: fewer decimals the larger it is."""
    size = abs(value)
    return f"{value:.2f}" if size < 3 else f"{value:.1f}" if size < 20 else f"{value:.0f}"
