"""The odds of a case, family by family, as every face shows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from witnessmark.inference.family.doubt import doubt_of
from witnessmark.inference.family.family_belief import Belief, family_belief
from witnessmark.inference.family.learnt_tests import pooled_rows, results_by_test
from witnessmark.inference.family.likelihood import JUDGED_LOG_SD
from witnessmark.inference.family.links import link_factors, links_between
from witnessmark.inference.family.staged_evidence import (
    Stage,
    StagedEvidence,
    family_evidence,
    tests_used,
)
from witnessmark.inference.look_first import looks_waiting, parts_seen_bad
from witnessmark.inference.odds.statement import is_decided, statement, strength
from witnessmark.inference.odds.why import contributions, log_odds, looks_like, would_change
from witnessmark.knowledge import Family, Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.finding import Finding
from witnessmark.model.odds import CauseOdds, Odds
from witnessmark.model.shop_record import History
from witnessmark.words.say import assumed

__all__ = ["Judgement", "case_beliefs", "case_evidence", "case_odds", "judge", "odds_for"]

#: A trap is said aloud from this probability of a suspected cause on (judgement).
TRAP_FROM = 0.10
#: On an engine type that is known two readings name a part above this (judgement).
NAMED_WHEN_KNOWN = 0.80


def case_evidence(
    case: Case, knowledge: Knowledge, findings: Sequence[Finding] = ()
) -> dict[str, StagedEvidence]:
    """Return family id -> evidence, for every family that a complaint of the case names."""
    return {
        f: family_evidence(case, knowledge.families[f], knowledge, findings)
        for f in case.families()
        if f in knowledge.families
    }


@dataclass(frozen=True, slots=True)
class Judgement:
    """What a case's evidence comes to, worked out once.

    Attributes:
        odds: the odds of every complaint and family.
        beliefs: family id -> belief, linked families joined: the planner goes on from it.
        evidence: family id -> what the case says about it.
    """

    odds: tuple[Odds, ...]
    beliefs: Mapping[str, Belief]
    evidence: Mapping[str, StagedEvidence]


def judge(
    case: Case,
    knowledge: Knowledge,
    findings: Sequence[Finding] = (),
    history: History | None = None,
) -> Judgement:
    """Return the odds of every complaint and family of a case, and the beliefs behind them."""
    evidence = case_evidence(case, knowledge, findings)
    alone = _alone(evidence, knowledge, history)
    joined = _joined(alone, knowledge)
    made: dict[str, Odds] = {}  # complaints of one family share its evidence: weighed once
    odds = []
    for entry, complaint in case.complaints():
        for name in dict.fromkeys(complaint.families):
            if name not in evidence:
                continue
            if name not in made:
                family = knowledge.families[name]
                made[name] = _odds(family, entry.id, evidence, knowledge, alone, joined[name])
            odds.append(replace(made[name], complaint=entry.id))
    return Judgement(tuple(odds), joined, evidence)


def case_beliefs(
    evidence: Mapping[str, StagedEvidence],
    knowledge: Knowledge,
    history: History | None = None,
) -> dict[str, Belief]:
    """Return family id -> belief, the linked families joined."""
    return _joined(_alone(evidence, knowledge, history), knowledge)


def case_odds(
    case: Case,
    knowledge: Knowledge,
    findings: Sequence[Finding] = (),
    history: History | None = None,
) -> tuple[Odds, ...]:
    """Return the odds of every complaint and family of a case."""
    return judge(case, knowledge, findings, history).odds


def odds_for(
    family: Family,
    evidence: Mapping[str, StagedEvidence],
    knowledge: Knowledge,
    history: History | None = None,
    *,
    complaint: str = "",
) -> Odds:
    """Return the odds of one family with the why of every cause.

    Args:
        family: the family.
        evidence: family id -> evidence; the families besides *family* count through their links.
        knowledge: the packs.
        history: the shop's own closings.
        complaint: entry id of the complaint.
    """
    evidence = {family.id: StagedEvidence(), **evidence}
    alone = _alone(evidence, knowledge, history)
    joined = _joined(alone, knowledge)
    return _odds(family, complaint, evidence, knowledge, alone, joined[family.id])


def _alone(
    evidence: Mapping[str, StagedEvidence], knowledge: Knowledge, history: History | None
) -> dict[str, Belief]:
    """Return family id -> belief from its own evidence alone."""
    return {
        family: family_belief(
            knowledge.families[family],
            mine,
            history,
            conditions=knowledge.conditions,
            links=knowledge.links,
        )
        for family, mine in evidence.items()
    }


def _joined(alone: Mapping[str, Belief], knowledge: Knowledge) -> dict[str, Belief]:
    factors = link_factors(knowledge.links, alone) if len(alone) > 1 else {}
    return {f: b.reweighted(factors[f]) if f in factors else b for f, b in alone.items()}


def _odds(
    family: Family,
    complaint: str,
    evidence: Mapping[str, StagedEvidence],
    knowledge: Knowledge,
    alone: Mapping[str, Belief],
    belief: Belief,
) -> Odds:
    mine = evidence[family.id]
    others = {f: b for f, b in alone.items() if f != family.id}

    def believe(pieces: StagedEvidence) -> Belief:
        found = family_belief(family, pieces, model=belief.model)
        # What the other complaints say does not hang on this one's evidence.
        return found if message is None else found.reweighted(message)

    message = link_factors(knowledge.links, alone).get(family.id) if others else None
    chances = belief.marginals()
    whys = contributions(
        family, knowledge, mine, belief, believe, _unlinked(family, knowledge, alone)
    )
    alike = looks_like(belief) if _has_findings(mine) else [()] * len(family.causes)
    changes = would_change(belief, family)
    doubt = doubt_of(belief)
    start = family_belief(family, StagedEvidence(), model=belief.model).marginals()
    rest = log_odds(chances) - log_odds(start) - [sum(w.effect for w in why) for why in whys]
    order = np.argsort(-chances, kind="stable")
    causes = tuple(
        CauseOdds(
            cause=family.causes[i].id,
            name=family.causes[i].name,
            probability=float(chances[i]),
            zone=family.causes[i].zone,
            why=whys[i],
            looks_like=alike[i],
            would_change=changes[i],
            low=float(doubt.low[i]),
            high=float(doubt.high[i]),
            before=float(start[i]),
            together=float(rest[i]),
        )
        for i in order
    )
    zones = [
        (zone, belief.any_of([c.id for c in family.causes if c.zone == zone]))
        for zone in family.zones
    ]
    named = _may_name(mine) or _type_known(mine, causes[0].probability)
    since = _found_since_work(mine)
    bad = parts_seen_bad(family, mine)
    causes = tuple(
        replace(c, strength=strength(c, leads=k == 0, named=named, since=since, seen_bad=bad))
        for k, c in enumerate(causes)
    )
    fits = all(f.details.fits is not False for f in _now(mine))
    waiting = {look.cause: look for look in looks_waiting(family, mine)}
    return Odds(
        family=family.id,
        complaint=complaint,
        decided=fits and named and since and is_decided(belief, causes, waiting),
        zones=tuple(sorted(zones, key=lambda z: -z[1])),
        causes=causes,
        two_causes=belief.two_or_more(),
        none_listed=belief.none_present(),
        nothing_wrong=belief.healthy(),
        statement=statement(
            family,
            belief,
            causes,
            fits,
            named,
            _has_findings(mine),
            waiting,
            since=since,
            conflict=next((f.details.conflict for f in _now(mine) if f.details.conflict), ""),
        ),
        packs=knowledge.digests,
        effective_samples=_samples(mine),
        assumptions=_assumptions(family, mine, belief, knowledge, others),
        fits=fits,
        stage=len(mine.stages) - 1,
        traps=_traps(family, mine, belief),
        scope=family.scope,
    )


def _unlinked(
    family: Family, knowledge: Knowledge, alone: Mapping[str, Belief]
) -> dict[str, Belief]:
    """Return the name of each linked complaint -> the belief without what was found for it."""
    found = {}
    for other in alone:
        if other == family.id or not links_between(
            knowledge.links, {f: alone[f] for f in (family.id, other)}
        ):
            continue
        rest = {f: b for f, b in alone.items() if f != other}
        found[knowledge.families[other].name] = _joined(rest, knowledge)[family.id]
    return found


def _assumptions(
    family: Family,
    evidence: StagedEvidence,
    belief: Belief,
    knowledge: Knowledge,
    others: Mapping[str, Belief],
) -> tuple[str, ...]:
    history = belief.model.history
    closings = history.closings_of(family.id) if history is not None else ()
    proven = sum(1 for c in closings if c.proven)
    results = results_by_test(history, family)
    kinds = sorted({c.source.kind for c in family.causes} | {t.source.kind for t in family.tests})
    said = [
        assumed.shares(kinds, proven, results),
        assumed.before_findings(family.second_cause, family.none_listed),
    ]
    pool = history.pool if history is not None else None
    shared = pooled_rows(history, family)
    if pool is not None and shared:
        shops = max(pool.tests[family.id][test].shops for test in shared)
        said.insert(
            1, assumed.pooled_results(len(shared), shops, min(w for _, w in shared.values()))
        )
    names_of = {c.id: c.name for c in family.causes}
    said += [
        assumed.found_together(pair.odds, [names_of[c] for c in pair.causes], family.source.kind)
        for pair in family.together
    ]
    if any(t.source.kind == "judgement" for t in family.tests):
        said.append(assumed.judged_tables(float(np.exp(JUDGED_LOG_SD))))
    recorded, family_tests = evidence.recorded_tests(), {t.id for t in family.tests}
    for clue in evidence.clues:
        condition = knowledge.conditions.get(clue.condition)
        if condition is None:
            continue
        if condition.part_scoped and not clue.cause:
            said.append(assumed.which_part(condition.words))
        seen_too = [t for t in condition.overlapped_by if t in family_tests & recorded]
        if seen_too:
            sees = family.test(seen_too[0])
            said.append(assumed.test_sees_it(condition.words, sees.name if sees else seen_too[0]))
    alike = [
        [t.name for t in family.tests if t.id in sign.reporters and t.id in belief.results]
        for sign in belief.model.signs
    ]
    said += [assumed.one_sign(names) for names in alike if len(names) > 1]
    weights = belief.model.weights(belief.said(), belief.halved)
    weak = [t for t, w in weights.items() if w < 1.0]
    if weak:
        names = [t.name for t in family.tests if t.id in weak]
        said.append(assumed.part_weight(names))
    said += [
        assumed.joined(link.words)
        for link in links_between(knowledge.links, {family.id: belief, **others})
        if set(link.causes + link.other) & set(belief.causes)
    ]
    for finding in _now(evidence):
        said += finding.details.assumptions
    return tuple(said)


def _traps(family: Family, evidence: StagedEvidence, belief: Belief) -> tuple[str, ...]:
    """Return the pack's traps that threaten now."""
    chance = dict(zip(belief.causes, belief.marginals(), strict=True))
    seen = {c.condition for c in evidence.clues if c.seen is True}
    results = {
        **dict(evidence.read),
        **{t.test: t.result for s in evidence.stages for t in s.tests},
    }
    looked = set(results) | {t for f in _now(evidence) for t in tests_used(f)}
    threatening = (
        trap.words
        for trap in family.traps
        if (not trap.suspected or any(chance[c] >= TRAP_FROM for c in trap.suspected))
        and all(c in seen for c in trap.clues)
        and all(_is_result(family, results.get(t, ""), t, r) for t, r in trap.tests)
        and not (trap.unless and all(t in looked for t in trap.unless))
    )
    return tuple(dict.fromkeys(threatening))


def _is_result(family: Family, got: str, identity: str, wanted: str) -> bool:
    """Whether a recorded result is the wanted one; 'positive' means any way of being positive."""
    test = family.test(identity)
    if test is None or got in {"", "maybe"}:
        return got != "" and got == wanted
    if wanted not in (*test.outcomes, "positive", "negative"):
        return False  # a shop's own pack has changed the outcomes
    return set(test.outcome_set(got)) <= set(test.outcome_set(wanted))


def _has_findings(evidence: StagedEvidence) -> bool:
    return any(s.tests or _naming(s) for s in evidence.stages)


def _found_since_work(evidence: StagedEvidence) -> bool:
    """Whether anything was tested or measured since the latest work; a word is no measurement."""
    last = evidence.stages[-1]
    return last.work is None or bool(last.tests or _naming(last))


def _may_name(evidence: StagedEvidence) -> bool:
    """Clues alone, or two readings alone, never name one part."""
    if evidence.recorded_tests():
        return True
    findings = [f for s in evidence.stages for f in _naming(s)]
    readings = {e for f in findings for e in f.evidence.entries}
    recordings = {f.evidence.recording for f in findings} - {None}
    outcomes = any(s.outcomes for s in evidence.stages)
    return len(readings) >= 3 or bool(recordings) or outcomes


def _naming(stage: Stage) -> tuple[Finding, ...]:
    """Return the findings of a stage without those that only point."""
    return tuple(f for f in stage.findings if not f.details.only_points)


def _type_known(evidence: StagedEvidence, probability: float) -> bool:
    """Whether two readings may name a part: its engine type is known and it stands above 80 %."""
    known = any(f.details.type_known is True for f in _now(evidence))
    return known and probability > NAMED_WHEN_KNOWN


def _now(evidence: StagedEvidence) -> tuple[Finding, ...]:
    return evidence.stages[-1].findings


def _samples(evidence: StagedEvidence) -> float | None:
    found = [f.details.effective_samples for f in _now(evidence)]
    return min((float(n) for n in found if n is not None), default=None)
