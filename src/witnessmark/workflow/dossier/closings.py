"""What the shop has learnt: closed complaints, times, parts and comebacks, read off the cases.

Nothing is stored: the history is read off the entries each time, so a retracted entry is
forgotten at once. Closings that are not proven are counted and shown, never learnt from.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings.before_after import pairs
from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import OutcomeData, TestData, WorkData
from witnessmark.model.proof import Proof
from witnessmark.model.shop_record import Closing, Comeback, History, Job
from witnessmark.workflow.dossier.clocked import hands_on_minutes

__all__ = ["history_of"]


def history_of(
    cases: Sequence[tuple[Case, Sequence[Proof], dict[str, str]]],
    *,
    knowledge: Knowledge,
    now: datetime,
) -> History:
    """Return the history that a row of cases holds.

    Args:
        cases: the case, its proofs, and entry id -> who entered it.
        knowledge: the packs, which say whose cause a repair was.
        now: the time the ages are counted from.
    """
    closings: list[Closing] = []
    jobs: list[Job] = []
    comebacks: list[Comeback] = []
    for case, proofs, people in cases:
        closings += _closings(case, proofs, knowledge, now)
        jobs += _jobs(case, people, now)
        comebacks += _comebacks(case, knowledge, now)
    return History(tuple(closings), tuple(jobs), tuple(comebacks))


def _closings(
    case: Case, proofs: Sequence[Proof], knowledge: Knowledge, now: datetime
) -> Iterator[Closing]:
    """Yield one closing a complaint and family: the last word counts, however often it was said.

    A complaint that was gone and came back is a closing of its own, which teaches no share.
    """
    proven = {p.complaint: p.verdict == "proven" for p in proofs}
    truck = case.truck()
    engine_type = (truck.engine.type or "") if truck is not None else ""
    stages = case.stages()
    tests = tuple((d.test, d.result) for e, d in case.of(TestData) if stages[e.id] == 0)
    for complaint, data in case.complaints():
        if complaint.id not in proven:
            continue
        for closed, back in _episodes(case, complaint.id):
            stage = stages[closed.id]
            for family in _families_of(case, data.families, stage, knowledge):
                causes, sure = _causes(case, complaint.id, family, stage, knowledge)
                yield Closing(
                    case=case.id,
                    family=family,
                    causes=causes,
                    proven=proven[complaint.id] and bool(causes) and sure and back is None,
                    days_ago=_age(closed, now),
                    engine_type=engine_type,
                    results=tests,
                    came_back=back is not None,
                )


def _episodes(case: Case, complaint: str) -> list[tuple[Entry, Entry | None]]:
    """Return (entry that said "gone", entry that said it is back) of each time it was gone."""
    found: list[tuple[Entry, Entry | None]] = []
    gone: Entry | None = None
    for entry, outcome in case.of(OutcomeData):
        if outcome.complaint != complaint:
            continue
        if outcome.gone is True:
            gone = gone or entry
        elif gone is not None:
            found.append((gone, entry))
            gone = None
    return [*found, (gone, None)] if gone is not None else found


def _families_of(case: Case, named: Sequence[str], stage: int, knowledge: Knowledge) -> list[str]:
    """Return the families of a complaint that its repairs bear on; the first when none does."""
    done = _repaired_before(case, stage)
    known = [f for f in named if f in knowledge.families]
    mine = [f for f in known if any(_as_cause_of(f, c, knowledge) for c in done)]
    return mine or known[:1]


def _as_cause_of(family: str, cause: str, knowledge: Knowledge) -> str | None:
    """Return what a repaired cause is in a family: itself, or its one twin by a link."""
    if knowledge.families[family].cause(cause) is not None:
        return cause
    twins = {
        twin
        for link in knowledge.links
        for here, there in ((link.causes, link.other), (link.other, link.causes))
        if cause in there
        for twin in here
        if knowledge.families[family].cause(twin) is not None
    }
    return twins.pop() if len(twins) == 1 else None


def _causes(
    case: Case, complaint: str, family: str, stage: int, knowledge: Knowledge
) -> tuple[tuple[str, ...], bool]:
    """Return (the causes that the repairs up to *stage* have shown, whether that is certain).

    The repair after which the complaint was gone is one. An earlier one is another when it made
    the complaint better or changed a reading provably; when it did neither it was the wrong part.
    When nobody looked between two repairs, nothing says which of them it was.
    """
    live = case.live()
    works = [k for k, e in enumerate(live) if isinstance(e.data, WorkData)][:stage]
    found: list[str] = []
    sure = True
    for number, place in enumerate(works):
        work = live[place].data
        assert isinstance(work, WorkData)  # noqa: S101
        cause = _as_cause_of(family, work.cause or "", knowledge)
        if cause is None:
            continue
        helped: bool | None = True
        if number + 1 < len(works):
            helped = _helped(Case(case.id, live[: works[number + 1]]), complaint, knowledge)
        if helped is None:
            sure = False
        if helped is not False:
            found.append(cause)
    return tuple(dict.fromkeys(found)), sure or len(set(found)) == 1


def _helped(case: Case, complaint: str, knowledge: Knowledge) -> bool | None:
    """Whether the last work of a case did something; ``None`` when nobody looked."""
    stages = case.stages()
    last = sum(1 for e in case.live() if isinstance(e.data, WorkData))
    words = [
        outcome.gone
        for entry, outcome in case.of(OutcomeData)
        if outcome.complaint == complaint and stages[entry.id] == last
    ]
    if words and words[-1] is not False:
        return True
    measured = [
        p
        for p in pairs(Bench(case, {}, knowledge, stages), before_stage=last - 1)
        if p.before is not None and p.after is not None
    ]
    if any(p.shown for p in measured):
        return True
    return False if words or measured else None


def _jobs(case: Case, people: dict[str, str], now: datetime) -> Iterator[Job]:
    quoted = {line.cause: line for _, quote in case.of(QuoteData) for line in quote.lines
              if line.cause is not None and not quote.final}  # fmt: skip
    # What was clocked on a cause stands once, with the last work on it.
    last = {work.cause: entry.id for entry, work in case.of(WorkData)}
    for entry, work in case.of(WorkData):
        if work.cause is None:
            continue
        once = last[work.cause] == entry.id
        line = quoted.get(work.cause)
        prices = [p.usd * p.quantity for p in work.parts if p.usd is not None]
        yield Job(
            case=case.id,
            cause=work.cause,
            technician=people.get(entry.id, ""),
            minutes=hands_on_minutes(case, work.cause)
            if work.minutes is None and once
            else work.minutes,
            quoted_minutes=line.minutes if line is not None else None,
            usd=sum(prices) if prices else None,
            quoted_usd=line.usd if line is not None else None,
            parts=tuple(p.name for p in work.parts),
            days_ago=_age(entry, now),
        )


def _comebacks(case: Case, knowledge: Knowledge, now: datetime) -> Iterator[Comeback]:
    """Yield the complaints that were gone and then, at a later word of the customer, were not."""
    stages = case.stages()
    for complaint, data in case.complaints():
        for closed, back in _episodes(case, complaint.id):
            if back is None or not isinstance(back.data, OutcomeData):
                continue
            for family in _families_of(case, data.families, stages[closed.id], knowledge):
                causes, _ = _causes(case, complaint.id, family, stages[closed.id], knowledge)
                yield Comeback(
                    case=case.id,
                    family=family,
                    cause=causes[-1] if causes else "",
                    after_days=back.data.after_days or 0.0,
                    kind=back.data.comeback or "",
                    days_ago=_age(back, now),
                )


def _repaired_before(case: Case, stage: int) -> list[str]:
    """Return the causes of the first *stage* works, those that name one."""
    works = [work.cause for _, work in case.of(WorkData)]
    return [cause for cause in works[:stage] if cause]


def _age(entry: Entry, now: datetime) -> float:
    return max(0.0, (now - entry.when()).total_seconds() / 86400)
