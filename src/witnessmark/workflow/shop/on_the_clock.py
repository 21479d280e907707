"""Who is on the clock: starting and stopping, jobs to choose from, sums beside the hours."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.model.answered import FOLLOWS, answers_to
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import ApprovalData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import RetractData
from witnessmark.model.entries.ledger_data import ClockData
from witnessmark.words.say import clock as say
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line
from witnessmark.workflow.dossier.clocked import DIAGNOSIS, Clocked, Span, clock_of
from witnessmark.workflow.shop.ledger_pages import every_row

__all__ = [
    "ClockRow", "ClockSeen", "clock_json", "clock_rows", "clock_seen", "jobs_offered",
    "local_time", "names_of_jobs", "on_the_clock", "press", "span_words", "tell_other_cases",
]  # fmt: skip

_MOST_JOBS = 12


@dataclass(frozen=True, slots=True)
class ClockRow:
    """One person's time on one job of a case, beside the hours of the estimate.

    Attributes:
        person: who.
        job: its id or words.
        name: the job in words.
        words: the sum as a sentence.
        minutes: what counts until now [min].
        estimated: minutes of the estimate for the job, ``None`` where it says none [min].
        running: whether it runs.
        asked: how many of its ends nobody has said.
    """

    person: str
    job: str
    name: str
    words: str
    minutes: float
    estimated: float | None
    running: bool
    asked: int


def clock_rows(case: Case, clocked: Clocked, name: Callable[[str], str]) -> tuple[ClockRow, ...]:
    """Return the sums of a case by person and job, each as it is read everywhere."""
    hours, whole = _estimated(case), clocked.by_job()
    rows, persons = [], [s.job for s in clocked.sums()]
    for one in clocked.sums():
        of = hours.get(one.job)
        words = say.summed(one.person, name(one.job), one.minutes, one.running, one.asked)
        if of is not None and persons.count(one.job) == 1:
            words = say.summed_of(
                one.person, name(one.job), one.minutes, of, one.running, one.asked
            )
        elif of is not None:
            words = f"{words} {say.together(whole[one.job], of)}"
        rows.append(ClockRow(one.person, one.job, name(one.job), words, one.minutes, of,
                             one.running, one.asked))  # fmt: skip
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class ClockSeen:
    """The clock of a case as the page shows it.

    Attributes:
        running: (span, its words) of what runs.
        asked: (span, its words) of what is asked about.
        rows: the sums.
        offered: (job, its name) to choose from.
        name: job -> its name.
    """

    running: tuple[tuple[Span, str], ...]
    asked: tuple[tuple[Span, str], ...]
    rows: tuple[ClockRow, ...]
    offered: tuple[tuple[str, str], ...]
    name: Callable[[str], str]


def clock_seen(case: Case, assessment: Dossier | None, step: Callable[[str], str]) -> ClockSeen:
    """Return the clock of a case, now; *step* names the ids of the packs."""
    clocked, name = clock_of(case), names_of_jobs(case, step)
    return ClockSeen(
        tuple((s, span_words(s, name)) for s in clocked.running),
        tuple((s, span_words(s, name)) for s in clocked.asked),
        clock_rows(case, clocked, name),
        tuple((job, name(job)) for job in jobs_offered(case, assessment)),
        name,
    )


def span_words(span: Span, name: Callable[[str], str]) -> str:
    """Say what runs, or what is asked about a span."""
    begun = f"{span.start.astimezone():%H:%M}"
    if span.state == "running":
        return say.running(span.person, name(span.job), span.minutes, begun, span.beside)
    day = f"{span.start.astimezone():%Y-%m-%d %H:%M}"
    form = say.backwards if span.why == "backwards" else say.forgotten
    return form(span.person, name(span.job), day)


def names_of_jobs(case: Case, step: Callable[[str], str]) -> Callable[[str], str]:
    """Return job -> its name, by the lines of the estimates and *step* (ids of the packs)."""
    lines = {f"{e.id}:{n}": line.what for e, q in case.of(QuoteData)
             for n, line in enumerate(q.lines, start=1)}  # fmt: skip
    return lambda job: lines.get(job) or (say.diagnosis() if job == DIAGNOSIS else step(job))


def jobs_offered(case: Case, assessment: Dossier | None) -> tuple[str, ...]:
    """Return the jobs to choose from: what is done next, what was agreed to, and diagnosis.

    What the person did here last stands first after the next step.
    """
    found: list[str] = []
    for step in assessment.steps if assessment else ():
        if step.kind != "safety":
            found.append(DIAGNOSIS if step.kind == "measure" else step.step)
            break
    found += [d.job for _, d in case.of(ClockData) if d.job and not d.elsewhere]
    quotes = {e.id: q for e, q in case.of(QuoteData)}
    agreed: dict[str, bool] = {}
    for _, answer in case.of(ApprovalData):
        quote = quotes.get(answer.quote or "")
        for number, granted, _, _ in answers_to(answer, quote):
            if quote is not None and quote.lines[number - 1].kind not in {*FOLLOWS, "fee", "part"}:
                cause = quote.lines[number - 1].cause
                agreed[cause or f"{answer.quote}:{number}"] = granted
    found += [job for job, granted in agreed.items() if granted]
    return tuple(dict.fromkeys([*found, DIAGNOSIS]))[:_MOST_JOBS]


def press(
    shop: Shop,
    case_id: str,
    data: dict[str, Any],
    *,
    by: str | None = None,
    at: str | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Write a start or a stop into a case.

    Raises:
        InputRefused: nobody is named, nothing of his runs that could be stopped, what the entry
            speaks of is no start or stop of the case, or its time lies ahead.
    """
    if not data.get("person"):
        raise InputRefused("Nobody is named.", where="person", do="Say whose time it is.")
    case = shop.case(case_id)
    held = {e.id for e in case.entries}
    if entry_id not in held:
        _must_fit(case, data, at)
    entry = shop.add(case_id, "clock", data, by=by, entry_id=entry_id, at=at)
    tell_other_cases(shop, case_id, [entry])
    return entry


def local_time(text: str) -> str:
    """Return a time as people write it, by this machine's clock, with its offset.

    Raises:
        InputRefused: it is no date and time.
    """
    try:
        return datetime.fromisoformat(text.strip()).astimezone().isoformat()
    except (ValueError, OverflowError, OSError):
        raise InputRefused(f"'{text:.40}' is no date and time.", where="when",
                           do="Write it like 2026-03-02T16:30.") from None  # fmt: skip


def _must_fit(case: Case, data: dict[str, Any], at: str | None) -> None:
    moment = datetime.now(UTC)
    if at is not None:
        told = datetime.fromisoformat(at)
        if (told if told.tzinfo else told.replace(tzinfo=UTC)) > moment:
            raise InputRefused("That time is still to come.", where="when",
                               do="Write when it was.")  # fmt: skip
    of = data.get("of")
    if of:
        mine = next((d for e, d in case.of(ClockData) if e.id == of and d.of is None), None)
        if mine is None or (data["does"] == "start" and mine.does == "stop"):
            raise InputRefused(f"'{of:.80}' is no {data['does']} of this case's clock.",
                               where="of", do="Take the id of the entry to correct.")  # fmt: skip
    elif data["does"] == "stop":
        person, job = data["person"], data.get("job")
        if not any(
            s.person == person and job in {None, s.job} and s.stop is None
            for s in clock_of(case, moment).spans
        ):
            raise InputRefused(f"Nothing of {person:.80} is running here that could be stopped.",
                               where="job", do="Start it first, or name the job.")  # fmt: skip


def tell_other_cases(shop: Shop, case_id: str, entries: Iterable[Entry]) -> None:
    """Copy starts and stops to the other cases where their person is on the clock.

    So each case stands by itself: a start there ends or halves what runs here. A person on the
    clock elsewhere is copied into this case likewise where both run. What is taken back here is
    taken back where it was copied to.
    """
    for entry in entries:
        data = entry.data
        if isinstance(data, RetractData):
            _take_back_copies(shop, case_id, entry, data)
        if not isinstance(data, ClockData) or data.elsewhere:
            continue
        for other in _cases_with_clock(shop, data.person):
            if other != case_id:
                _tell(shop, case_id, entry, data, other)


def _take_back_copies(shop: Shop, case_id: str, entry: Entry, data: RetractData) -> None:
    mine = next((e for e in shop.case(case_id).entries if e.id == data.entry), None)
    if mine is None or not isinstance(mine.data, ClockData) or mine.data.elsewhere:
        return
    copy = _copy_of(data.entry)
    for other in _cases_with_clock(shop, mine.data.person):
        case = shop.case(other)
        held = {e.id for e in case.entries}
        if other == case_id or copy not in held or copy in case.retracted():
            continue
        fields = {"entry": copy, "why": data.why}
        shop.append(
            other, [entry_line("retract", fields, entry_id=_copy_of(entry.id), at=entry.at)]
        )


def _tell(shop: Shop, case_id: str, entry: Entry, data: ClockData, other: str) -> None:
    case = shop.case(other)
    held = {e.id for e in case.entries}
    mine = [s for s in clock_of(case, entry.when(), whole=True).spans if s.person == data.person]
    open_here = [s for s in mine if s.stop is None and s.start <= entry.when()]
    copies = {s.elsewhere for s in open_here}
    known = data.of is not None and _copy_of(data.of) in held
    if not (known or any(not s.elsewhere for s in open_here) or case_id in copies):
        return
    if data.does == "stop" and not known and case_id not in copies:
        return
    fields = json.loads(entry.line)["data"] | {"elsewhere": case_id}
    if data.of is not None:
        fields["of"] = _copy_of(data.of)
    line = entry_line("clock", fields, entry_id=_copy_of(entry.id), at=entry.at)
    if _copy_of(entry.id) not in held:
        shop.append(other, [line])
    if data.does == "start" and data.both and data.of is None:
        here = {e.id for e in shop.case(case_id).entries}
        back = [_copied(case, span, other) for span in open_here if not span.elsewhere]
        fresh = [text for name, text in back if name not in here]
        if fresh:
            shop.append(case_id, fresh)


def _copied(case: Case, span: Span, other: str) -> tuple[str, str]:
    """Return (id, line) of the copy of a span's start, as running beside."""
    start = next(e for e in case.entries if e.id == span.entry)
    fields = json.loads(start.line)["data"] | {"elsewhere": other, "both": True}
    return _copy_of(start.id), entry_line(
        "clock", fields, entry_id=_copy_of(start.id), at=span.start.isoformat()
    )


def _copy_of(entry_id: str) -> str:
    return f"x.{entry_id}"[:80]


def _cases_with_clock(shop: Shop, person: str) -> list[str]:
    return [row.case for row in every_row(shop) if person in row.clocked]


def on_the_clock(
    shop: Shop, person: str = "", now: datetime | None = None
) -> list[tuple[str, str, Span]]:
    """Return (case, truck, span) of what runs or is asked about in the shop.

    Args:
        shop: the shop.
        person: his alone; everybody's when empty.
        now: the moment; now when not given.
    """
    return [
        (row.case, row.truck, span)
        for row in every_row(shop)
        if row.clocked and (not person or person in row.clocked)
        for span in clock_of(shop.case(row.case), now).spans
        if span.state != "done" and (not person or span.person == person)
    ]


def clock_json(shop: Shop, case_id: str) -> dict[str, Any]:
    """Return the clock of a case as JSON: sums, what runs, and what is asked."""
    case, knowledge = shop.case(case_id), knowledge_of(shop)
    clocked = clock_of(case)
    name = names_of_jobs(case, lambda job: _called(knowledge, job))
    return {
        "case": case_id,
        "sums": [{"person": r.person, "job": r.job, "name": r.name, "minutes": round(r.minutes, 1),
                  "estimated_minutes": r.estimated, "running": r.running, "asked": r.asked,
                  "words": r.words} for r in clock_rows(case, clocked, name)],
        "running": [_span_json(s, name) for s in clocked.running],
        "asked": [_span_json(s, name) for s in clocked.asked],
    }  # fmt: skip


def _called(knowledge: Any, job: str) -> str:
    test, cause = knowledge.test(job), knowledge.cause(job)
    return test.name if test is not None else cause.name if cause else job.replace("_", " ")


def _span_json(span: Span, name: Callable[[str], str]) -> dict[str, Any]:
    return {"entry": span.entry, "person": span.person, "job": span.job,
            "start": span.start.isoformat(), "minutes": round(span.minutes, 1),
            "why": span.why, "words": span_words(span, name)}  # fmt: skip


def _estimated(case: Case) -> dict[str, float]:
    """Return job -> minutes of the estimates that none has revised [min]."""
    quotes = [(e.id, q) for e, q in case.of(QuoteData) if not q.final]
    revised = {q.replaces for _, q in quotes}
    found: dict[str, float] = {}
    for name, line, number in _lines(q for q in quotes if q[0] not in revised):
        if line.minutes is not None:
            for job in {line.cause or "", f"{name}:{number}"} - {""}:
                found[job] = found.get(job, 0.0) + line.minutes
    return found


def _lines(quotes: Iterable[tuple[str, QuoteData]]) -> Sequence[tuple[str, Any, int]]:
    return [(name, line, n) for name, q in quotes for n, line in enumerate(q.lines, start=1)]
