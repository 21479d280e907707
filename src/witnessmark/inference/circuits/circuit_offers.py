"""What to read next on a circuit: the pack's measurements, with what each would tell.

Each is foretold for every set of groups of causes that may be at fault, given all that was read
in the present state, and what may be read is cut into a few ranges; the planner prices them like
tests.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.inference.circuits.circuit import Bools, Channel, Floats, Observed
from witnessmark.inference.circuits.circuit_evidence import (
    CircuitEvidence,
    GroupSets,
    group_sets,
)
from witnessmark.inference.circuits.circuit_forecast import figure, shown_at
from witnessmark.inference.circuits.circuit_readings import observation, state_of
from witnessmark.inference.circuits.circuit_weights import CircuitWeights, marginals
from witnessmark.inference.foretold import (
    cells_of,
    offered,
    places_in,
    ranges_kept,
    weighted_quantiles,
)
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.candidate import Candidate, CandidateOutcome
from witnessmark.model.finding import JointSupport, OperatingPoint
from witnessmark.model.step import Forecast
from witnessmark.units import QUANTITIES, display_unit, from_house
from witnessmark.words.say import circuits as say
from witnessmark.words.say import steps

__all__ = ["circuit_candidates", "information"]

Rows = npt.NDArray[np.intp]

_PER_SET, _SETS = 48, 40
_MOST, _WORTH = 6, 0.1


def circuit_candidates(evidence: CircuitEvidence) -> tuple[Candidate, ...]:
    """Return the readings worth pricing now, the most telling first."""
    weights = evidence.weights
    if weights is None or evidence.shown is None:
        return ()
    top = np.argsort(-evidence.chance)[:_SETS]
    z, bad = _draws(weights, top)
    found = []
    mapping = group_sets(evidence.circuit)
    for measurement in evidence.measurements:
        wanted = _wanted(evidence, measurement)
        if wanted and (weights.fits or measurement.when_unexplained):
            made, bits = _candidate(evidence, weights, mapping, measurement, wanted, top, z, bad)
            found.append((bits, made))
    found.sort(key=lambda pair: -pair[0])
    least = _WORTH * found[0][0] if found else 0.0
    return tuple(c for bits, c in found if bits >= least)[:_MOST]


def information(evidence: CircuitEvidence, measurement: Measurement) -> float:
    """Return what a measurement is expected to tell of the places at fault [bits]."""
    weights = evidence.weights
    wanted = _wanted(evidence, measurement)
    if weights is None or not wanted:
        return 0.0
    top = np.argsort(-evidence.chance)[:_SETS]
    z, bad = _draws(weights, top)
    mapping = group_sets(evidence.circuit)
    return _candidate(evidence, weights, mapping, measurement, wanted, top, z, bad)[1]


def _wanted(evidence: CircuitEvidence, measurement: Measurement) -> tuple[Observed, ...]:
    """Return its readings that have not been taken in the present state."""
    circuit = evidence.circuit
    read = evidence.weights.observed if evidence.weights is not None else ()
    made = []
    for quantity, rpm, _ in measurement.readings:
        state = state_of(OperatingPoint(rpm=rpm))
        channel = circuit.channel(quantity, state) or circuit.channel(quantity, "")
        if channel is None or any(_taken(o, channel, rpm) for o in read):
            continue
        made.append(observation(circuit, channel, channel.noise, 0.0, rpm, state))
    return tuple(made)


def _taken(o: Observed, channel: Channel, rpm: float) -> bool:
    return o.channel is channel and (not channel.at_speed or abs(o.rpm - rpm) <= 400.0)


def _draws(weights: CircuitWeights, top: Rows) -> tuple[Floats, Bools]:
    """Return the same number of draws of each of some sets of places."""
    rng = np.random.default_rng(23)
    z, bad = [], []
    for row in top:
        edges = np.cumsum(np.exp(weights.log_weight[row]))
        edges /= edges[-1]
        steps_ = (np.arange(_PER_SET) + rng.random()) / _PER_SET
        z.append(weights.z[row][np.searchsorted(edges, steps_)])
        here = np.zeros((_PER_SET, len(weights.circuit.spots)), dtype=bool)
        here[:, list(weights.sets[row])] = True
        bad.append(here)
    return np.concatenate(z), np.concatenate(bad)


def _candidate(
    evidence: CircuitEvidence,
    weights: CircuitWeights,
    mapping: GroupSets,
    measurement: Measurement,
    wanted: tuple[Observed, ...],
    top: Rows,
    z: Floats,
    bad: Bools,
) -> tuple[Candidate, float]:
    chance = evidence.chance[top] / evidence.chance[top].sum()
    mass = np.repeat(chance / _PER_SET, _PER_SET)
    shown = shown_at(weights, z, bad, wanted)
    ranges = 4 if len(wanted) == 1 else 2
    shares = np.arange(1, ranges) / ranges
    cuts = [np.unique(weighted_quantiles(column, mass, shares)) for column in shown.T]
    kept, nearest = ranges_kept(cells_of(shown, cuts), mass)
    counts = np.array(
        [np.bincount(row, minlength=len(kept)) for row in nearest.reshape(len(top), _PER_SET)]
    )
    table = (counts + 0.4) / (counts + 0.4).sum(axis=1, keepdims=True)
    overall = chance @ table
    bits = float(chance @ (table * np.log2(table / overall)).sum(axis=1))
    groups = tuple(g.causes for g in evidence.circuit.groups)
    by_group = _by_group(mapping, weights, top, table)
    outcomes = tuple(
        CandidateOutcome(
            f"r{n + 1}",
            _range_words(wanted, cuts, k),
            JointSupport(evidence.family, groups, {s: float(np.log(row[n]))
                                                   for s, row in by_group.items()}),
        )
        for n, k in enumerate(kept)
    )  # fmt: skip
    why = f"{_apart(evidence, weights, top, table)} {steps.tells(bits)}".strip()
    made = offered(measurement, outcomes, _forecasts(wanted, shown, mass), why)
    return made, bits


def _by_group(
    mapping: GroupSets, weights: CircuitWeights, top: Rows, table: Floats
) -> dict[frozenset[int], Floats]:
    """Return P(range | set of groups, all that was read): places weighed by how they explain it."""
    like = np.exp(weights.log_likelihood[top] - weights.log_likelihood.max())
    found = {}
    mean = like @ table / max(float(like.sum()), 1e-300)
    for row, groups in enumerate(mapping.sets):
        part = mapping.shows[row, top] * like
        total = float(part.sum())
        # what the model does not hold takes part in no distinction
        found[groups] = part @ table / total if total > 1e-12 else mean
    return found


def _apart(evidence: CircuitEvidence, weights: CircuitWeights, top: Rows, table: Floats) -> str:
    """Name the two likely single places that it tells apart best."""
    each = marginals(weights.sets, evidence.chance, len(evidence.circuit.spots))
    single = {
        next(iter(weights.sets[r])): n for n, r in enumerate(top) if len(weights.sets[r]) == 1
    }
    best, names = 0.25, ""
    for a in single:
        for b in single:
            if a >= b or min(each[a], each[b]) < 0.03:
                continue
            apart = 0.5 * float(np.abs(table[single[a]] - table[single[b]]).sum())
            worth = apart * float(np.sqrt(each[a] * each[b])) * 4.0
            if apart > 0.4 and worth > best:
                first, second = sorted((a, b), key=lambda k: -each[k])
                keys = [evidence.circuit.spots[k].key for k in (first, second)]
                best = worth
                names = steps.tells_apart(
                    say.place(evidence.circuit.id, keys[0]), say.place(evidence.circuit.id, keys[1])
                )
    return names


def _range_words(wanted: Sequence[Observed], cuts: Sequence[Floats], cell: int) -> str:
    told = []
    for o, edges, place in zip(wanted, cuts, places_in(cell, cuts), strict=True):
        symbol = display_unit(o.channel.quantity)
        shown = [figure(from_house(o.channel.quantity, float(v), symbol)) for v in edges]
        low = shown[place - 1] if place > 0 else ""
        high = shown[place] if place < len(shown) else ""
        told.append(say.reading_range(o.channel.quantity, low, high, symbol))
    return "; ".join(told)


def _forecasts(wanted: Sequence[Observed], shown: Floats, mass: Floats) -> tuple[Forecast, ...]:
    found = []
    for column, o in enumerate(wanted):
        low, middle, high = weighted_quantiles(shown[:, column], mass, (0.05, 0.5, 0.95)).tolist()
        symbol = display_unit(o.channel.quantity)
        text = [figure(from_house(o.channel.quantity, v, symbol)) for v in (middle, low, high)]
        words = say.expected(o.channel.quantity, text[0], text[1], text[2], symbol)
        point = OperatingPoint(rpm=o.rpm if o.rpm else None)
        house = QUANTITIES[o.channel.quantity].house
        found.append(Forecast(o.channel.quantity, point, middle, low, high, house, None, words))
    return tuple(found)
