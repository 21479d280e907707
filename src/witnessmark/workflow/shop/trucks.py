"""The shop's trucks: every name a truck goes by, its visits, and what came back."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ComplaintData, WorkData
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.shop.ledger import Row
from witnessmark.workflow.shop.ledger_pages import every_row, refresh_rows

__all__ = ["COMEBACK_DAYS", "Comeback", "TruckRow", "comebacks", "merge_trucks", "trucks"]

#: Within so many days the same complaint or repair counts as come back (judgement).
COMEBACK_DAYS = 180
_FILLERS = re.compile(r"\b(?:no|nr|number|unit|truck|tractor|the)\b|[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class TruckRow:
    """One truck as it is called.

    Attributes:
        label: its name.
        customer: of its newest visit.
        visits: how many cases it has.
        open: how many of them are open.
        last: when the newest entry was made.
        alike: other names that may be the same truck.
    """

    label: str
    customer: str
    visits: int
    open: int
    last: str
    alike: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comeback:
    """An earlier visit of the same truck that shares something with this one.

    Attributes:
        case: case id.
        days: days between its last entry and this case's first.
        families: complaint families that both have.
        repairs: causes that were put right both times, or then and are suspected now.
        words: the driver's words then.
    """

    case: str
    days: int
    families: tuple[str, ...]
    repairs: tuple[str, ...]
    words: str


def trucks(shop: Shop, search: str = "") -> list[TruckRow]:
    """Return the trucks of all cases, touched last first; *search* in name or customer."""
    grouped: dict[str, list[Row]] = {}
    for row in every_row(shop):
        grouped.setdefault(row.truck, []).append(row)
    names: dict[str, list[str]] = {}
    for label in grouped:
        names.setdefault(_key(label), []).append(label)
    found = []
    for label, rows in grouped.items():
        alike = tuple(n for n in names[_key(label)] if n != label)
        customer = next((r.customer for r in rows if r.customer), "")
        still = sum(r.is_open for r in rows)
        found.append(TruckRow(label, customer, len(rows), still, max(r.since for r in rows), alike))
    words = search.lower().split()
    return [t for t in found if all(w in f"{t.label} {t.customer}".lower() for w in words)]


def merge_trucks(shop: Shop, label: str, into: str, *, by: str | None = None) -> int:
    """Call every visit of one truck by another's name; return how many cases that were.

    Nothing is overwritten: each case gets an entry that describes the truck anew.

    Raises:
        InputRefused: one of them is no truck of the shop, or both are the same.
    """
    rows = every_row(shop)
    known = {row.truck for row in rows}
    if label == into or not {label, into} <= known:
        raise InputRefused("Two different trucks of the shop are needed.", where="truck")
    changed = 0
    for row in (r for r in rows if r.truck == label):
        truck = shop.case(row.case).truck()
        if truck is None:
            continue
        data = truck.model_dump(exclude_none=True, exclude_defaults=True) | {"label": into}
        shop.add(row.case, "truck", data, by=by)
        changed += 1
    return changed


def comebacks(shop: Shop, case: Case, read: Callable[[str], Case]) -> tuple[Comeback, ...]:
    """Return earlier visits within :data:`COMEBACK_DAYS` that share a complaint or a repair.

    Args:
        shop: the shop.
        case: the case that may be a comeback.
        read: returns a case by its id.
    """
    truck, begun = case.truck(), _moment(case.entries[:1])
    if truck is None or begun is None:
        return ()
    asked = truck.label.lower().split()[-1:]
    fresh = refresh_rows(shop)
    near = (
        [row.case for row in fresh]
        if fresh is not None  # a book that can only be read
        else [
            kept.case_id
            for is_open in (True, False)
            for kept in shop.casebook.rows.page(is_open=is_open, words=asked, offset=0, limit=50)[0]
        ]
    )
    found = []
    for other in (read(name) for name in near if name != case.id):
        theirs = other.truck()
        if theirs is None or _key(theirs.label) != _key(truck.label):
            continue
        first, last = _moment(other.entries[:1]), _moment(other.entries[-1:])
        if first is None or last is None or not first < begun:
            continue
        days = max(0, (begun - last).days)
        families = tuple(f for f in case.families() if f in other.families())
        repairs = tuple(c for c in _repaired(case) if c in _repaired(other))
        if days <= COMEBACK_DAYS and (families or repairs):
            words = next((d.words for _, d in other.of(ComplaintData)), "")
            found.append(Comeback(other.id, days, families, repairs, words))
    return tuple(sorted(found, key=lambda c: c.days))


def _repaired(case: Case) -> list[str]:
    return [d.cause for _, d in case.of(WorkData) if d.cause]


def _moment(entries: Iterable[Entry]) -> datetime | None:
    return next((entry.when() for entry in entries), None)


def _key(label: str) -> str:
    """Return what two ways of calling one truck have in common: "22" and "no. 22"."""
    return _FILLERS.sub(" ", label.lower()).strip().replace(" ", "") or label.lower()
