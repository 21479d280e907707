"""The customer's papers of a case: the report and the estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.knowledge.own.own_family import with_own_lists
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.estimate import Estimate
from witnessmark.model.quoted import OwnRates
from witnessmark.report.as_html import paper_html
from witnessmark.report.as_pdf import paper_pdf
from witnessmark.report.customer import customer_report
from witnessmark.report.estimate_paper import estimate_paper
from witnessmark.report.front.lay_out import one_page_html, one_page_pdf
from witnessmark.report.front.make_page import shop_lines
from witnessmark.report.paper import Paper
from witnessmark.words.tongue import Tongue
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import own_rates, shop_head, shop_name, shows_si
from witnessmark.workflow.dossier.advice import usual_price
from witnessmark.workflow.dossier.assess_case import assess_file
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.standing_of import standing_of
from witnessmark.workflow.papers.bay_cards import warnings_of
from witnessmark.workflow.papers.front_page import page_of_shop, tongue_of

__all__ = [
    "check_place",
    "paper_of",
    "paper_of_file",
    "paper_of_shop",
    "report_html",
    "report_pdf",
    "usual_price_in_shop",
    "write_paper",
]


def report_html(
    shop: Shop, case_id: str, *, quote: bool = False, appendix: bool = False,
    assessment: Dossier | None = None, language: str = "",
) -> str:  # fmt: skip
    """Return the customer's page, its appendix, or the estimate, as one HTML document."""
    if quote or appendix:
        return paper_html(paper_of_shop(shop, case_id, quote, assessment, language=language))
    return one_page_html(page_of_shop(shop, case_id, assessment, language=language))


def report_pdf(
    shop: Shop, case_id: str, *, quote: bool = False, appendix: bool = False,
    assessment: Dossier | None = None, language: str = "",
) -> bytes:  # fmt: skip
    """Return the customer's page, its appendix, or the estimate, as PDF."""
    if quote or appendix:
        return paper_pdf(paper_of_shop(shop, case_id, quote, assessment, language=language))
    return one_page_pdf(page_of_shop(shop, case_id, assessment, language=language))


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
    assessment: Dossier,
    *,
    quote: bool = False,
    shop: str = "",
    si: bool = False,
    knowledge: Knowledge | None = None,
    rates: OwnRates | None = None,
    head: Sequence[str] = (),
    tongue: Tongue | None = None,
) -> Paper:
    """Return the report on an assessed case, or the estimate, before it is laid out.

    Args:
        assessment: the case.
        quote: the estimate instead of the report.
        shop: the shop's name.
        si: whether figures are shown in SI units.
        knowledge: the packs, for the names; the shipped ones when not given.
        rates: the prices that the shop has set itself; no other gets onto an estimate.
        head: the shop's address, phone and licence.
        tongue: the customer's language, of the estimate.
    """
    knowledge = knowledge or load_knowledge()
    if quote:
        told = assessment.advice
        return estimate_paper(
            assessment, told.estimate, shop=shop, why=told.why, rates=rates, head=head,
            tongue=tongue or tongue_of(assessment.case),
        )  # fmt: skip
    names = {c.id: c.name for f in knowledge.families.values() for c in f.causes}
    safety = {f.id: f.safety for f in knowledge.families.values()}
    told_by = {f.id: f.told_by for f in knowledge.families.values()}
    causes = [data.cause for _, data in assessment.case.of(WorkData) if data.cause]
    return customer_report(
        assessment, shop=shop, names=names, safety=safety, told_by=told_by, si=si,
        warned=warnings_of(causes, knowledge, assessment.steps),
    )  # fmt: skip


def paper_of_file(
    path: Path,
    quote: bool = False,
    *,
    packs: Sequence[Path] = (),
    allow: Sequence[Path] = (),
    name: str = "",
    si: bool = False,
    language: str = "",
) -> tuple[str, Paper]:
    """Return (case id, the report or the estimate) of a case in a file.

    Args:
        path: the case.
        quote: the estimate instead of the report.
        packs: packs besides the shipped ones.
        allow: files and folders outside the case file's own that it may name, too.
        name: the shop's name.
        si: SI units.
        language: of the estimate.
    """
    assessment = assess_file(path, packs=packs, allow=allow)
    knowledge = with_own_lists(load_knowledge(tuple(packs)), assessment.case)
    return assessment.case.id, paper_of(
        assessment, quote=quote, shop=name, si=si, knowledge=knowledge,
        tongue=tongue_of(assessment.case, language),
    )  # fmt: skip


def paper_of_shop(
    shop: Shop,
    case_id: str,
    quote: bool = False,
    assessment: Dossier | None = None,
    *,
    name: str = "",
    si: bool = False,
    language: str = "",
) -> Paper:
    """Return the report or the estimate on a case of a shop, with its packs, rates and history.

    Args:
        shop: the shop.
        case_id: case id.
        quote: the estimate instead of the report.
        assessment: of the case, where it is there already.
        name: the name to show; empty for the shop's own.
        si: SI units, also where the shop shows others.
        language: of the estimate; empty for that of the truck's owner.
    """
    assessment = assessment or assess_in_shop(shop, case_id)
    head, tongue = shop_head(shop), tongue_of(assessment.case, language)
    return paper_of(
        assessment,
        quote=quote,
        shop=name or shop_name(shop) or shop.folder.name,
        si=si or shows_si(shop),
        knowledge=knowledge_of(shop, assessment.case),
        rates=own_rates(shop),
        head=shop_lines(head, tongue),
        tongue=tongue,
    )


def usual_price_in_shop(shop: Shop, assessment: Dossier, cause_id: str) -> Estimate | None:
    """Return what renewing one cause usually comes to, with the standing of the shop's case."""
    standing = standing_of(shop, assessment.case)
    known = with_own_lists(standing.knowledge, assessment.case)
    return usual_price(assessment, cause_id, replace(standing, knowledge=known))
