"""Which complaints wait to be read again after a work: until then nothing is renewed on them.

What was read or seen before a work speaks of the old part. Whether the new one has cured anything
is not known before the same points are read again, or somebody says whether it is gone; so until
then the odds stand as they were and no further part is proposed (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from witnessmark.knowledge import Family, Link, Test
from witnessmark.knowledge.first_words.said_of_work import still_there
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import (
    ClueData,
    CodeData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.planner.order.facts import RPM_ABOUT

__all__ = ["until_read_again"]

#: What a test needs of the engine that shows whether the complaint is still there, and its kind.
_RUNS = frozenset({"idle", "running", "loaded"})
_MEASURED = frozenset({"measure", "functional"})


@dataclass
class _Complaint:
    """What was read of one complaint, and the stage of the first work that nobody judged since."""

    family: Family
    touched: frozenset[str]
    points: list[tuple[str, float | None]] = field(default_factory=list)
    tests: set[str] = field(default_factory=set)
    since: int | None = None


def until_read_again(
    case: Case, families: Iterable[Family], links: Sequence[Link] = ()
) -> Mapping[str, int]:
    """Return family id -> stage before the first work that was neither read after nor asked about.

    Args:
        case: the entries.
        families: the families of the open complaints.
        links: faults that make two complaints: work on the one may have cured the other.
    """
    found = [_Complaint(f, _touching(f, links)) for f in families]
    stages = case.stages()
    for entry in case.live():
        told = {one.since for one in found if _judged(one, entry.data)}
        for one in found:
            # what was read of the one complaint tells of the same work on the other
            one.since = None if one.since in told else one.since
            _take(one, entry.data, stages[entry.id])
    return {one.family.id: one.since for one in found if one.since is not None}


def _touching(family: Family, links: Sequence[Link]) -> frozenset[str]:
    """Return the causes whose renewal may cure a complaint of the family."""
    own = {c.id for c in family.causes}
    beside = {
        c
        for link in links
        for here, there in ((link.causes, link.other), (link.other, link.causes))
        if own & set(here)
        for c in there
    }
    return frozenset(own | beside)


def _take(one: _Complaint, data: object, stage: int) -> None:
    if isinstance(data, WorkData):
        if data.points or (data.cause and data.cause not in one.touched):
            return
        if still_there(data.did):
            one.since = None
        elif one.since is None:
            one.since = stage
    elif isinstance(data, ReadingData) and data.quantity in _quantities(one.family):
        one.points.append((data.quantity, data.point.rpm))
    elif isinstance(data, TestData) and one.family.test(data.test) is not None:
        one.tests.add(data.test)


def _judged(one: _Complaint, data: object) -> bool:
    """Say whether an entry tells how the complaint stands after the work."""
    if one.since is None:
        return False
    match data:
        case OutcomeData() | RecordingData():
            return True
        case ClueData():
            return data.seen is True
        case CodeData():
            return data.active is not False
        case ReadingData():
            return _read_again(one, data.quantity, data.point.rpm)
        case TestData():
            test = one.family.test(data.test)
            return test is not None and _made_again(one, test)
    return False


def _read_again(one: _Complaint, quantity: str, rpm: float | None) -> bool:
    if not one.points:
        return quantity in _quantities(one.family)
    return any(
        quantity == q and (rpm is None or r is None or abs(rpm - r) <= RPM_ABOUT)
        for q, r in one.points
    )


def _made_again(one: _Complaint, test: Test) -> bool:
    """Say whether a test repeats what was seen before, is the first of all, or a measurement.

    Who measures with the engine running, by whatever test, sees whether the complaint is there.
    """
    if not one.points and not one.tests:
        return True
    state = test.rules.state
    runs = state is not None and (state.engine in _RUNS or state.road)
    return (runs and test.kind in _MEASURED) or bool({test.id, *test.same_as} & one.tests)


def _quantities(family: Family) -> frozenset[str]:
    """Return what is read of a family: by its tests, its measurements, its proof."""
    plan = family.proof_plan
    rows = (*plan.required, *plan.second, *plan.confirm) if plan is not None else ()
    tested = {rule.quantity for t in family.tests for rule in t.readings}
    offered = {q for m in family.measurements for q, _, _ in m.readings}
    asked = {r.quantity for r in rows if r.quantity is not None}
    made = {t.reading.quantity for t in family.tests if t.reading is not None}
    return frozenset(tested | offered | asked | made)
