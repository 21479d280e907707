"""The papers of a periodic inspection: the report with every point, and the customer's copy."""

from __future__ import annotations

from pathlib import Path

from witnessmark.model.entries.case import Case
from witnessmark.model.inspection import InspectionSheet
from witnessmark.report.as_html import paper_html
from witnessmark.report.as_pdf import paper_pdf
from witnessmark.report.front.make_page import shop_lines
from witnessmark.report.inspection_paper import customer_inspection, inspection_report
from witnessmark.report.paper import Paper
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import shop_head, shop_name
from witnessmark.workflow.inspecting.inspect_case import sheet_now
from witnessmark.workflow.papers.case_papers import check_place, write_paper
from witnessmark.workflow.papers.front_page import tongue_of

__all__ = ["inspection_html", "inspection_pdf", "write_inspection"]


def inspection_html(
    shop: Shop, case: Case, sheet: InspectionSheet, *, customer: bool = False
) -> str:
    """Return the report, or the customer's copy, as one HTML document."""
    return paper_html(_paper(shop, case, sheet, customer))


def inspection_pdf(
    shop: Shop, case: Case, sheet: InspectionSheet, *, customer: bool = False
) -> bytes:
    """Return the report, or the customer's copy, as PDF."""
    return paper_pdf(_paper(shop, case, sheet, customer))


def write_inspection(shop: Shop, case_id: str, out: Path, *, customer: bool = False) -> None:
    """Write the report, or the customer's copy, as HTML or PDF by the ending of *out*."""
    check_place(out)
    sheet = sheet_now(shop, case_id)
    write_paper(_paper(shop, shop.case(case_id), sheet, customer), out)


def _paper(shop: Shop, case: Case, sheet: InspectionSheet, customer: bool) -> Paper:
    made = customer_inspection if customer else inspection_report
    name = shop_name(shop) or shop.folder.name
    lines = shop_lines(shop_head(shop), tongue_of(case, "en"))
    return made(sheet, case, shop=name, head=lines)
