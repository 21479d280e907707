"""A circuit at work on a case: readings -> findings, forecasts, what may be said.

Every stage that has readings has a finding with a :class:`JointSupport` over the groups of causes.
Stages are weighed each by itself: what a truck's tanks or cables are is not carried from before the
work to after it, so a comparison says a little less than it could. A group's likelihood is the mean
over the places it shows as.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from witnessmark.inference.circuits.circuit import Circuit, Floats, Observed
from witnessmark.inference.circuits.circuit_forecast import repair_forecasts
from witnessmark.inference.circuits.circuit_readings import collect_readings
from witnessmark.inference.circuits.circuit_shown import Shown, sizes, what_may_be_said
from witnessmark.inference.circuits.circuit_weights import (
    CircuitWeights,
    log_prior_of,
    set_chances,
    weigh_circuit,
)
from witnessmark.inference.family.prior import multipliers
from witnessmark.inference.family.staged_evidence import family_evidence
from witnessmark.inference.models import Material
from witnessmark.inference.shop_history import shares
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.details.reading_details import ReadingsModel
from witnessmark.model.finding import Evidence, Finding, JointSupport
from witnessmark.model.problem import Problem
from witnessmark.model.step import Forecast
from witnessmark.words.say import circuits as say

__all__ = ["CircuitEvidence", "GroupSets", "circuit_evidence", "group_sets"]

#: Half of the weight of judged shares goes to all places alike: as much to knowing nothing as to
#: memory (see the fuel supply, where two memories were compared).
HUMILITY = 0.5
#: P(nothing wrong) before any reading, after work (judgement).
_NOTHING_AFTER = 0.5


@dataclass(frozen=True, slots=True)
class GroupSets:
    """How sets of groups show as sets of places.

    Attributes:
        sets: sets of group numbers: nothing, each alone, each pair.
        shows: weight of every set of places, (sets, place sets); rows sum to 1. The row of a
            group outside the model is empty.
    """

    sets: tuple[frozenset[int], ...]
    shows: Floats


@dataclass(frozen=True)
class CircuitEvidence:
    """What a circuit makes of a case.

    Attributes:
        circuit: the circuit.
        family: the family it speaks of.
        findings: one a stage with readings; one "not run" where a complaint asks for it.
        problems: readings that could not be used.
        weights: of the present state, ``None`` without readings in it.
        chance: P(set of places at fault | present readings).
        shown: what may be said now.
        forecasts: cause id -> what would be read after that repair.
        measurements: the readings that the pack knows how to take.
    """

    circuit: Circuit
    family: str
    findings: tuple[Finding, ...] = ()
    problems: tuple[Problem, ...] = ()
    weights: CircuitWeights | None = None
    chance: Floats = field(default_factory=lambda: np.zeros(0))
    shown: Shown | None = None
    forecasts: Mapping[str, tuple[Forecast, ...]] = field(default_factory=dict)
    measurements: tuple[Measurement, ...] = ()


def circuit_evidence(circuit: Circuit, material: Material) -> CircuitEvidence | None:
    """Weigh the readings of a case for the first bound family that a complaint names."""
    families = material.complained()[:1]
    if not families:
        return None
    bench, family = material.bench, material.bench.knowledge.families[families[0]]
    collected = collect_readings(circuit, bench)
    known = tuple(m for m in family.measurements if m.modelled_by == circuit.id)
    if not collected.observed:
        missing = Finding(
            circuit.code, say.not_run(circuit.id), "not_run", _method(circuit),
            say.no_reading(circuit.id), stage=bench.last_stage(),
        )  # fmt: skip
        return CircuitEvidence(
            circuit, family.id, (missing,), collected.problems, measurements=known
        )
    groups = tuple(g.causes for g in circuit.groups)
    mapping = group_sets(circuit)
    prior = _share(circuit, material, family.id)
    findings: list[Finding] = []
    weights, chance, shown = None, np.zeros(0), None
    now = bench.last_stage()
    for stage in sorted({o.stage for o in collected.observed}):
        here = [o for o in collected.observed if o.stage == stage]
        weights = weigh_circuit(circuit, here)
        nothing = _NOTHING_AFTER if stage else circuit.nothing
        log_prior = log_prior_of(circuit, prior, family.second_cause, nothing, HUMILITY)
        chance = set_chances(weights, log_prior)
        shown = what_may_be_said(weights, chance)
        joint = JointSupport(family.id, groups, _by_groups(weights, mapping))
        findings.append(_finding(weights, chance, shown, joint, stage, last=stage == now))
    if weights is None or shown is None or max(o.stage for o in collected.observed) < now:
        return CircuitEvidence(
            circuit, family.id, tuple(findings), collected.problems, measurements=known
        )
    forecasts = repair_forecasts(weights, chance, bench.knowledge, family) if weights.fits else {}
    return CircuitEvidence(
        circuit, family.id, tuple(findings), collected.problems, weights, chance, shown,
        forecasts, known,
    )  # fmt: skip


def group_sets(circuit: Circuit) -> GroupSets:
    """Return nothing, every group and every pair of groups as mixtures of sets of places."""
    from_key = {s.key: n for n, s in enumerate(circuit.spots)}
    places: dict[frozenset[int], int] = {}
    count = len(circuit.spots)
    listed = [frozenset[int]()]
    listed += [frozenset((s,)) for s in range(count)]
    listed += [frozenset(p) for p in combinations(range(count), 2)]
    places = {s: n for n, s in enumerate(listed)}
    modelled = [n for n, g in enumerate(circuit.groups) if g.shows]
    sets = [frozenset[int](), *(frozenset((n,)) for n in range(len(circuit.groups)))]
    sets += [frozenset(p) for p in combinations(modelled, 2)]
    shows = np.zeros((len(sets), len(listed)))
    shows[0, 0] = 1.0
    for row, groups in enumerate(sets[1:], start=1):
        mixed = {frozenset[int](): 1.0}
        for number in groups:
            then: dict[frozenset[int], float] = {}
            for held, weight in mixed.items():
                for key, part in circuit.groups[number].shows.items():
                    both = held | {from_key[key]}
                    then[both] = then.get(both, 0.0) + weight * part
            mixed = then
        for held, weight in mixed.items():
            shows[row, places[held]] = weight
    return GroupSets(tuple(sets), shows)


def _by_groups(weights: CircuitWeights, mapping: GroupSets) -> dict[frozenset[int], float]:
    """Return the log likelihood of every set of groups."""
    if not weights.fits:
        return dict.fromkeys(mapping.sets, 0.0)
    top = weights.log_likelihood.max()
    mean = mapping.shows @ np.exp(weights.log_likelihood - top)
    outside = mapping.shows.sum(axis=1) == 0.0
    logs = np.where(outside, weights.log_other, np.log(np.maximum(mean, 1e-300)) + top)
    return {s: float(v) for s, v in zip(mapping.sets, logs, strict=True)}


def _share(circuit: Circuit, material: Material, family_id: str) -> dict[int, float]:
    """Return the share of every group: shares and clues as in the odds."""
    knowledge = material.bench.knowledge
    family = knowledge.families[family_id]
    said = family_evidence(material.bench.case, family, knowledge)
    share = shares(material.history, family.id, {c.id: c.prior for c in family.causes}).prior()
    product = multipliers(family.causes, said.clues, knowledge.conditions)
    return {
        number: sum(share.get(c, 0.0) * product.get(c, 1.0) for c in group.causes)
        for number, group in enumerate(circuit.groups)
    }


def _finding(
    weights: CircuitWeights,
    chance: Floats,
    shown: Shown,
    joint: JointSupport,
    stage: int,
    *,
    last: bool,
) -> Finding:
    circuit, here = weights.circuit, weights.observed
    text = _sentence(weights, chance, shown) if last else say.found_earlier(circuit.id, len(here))
    one = here[0] if len(here) == 1 else None
    return Finding(
        code=circuit.code,
        sentence=text,
        outcome="seen" if weights.fits else "inconclusive",
        reason="" if weights.fits else say.contradict(),
        method=_method(circuit),
        quantity=one.channel.quantity if one else None,
        point=one.point if one else None,
        evidence=Evidence(entries=tuple(dict.fromkeys(o.entry for o in here if o.entry))),
        source=say.assumption(),
        stage=stage,
        joint=joint,
        details=ReadingsModel(
            short=say.short(circuit.id, not last),
            fits=weights.fits,
            chi_square=round(weights.misfit, 2),
            chi_square_limit=round(weights.limit, 2),
            adaptive=True,
            uses_tests=_used(here),
            assumptions=(say.sizes_assumed(circuit.id), say.stages_apart()),
            level=shown.level if last else "",
            statement=text if last else "",
        ),
    )


def _used(here: Sequence[Observed]) -> tuple[str, ...]:
    return tuple(sorted({test for o in here for test in o.channel.uses}))


def _sentence(weights: CircuitWeights, chance: Floats, shown: Shown) -> str:
    circuit, count = weights.circuit.id, len(weights.observed)
    if shown.level == "none fits":
        return say.no_fault_known(circuit, count)
    if shown.level in {"healthy", "perhaps healthy"}:
        return say.found_healthy(circuit, count, shown.level == "healthy")
    if shown.level == "not decided":
        return say.not_decided(circuit, count, shown.places)
    size = ""
    if len(shown.places) == 1:
        told = sizes(weights, chance, shown.places[0])
        size = "" if told is None else say.size(
            circuit, shown.places[0], told.middle, told.low, told.high, told.unit
        )  # fmt: skip
    return say.found_place(circuit, count, shown.places, shown.level == "points to", size)


def _method(circuit: Circuit) -> str:
    return f"{circuit.code}/1"
