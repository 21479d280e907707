"""The fuel supply model at work on a case: readings -> findings, forecasts, what may be said.

For every stage that has readings one finding carries a :class:`JointSupport` over the groups of
``fuel_groups``. That of stage 0 is log P(readings | set at fault); that of a later stage is what
its readings *add* given all before them, over the sets at fault in that stage: the odds use
the findings one after the other, with the repair between them, and nothing counts twice.

Rated are nothing, every group alone, every pair of modelled groups, "other" alone, and the sets
that work has made of them. A set of more groups is taken as the mean likelihood of its largest
rated subsets (the odds' own rule): a third fault is believed only as far as two of the three
explain the readings, and its prior keeps it small.

The bubbles of a clear hose, renewed filters and other clues reach the odds through the pack's
tests and conditions; here they only shape the model's own weights (forecasts, next measurement),
never the JointSupport, so they count once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from witnessmark.analyses.an_analysis import Reading
from witnessmark.inference.family.prior import multipliers
from witnessmark.inference.family.staged_evidence import family_evidence
from witnessmark.inference.fuel.draws.fuel_posterior import (
    ENOUGH,
    ENOUGH_AFTER_WORK,
    Floats,
    FuelPosterior,
    default_log_prior,
    infer,
)
from witnessmark.inference.fuel.draws.fuel_samples import Repair
from witnessmark.inference.fuel.draws.fuel_table import PriorTable
from witnessmark.inference.fuel.draws.fuel_types import table_for
from witnessmark.inference.fuel.fuel_curves import picture_data
from witnessmark.inference.fuel.fuel_forecast import Band, gallery_points, repair_forecasts
from witnessmark.inference.fuel.fuel_gauge_known import (
    gauge_factor,
    gauge_finding,
    of_the_truck,
    one_word,
    regulator_factor,
    without_vacuum,
)
from witnessmark.inference.fuel.fuel_groups import (
    FAMILY,
    GAUGE,
    GROUPS,
    HYPOTHESES,
    OTHER,
    RETURN,
    TESTS_USED,
    TOGETHER,
    group_of,
)
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    GALLERY,
    VACUUM,
    Key,
    Observation,
)
from witnessmark.inference.fuel.fuel_readings import (
    bubbles,
    cause_share,
    collect,
    contradictions,
    impossible,
    repairs,
)
from witnessmark.inference.fuel.fuel_words import (
    Presentation,
    present_fuel,
    zone_probabilities,
)
from witnessmark.inference.look_first import OneWord, looks_waiting
from witnessmark.inference.onset import mean_factor, onset_of
from witnessmark.inference.shop_history import shares
from witnessmark.knowledge import Family, Knowledge
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.details.reading_details import ModelRefused, ReadingsModel
from witnessmark.model.entries.case import Case
from witnessmark.model.finding import Evidence, Finding, JointSupport, OperatingPoint
from witnessmark.model.fuel_baseline import FuelBaseline
from witnessmark.model.problem import Problem
from witnessmark.model.shop_record import History
from witnessmark.model.step import Forecast
from witnessmark.words.say import fuel as say

__all__ = ["METHOD", "MODEL_ID", "FuelEvidence", "fuel_evidence"]

METHOD = "fuel_supply/1"
#: What a pack writes under ``modelled_by``.
MODEL_ID = "fuel"
CODE = "fuel_supply_model"
#: From this chance on a second side is named in the finding.
_WORTH_NAMING = 0.10


@dataclass(frozen=True)
class FuelEvidence:
    """What the fuel model makes of a case.

    Attributes:
        findings: one a stage with readings; one "not run" where a complaint asks for it.
        problems: readings that could not be used.
        posterior: the model's own posterior now, ``None`` when it did not run.
        table: its prior draws.
        forecasts: cause id -> what the gallery would read after that repair.
        presentation: what may be said now.
        assumptions: what the numbers rest on.
        bands: healthy band of the gallery by operating point [Pa].
        repairs: the work done.
        measurements: the readings that the pack knows how to take.
        one_word: where every pressure was read with one gauge and none was held against it.
    """

    findings: tuple[Finding, ...] = ()
    problems: tuple[Problem, ...] = ()
    posterior: FuelPosterior | None = None
    table: PriorTable | None = None
    forecasts: Mapping[str, tuple[Forecast, ...]] = field(default_factory=dict)
    presentation: Presentation | None = None
    assumptions: tuple[str, ...] = ()
    bands: Mapping[Key, Band] = field(default_factory=dict)
    repairs: tuple[Repair, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    one_word: OneWord | None = None


def fuel_evidence(
    case: Case,
    knowledge: Knowledge | None = None,
    *,
    history: History | None = None,
    baseline: FuelBaseline | None = None,
    bus: Sequence[Reading] = (),
    family_id: str = FAMILY,
) -> FuelEvidence:
    """Weigh the fuel readings of a case.

    Args:
        case: the entries.
        knowledge: the packs (priors, bands); the model's own assumed shares without them.
        history: the shop's own closings, for the shares.
        baseline: healthy readings of this engine's type; without it the type is unknown.
        bus: what the bus sensor read at the steady points of the case's recordings.
        family_id: the family it speaks of.
    """
    if family_id not in case.families():
        return FuelEvidence()
    truck = case.truck()
    if truck is not None and truck.engine.fuel_supply == "common_rail":
        return FuelEvidence((_not_run(say.rail_engine()),))
    collected = collect(case, bus)
    if not collected.observations:
        return FuelEvidence((_not_run(say.no_reading()),), collected.problems)
    family = knowledge.families.get(family_id) if knowledge is not None else None
    mine = baseline if _same_type(case, baseline) else None
    table = table_for(mine)
    usable, bad = impossible(collected.observations, table)
    usable, dropped, pushed = without_vacuum(case, usable)
    bad = (*bad, *dropped)
    conflict = contradictions(usable)
    problems = (*collected.problems, *bad, *conflict)
    if not usable:
        none = _none_usable(collected.observations, bad)
        return FuelEvidence((none,), problems, table=table)
    done = repairs(case, family)
    entered = {o.entry: o.stage for o in usable}
    steps = [r.after_stage for r in done]
    usable = tuple(replace(o, stage=sum(s <= o.stage for s in steps)) for o in usable)
    done = tuple(replace(r, after_stage=i + 1) for i, r in enumerate(done))
    factor, known_by = gauge_factor(case, usable)
    judged = (*gauge_finding(factor, known_by, family_id), *of_the_truck(case, family_id))
    prior = _log_prior(case, knowledge, family, history, factor)
    seen = bubbles(case)
    posterior = infer(table, usable, log_prior=prior, repairs=done, bubbles=seen)
    at_first = posterior
    before = [o for o in usable if o.stage == 0]
    if done and before:
        # the draws that survive the readings after the work are too few to judge those before it
        at_first = infer(table, before, log_prior=prior, bubbles=[b for b in seen if b[0] == 0])
    against = next((p for p in conflict if _now(p, usable)), None)
    fits = posterior.fits and against is None
    bands = _bands(case, knowledge, usable)
    latest = max(o.stage for o in usable)
    zones = zone_probabilities(posterior.batch.labels[-1], posterior.weight)
    shown = present_fuel(
        posterior.group_probabilities(),
        zones,
        posterior.healthy(),
        readings=sum(o.stage == latest for o in usable),
        type_known=table.prior.known,
        fits=fits,
        seat_seen=family is None
        or knowledge is None
        or not looks_waiting(family, family_evidence(case, family, knowledge)),
    )
    assumptions = _assumptions(posterior, table)
    if pushed:
        assumptions = (*assumptions, say.pushed())
    listed = family.measurements if family is not None else ()
    known = tuple(
        m
        for m in listed
        if m.modelled_by == MODEL_ID and not (pushed and VACUUM in {q for q, _, _ in m.readings})
    )
    findings = (
        *_findings(
            usable,
            entered,
            posterior,
            at_first,
            shown,
            fits,
            table,
            assumptions,
            family_id,
            against.what if against is not None else "",
        ),
        *judged,
    )
    return FuelEvidence(
        findings=findings,
        problems=problems,
        posterior=posterior,
        table=table,
        forecasts=_forecasts(posterior, family, bands) if fits else {},
        presentation=shown,
        assumptions=assumptions,
        bands=bands,
        repairs=done,
        measurements=known,
        one_word=one_word(case, usable, known, done, bands),
    )


def _findings(
    usable: Sequence[Observation],
    entered: Mapping[str, int],
    posterior: FuelPosterior,
    at_first: FuelPosterior,
    shown: Presentation,
    fits: bool,
    table: PriorTable,
    assumptions: tuple[str, ...],
    family_id: str,
    conflict: str,
) -> tuple[Finding, ...]:
    stages = sorted({o.stage for o in usable})
    found = []
    for stage in stages:
        here = [o for o in usable if o.stage == stage]
        judged = posterior if stage else at_first
        # what was read before the work may be explained where what came after it is not
        explained = fits if judged is posterior else judged.fits
        sets = judged.set_log_likelihoods(stage)
        if not explained:
            sets = dict.fromkeys(HYPOTHESES, 0.0)
        elif judged.effective < ENOUGH_AFTER_WORK:
            sets = _widened(sets, judged.effective)
        last = stage == stages[-1]
        text = _sentence(len(here), shown, fits) if last else say.found_earlier(len(here))
        # a gauge far beside a trusted one is no matter of the circuit: the pack's own test says it
        weighed = [o.quantity for o in here if explained or o.quantity != CHECK]
        used = sorted({t for quantity in weighed for t in TESTS_USED.get(quantity, ())})
        found.append(
            Finding(
                code=CODE,
                sentence=text,
                outcome="seen" if explained else "inconclusive",
                reason="" if explained else say.contradict(),
                method=METHOD,
                quantity=here[0].quantity if len(here) == 1 else None,
                point=OperatingPoint(here[0].key.rpm, here[0].key.load) if len(here) == 1 else None,
                evidence=Evidence(entries=tuple(dict.fromkeys(o.entry for o in here if o.entry))),
                source=say.assumption(),
                stage=max(entered[o.entry] for o in here),
                joint=JointSupport(family_id, tuple(g.causes for g in GROUPS), sets),
                details=ReadingsModel(
                    short=say.short(not last),
                    fits=explained,
                    chi_square=round(judged.chi_square, 2),
                    chi_square_limit=round(judged.limit, 2),
                    effective_samples=round(judged.effective),
                    adaptive=judged.adapted,
                    type_known=table.prior.known,
                    uses_tests=tuple(used),
                    assumptions=assumptions,
                    level=shown.level if last else "",
                    statement=shown.statement if last else "",
                    conflict=conflict if last else "",
                    picture=picture_data(table, posterior) if last and fits else None,
                    looks_like=tuple(
                        (GROUPS[a].causes, GROUPS[b].causes, words)
                        for a, b, words in (shown.looks_like if last else ())
                    ),
                ),
            )
        )
    return tuple(found)


def _widened(sets: Mapping[frozenset[int], float], effective: float) -> dict[frozenset[int], float]:
    """Return log likelihoods drawn towards the best one where few draws carry them (judgement)."""
    best, part = max(sets.values()), float(np.sqrt(effective / ENOUGH_AFTER_WORK))
    return {groups: best + part * (value - best) for groups, value in sets.items()}


def _sentence(count: int, shown: Presentation, fits: bool) -> str:
    """Say in short what the model makes of the present readings; the odds give the numbers."""
    if not fits:
        return say.no_fault_known(count)
    if shown.level == "healthy":
        return say.found_healthy(count)
    if shown.level == "perhaps healthy":
        return say.found_perhaps_healthy(count)
    (first, _), (second, chance) = shown.zones[:2]
    return say.found_side(count, first, second if chance >= _WORTH_NAMING else "")


def _forecasts(
    posterior: FuelPosterior, family: Family | None, bands: Mapping[Key, Band]
) -> dict[str, tuple[Forecast, ...]]:
    causes = {
        cause: (number, cause_share(cause, family))
        for number, group in enumerate(GROUPS)
        if number != OTHER
        for cause in group.causes
    }
    return repair_forecasts(posterior, causes, gallery_points(posterior), bands)


def _bands(
    case: Case, knowledge: Knowledge | None, usable: Sequence[Observation]
) -> dict[Key, Band]:
    if knowledge is None:
        return {}
    truck = case.truck()
    engine_type = truck.engine.type if truck is not None else None
    found: dict[Key, Band] = {}
    keys = {o.key for o in usable if o.quantity == GALLERY} | {Key(650.0), Key(1500.0)}
    for key in keys:
        point = OperatingPoint(key.rpm, key.load, warm=True)
        bands = knowledge.bands_at(GALLERY, point, fuel_supply="gallery", engine_type=engine_type)
        if bands:
            found[key] = (bands[0].low, bands[0].high)
    return found


def _log_prior(
    case: Case,
    knowledge: Knowledge | None,
    family: Family | None,
    history: History | None,
    gauge: float,
) -> Floats:
    """Return the log prior of every hypothesis: shares, clues and second causes as in the odds.

    Without packs the model's own assumed shares are taken.
    """
    if family is None or knowledge is None:
        groups = [g.share for g in GROUPS]
        factors = [1.0] * len(GROUPS)
        two, together = 0.20, TOGETHER
    else:
        said = family_evidence(case, family, knowledge)
        share = shares(history, family.id, {c.id: c.prior for c in family.causes}).prior()
        product = multipliers(family.causes, said.clues, knowledge.conditions)
        known = {c: share.get(c, 0.0) * product.get(c, 1.0) for g in GROUPS for c in g.causes}
        groups = [sum(known[c] for c in g.causes) for g in GROUPS]
        suddenly = onset_of(case, family.onset)[0]
        factors = [mean_factor(family.onset, g.causes, suddenly, known) for g in GROUPS]
        two, together = family.second_cause, _together(family, known)
    factors[GAUGE] *= gauge
    factors[RETURN] *= regulator_factor(case)
    chances = [s * f for s, f in zip(groups, factors, strict=True)]
    return default_log_prior(chances, two=two, together=together)


def _together(family: Family, known: Mapping[str, float]) -> dict[frozenset[int], float]:
    """Return the factor on pairs of groups whose causes are found together."""
    found: dict[frozenset[int], float] = {}
    for pair in family.together:
        groups = [group_of(c) for c in pair.causes]
        if None in groups or groups[0] == groups[1]:
            continue
        # only the named cause's part of a group has the factor
        part = 1.0
        for group, cause in zip(groups, pair.causes, strict=True):
            whole = sum(known.get(c, 0.0) for c in GROUPS[group or 0].causes)
            part *= known.get(cause, 0.0) / whole if whole > 0.0 else 0.0
        both = frozenset(g for g in groups if g is not None)
        found[both] = found.get(both, 1.0) * (1.0 + (pair.odds - 1.0) * part)
    return found


def _assumptions(posterior: FuelPosterior, table: PriorTable) -> tuple[str, ...]:
    said = [say.assumption(), say.engine_type(table.prior.known), say.draws(posterior.effective)]
    if posterior.effective < ENOUGH_AFTER_WORK:
        said.append(say.thin_draws())
    elif posterior.effective < ENOUGH:
        said.append(say.few_draws())
    return tuple(said)


def _same_type(case: Case, baseline: FuelBaseline | None) -> bool:
    truck = case.truck()
    if baseline is None or truck is None or truck.engine.type is None:
        return False
    return truck.engine.type == baseline.engine_type


def _now(problem: Problem, usable: Sequence[Observation]) -> bool:
    latest = max(o.stage for o in usable)
    return any(o.entry and o.entry in problem.where and o.stage == latest for o in usable)


def _not_run(reason: str) -> Finding:
    return Finding(
        code=CODE,
        sentence=say.not_run(),
        outcome="not_run",
        reason=reason,
        method=METHOD,
    )


def _none_usable(observations: Sequence[Observation], bad: Sequence[Problem]) -> Finding:
    return Finding(
        code=CODE,
        sentence=say.none_possible(),
        outcome="inconclusive",
        reason=bad[0].what if bad else say.none_usable(),
        method=METHOD,
        evidence=Evidence(entries=tuple(o.entry for o in observations if o.entry)),
        details=ModelRefused(fits=False),
        stage=max(o.stage for o in observations),
    )
