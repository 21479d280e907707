"""The customer's papers of a case: the report and the estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from witnessmark.errors import InputRefused
from witnessmark.inference.look_first import looks_waiting
from witnessmark.inference.odds.case_odds import case_evidence
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.assessment import Assessment
from witnessmark.model.entries.entry_data import QuoteData, WorkData
from witnessmark.model.estimate import Estimate
from witnessmark.model.odds import Odds
from witnessmark.model.quoted import OwnRates
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.planner.estimate.quote import QuoteJob, estimate
from witnessmark.planner.ranking.costs import shop_minutes, shop_parts, whose_figures
from witnessmark.report.as_html import paper_html
from witnessmark.report.as_pdf import paper_pdf
from witnessmark.report.customer import customer_report
from witnessmark.report.estimate_paper import estimate_paper
from witnessmark.report.paper import Paper
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import own_rates, settings_of, shop_name, shows_si
from witnessmark.workflow.dossier.assess_case import assess_file, assess_in_shop, last_hand
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.odds_at_stages import odds_at_stages

__all__ = [
    "check_place",
    "paper_of",
    "paper_of_file",
    "paper_of_shop",
    "report_html",
    "report_pdf",
    "usual_price",
    "usual_price_in_shop",
    "write_paper",
]


def report_html(
    shop: Shop, case_id: str, *, quote: bool = False, assessment: Assessment | None = None
) -> str:
    """Return the customer's report, or the estimate, as one HTML document."""
    return paper_html(paper_of_shop(shop, case_id, quote, assessment))


def report_pdf(
    shop: Shop, case_id: str, *, quote: bool = False, assessment: Assessment | None = None
) -> bytes:
    """Return the customer's report, or the estimate, as PDF."""
    return paper_pdf(paper_of_shop(shop, case_id, quote, assessment))


def write_paper(paper: Paper, out: Path) -> None:
    """Write a paper as HTML or PDF, by the ending of *out*.

    Raises:
        InputRefused: see :func:`check_place`.
    """
    check_place(out)
    content = paper_pdf(paper) if out.suffix.lower() == ".pdf" else paper_html(paper).encode()
    out.write_bytes(content)


def check_place(out: Path) -> None:
    """Refuse a place where no paper can be written, before any work is put into it.

    Raises:
        InputRefused: another ending than .pdf or .html, or a folder that is not there.
    """
    if out.suffix.lower() not in {".pdf", ".html", ".htm"}:
        raise InputRefused("A paper is written as .pdf or .html.", where=str(out))
    if not out.parent.is_dir():
        raise InputRefused("The folder is not there.", where=str(out.parent), do="Make it first.")


def paper_of(
    assessment: Assessment,
    *,
    quote: bool = False,
    shop: str = "",
    si: bool = False,
    settings: Settings | None = None,
    knowledge: Knowledge | None = None,
    history: History | None = None,
    technician: str = "",
    rates: OwnRates | None = None,
) -> Paper:
    """Return the report on an assessed case, or the estimate, before it is laid out.

    Args:
        assessment: the case.
        quote: the estimate instead of the report.
        shop: the shop's name.
        si: whether figures are shown in SI units.
        settings: the shop's rates.
        knowledge: the packs; the shipped ones when not given.
        history: the shop's jobs, whose times and parts the estimate uses.
        technician: who works on the truck; his own times count where he has any.
        rates: the prices that the shop has set itself; no other gets onto an estimate.
    """
    knowledge = knowledge or load_knowledge()
    if quote:
        own = _Own(knowledge, settings or Settings(), history, technician)
        advice, why = _estimate(assessment, own)
        return estimate_paper(assessment, advice, shop=shop, why=why, rates=rates)
    names = {c.id: c.name for f in knowledge.families.values() for c in f.causes}
    safety = {f.id: f.safety for f in knowledge.families.values()}
    before = odds_at_stages(assessment, knowledge=knowledge)
    return customer_report(assessment, shop=shop, names=names, safety=safety, before=before, si=si)


def paper_of_file(
    path: Path,
    quote: bool = False,
    *,
    packs: Sequence[Path] = (),
    allow: Sequence[Path] = (),
    name: str = "",
    si: bool = False,
) -> tuple[str, Paper]:
    """Return (case id, the report or the estimate) of a case in a file.

    Args:
        path: the case.
        quote: the estimate instead of the report.
        packs: packs besides the shipped ones.
        allow: files and folders outside the case file's own that it may name, too.
        name: the shop's name.
        si: SI units.
    """
    assessment = assess_file(path, packs=packs, allow=allow)
    knowledge = load_knowledge(tuple(packs))
    return assessment.case.id, paper_of(
        assessment, quote=quote, shop=name, si=si, knowledge=knowledge
    )


def paper_of_shop(
    shop: Shop,
    case_id: str,
    quote: bool = False,
    assessment: Assessment | None = None,
    *,
    name: str = "",
    si: bool = False,
) -> Paper:
    """Return the report or the estimate on a case of a shop, with its packs, rates and history.

    Args:
        shop: the shop.
        case_id: case id.
        quote: the estimate instead of the report.
        assessment: of the case, where it is there already.
        name: the name to show; empty for the shop's own.
        si: SI units, also where the shop shows others.
    """
    assessment = assessment or assess_in_shop(shop, case_id)
    return paper_of(
        assessment,
        quote=quote,
        shop=name or shop_name(shop) or shop.folder.name,
        si=si or shows_si(shop),
        settings=settings_of(shop),
        knowledge=knowledge_of(shop),
        history=learnt(shop, assessment.case)[0] if quote else None,
        technician=last_hand(shop, case_id),
        rates=own_rates(shop),
    )


def usual_price(
    assessment: Assessment,
    cause_id: str,
    *,
    settings: Settings | None = None,
    knowledge: Knowledge | None = None,
    history: History | None = None,
    technician: str = "",
) -> Estimate | None:
    """Return what renewing one cause usually comes to: advice for the shop, for no customer.

    Args:
        assessment: the case.
        cause_id: the cause; ``None`` is returned where no pack knows it.
        settings: the shop's rates.
        knowledge: the packs; the shipped ones when not given.
        history: the shop's jobs, whose times and parts count.
        technician: who works on the truck.
    """
    own = _Own(knowledge or load_knowledge(), settings or Settings(), history, technician)
    job = _job(assessment, own, cause_id)
    return None if job is None else estimate([job], own.settings)


def usual_price_in_shop(shop: Shop, assessment: Assessment, cause_id: str) -> Estimate | None:
    """Return :func:`usual_price` with the rates, packs and jobs of *shop*."""
    case = assessment.case
    return usual_price(
        assessment,
        cause_id,
        settings=settings_of(shop),
        knowledge=knowledge_of(shop),
        history=learnt(shop, case)[0],
        technician=last_hand(shop, case.id),
    )


@dataclass(frozen=True)
class _Own:
    """What a shop prices with: its packs, its rates, its jobs, and who does the work."""

    knowledge: Knowledge
    settings: Settings
    history: History | None
    technician: str


def _estimate(assessment: Assessment, own: _Own) -> tuple[Estimate | None, Sequence[str]]:
    """Return the work of the last quote; without one, of the repair that is proposed first."""
    quotes = [data for _, data in assessment.case.of(QuoteData)]
    if quotes:
        causes = [line.cause for line in quotes[-1].lines if line.cause]
        jobs = [_job(assessment, own, cause) for cause in causes]
        found = [job for job in jobs if job is not None]
        quoted = ("The work as it was quoted in the case.", *_looks(assessment, own, causes))
        return (estimate(found, own.settings) if found else None), quoted
    repairs = [s for s in assessment.steps if s.kind == "repair"]
    stops = tuple(f"Safety first: {s.name}." for s in assessment.steps if s.kind == "safety")
    first = next((s for s in assessment.steps if s.kind != "safety"), None)
    job = _job(assessment, own, repairs[0].step) if repairs else None
    if job is None:
        return None, (*stops, *_first_measure(first.name if first is not None else ""))
    why: tuple[str, ...] = (f"Repair: {job.name}.",)
    why = (*why, *_looks(assessment, own, [job.cause]))
    if first is not None and first.kind != "repair":
        after = f"If that does not change the picture, the repair would be: {job.name}."
        why = (*_first_measure(first.name), after, *_looks(assessment, own, [job.cause]))
    return estimate([job], own.settings), (*stops, *why)


def _odds_before(
    assessment: Assessment, knowledge: Knowledge, cause_id: str, family: str
) -> Odds | None:
    """Return the odds that held when the job was quoted: before its work, if that is done."""
    stages = assessment.case.stages()
    done = [stages[e.id] for e, d in assessment.case.of(WorkData) if d.cause == cause_id]
    if not done:
        return assessment.odds_of(family)
    known = odds_at_stages(assessment, knowledge=knowledge)[done[0]]
    return next((o for o in known if o.family == family), None)


def _looks(assessment: Assessment, own: _Own, causes: Sequence[str]) -> tuple[str, ...]:
    """Return the looks that must be taken before one of these parts is bought."""
    evidence = case_evidence(assessment.case, own.knowledge)
    return tuple(
        look.short
        for family, mine in evidence.items()
        for look in looks_waiting(own.knowledge.families[family], mine)
        if look.cause in causes
    )


def _first_measure(name: str) -> tuple[str, ...]:
    return (f"First: {name}. It may change what follows.",) if name else ()


def _job(assessment: Assessment, own: _Own, cause_id: str) -> QuoteJob | None:
    knowledge, history, who = own.knowledge, own.history, own.technician
    cause = knowledge.cause(cause_id)
    family = knowledge.family_of(cause_id)
    if cause is None or family is None:
        return None
    group = knowledge.access_groups.get(cause.access_group)
    odds = _odds_before(assessment, knowledge, cause_id, family.id)
    probability = odds.probability(cause_id) if odds is not None else 0.0
    cures = probability * cause.p_cured_if_cause + (1 - probability) * cause.p_cured_if_not
    for step in assessment.steps:
        # What is proposed says the same to the customer: a second cause is counted there.
        if (step.kind, step.step) == ("repair", cause_id):
            cures = next((r.probability for r in step.results if r.result == "cured"), cures)
    return QuoteJob(
        cause=cause.id,
        name=cause.name,
        minutes=shop_minutes(cause, history, who),
        usd=shop_parts(cause, history, who, markup_percent=own.settings.parts_markup_percent),
        renew_with=cause.renew_with,
        access=round(cause.access.typical),
        access_group=cause.access_group,
        opening=group.minutes if group is not None else None,
        cures=cures,
        caution=cause.caution or family.safety,
        source=whose_figures(cause, history, who),
    )
