"""The customer's papers of a case in a shop."""

from __future__ import annotations

from witnessmark.errors import NotFound
from witnessmark.workflow.shop import Shop

__all__ = ["report_html", "report_pdf"]


def report_html(shop: Shop, case_id: str, *, quote: bool = False) -> str:
    """Return the customer's report, or the estimate, as one HTML document."""
    raise NotFound(
        f"The {'estimate' if quote else 'report'} of {case_id} is not made in {shop.folder.name}."
    )


def report_pdf(shop: Shop, case_id: str, *, quote: bool = False) -> bytes:
    """Return the customer's report, or the estimate, as PDF."""
    raise NotFound(
        f"The {'estimate' if quote else 'report'} of {case_id} is not made in {shop.folder.name}."
    )
