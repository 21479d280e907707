"""What the shop has learnt: closed complaints, times, parts and comebacks, read off the cases.

Nothing is stored: the history is read off the entries each time, so a retracted entry is
forgotten at once. Closings that are not proven are counted and shown, never learnt from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from witnessmark.model.case import Case
from witnessmark.model.entry import Entry
from witnessmark.model.entry_data import OutcomeData, QuoteData, TestData, WorkData
from witnessmark.model.history import Closing, Comeback, History, Job
from witnessmark.model.proof import Proof

__all__ = ["history_of"]


def history_of(
    cases: Sequence[tuple[Case, Sequence[Proof], dict[str, str]]], *, now: datetime
) -> History:
    """Return the history that a row of cases holds.

    Args:
        cases: the case, its proofs, and entry id -> who entered it.
        now: the time the ages are counted from.
    """
    closings: list[Closing] = []
    jobs: list[Job] = []
    comebacks: list[Comeback] = []
    for case, proofs, people in cases:
        closings += _closings(case, proofs, now)
        jobs += _jobs(case, people, now)
        comebacks += _comebacks(case, proofs, now)
    return History(tuple(closings), tuple(jobs), tuple(comebacks))


def _closings(case: Case, proofs: Sequence[Proof], now: datetime) -> Iterator[Closing]:
    proven = {p.complaint: p.verdict == "proven" for p in proofs}
    causes = {p.complaint: p.family for p in proofs}
    truck = case.truck()
    stages = case.stages()
    tests = tuple((d.test, d.result) for e, d in case.of(TestData) if stages[e.id] == 0)
    for entry, outcome in case.of(OutcomeData):
        if outcome.gone is not True or outcome.complaint not in causes:
            continue
        work = _repaired_before(case, stages[entry.id])
        yield Closing(
            case=case.id,
            family=causes[outcome.complaint],
            causes=tuple(dict.fromkeys(work)),
            proven=proven[outcome.complaint] and bool(work),
            days_ago=_age(entry, now),
            engine_type=(truck.engine.type or "") if truck is not None else "",
            results=tests,
        )


def _jobs(case: Case, people: dict[str, str], now: datetime) -> Iterator[Job]:
    quoted = {line.cause: line for _, quote in case.of(QuoteData) for line in quote.lines
              if line.cause is not None}  # fmt: skip
    for entry, work in case.of(WorkData):
        if work.cause is None:
            continue
        line = quoted.get(work.cause)
        prices = [p.usd * p.quantity for p in work.parts if p.usd is not None]
        yield Job(
            case=case.id,
            cause=work.cause,
            technician=people.get(entry.id, ""),
            minutes=work.minutes,
            quoted_minutes=line.minutes if line is not None else None,
            usd=sum(prices) if prices else None,
            quoted_usd=line.usd if line is not None else None,
            parts=tuple(p.name for p in work.parts),
            days_ago=_age(entry, now),
        )


def _comebacks(case: Case, proofs: Sequence[Proof], now: datetime) -> Iterator[Comeback]:
    """A complaint that was gone and then, at a later word of the customer, was not."""
    families = {p.complaint: p.family for p in proofs}
    stages = case.stages()
    gone: dict[str, OutcomeData] = {}
    for entry, outcome in case.of(OutcomeData):
        if outcome.gone is True:
            gone[outcome.complaint] = outcome
        elif outcome.complaint in gone and outcome.gone is False:
            before = _repaired_before(case, stages[entry.id])
            yield Comeback(
                case=case.id,
                family=families.get(outcome.complaint, ""),
                cause=before[-1] if before else "",
                after_days=outcome.after_days or 0.0,
                days_ago=_age(entry, now),
            )


def _repaired_before(case: Case, stage: int) -> list[str]:
    """Return the causes of the first *stage* works, those that name one."""
    works = [work.cause for _, work in case.of(WorkData)]
    return [cause for cause in works[:stage] if cause]


def _age(entry: Entry, now: datetime) -> float:
    when = entry.when()
    if when.tzinfo is None:
        when = when.replace(tzinfo=UTC)
    return max(0.0, (now - when).total_seconds() / 86400)
