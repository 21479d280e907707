"""Whether what was looked at amounts to a whole test of a family, or only to a part of it.

A point that passes after its repair says of its own part that it is good. The good result of a test
says it of everything that the test looks at: it is entered only once every other result of that
test was ruled out by a point that passed. What is left of the test is then still to be done.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList
from witnessmark.knowledge.inspecting.inspection_parts import FaultPart, PointPart, RaisePart
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import TestData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.model.inspection import PointState

__all__ = ["CLOSED", "holders", "is_whole", "waits_for"]

#: States in which nothing is left to look at.
CLOSED = frozenset({"passes", "repaired", "not_fitted", "not_required"})


def holders(point: PointPart) -> tuple[PointPart | FaultPart, ...]:
    """Return what names the tests of a point: the point itself and each of its faults."""
    return (point, *point.faults)


def is_whole(
    test: str,
    head: InspectionData,
    listing: InspectionList,
    states: Mapping[str, PointState],
    known: Knowledge,
) -> bool:
    """Say whether the points that passed rule out every result of a test but the good ones."""
    found = known.test(test)
    outcomes = found.outcomes if found is not None else ()
    points = listing.points_for(head.vehicle, head.brake_kind)
    good = {r for p in points for part in _clears(p, test) for r in _meant(part.result, outcomes)}
    seen_by: dict[str, list[bool]] = {}
    for point in points:
        state = states.get(point.id)
        closed = state is not None and state.state in CLOSED
        for result in _ruled_out(point, test, outcomes):
            seen_by.setdefault(result, []).append(closed)
    return bool(outcomes) and all(
        result in seen_by and all(seen_by[result]) for result in set(outcomes) - good
    )


def waits_for(case: Case, point: PointPart, listing: InspectionList) -> dict[str, RaisePart]:
    """Return test -> its good result, for the tests of a point that the inspection holds as bad."""
    last = {d.test: (e.id, d.result) for e, d in case.of(TestData)}
    found: dict[str, RaisePart] = {}
    for holder in holders(point):
        for part in holder.clears:
            identity, result = last.get(part.test or "", ("", ""))
            bad = {
                r.result
                for p in listing.file.points
                for h in holders(p)
                for r in h.raises
                if r.test == part.test
            }
            if part.most is None and identity.endswith(".r") and result in bad:
                found.setdefault(part.test or "", part)
    return found


def _clears(point: PointPart, test: str) -> Iterator[RaisePart]:
    for holder in holders(point):
        yield from (part for part in holder.clears if part.test == test)


def _ruled_out(point: PointPart, test: str, outcomes: tuple[str, ...]) -> Iterator[str]:
    """Yield the results of a test that a pass of the point rules out."""
    for holder in holders(point):
        for part in holder.raises:
            if part.test == test:
                yield from _meant(part.result, outcomes)
    for part in _clears(point, test):
        yield from part.also


def _meant(result: str | None, outcomes: tuple[str, ...]) -> tuple[str, ...]:
    """Return the results that one stands for: ``positive`` is any but the last."""
    if result is None or result in outcomes:
        return (result,) if result else ()
    return outcomes[:-1] if result == "positive" else outcomes[-1:]
