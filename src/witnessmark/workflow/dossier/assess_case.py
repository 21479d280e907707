"""Assess a case: entries and recordings -> findings, odds, next steps, proof."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.analyses.run_all import run_all
from witnessmark.errors import NothingUsable
from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.look_first import looks_waiting, parts_seen_bad
from witnessmark.inference.models import Model, ModelEvidence, weigh
from witnessmark.inference.odds.case_odds import Judgement, judge
from witnessmark.inference.odds.statement import WORTH_NAMING
from witnessmark.inference.onset import onset_findings
from witnessmark.inference.proof_and_odds import as_far_as_odds_agree
from witnessmark.inference.proof_of_cure import prove
from witnessmark.knowledge import Cause, Knowledge, load_knowledge
from witnessmark.knowledge.called_now import as_called_now
from witnessmark.knowledge.own.own_family import with_own_lists
from witnessmark.knowledge.standing import Standing
from witnessmark.model.dossier import Dossier, DossierStage
from witnessmark.model.entries.agreed_data import ApprovalData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.finding import Finding
from witnessmark.model.fuel_baseline import FuelBaseline
from witnessmark.model.odds import Odds
from witnessmark.model.problem import Problem
from witnessmark.model.proof import Proof
from witnessmark.model.recording import Recording
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.model.step import Forecast, Spread, Step
from witnessmark.planner.decision import decisions
from witnessmark.planner.estimate.approvals import ledger
from witnessmark.planner.order.brought_in import brought_in
from witnessmark.planner.order.first_reading import first_reading
from witnessmark.planner.order.progress import Progress, progress
from witnessmark.planner.order.until_read_again import until_read_again
from witnessmark.planner.own_way import overridden_stops
from witnessmark.planner.ranked_steps import HEALTHY_FROM, FamilyState, rank_steps
from witnessmark.planner.ranking.costs import shop_minutes, shop_parts
from witnessmark.planner.ranking.owner_money import owner_money
from witnessmark.words.say import odds as say_odds
from witnessmark.workflow.case.case_file import read_case_file
from witnessmark.workflow.case.check_ids import check_ids
from witnessmark.workflow.dossier.advice import advice
from witnessmark.workflow.dossier.of_a_trailer import not_of_it, with_a_tractor
from witnessmark.workflow.dossier.standing_of_file import model_versions, standing_of_file
from witnessmark.workflow.dossier.under_stops import findings_under, odds_under, proofs_under
from witnessmark.workflow.dossier.what_is_known import what_is_known
from witnessmark.workflow.recordings.case_recordings import recordings_beside

__all__ = ["assess", "assess_file", "dossier", "findings_of"]


def assess(
    case: Case,
    recordings: Mapping[str, Recording],
    *,
    problems: Sequence[Problem] = (),
    knowledge: Knowledge | None = None,
    history: History | None = None,
    settings: Settings | None = None,
    baseline: FuelBaseline | None = None,
    technician: str = "",
) -> Dossier:
    """Return :func:`dossier` of a case with the standing given piece by piece.

    Args:
        case: the entries.
        recordings: entry id of a recording entry -> what a reader made of its file.
        problems: what went wrong while the recordings were read.
        knowledge: the packs; the shipped ones when not given.
        history: what the shop has learnt; nothing when not given.
        settings: rates and times; the defaults when not given.
        baseline: healthy readings of this engine's type, where the shop has any.
        technician: who works on the truck; his own times count for the next step.
    """
    standing = Standing(
        knowledge or load_knowledge(),
        settings or Settings(),
        history,
        baseline,
        technician,
        model_versions(),
    )
    return dossier(case, recordings, standing, problems=problems)


def findings_of(bench: Bench) -> tuple[Finding, ...]:
    """Return what the analyses and the models find, without odds, steps and proofs.

    For many recordings without a case of their own: a screening asks nothing else.
    """
    modelled = (f for _, evidence in weigh(bench) for f in evidence.findings)
    return _by_stage((*run_all(bench), *modelled))


def dossier(
    case: Case,
    recordings: Mapping[str, Recording],
    standing: Standing,
    *,
    problems: Sequence[Problem] = (),
    parts: Mapping[str, str] | None = None,
) -> Dossier:
    """Return everything the entries of a case come to. Pure: same input, same answer.

    Nothing else in the house works out odds, steps or proofs of a case.

    Args:
        case: the entries.
        recordings: entry id of a recording entry -> what a reader made of its file.
        standing: everything else that the answer depends on.
        problems: what went wrong while the recordings were read.
        parts: digests of what it depends on, where the caller keeps dossiers by them.
    """
    depends_on = standing.digest
    standing = replace(standing, knowledge=with_own_lists(standing.knowledge, case))
    knowledge, history, baseline = standing.knowledge, standing.history, standing.baseline
    case = as_called_now(case, knowledge)
    bench = Bench(case, recordings, knowledge, case.stages())
    weighed = weigh(bench, history=history, baseline=baseline)
    named = [knowledge.families[f] for f in case.families() if f in knowledge.families]
    onset, unclear = onset_findings(case, named)
    modelled = (f for _, evidence in weighed for f in evidence.findings)
    findings = _by_stage((*run_all(bench), *modelled, *onset))
    judged = judge(case, knowledge, findings, history)
    proofs = as_far_as_odds_agree(
        prove(case, knowledge.proof_plans(), pairs(bench), findings, knowledge),
        judged.odds,
        _weighed_now(weighed, case.works()),
    )
    found = [*case.problems, *problems, *check_ids(case, knowledge), *unclear]
    found += not_of_it(case, knowledge)
    found += [problem for _, evidence in weighed for problem in evidence.problems]
    for recording in recordings.values():
        found += recording.problems
    if any(case.of(QuoteData)) or any(case.of(ApprovalData)):
        found += ledger(case, standing.settings).problems
    done = progress(case, knowledge.families.values(), *_seen_now(bench, findings))
    brought = brought_in(done.facts, knowledge.conditions)
    unread = until_read_again(case, named, knowledge.links)
    steps = _steps(done, case, standing, judged, proofs, weighed, unread)
    steps = with_a_tractor(steps, case, knowledge)
    stops = [s for s in steps if s.kind == "safety"]
    told, last = findings_under(findings, stops, knowledge), case.works()
    earlier = tuple(_earlier(case, standing, findings, told))
    shown = (_as_before(o, earlier, unread, case, knowledge) for o in judged.odds)
    now = DossierStage(
        evidence=judged.evidence,
        findings=tuple(f for f in told if f.stage >= last),
        odds=tuple(odds_under(_once_proven(o, proofs), stops, knowledge) for o in shown),
        steps=steps,
    )
    made = Dossier(
        case=case,
        standing=depends_on,
        problems=tuple(dict.fromkeys(found)),
        stages=(*earlier, now),
        proofs=tuple(proofs_under(proof, stops) for proof in proofs),
        packs=knowledge.digests,
        parts=parts or {},
        overridden=overridden_stops(case, knowledge),
        decisions=decisions(steps, now.odds, knowledge, partial(_repair_takes, standing), unread),
        does_not_run=brought.does_not_run,
    )
    return replace(
        made,
        advice=advice(made, standing),
        known=what_is_known(made, knowledge, done.facts, judged.beliefs),
    )


def _repair_takes(standing: Standing, cause: Cause) -> tuple[Spread, Spread]:
    """Return what a repair takes in this shop by itself: its minutes and its parts."""
    known = (cause, standing.history, standing.technician)
    markup = standing.settings.parts_markup_percent
    return shop_minutes(*known), shop_parts(*known, markup_percent=markup)


def _earlier(
    case: Case, standing: Standing, findings: Sequence[Finding], told: Sequence[Finding]
) -> Iterator[DossierStage]:
    """Yield what was known just before each work: entries and findings up to then, none later."""
    places = [place for place, entry in enumerate(case.live()) if entry.kind == "work"]
    for stage, place in enumerate(places):
        known = [f for f in findings if f.stage <= stage]
        then = Case(case.id, case.live()[:place])
        judged = judge(then, standing.knowledge, known, standing.history)
        here = tuple(f for f in told if f.stage == stage)
        yield DossierStage(judged.evidence, here, judged.odds)


def _as_before(
    odds: Odds,
    earlier: Sequence[DossierStage],
    unread: Mapping[str, int],
    case: Case,
    knowledge: Knowledge,
) -> Odds:
    """Return the odds of a family; those from before a work that nobody has read after."""
    stage = unread.get(odds.family)
    if stage is None:
        return odds
    mine = (
        o for o in earlier[stage].odds if (o.family, o.complaint) == (odds.family, odds.complaint)
    )
    then = next(mine, None)
    if then is None:
        return odds
    causes = dict.fromkeys(w.cause for _, w in list(case.of(WorkData))[stage:] if w.cause)
    done = [c.name if (c := knowledge.cause(i)) is not None else i for i in causes]
    first = then.causes[0].name if then.causes else ""
    text = say_odds.until_read_again(first, done)
    return replace(then, statement=text, decided=False)


def _seen_now(
    bench: Bench, findings: Sequence[Finding]
) -> tuple[frozenset[str], frozenset[tuple[int, int]]]:
    """Return the findings that were seen and the trouble codes read in the present state."""
    stage = bench.last_stage()
    seen = frozenset(f.code for f in findings if f.outcome == "seen" and f.stage == stage)
    now = (r for entry, r in bench.recordings.items() if bench.stage(entry) == stage)
    return seen, frozenset((c.spn, c.fmi) for r in now for c in r.trouble_codes)


def _steps(
    done: Progress,
    case: Case,
    standing: Standing,
    judged: Judgement,
    proofs: Sequence[Proof],
    weighed: Sequence[tuple[Model, ModelEvidence]],
    unread: Mapping[str, int],
) -> tuple[Step, ...]:
    knowledge, families = standing.knowledge, standing.knowledge.families
    offered = {m.id: m.proposals(evidence) for m, evidence in weighed}
    proven = {p.complaint for p in proofs if p.verdict == "proven"}
    states = []
    for o in judged.odds:
        if o.complaint in proven:
            continue
        family, mine = families[o.family], judged.evidence[o.family]
        needs = [n for m, e in weighed if o.family in e.families for n in m.needs]
        read = {quantity for need in needs for quantity in need.quantities}
        looks = looks_waiting(family, mine)
        states.append(
            FamilyState(
                family=family,
                belief=judged.beliefs[o.family],
                complaint=o.complaint,
                tests_done=done.tests | _answered(judged.beliefs[o.family]),
                repaired=done.repaired,
                fits=o.fits,
                candidates=tuple(
                    c for every in offered.values() for c in every if c.family == o.family
                ),
                forecasts=_forecasts(o.family, weighed),
                waiting=frozenset(look.cause for look in looks),
                looks_waiting=looks,
                seen_bad=parts_seen_bad(family, mine),
                first=first_reading(case, family, read),
                opening_waits=any(m.opening_waits(e) for m, e in weighed if o.family in e.families),
                one_word=next((e.one_word for _, e in weighed if o.family in e.families), None),
                measured=family.nothing_wrong > 0.0 and _measured(o.family, weighed),
                unread=o.family in unread,
            )
        )
    steps = rank_steps(
        states,
        settings=standing.settings,
        access_groups=knowledge.access_groups,
        links=knowledge.links,
        history=standing.history,
        progress=done,
        truck_stops=knowledge.stops_beside([o.family for o in judged.odds]),
        technician=standing.technician,
        money=owner_money(case, standing.settings),
        brought=brought_in(done.facts, knowledge.conditions, [s.family for s in states]),
    )
    again = {
        f"remeasure_{p.family}"
        for p in proofs
        if case.works() and not p.unread and p.family not in unread
    }
    todo = [s for s in steps if s.kind != "safety"]
    if done.unmeasured or all(s.step in again for s in todo):
        again = set()
    return tuple(_named_by_proof(step, proofs) for step in steps if step.step not in again)


def _weighed_now(weighed: Sequence[tuple[Model, ModelEvidence]], works: int) -> frozenset[str]:
    """Return the families of which a model has weighed readings since the latest work."""
    return frozenset(
        f.joint.family
        for _, e in weighed
        for f in e.findings
        if f.joint is not None and f.stage == works and f.outcome == "seen"
    )


def _measured(family: str, weighed: Sequence[tuple[Model, ModelEvidence]]) -> bool:
    mine = (f for _, e in weighed if family in e.families for f in e.findings)
    return any(f.joint is not None for f in mine)


def _forecasts(
    family: str, weighed: Sequence[tuple[Model, ModelEvidence]]
) -> Mapping[str, tuple[Forecast, ...]]:
    mine = (evidence for _, evidence in weighed if family in evidence.families)
    return {cause: told for evidence in mine for cause, told in evidence.forecasts.items()}


def _once_proven(odds: Odds, proofs: Sequence[Proof]) -> Odds:
    """Let a family whose complaint is proven cured say so, and not ask for the proof again.

    Proof and odds never stand side by side as if they agreed where they do not.
    """
    verdicts = {p.verdict for p in proofs if p.complaint == odds.complaint}
    if "not proven" in verdicts and odds.nothing_wrong >= HEALTHY_FROM:
        return replace(odds, statement=say_odds.against_proof(odds.nothing_wrong))
    if "proven" not in verdicts:
        return odds
    left = odds.causes[0] if odds.causes else None
    if left is not None and left.probability >= HEALTHY_FROM:
        text = say_odds.proven_but(left.name, left.probability)
    else:
        text = "Proven by measurement after the work."
        if left is not None and left.probability >= WORTH_NAMING:
            text += f" Should it come back, look first at: {left.name}."
    return replace(odds, statement=text, decided=False, traps=())


def _answered(belief: Belief) -> frozenset[str]:
    """Return the tests with a sure answer now, also those that a reading answers by itself."""
    return frozenset(t for t, (result, _) in belief.results.items() if result != "maybe")


def _named_by_proof(step: Step, proofs: Sequence[Proof]) -> Step:
    """Let a step that measures again name exactly what the proof still lacks."""
    if step.step != f"remeasure_{step.family}":
        return step
    missing = [m for p in proofs if p.family == step.family for m in p.missing]
    if not missing:
        return step
    why = f"{step.why} Still missing for the proof: {'; '.join(missing)}."
    return replace(
        step,
        name=f"Measure for the proof: {missing[0].removeprefix('a second quantity: ')}",
        why=why,
    )


def _by_stage(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda finding: finding.stage))


def assess_file(path: Path, *, packs: Sequence[Path] = (), allow: Sequence[Path] = ()) -> Dossier:
    """Assess a case file; its recordings lie where it says, beside it.

    Args:
        path: the case file.
        packs: packs besides the shipped ones.
        allow: files and folders outside its folder that it may name, too.

    Raises:
        InputRefused: there is no such file, or it is no text.
        NothingUsable: not one entry in it can be read.
    """
    case = read_case_file(path)
    if not case.entries:
        first = f" {case.problems[0].where}: {case.problems[0].what}" if case.problems else ""
        raise NothingUsable(
            f"There is no entry in it that can be read.{first}",
            where=str(path),
            do="A case file has one JSON object a line; docs/entries.md shows them.",
        )
    recordings, problems = recordings_beside(case, path.parent, allow=allow)
    return dossier(case, recordings, standing_of_file(packs), problems=problems)
