"""What to measure next on a fuel supply circuit: readings the model proposes, with what they tell.

Every candidate is simulated for each set of faults that may be present, given everything read so
far, and its possible readings are cut into a few ranges. The planner prices candidates like
tests; :func:`information` gives the bits for the table. Which measurements there are, with their
minutes and cautions, the pack says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from witnessmark.inference.foretold import (
    cells_of,
    offered,
    places_in,
    ranges_kept,
    weighted_quantiles,
)
from witnessmark.inference.fuel.draws.fuel_posterior import FuelPosterior
from witnessmark.inference.fuel.fuel_evidence import FuelEvidence
from witnessmark.inference.fuel.fuel_forecast import predict_readings
from witnessmark.inference.fuel.fuel_groups import GROUPS, OTHER
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    COLD,
    DELIVERY,
    FLOW,
    GALLERY,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
    cold_extra,
)
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.candidate import Candidate, CandidateOutcome
from witnessmark.model.finding import JointSupport, OperatingPoint
from witnessmark.model.step import Forecast
from witnessmark.physics.fuel.supply_circuit import CircuitState
from witnessmark.units import QUANTITIES, display_unit, from_house
from witnessmark.words.say import steps as say

__all__ = [
    "fuel_candidates",
    "information",
    "only_gallery_read",
    "set_probabilities",
]

Floats = npt.NDArray[np.float64]

#: Draws used for each set of faults, and sets looked at.
_PER_SET, _SETS = 90, 44
#: Measurements handed over at most, and the share of the best one's bits they must reach.
_MOST, _WORTH = 8, 0.1
#: From this P(nothing wrong) on it leads; a reading then has to tell so much of whether that is so,
#: by the level [bit].
_LEADS = 0.3
_SETTLES = {"perhaps healthy": 0.01, "healthy": 0.03}


def fuel_candidates(
    evidence: FuelEvidence, measurements: Sequence[Measurement] | None = None
) -> tuple[Candidate, ...]:
    """Return the readings worth pricing now, the most telling first.

    A measurement that has been taken in the present state is left out. Where no modelled cause
    fits, only what the pack names for that is proposed.

    Args:
        evidence: what the model makes of the case.
        measurements: what can be measured; what the pack lists when not given.
    """
    posterior = evidence.posterior
    if posterior is None:
        return ()
    stage = len(posterior.batch.labels) - 1
    every = evidence.measurements if measurements is None else measurements
    left = {m.id: _left(m, posterior, stage) for m in every}
    alone = {left[m.id] for m in every if len(left[m.id]) == len(m.readings)}
    # what is half taken gives way to the one that reads the rest alone
    open_ = [
        m
        for m in every
        if left[m.id] and (len(left[m.id]) == len(m.readings) or left[m.id] not in alone)
    ]
    if evidence.presentation is not None and evidence.presentation.level == "none fits":
        open_ = [m for m in open_ if m.when_unexplained]
    chances = set_probabilities(posterior)
    sets, index = _draws(posterior, chances)
    circuits = posterior.batch.circuits.take(index)
    solved: dict[Key, CircuitState] = {}
    shown_level = evidence.presentation.level if evidence.presentation is not None else ""
    leads = posterior.healthy() >= _LEADS
    settles = _SETTLES.get(shown_level, 0.0) if leads else 0.0
    found: list[tuple[float, Candidate]] = []
    plain: list[tuple[float, Candidate]] = []
    for measurement in open_:
        wanted = _wanted(measurement, posterior, stage)
        shown = predict_readings(posterior, wanted, circuits, index, solved=solved)
        made = _candidate(measurement, wanted, shown, chances, sets)
        bits = _bits(made, chances, clear=settles > 0.0)
        told = say.tells_if_wrong() if settles else f"{made.why} {say.tells(bits)}".strip()
        found.append((bits, replace(made, why=told)))
        if settles:
            usual = _bits(made, chances)
            plain.append((usual, replace(made, why=f"{made.why} {say.tells(usual)}".strip())))
    if shown_level == "perhaps healthy" and all(bits < settles for bits, _ in found):
        found, settles = plain or found, 0.0  # somebody complained: the usual readings then
    found = _whole_first(found)
    least = max(_WORTH * found[0][0], settles) if found else 0.0
    worth = [c for bits, c in found if bits >= least]
    # what holds another gauge against the only one is there for the asking, however little it tells
    asked = evidence.one_word.checks if evidence.one_word is not None else ()
    if leads and shown_level in _SETTLES:
        worth = _what_settles(worth, [c for _, c in found], every, left)
    named = [c for _, c in found if c.id in asked and c not in worth[:_MOST]]
    return (*worth[:_MOST], *named)


def _what_settles(
    worth: Sequence[Candidate],
    found: Sequence[Candidate],
    measurements: Sequence[Measurement],
    left: Mapping[str, Sequence[tuple[str, float, float]]],
) -> list[Candidate]:
    """Return first what settles whether anything is wrong; nothing more once it was taken."""
    settling = [m.id for m in measurements if m.settles_sound]
    if any(not left[identity] for identity in settling):
        return []  # more readings would only cost
    first = [c for c in found if c.id in settling]
    return [*first, *(c for c in worth if c not in first)]


def _whole_first(found: Sequence[tuple[float, Candidate]]) -> list[tuple[float, Candidate]]:
    """Return the most telling first; what reads another's points and more tells no less than it.

    More readings are cut into coarser ranges, so their bits alone come out low.
    """

    def points(c: Candidate) -> frozenset[tuple[str, float | None, float | None, bool]]:
        cold = "cold" in c.needs
        return frozenset((f.quantity, f.point.rpm, f.point.load, cold) for f in c.forecast)

    better = [
        (max(bits for bits, part in found if points(part) <= points(whole)), whole)
        for _, whole in found
    ]
    return sorted(better, key=lambda pair: (-pair[0], -len(pair[1].forecast)))


def information(candidate: Candidate, posterior: FuelPosterior) -> float:
    """Return what a candidate is expected to tell about the sets of faults [bits]."""
    return _bits(candidate, set_probabilities(posterior))


def only_gallery_read(posterior: FuelPosterior) -> bool:
    """Say whether nothing but gallery pressures has been read.

    Opening the pump lets air and dirt in and asks for a new seal; neither is in its price. So as
    long as this holds another reading goes before it.
    """
    return all(o.quantity in {GALLERY, DELIVERY} for o in posterior.observations)


def _bits(
    candidate: Candidate, chances: Mapping[frozenset[int], float], *, clear: bool = False
) -> float:
    """Return what it tells of the sets of faults; with *clear* of whether there is any fault."""
    rows, weight = [], []
    for groups, chance in chances.items():
        logs = [
            o.likelihood.log_likelihood.get(groups)
            for o in candidate.outcomes
            if isinstance(o.likelihood, JointSupport)
        ]
        if chance > 0 and logs and all(v is not None for v in logs):
            rows.append(np.exp(np.array(logs, dtype=float)))
            weight.append(chance)
    if not rows:
        return 0.0
    table = np.array(rows)
    table /= table.sum(axis=1, keepdims=True)
    mass = np.array(weight) / np.sum(weight)
    if clear and frozenset() in chances:
        sound = np.array([not groups for groups, c in chances.items() if c > 0])[: len(mass)]
        parts = [m for m in (sound, ~sound) if mass[m].sum() > 0]
        table = np.array([mass[m] @ table[m] / mass[m].sum() for m in parts])
        mass = np.array([mass[m].sum() for m in parts])
    overall = mass @ table
    ratio = np.where(table > 0, np.log2(np.maximum(table, 1e-300) / overall), 0.0)
    return float(mass @ (table * ratio).sum(axis=1))


def _left(
    measurement: Measurement, posterior: FuelPosterior, stage: int
) -> tuple[tuple[str, float, float], ...]:
    """Return its readings that have not been taken in the present state.

    Work on the machine does not touch the gauge, so its comparison holds.
    """

    def near(o: Observation, quantity: str, rpm: float, load: float) -> bool:
        return (
            o.quantity == quantity
            and (o.stage == stage or quantity == CHECK)
            and (o.key.viscosity > 1.0) == measurement.cold
            and (quantity == CHECK or abs(o.key.rpm - rpm) <= 110.0)
            and abs(o.key.load - load) <= 0.3
        )

    every = posterior.observations
    return tuple(r for r in measurement.readings if not any(near(o, *r) for o in every))


def _wanted(
    measurement: Measurement, posterior: FuelPosterior, stage: int
) -> tuple[Observation, ...]:
    main = next((o for o in posterior.observations if o.main and o.gauge_sd > 0), None)
    made = []
    for quantity, rpm, load in measurement.readings:
        value = float(np.median(_typical(posterior, quantity, rpm, load)))
        made.append(
            Observation(
                quantity=quantity,
                key=Key(rpm, load, quantity == THROTTLED, COLD if measurement.cold else 1.0),
                value=value,
                extra_sd=cold_extra(quantity) if measurement.cold else 0.0,
                gauge=main.gauge if main is not None else "gauge",
                gauge_sd=main.gauge_sd if main is not None else 1.4 * 6894.76,
                stage=stage,
            )
        )
    return tuple(made)


def _typical(posterior: FuelPosterior, quantity: str, rpm: float, load: float) -> Floats:
    """Return a rough size of the reading, for its error."""
    sizes = {FLOW: 3e-5 * (0.6 + rpm / 1500.0), VACUUM: 7e3, CHECK: 0.0}
    if quantity in sizes:
        return np.array([sizes[quantity]])
    read = [o.value for o in posterior.observations if o.quantity == GALLERY]
    return np.array(read or [5.5e5 + 0.0 * (rpm + load)])


def set_probabilities(posterior: FuelPosterior) -> dict[frozenset[int], float]:
    """Return P(exactly these groups at fault now), of the sets that were drawn."""
    mass = np.bincount(posterior.batch.labels[-1], weights=posterior.weight)
    seen = np.bincount(posterior.batch.labels[-1]) > 0
    return {
        frozenset(g for g in range(len(GROUPS)) if (int(value) >> g) & 1): float(mass[value])
        for value in np.flatnonzero(seen)
    }


def _draws(
    posterior: FuelPosterior, chances: Mapping[frozenset[int], float]
) -> tuple[list[frozenset[int]], npt.NDArray[np.intp]]:
    """Return the sets of faults looked at and draws of each, the same number for every set."""
    label = posterior.batch.labels[-1]
    log_w = posterior.log_prior[posterior.batch.hypothesis] + posterior.batch.log_weight
    log_w = log_w + posterior.log_parts[-1] + posterior.log_extra
    sets = sorted(chances, key=lambda s: -chances[s])[:_SETS]
    rng = np.random.default_rng(23)
    index = []
    for groups in sets:
        here = np.flatnonzero(label == sum(1 << g for g in groups))
        weight = np.exp(log_w[here] - log_w[here].max())
        edges = np.cumsum(weight / weight.sum())
        edges[-1] = 1.0
        steps = (np.arange(_PER_SET) + rng.random()) / _PER_SET
        index.append(here[np.searchsorted(edges, steps)])
    return sets, np.concatenate(index).astype(np.intp)


def _candidate(
    measurement: Measurement,
    wanted: tuple[Observation, ...],
    shown: Floats,
    chances: Mapping[frozenset[int], float],
    sets: Sequence[frozenset[int]],
) -> Candidate:
    mass = np.repeat([max(chances[s], 1e-6) for s in sets], _PER_SET)
    mass = mass / mass.sum()
    row = np.repeat(np.arange(len(sets)), _PER_SET)
    ranges = 4 if len(wanted) == 1 else 2
    cuts = [_cuts(shown[:, j], mass, row, ranges) for j in range(len(wanted))]
    kept, nearest = ranges_kept(cells_of(shown, cuts), mass)
    counted = np.bincount(row * len(kept) + nearest, minlength=len(sets) * len(kept))
    table = counted.reshape(len(sets), len(kept)) + 0.7
    table = table / table.sum(axis=1, keepdims=True)
    # what the model does not hold may read anything: it takes part in no distinction
    strange = np.array([OTHER in s for s in sets])
    share = np.array([chances[s] for s in sets]) * ~strange + 1e-9
    table[strange] = share @ table / share.sum()
    groups = tuple(g.causes for g in GROUPS)
    outcomes = tuple(
        CandidateOutcome(
            result=f"r{number + 1}",
            words=_range_words(wanted, cuts, k),
            likelihood=JointSupport(
                measurement.family, groups, dict(zip(sets, np.log(table[:, number]), strict=True))
            ),
        )
        for number, k in enumerate(kept)
    )
    why = _why(sets, chances, table)
    return offered(measurement, outcomes, _forecasts(wanted, shown, mass), why)


def _cuts(values: Floats, mass: Floats, row: npt.NDArray[np.intp], ranges: int) -> Floats:
    """Return where to cut a reading: at quartiles, or in two where it tells most."""
    if ranges > 2:
        return np.unique(weighted_quantiles(values, mass, np.arange(1, ranges) / ranges))
    total = np.bincount(row, weights=mass)
    tried = weighted_quantiles(values, mass, np.arange(1, 10) / 10)
    best, found = -1.0, float(tried[4])
    for edge in tried.tolist():
        below = np.bincount(row, weights=mass * (values < edge)) / np.maximum(total, 1e-12)
        overall = float(total @ below)
        told = float(_entropy(overall)) - float(total @ _entropy(below))
        if told > best:
            best, found = told, edge
    return np.array([found])


def _entropy(p: Floats | float) -> Floats:
    q = np.clip(p, 1e-9, 1.0 - 1e-9)
    return np.asarray(-q * np.log2(q) - (1.0 - q) * np.log2(1.0 - q))


def _range_words(wanted: Sequence[Observation], cuts: Sequence[Floats], cell: int) -> str:
    words = []
    for o, edges, place in zip(wanted, cuts, places_in(cell, cuts), strict=True):
        symbol = display_unit(o.quantity)
        shown = [_figure(from_house(o.quantity, float(v), symbol)) for v in edges]
        if not shown:
            text = "any"
        elif place == 0:
            text = f"below {shown[0]} {symbol}"
        elif place == len(shown):
            text = f"above {shown[-1]} {symbol}"
        else:
            text = f"{shown[place - 1]} to {shown[place]} {symbol}"
        words.append(text if o.quantity == CHECK else f"{text} {_place(o)}")
    return "; ".join(words)


def _forecasts(wanted: Sequence[Observation], shown: Floats, mass: Floats) -> tuple[Forecast, ...]:
    found = []
    for j, o in enumerate(wanted):
        low, middle, high = weighted_quantiles(shown[:, j], mass, (0.05, 0.5, 0.95)).tolist()
        symbol = display_unit(o.quantity)
        text = [_figure(from_house(o.quantity, v, symbol)) for v in (middle, low, high)]
        point = OperatingPoint(o.key.rpm, o.key.load)
        found.append(
            Forecast(
                o.quantity, point, middle, low, high, QUANTITIES[o.quantity].house, None,
                f"expected {text[0]} ({text[1]} to {text[2]}) {symbol} {_place(o)}",
            )
        )  # fmt: skip
    return tuple(found)


def _place(o: Observation) -> str:
    load = ", full load" if o.key.load >= 1.0 else ""
    return f"at {o.key.rpm:.0f} rpm{load}" + (", return throttled" if o.key.throttled else "")


def _why(
    sets: Sequence[frozenset[int]], chances: Mapping[frozenset[int], float], table: Floats
) -> str:
    """Name the two likely single faults that it tells apart best."""
    singles = [
        (row, s)
        for row, s in enumerate(sets)
        if len(s) == 1 and OTHER not in s and chances[s] >= 0.02
    ]  # fmt: skip
    best, names = 0.25, ""
    for i, (row, a) in enumerate(singles):
        for other, b in singles[i + 1 :]:
            apart = 0.5 * float(np.abs(table[row] - table[other]).sum())
            worth = apart * np.sqrt(chances[a] * chances[b]) * 4.0
            if apart > 0.4 and worth > best:
                best = worth
                first, second = GROUPS[next(iter(a))].name, GROUPS[next(iter(b))].name
                names = say.tells_apart(first, second)
    return names


def _figure(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 10 else f"{value:.0f}"
