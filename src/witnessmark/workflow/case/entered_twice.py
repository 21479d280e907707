"""Entries that waited on a device: where two met without seeing each other, both are kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ClueData,
    NoteData,
    OutcomeData,
    ReadingData,
    TestData,
    WorkData,
)
from witnessmark.words.say import waited
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["SAID_LINE", "Twice", "is_of_two", "lines_to_read", "twice_in", "write_where_they_met"]

#: ``about`` of a note that is a line, kept in words until somebody reads it.
SAID_LINE = "said_line"
_TWICE = "entered_twice "
_AFTER_WORK = "after_work "


@dataclass(frozen=True, slots=True)
class Twice:
    """Two live entries that speak of the same thing and do not say the same."""

    words: str
    entries: tuple[str, ...]


def write_where_they_met(
    shop: Shop,
    case_id: str,
    sent: Sequence[str],
    unseen_s: float,
    words: Callable[[Entry], str],
) -> str:
    """Note what was entered meanwhile on the same thing, and return the words; empty for none.

    Args:
        shop: the shop.
        case_id: the case.
        sent: ids that the device gave what it sent, the newest first; entries made of one begin
            with it.
        unseen_s: for how long the device had not seen the case [s].
        words: what an entry says, in words.
    """
    case = shop.case(case_id)
    own = [e for e in case.live() if any(_made_of(e, base) for base in sent)]
    fresh = [e for e in own if _made_of(e, sent[0])]
    if not fresh:
        return ""
    since = datetime.now(UTC) - timedelta(seconds=unseen_s)
    log = shop.casebook.log(case_id)
    by = {i: who or "" for i, _, who in log if i}
    meanwhile = {i for i, at, _ in log if i and _moment(at) >= since}
    others = [e for e in case.live() if e.id in meanwhile and e not in own]
    said: list[str] = []
    for mine in fresh:
        for other in reversed(others):
            if _same_thing(mine, other) and not _agree(mine, other):
                text = waited.met(words(mine), words(other), by.get(other.id, ""))
                about = f"{_TWICE}{mine.id} {other.id}"
            elif _before(case, other, mine) and _measured(mine):
                text = waited.after_work(words(mine), words(other))
                about = f"{_AFTER_WORK}{mine.id} {other.id}"
            else:
                continue
            data = {"words": text, "about": about[:200]}
            shop.add(case_id, "note", data, entry_id=f"{mine.id[:60]}.m{other.id[-10:]}")
            said.append(text)
            break  # the last one that it met says it
    return " ".join(dict.fromkeys(said))


def twice_in(case: Case) -> tuple[Twice, ...]:
    """Return what two devices entered differently, as long as both entries stand."""
    live = {e.id for e in case.live()}
    found = []
    for _, note in case.of(NoteData):
        for mark in (_TWICE, _AFTER_WORK):
            if note.about and note.about.startswith(mark):
                ids = tuple(note.about.removeprefix(mark).split())
                if set(ids) <= live:
                    found.append(Twice(note.words, ids))
    return tuple(found)


def is_of_two(note: NoteData) -> bool:
    """Say whether a note was written by the shop's machine where two devices met."""
    return (note.about or "").startswith((_TWICE, _AFTER_WORK))


def lines_to_read(case: Case) -> tuple[tuple[str, str], ...]:
    """Return (entry id, words) of the lines that came in words and wait to be read."""
    return tuple((e.id, d.words) for e, d in case.of(NoteData) if d.about == SAID_LINE)


def _made_of(entry: Entry, base: str) -> bool:
    return bool(base) and (entry.id == base or entry.id.startswith(f"{base[:60]}."))


def _same_thing(one: Entry, other: Entry) -> bool:
    a, b = one.data, other.data
    if isinstance(a, TestData) and isinstance(b, TestData):
        return a.test == b.test
    if isinstance(a, ClueData) and isinstance(b, ClueData):
        return (a.clue, a.cause) == (b.clue, b.cause)
    if isinstance(a, ReadingData) and isinstance(b, ReadingData):
        mine, theirs = (d.point.model_dump(exclude_none=True) for d in (a, b))
        told = (mine.keys() & theirs.keys()) | {"engine", "rpm"}
        return a.quantity == b.quantity and all(mine.get(k) == theirs.get(k) for k in told)
    if isinstance(a, OutcomeData) and isinstance(b, OutcomeData):
        return a.complaint == b.complaint
    if isinstance(a, WorkData) and isinstance(b, WorkData):
        return a.cause is not None and a.cause == b.cause
    return False


def _agree(one: Entry, other: Entry) -> bool:
    a, b = one.data, other.data
    if isinstance(a, TestData) and isinstance(b, TestData):
        return (a.result, a.value) == (b.result, b.value)
    if isinstance(a, ReadingData) and isinstance(b, ReadingData):
        return a.value == b.value
    # The same work, entered by two, may be one job written down twice.
    return a == b and not isinstance(a, WorkData)


def _measured(entry: Entry) -> bool:
    return isinstance(entry.data, (ReadingData, TestData, ClueData))


def _before(case: Case, work: Entry, entry: Entry) -> bool:
    """Say whether the work was entered after the entry was made, and yet stands before it."""
    if not isinstance(work.data, WorkData) or not work.at or not entry.at:
        return False
    stages = case.stages()
    return stages[work.id] < stages[entry.id] and _moment(entry.at) < _moment(work.at)


def _moment(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    return found if found.tzinfo else found.replace(tzinfo=UTC)
