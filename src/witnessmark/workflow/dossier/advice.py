"""What the work of a case usually comes to: figures for the shop, on no customer's paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from witnessmark.inference.look_first import looks_waiting
from witnessmark.knowledge.standing import Standing
from witnessmark.model.dossier import Advice, Dossier
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.estimate import Estimate
from witnessmark.model.odds import Odds
from witnessmark.model.step import Spread
from witnessmark.planner.estimate.quote import QuoteJob, estimate
from witnessmark.planner.ranking.costs import shop_minutes, shop_parts, whose_figures
from witnessmark.words.say.offered import as_quoted

__all__ = ["advice", "usual_price"]


def usual_price(found: Dossier, cause_id: str, standing: Standing) -> Estimate | None:
    """Return what renewing one cause usually comes to: advice for the shop, for no customer.

    Args:
        found: the case.
        cause_id: the cause; ``None`` is returned where no pack knows it.
        standing: what the dossier was made by: rates, packs and jobs.
    """
    job = _job(found, standing, cause_id)
    return None if job is None else estimate([job], standing.settings)


def advice(found: Dossier, standing: Standing) -> Advice:
    """Say what the work of a case usually comes to: advice for the shop, for no customer.

    It is the work of the last quote; without one, of the repair that is proposed first.
    """
    quotes = [data for _, data in found.case.of(QuoteData) if not data.final]
    if quotes:
        causes = [line.cause for line in quotes[-1].lines if line.cause]
        jobs = [_job(found, standing, cause) for cause in causes]
        known = [job for job in jobs if job is not None]
        quoted = (as_quoted(), *_looks(found, standing, causes))
        if not known:
            return Advice(None, quoted)
        return Advice(estimate(known, standing.settings), quoted, _bare(known, standing))
    repairs = [s for s in found.steps if s.kind == "repair"]
    first = next(iter(found.todo), None)
    job = _job(found, standing, repairs[0].step) if repairs else None
    if job is None:
        return Advice(None, _first_measure(first.name if first is not None else ""))
    why: tuple[str, ...] = (f"Repair: {job.name}.",)
    why = (*why, *_looks(found, standing, [job.cause]))
    if first is not None and first.kind != "repair":
        after = f"If that does not change the picture, the repair would be: {job.name}."
        why = (*_first_measure(first.name), after, *_looks(found, standing, [job.cause]))
    return Advice(estimate([job], standing.settings), why)


def _bare(jobs: Sequence[QuoteJob], standing: Standing) -> Spread:
    """Return what the jobs come to without supplies and tax, which lines of a job do not hold."""
    plain = replace(
        standing.settings, consumables_percent=0.0, tax_percent_parts=0.0, tax_percent_labour=0.0
    )
    return estimate(jobs, plain).total


def _odds_before(found: Dossier, cause_id: str, family: str) -> Odds | None:
    """Return the odds that held when the job was quoted: before its work, if that is done."""
    stages = found.case.stages()
    done = [stages[e.id] for e, d in found.case.of(WorkData) if d.cause == cause_id]
    if not done:
        return found.odds_of(family)
    return next((o for o in found.odds_before(done[0]) if o.family == family), None)


def _looks(found: Dossier, standing: Standing, causes: Sequence[str]) -> tuple[str, ...]:
    """Return the looks that must be taken before one of these parts is bought."""
    return tuple(
        look.short
        for family, mine in found.now.evidence.items()
        for look in looks_waiting(standing.knowledge.families[family], mine)
        if look.cause in causes
    )


def _first_measure(name: str) -> tuple[str, ...]:
    return (f"First: {name}. It may change what follows.",) if name else ()


def _job(found: Dossier, standing: Standing, cause_id: str) -> QuoteJob | None:
    knowledge, history, who = standing.knowledge, standing.history, standing.technician
    cause = knowledge.cause(cause_id)
    family = knowledge.family_of(cause_id)
    if cause is None or family is None:
        return None
    group = knowledge.access_groups.get(cause.access_group)
    odds = _odds_before(found, cause_id, family.id)
    probability = odds.probability(cause_id) if odds is not None else 0.0
    cures = probability * cause.p_cured_if_cause + (1 - probability) * cause.p_cured_if_not
    for step in found.steps:
        # What is proposed says the same to the customer: a second cause is counted there.
        if (step.kind, step.step) == ("repair", cause_id):
            cures = next((r.probability for r in step.results if r.result == "cured"), cures)
    return QuoteJob(
        cause=cause.id,
        name=cause.name,
        minutes=shop_minutes(cause, history, who),
        usd=shop_parts(cause, history, who, markup_percent=standing.settings.parts_markup_percent),
        renew_with=cause.renew_with,
        renew_usd={part: usd for part, (usd, _) in cause.renew_usd.items()},
        access=round(cause.access.typical),
        access_group=cause.access_group,
        opening=group.minutes if group is not None else None,
        cures=cures,
        caution=cause.caution or family.safety,
        source=whose_figures(cause, history, who),
    )
