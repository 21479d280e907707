"""The ledger of a shop with thousands of cases: finished rows kept in the book, found and paged."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable
from dataclasses import asdict, dataclass

from witnessmark.casebook.rows import KeptRow
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.shop.ledger import Row, Waits, row_of

__all__ = ["PAGE", "LedgerPage", "every_row", "ledger_page", "refresh_rows"]

_LOG = logging.getLogger("witnessmark.workflow")
#: Cases on one page.
PAGE = 50
#: Changes when a row is written differently; rows of other versions are made again.
_VERSION = "3"


@dataclass(frozen=True, slots=True)
class LedgerPage:
    """One page of the ledger.

    Attributes:
        rows: what was touched last first.
        total: cases on all pages together.
        number: this page, from 1.
        pages: how many there are, at least 1.
    """

    rows: tuple[Row, ...]
    total: int
    number: int
    pages: int


def ledger_page(shop: Shop, *, is_open: bool, search: str = "", number: int = 1) -> LedgerPage:
    """Return a page of the open or of the closed cases, those alone that hold every word."""
    fresh = refresh_rows(shop)
    words = [w for w in search.lower().split()[:8] if w]
    if fresh is not None:  # a book that can only be read keeps no rows
        mine = [r for r in fresh if r.is_open == is_open and all(w in _words(r) for w in words)]
        return _cut(mine, len(mine), number, 0)
    number = max(1, min(number, 10_000))
    found, total = shop.casebook.rows.page(
        is_open=is_open, words=words, offset=(number - 1) * PAGE, limit=PAGE
    )
    return _cut([_row(kept.text) for kept in found], total, number, (number - 1) * PAGE)


def every_row(shop: Shop) -> list[Row]:
    """Return the rows of all cases, what was touched last first."""
    fresh = refresh_rows(shop)
    if fresh is not None:
        return fresh
    return [_row(text) for text in shop.casebook.rows.every()]


def refresh_rows(shop: Shop) -> list[Row] | None:
    """Make the rows of the cases that have changed; all rows, unkept, of a read-only book."""
    if shop.casebook.read_only:
        return [_row_of(shop, summary.id) for summary in shop.list_cases()]
    stale = shop.casebook.rows.stale(_VERSION)
    if stale:
        shop.casebook.rows.keep(_made(shop, stale), _VERSION)
    return None


def _made(shop: Shop, stale: Iterable[tuple[str, int]]) -> Iterable[KeptRow]:
    for case_id, changed in stale:
        row = _row_of(shop, case_id)
        yield KeptRow(case_id, changed, json.dumps(asdict(row)), row.is_open, _words(row))


def _row_of(shop: Shop, case_id: str) -> Row:
    """Return the row of a case; one that cannot be made hides no other."""
    case = shop.case(case_id)
    try:
        return row_of(case)
    except Exception:
        _LOG.exception("the row of %s", case_id)
        since = case.entries[-1].at if case.entries else ""
        return Row(case_id, case_id, "", "", Waits("reading"), since)


def _words(row: Row) -> str:
    return " ".join((row.case, row.truck, row.customer, row.complaint)).lower()


def _row(text: str) -> Row:
    values = json.loads(text)
    values |= {"waits": Waits(**values["waits"]), "clocked": tuple(values["clocked"])}
    return Row(**values)


def _cut(rows: list[Row], total: int, number: int, offset: int) -> LedgerPage:
    shown = rows if offset or len(rows) <= PAGE else rows[(number - 1) * PAGE : number * PAGE]
    return LedgerPage(tuple(shown), total, number, max(1, -(-total // PAGE)))
