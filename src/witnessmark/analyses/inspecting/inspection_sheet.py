"""The sheet of a periodic inspection, read off the entries of a case.

What was not looked at is neither pass nor fail. A point that failed passes again only after work on
it and a second look. A reading that its instrument cannot tell from the limit is too close to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from witnessmark.analyses.inspecting.limit_check import finer_than, judged
from witnessmark.analyses.inspecting.places import places_of, position_of
from witnessmark.errors import UnitRefused
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList
from witnessmark.knowledge.inspecting.inspection_parts import PointPart, ReadingPart
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ComplaintData, WorkData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.model.entries.ledger_data import CloseData, InspectData
from witnessmark.model.inspection import LimitSeen, PlaceState, PointState, State
from witnessmark.words.say import inspection as say

__all__ = ["complaint_of", "head_of", "is_work_on", "open_complaint", "point_state", "point_states"]

#: The worst of the places is the state of the point.
_WORST: tuple[State, ...] = (
    "fails", "worked", "too_close", "not_looked", "repaired", "passes", "not_fitted",
)  # fmt: skip


@dataclass
class _Told:
    """What the entries say of one place so far."""

    state: State = "not_looked"
    failed: bool = False
    worked: bool = False
    entry: Entry | None = None
    remark: str = ""


def head_of(case: Case) -> InspectionData | None:
    """Return the head of the inspection as it was last written; ``None`` where none was begun."""
    found = None
    for _, data in case.of(InspectionData):
        found = data
    return found


def point_states(
    case: Case, listing: InspectionList, knowledge: Knowledge
) -> tuple[PointState, ...]:
    """Return every point of the case's vehicle and how it stands."""
    head = head_of(case)
    if head is None:
        return ()
    points = listing.points_for(head.vehicle, head.brake_kind)
    return tuple(point_state(case, point, head, listing, knowledge) for point in points)


def is_work_on(data: WorkData, point: PointPart, knowledge: Knowledge) -> bool:
    """Say whether work was on a point: it names it, or repairs a cause of what the point opens."""
    if point.id in data.points:
        return True
    if data.points or data.cause is None or point.opens is None:
        return False
    family = knowledge.families.get(point.opens)
    return family is not None and family.cause(data.cause) is not None


def open_complaint(case: Case, point: str) -> str:
    """Return the complaint that a point has opened and that is not closed; empty for none."""
    closed = {d.complaint for _, d in case.of(CloseData)}
    mine = [e.id for e, _ in case.of(ComplaintData) if complaint_of(e.id) == point]
    return next((identity for identity in reversed(mine) if identity not in closed), "")


def complaint_of(identity: str) -> str:
    """Return the point whose complaint has this id; empty where it is of none."""
    parts = identity.split(":")
    return parts[1] if len(parts) == 3 and parts[0] == "inspection" else ""


def point_state(
    case: Case,
    point: PointPart,
    head: InspectionData,
    listing: InspectionList,
    knowledge: Knowledge,
) -> PointState:
    """Return how one point stands."""
    ids = places_of(point.reading.places, head) if point.reading else ("",)
    told = _told(case, point, head, listing, knowledge, ids)
    there = any(t.state not in {"not_looked", "not_fitted"} for t in told.values())
    for one in told.values():
        if one.state == "not_fitted" and (there or not point.may_be_absent):
            one.state = "not_looked"  # fitted at one place is fitted at all
    places = tuple(_place(i, one, point, head, listing) for i, one in told.items())
    state: State = min((p.state for p in places), key=_WORST.index)
    remarks = [t.remark for t in told.values() if t.remark]
    if state in {"not_looked", "not_fitted"}:
        state, said = _asked_of_its_age(point, head, state)
        remarks += [said] if said else []
    area = next((a.name for a in listing.file.areas if a.id == point.area), point.area)
    return PointState(
        id=point.id,
        area=area,
        station=point.station,
        name=point.name,
        look=point.look,
        fails=point.fails,
        section=point.section,
        evidence=listing.said(point.evidence),
        state=state,
        said=say.state(state),
        optional=point.optional,
        may_be_absent=point.may_be_absent,
        reads=point.reading is not None,
        drive=point.drive,
        danger=say.drive(point.drive) if state in {"fails", "worked"} else "",
        plain=point.plain,
        caution=point.caution,
        places=places,
        faults=tuple((f.id, f.words) for f in point.faults),
        complaint=open_complaint(case, point.id),
        remarks=tuple(dict.fromkeys(remarks)),
    )


def _asked_of_its_age(point: PointPart, head: InspectionData, state: State) -> tuple[State, str]:
    """Return whether the part must be there by the day of building, and what is said of it."""
    rows = [
        r
        for r in point.required_from
        if (not r.vehicles or head.vehicle in r.vehicles)
        and (not r.brakes or head.brake_kind in r.brakes)
    ]
    if not rows:
        return state, ""
    if head.built is None:
        return "not_looked", say.say_built(point.name) if state == "not_fitted" else ""
    if any(head.built >= r.date for r in rows):
        missing = state == "not_fitted"
        return "not_looked", say.must_be_there(point.name, head.built) if missing else ""
    return ("not_fitted" if state == "not_fitted" else "not_required"), ""


def _told(
    case: Case,
    point: PointPart,
    head: InspectionData,
    listing: InspectionList,
    knowledge: Knowledge,
    ids: Sequence[str],
) -> dict[str, _Told]:
    """Return place -> what the entries say of it, in the order in which they were made.

    An entry without a place speaks of all; a place that this vehicle has not counts while it fails.
    """
    found = {identity: _Told() for identity in ids}
    for entry in case.live():
        data = entry.data
        if isinstance(data, InspectData) and data.point == point.id:
            verdict = _verdict(data, point, head, listing)
            if data.place is None and ids != ("",) and verdict == "passes":
                continue  # a figure of no place
            for place in ids if data.place is None else (data.place,):
                _look(found.setdefault(place, _Told()), entry, verdict, point)
        elif isinstance(data, WorkData) and is_work_on(data, point, knowledge):
            for one in found.values():
                if one.failed:
                    one.worked, one.state = True, "worked"
    return {i: one for i, one in found.items() if i in ids or one.failed}


def _look(one: _Told, entry: Entry, verdict: State, point: PointPart) -> None:
    """Take one look into account: a pass after a fail counts only after work."""
    if verdict == "fails":
        one.state, one.failed, one.worked, one.entry, one.remark = "fails", True, False, entry, ""
        return
    if one.failed and not one.worked:
        if verdict in {"passes", "not_fitted"}:
            one.remark = say.pass_without_work(point.name)
        return
    if one.failed and verdict == "not_looked":
        return
    one.entry, one.remark = entry, ""
    if verdict == "passes":
        one.state = "repaired" if one.failed else "passes"
        one.failed = one.worked = False
    else:
        one.state = verdict
        if verdict == "not_fitted":
            one.failed = one.worked = False


def _verdict(
    data: InspectData, point: PointPart, head: InspectionData, listing: InspectionList
) -> State:
    """Return what one look came to by itself."""
    if data.result == "fail":
        return "fails"
    if data.result == "not_fitted":
        return "not_fitted"
    if data.result == "not_looked":
        return "not_looked"
    if point.reading is None:
        return "passes" if data.result == "pass" else "not_looked"
    if not data.value:
        return "not_looked"
    seen = [s.verdict for s in _seen(data, point.reading, head, listing)]
    if not seen:
        return "not_looked"
    if "fails" in seen:
        return "fails"
    return "too_close" if "too_close" in seen else "passes"


def _seen(
    data: InspectData, reading: ReadingPart, head: InspectionData, listing: InspectionList
) -> tuple[LimitSeen, ...]:
    told = {**(data.given or {}), "position": position_of(data.place or "", head)}
    try:
        return judged(reading, data.value or "", _error(data, reading), told, listing.file.evidence)
    except UnitRefused:
        return ()


def _error(data: InspectData, reading: ReadingPart) -> str:
    """Return how far off the instrument may be: as typed, else by the list, else the coarsest."""
    if data.error:
        return data.error
    named = next((i.error for i in reading.instruments if i.id == data.gauge), "")
    return named or max((i.error for i in reading.instruments), key=lambda e: figure(e).value)


def _place(
    identity: str, told: _Told, point: PointPart, head: InspectionData, listing: InspectionList
) -> PlaceState:
    words = say.place(identity) if identity else ""
    if told.entry is None or not isinstance(told.entry.data, InspectData):
        return PlaceState(identity, words, told.state)
    data = told.entry.data
    fault = next((f.words for f in point.faults if f.id == data.fault), data.note or "")
    base = PlaceState(identity, words, told.state, told.entry.id, fault=fault)
    if point.reading is None or not data.value:
        return base
    error = _error(data, point.reading)
    seen = _seen(data, point.reading, head, listing)
    again = say.again(error, finer_than(point.reading, error)) if told.state == "too_close" else ""
    gauge = next((i.words for i in point.reading.instruments if i.id == data.gauge), "")
    return PlaceState(
        identity,
        words,
        told.state,
        told.entry.id,
        data.value,
        gauge,
        error,
        seen,
        again,
        tuple(_notes(point.reading, data.given or {}, bool(seen))),
        tuple((data.given or {}).items()),
        fault,
    )


def _notes(reading: ReadingPart, given: Mapping[str, str], judged_at_all: bool) -> Iterable[str]:
    if not judged_at_all:
        yield say.no_limit()
    for ask in reading.asks:
        if not ask.bands or not given.get(ask.id):
            continue
        try:
            value = figure(given[ask.id]).value
        except UnitRefused:
            continue
        yield next((b.words for b in ask.bands if value <= figure(b.to).value), "")
