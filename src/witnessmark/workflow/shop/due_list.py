"""What is due in the shop: by day, by miles, by hours; parts, cores, words, gauges, own bands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import NoteData, TruckData
from witnessmark.model.entries.ledger_data import VisitData
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import ShopInstrument, instruments_of
from witnessmark.workflow.shop.day_after import calls_due
from witnessmark.workflow.shop.parts_list import open_cores, parts_of_case
from witnessmark.workflow.shop.truck_over_time import series_of

__all__ = ["CALIBRATED_EVERY", "Due", "due_json", "due_of_shop"]

#: A gauge is compared with a better one once a year (common practice, no source) [days].
CALIBRATED_EVERY = 365
_MOST_CASES = 400
#: So near it is due now [mile], [h] (judgement).
_NEAR_MILES, _NEAR_HOURS = 500.0, 10.0


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that is due, or will be.

    Attributes:
        kind: note, part, core, word, truck, gauge or band.
        what: in words.
        truck: whose; empty for a gauge.
        case: case id; empty for a gauge.
        now: due now or over; the rest lies ahead.
        on: day (ISO), empty where it has none.
        days: days until then; below 0 it is over; ``None`` without a day.
        at: at which miles or hours, in words, with what was read last.
        entry: the note, or the complaint that the word is about; empty for the rest.
        since: days since the work, of a word.
    """

    kind: str
    what: str
    truck: str
    case: str
    now: bool
    on: str = ""
    days: int | None = None
    at: str = ""
    entry: str = ""
    since: int | None = None


def due_of_shop(shop: Shop, today: date | None = None) -> tuple[Due, ...]:
    """Return what is due, what is over first, then by day; what has no day comes last.

    The 400 cases last written to are looked through.

    Args:
        shop: the shop.
        today: the day it is asked.
    """
    now = today or datetime.now(UTC).date()
    cases = [shop.case(summary.id) for summary in shop.list_cases()[:_MOST_CASES]]
    knowledge = knowledge_of(shop)
    by_truck: dict[str, list[Case]] = {}
    for case in cases:
        by_truck.setdefault(_label(case), []).append(case)
    found = [
        due
        for label, visits in by_truck.items()
        for due in (*_notes(label, visits, now), *_bands(label, visits))
    ]
    for case in cases:
        found += _of_case(case, knowledge, now)
    found += _gauges(instruments_of(shop), now)
    return tuple(
        sorted(found, key=lambda d: (not d.now, d.days is None, d.days or 0, d.truck, d.what))
    )


def due_json(found: Sequence[Due]) -> list[dict[str, Any]]:
    """Return the list as JSON."""
    return [{name: getattr(due, name) for name in Due.__dataclass_fields__} for due in found]


def _of_case(case: Case, knowledge: Knowledge, now: date) -> Iterator[Due]:
    label = _label(case)
    for row in parts_of_case(case, knowledge):
        if row.state in {"promised", "ordered"}:
            on = row.on if row.state == "promised" else ""
            yield _by_day("part", f"{row.name}, {row.state}", label, case.id, on, now)
    for core in open_cores([case]):
        yield _by_day(
            "core", f"{core.name}, ${core.usd:,.0f} deposit", label, case.id, core.due, now
        )
    for call in calls_due(case, now):
        yield Due("word", f"the word of day {call.day}: {call.words}", label, case.id, now=True,
                  entry=call.complaint, since=call.since)  # fmt: skip
    promised = next((d.promised for _, d in reversed(list(case.of(VisitData))) if d.promised), "")
    if promised and not _handed_over(case):
        yield _by_day("truck", "promised to the customer", label, case.id, promised, now)


def _notes(label: str, visits: Sequence[Case], now: date) -> Iterator[Due]:
    """Yield what notes say is due on a truck: the first of day, miles and hours counts."""
    miles, hours = _read_last(visits, "miles"), _read_last(visits, "hours")
    done = {d.done for case in visits for _, d in case.of(NoteData) if d.done}
    for case in visits:
        for entry, note in case.of(NoteData):
            if note.due is None or entry.id in done:
                continue
            days = (date.fromisoformat(note.due.on) - now).days if note.due.on else None
            near, told = days is not None and days <= 0, []
            for wanted, last, unit, close in (
                (note.due.miles, miles, "mi", _NEAR_MILES),
                (note.due.hours, hours, "h", _NEAR_HOURS),
            ):
                if wanted is None:
                    continue
                read = f"last read {last[0]:,.0f} on {last[1]}" if last else "never read"
                told.append(f"at {wanted:,.0f} {unit}, {read}")
                near = near or (last is not None and last[0] >= wanted - close)
            yield Due("note", note.words, label, case.id, near, note.due.on or "", days,
                      "; ".join(told), entry.id)  # fmt: skip


def _bands(label: str, visits: Sequence[Case]) -> Iterator[Due]:
    for series in series_of(visits):
        if series.left:
            newest = series.readings[-1]
            words = (
                f"{series.quantity.replace('_', ' ')} at {series.point}: {newest.typed}, its own "
                f"band is {series.band_words()}"
            )
            yield Due("band", words, label, newest.case, now=True, entry=newest.entry)


def _gauges(rows: Iterable[ShopInstrument], now: date) -> Iterator[Due]:
    for gauge in rows:
        name = f"compare {gauge.id} with a better one"
        try:
            last = date.fromisoformat(gauge.calibrated[:10])
            on = date.fromordinal(last.toordinal() + CALIBRATED_EVERY).isoformat()
        except ValueError:
            yield Due("gauge", f"{name}: no day written down", "", "", now=True)
            continue
        yield _by_day("gauge", name, "", "", on, now)


def _by_day(kind: str, what: str, truck: str, case: str, on: str, now: date) -> Due:
    """Return a thing by its day; what has none, or a day that cannot be read, has to be asked."""
    try:
        days = (date.fromisoformat(on[:10]) - now).days
    except ValueError:
        return Due(kind, f"{what}, {on or 'no day written down'}", truck, case, now=not on)
    return Due(kind, what, truck, case, days <= 0, on[:10], days)


def _read_last(visits: Sequence[Case], what: str) -> tuple[float, str] | None:
    """Return (the highest figure of miles or hours ever written down, its day)."""
    told = []
    for case in visits:
        for entry, visit in case.of(VisitData):
            miles = max(visit.miles_in() or 0.0, visit.miles_out() or 0.0)
            told.append((miles if what == "miles" else visit.hours or 0.0, entry.at[:10]))
        for entry, truck in case.of(TruckData):
            miles = max(truck.miles or 0.0, truck.miles_out or 0.0)
            told.append((miles if what == "miles" else truck.hours or 0.0, entry.at[:10]))
    best = max(told, default=(0.0, ""))
    return best if best[0] > 0 else None


def _handed_over(case: Case) -> bool:
    truck = case.truck()
    out = any(d.miles_out() is not None for _, d in case.of(VisitData))
    return out or (truck is not None and truck.miles_out is not None)


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck is not None else case.id
