"""Time by start and stop: what each person was clocked on each job of a case.

A case stands by itself: what a person began in another case while he was on the clock here is
copied here (``elsewhere``), and is no time of this case.

- A start ends what the person has running, unless it is said to run beside it (``both``).
- While several run, each counts alike (two: half each), unless a start tells its ``share``.
- What was stopped by nobody within 12 hours, or on another day than it began, is asked about and
  counts nothing until somebody says when it ended. What he says counts, by night too, up to 24 h.
- An end before its start counts nothing and is asked about.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Literal

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.entries.ledger_data import ClockData

__all__ = ["DIAGNOSIS", "Clocked", "Span", "Sum", "clock_of", "hands_on_minutes"]

#: Looking for the fault, whatever step it is.
DIAGNOSIS = "diagnosis"
#: Running for longer, a stop was forgotten [h] (judgement; no shift is longer).
FORGOTTEN_H = 12
#: What somebody says was a day at most [h].
SAID_H = 24
#: Clocks of devices may be apart by so much [s].
_APART_S = 120

State = Literal["done", "running", "asked"]


@dataclass(frozen=True, slots=True)
class Span:
    """One stretch of time of one person on one job.

    Attributes:
        entry: entry id of its start.
        person: who.
        job: id or words of the job.
        start: when it began.
        stop: when it ended, ``None`` while it was not.
        state: ``done``, ``running``, or ``asked``: nobody knows yet when it ended.
        why: of ``asked``: ``forgotten`` or ``backwards``; else empty.
        minutes: what counts of it until now [min].
        beside: whether another job ran beside it for some of the time.
        elsewhere: the other case that it belongs to; empty for this one's own.
    """

    entry: str
    person: str
    job: str
    start: datetime
    stop: datetime | None
    state: State
    why: str
    minutes: float
    beside: bool = False
    elsewhere: str = ""


@dataclass(frozen=True, slots=True)
class Sum:
    """What one person was clocked on one job: minutes, whether it runs, how many are asked."""

    person: str
    job: str
    minutes: float
    running: bool
    asked: int


@dataclass(frozen=True, slots=True)
class Clocked:
    """The clock of a case at one moment: its own spans in order of their starts."""

    spans: tuple[Span, ...]

    @property
    def running(self) -> tuple[Span, ...]:
        """What runs now."""
        return tuple(s for s in self.spans if s.state == "running")

    @property
    def asked(self) -> tuple[Span, ...]:
        """Spans whose end somebody has to say."""
        return tuple(s for s in self.spans if s.state == "asked")

    def sums(self) -> tuple[Sum, ...]:
        """Return the sums by person and job, in the order in which they were begun."""
        rows: dict[tuple[str, str], list[Span]] = {}
        for span in self.spans:
            rows.setdefault((span.person, span.job), []).append(span)
        return tuple(
            Sum(person, job, sum(s.minutes for s in spans),
                any(s.state == "running" for s in spans), sum(s.state == "asked" for s in spans))
            for (person, job), spans in rows.items()
        )  # fmt: skip

    def by_job(self) -> dict[str, float]:
        """Return job -> minutes of all persons together [min]."""
        found: dict[str, float] = {}
        for span in self.spans:
            found[span.job] = found.get(span.job, 0.0) + span.minutes
        return found


@dataclass(slots=True)
class _Open:
    """A span while it is put together."""

    entry: str
    place: int
    data: ClockData
    start: datetime
    stop: datetime | None = None
    said: bool = False
    backwards: bool = False


@dataclass(frozen=True, slots=True)
class _Event:
    entry: str
    place: int
    data: ClockData
    when: datetime
    said: bool


def clock_of(
    case: Case, now: datetime | None = None, zone: tzinfo | None = None, *, whole: bool = False
) -> Clocked:
    """Return the clock of a case.

    Args:
        case: the case.
        now: until when what runs is counted; now when not given.
        zone: whose midnight ends a day; this machine's when not given.
        whole: also what is copied from other cases.
    """
    moment = now or datetime.now(UTC)
    events, said = _events(case)
    by_person: dict[str, list[_Event]] = {}
    for event in events:
        by_person.setdefault(event.data.person, []).append(event)
    spans: list[Span] = []
    for mine in by_person.values():
        spans += _judged(_walked(mine, said, zone), moment, zone)
    spans.sort(key=lambda s: s.start)
    return Clocked(tuple(s for s in spans if whole or not s.elsewhere))


def hands_on_minutes(case: Case, cause: str) -> float | None:
    """Return what was clocked on the repair of *cause* [min].

    ``None`` where nobody was on the clock for it, where it still runs or is asked about, and
    where a work entry says its minutes: what was typed counts, and never both.
    """
    if any(w.cause == cause and w.minutes is not None for _, w in case.of(WorkData)):
        return None
    spans = [s for s in clock_of(case).spans if s.job == cause]
    if not spans or any(s.state != "done" for s in spans):
        return None
    return sum(s.minutes for s in spans)


def _events(case: Case) -> tuple[list[_Event], dict[str, datetime]]:
    """Return starts and stops at the times that count, and start id -> the end that was said."""
    rows = [(place, e, d) for place, (e, d) in enumerate(case.of(ClockData))]
    kinds = {e.id: d.does for _, e, d in rows if d.of is None}
    told: dict[str, datetime] = {}
    ends: dict[str, datetime] = {}
    for _, entry, data in rows:
        if data.of is None or data.of not in kinds:
            continue
        if data.does == kinds[data.of]:
            told[data.of] = entry.when()
        elif data.does == "stop":
            ends[data.of] = entry.when()
    events = [
        _Event(e.id, place, d, told.get(e.id, e.when()), e.id in told)
        for place, e, d in rows
        if d.of is None
    ]
    return events, ends


def _walked(
    events: Sequence[_Event], said: dict[str, datetime], zone: tzinfo | None
) -> list[_Open]:
    """Return the spans of one person, each with its end where it has one."""
    spans: list[_Open] = []
    running: list[_Open] = []
    lost: list[_Event] = []
    for event in sorted(events, key=lambda e: (e.when, e.place)):
        data = event.data
        if data.does == "stop":
            ended = [s for s in running if data.job is None or s.data.job == data.job]
            ended = [s for s in ended if s.data.elsewhere == data.elsewhere]
            for span in ended:
                span.stop, span.said = event.when, event.said
                running.remove(span)
            if not ended:
                lost.append(event)
            continue
        again = next((s for s in running if _same(s.data, data)), None)
        if again is not None and not _forgotten(again.start, event.when, zone):
            continue  # pressed twice
        if not data.both:
            for span in running:
                span.stop = event.when
            running.clear()
        span = _Open(event.entry, event.place, data, event.when)
        spans.append(span)
        if event.entry in said:
            span.stop, span.said = said[event.entry], True
        else:
            running.append(span)
    for event in lost:
        for span in running:
            late = span.place < event.place and span.start > event.when
            if late and event.data.job in {None, span.data.job} and span.stop is None:
                span.stop, span.backwards = event.when, True
    return spans


def _same(one: ClockData, other: ClockData) -> bool:
    return (one.job, one.elsewhere) == (other.job, other.elsewhere)


def _forgotten(start: datetime, end: datetime, zone: tzinfo | None) -> bool:
    if end - start > timedelta(hours=FORGOTTEN_H):
        return True
    return start.astimezone(zone).date() != end.astimezone(zone).date()


def _judged(spans: Sequence[_Open], now: datetime, zone: tzinfo | None) -> Iterator[Span]:
    """Yield the spans with what counts of each."""
    states = [_state(span, now, zone) for span in spans]
    sure = [(s, s.stop or max(now, s.start)) for s, (state, _) in zip(spans, states, strict=True)
            if state != "asked"]  # fmt: skip
    for span, (state, why) in zip(spans, states, strict=True):
        minutes, beside = (0.0, False) if state == "asked" else _counted(span, sure)
        yield Span(
            span.entry, span.data.person, span.data.job or "", span.start, span.stop, state, why,
            minutes, beside, span.data.elsewhere or "",
        )  # fmt: skip


def _state(span: _Open, now: datetime, zone: tzinfo | None) -> tuple[State, str]:
    end = span.stop or now
    apart = timedelta(seconds=_APART_S if span.stop is None else 0)
    if span.backwards or end < span.start - apart:
        return "asked", "backwards"
    long = end - span.start > timedelta(hours=SAID_H)
    if long or (not span.said and _forgotten(span.start, end, zone)):
        return "asked", "forgotten"
    return ("running" if span.stop is None else "done"), ""


def _counted(span: _Open, sure: Sequence[tuple[_Open, datetime]]) -> tuple[float, bool]:
    """Return (what counts of a span [min], whether another ran beside it)."""
    end = next(until for one, until in sure if one is span)
    marks = {span.start, end}
    marks |= {t for one, until in sure for t in (one.start, until) if span.start < t < end}
    found, beside = 0.0, False
    ordered = sorted(marks)
    for begin, until in pairwise(ordered):
        others = [o for o, e in sure if o is not span and o.start <= begin and e >= until]
        found += (until - begin).total_seconds() / 60 * _part(span, others)
        beside = beside or bool(others)
    return found, beside


def _part(span: _Open, others: Sequence[_Open]) -> float:
    """Return which part of the time counts for a span while others run."""
    if not others:
        return 1.0
    if span.data.share is not None:
        return span.data.share
    told = sum(o.data.share for o in others if o.data.share is not None)
    untold = sum(o.data.share is None for o in others)
    return max(0.0, 1.0 - told) / (1 + untold)
