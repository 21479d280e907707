"""Looking at a point: what is entered, what it raises, and what its repair signs off.

One look makes its entry; a defect opens a complaint of the right family in the case and enters the
look or test of that family which it amounts to, so that the stops of the packs stand. A second look
that passes after work takes them back, as far as the whole test was looked at, and closes the
complaint. All or nothing is stored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from witnessmark.analyses.inspecting.inspection_sheet import (
    complaint_of,
    head_of,
    point_state,
    point_states,
)
from witnessmark.analyses.inspecting.limit_check import raised
from witnessmark.analyses.inspecting.places import position_of
from witnessmark.errors import Conflict, InputRefused
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList
from witnessmark.knowledge.inspecting.inspection_parts import PointPart, RaisePart
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import parse_entry
from witnessmark.model.entries.entry_data import ComplaintData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.model.entries.ledger_data import InspectData
from witnessmark.model.inspection import PointState
from witnessmark.words.say import inspection as say
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, new_entry_id
from witnessmark.workflow.inspecting.inspect_case import listing_of
from witnessmark.workflow.inspecting.look_fits import Look, must_fit
from witnessmark.workflow.inspecting.whole_test import CLOSED, holders, is_whole, waits_for

__all__ = ["Look", "look"]


def look(
    shop: Shop,
    case_id: str,
    looks: Sequence[Look],
    *,
    by: str | None = None,
    at: str | None = None,
    entry_id: str | None = None,
) -> list[str]:
    """Enter looks at points, with what they raise and sign off.

    Args:
        shop: the shop.
        case_id: case id.
        looks: one or more; an earlier one counts for a later one.
        by: who looked.
        at: when.
        entry_id: an id that a second sending makes again; sent twice it is stored once.

    Returns:
        The ids of the new entries; none where all of it was in the case before.

    Raises:
        InputRefused: a look does not fit its point; nothing was stored.
    """
    if not looks:
        raise InputRefused("Nothing was looked at.", do="Tap what you saw.")
    base = (entry_id or new_entry_id())[:50]
    for attempt in (1, 2):
        case = shop.case(case_id)
        lines = _lines(shop, case, looks, base, by, at)
        try:
            return shop.enter(case_id, lines, by=by) if lines else []
        except Conflict:  # another device opened the same complaint in the same moment
            if attempt == 2:
                raise
    return []


def _lines(
    shop: Shop, case: Case, looks: Sequence[Look], base: str, by: str | None, at: str | None
) -> list[str]:
    listing, known = listing_of(shop), knowledge_of(shop, case)
    head = head_of(case)
    if head is None:
        raise InputRefused(say.not_begun(), where="inspection", do="Begin the inspection first.")
    held = {entry.id for entry in case.entries}
    lines: list[str] = []
    used: set[str] = set()
    for number, one in enumerate(looks):
        point = must_fit(one, head, listing)
        identity = base
        if len(looks) > 1:  # by the point, so that a second sending makes the same
            identity = f"{base[:40]}.{point.id[:24]}" + (f".{one.place[:6]}" if one.place else "")
            identity += f".{number}" if identity in used else ""
            used.add(identity)
        if identity in held:
            continue
        line = entry_line("inspect", _data(one, by), entry_id=identity, at=at)
        case = _with(case, [line])
        more = [*_follows(case, one, point, identity, head, listing, known, at, by)]
        case = _with(case, more)
        lines += [line, *more]
    return lines


def _with(case: Case, lines: Sequence[str]) -> Case:
    return Case(case.id, (*case.entries, *(parse_entry(line)[0] for line in lines)))


def _data(one: Look, by: str | None) -> dict[str, Any]:
    data: dict[str, Any] = {
        "point": one.point, "result": one.result, "value": one.value, "place": one.place,
        "fault": one.fault, "gauge": one.gauge, "error": one.error, "given": dict(one.given),
        "note": one.note, "by": by,
    }  # fmt: skip
    return {key: value for key, value in data.items() if value}


# ---- what follows of a look ---------------------------------------------------------------------


def _follows(
    case: Case,
    one: Look,
    point: PointPart,
    identity: str,
    head: InspectionData,
    listing: InspectionList,
    known: Knowledge,
    at: str | None,
    by: str | None,
) -> Sequence[str]:
    now = point_state(case, point, head, listing, known)
    told = _told(one.given, one.place, head)
    mine = next((p for p in now.places if p.entry == identity), None)
    if mine is not None and mine.state == "fails":
        return _opens(case, one, point, now, identity, told, listing, at, by)
    if now.state not in CLOSED or not (now.complaint or waits_for(case, point, listing)):
        return []
    states = {s.id: s for s in point_states(case, listing, known)}
    whole = {
        part.test: is_whole(part.test, head, listing, states, known)
        for holder in holders(point)
        for part in holder.clears
        if part.test is not None
    }
    lines: list[str] = []
    if now.complaint:
        lines = _closes(
            case, point, identity, states, told, one.value, head, listing, whole, at, by
        )
    # what the repair of another point left waiting until this one was looked at
    waiting = waits_for(_with(case, lines), point, listing)
    for number, part in enumerate(p for t, p in waiting.items() if whole[t]):
        lines += _entered(part, f"{identity}.w{number}", at, by, "")
    return lines


def _opens(
    case: Case,
    one: Look,
    point: PointPart,
    now: PointState,
    identity: str,
    told: Mapping[str, str],
    listing: InspectionList,
    at: str | None,
    by: str | None,
) -> list[str]:
    lines = []
    if not now.complaint:
        number = 1 + sum(complaint_of(e.id) == point.id for e, _ in case.of(ComplaintData))
        fault = next((f.words for f in point.faults if f.id == one.fault), "")
        where = say.place(one.place) if one.place else ""
        found = ", ".join(w for w in (one.value, fault, one.note[:200]) if w)
        data = {
            "words": say.opened(point.name, where, found),
            "families": [point.opens] if point.opens else [],
        }
        named = f"inspection:{point.id}:{number}"
        lines.append(entry_line("complaint", data, entry_id=named, at=at))
    part = _part(point, one.fault, told, one.value, clears=False)
    if part is None and point.drive in {"park", "tow"} and listing.file.unsafe:
        part = RaisePart(clue=listing.file.unsafe)
    return [*lines, *_entered(part, f"{identity}.r", at, by, one.value)]


def _closes(
    case: Case,
    point: PointPart,
    identity: str,
    states: Mapping[str, PointState],
    told: Mapping[str, str],
    value: str,
    head: InspectionData,
    listing: InspectionList,
    whole: Mapping[str, bool],
    at: str | None,
    by: str | None,
) -> list[str]:
    lines: list[str] = []
    still = _raised_by_others(case, point, states, head, listing)
    for number, fault in enumerate(_faults_seen(case, point)):
        part = _part(point, fault, told, value, clears=True)
        up = _part(point, fault, told, value, clears=False)
        if part is None and up is not None and up.clue is not None:
            part = RaisePart(clue=up.clue, seen=False)
        if up is None and point.drive in {"park", "tow"} and listing.file.unsafe:
            part = RaisePart(clue=listing.file.unsafe, seen=False)
        if part is None or (part.test or part.clue) in still:
            continue
        if part.test is None or whole.get(part.test):
            lines += _entered(part, f"{identity}.c{number}", at, by, value)
    close = {
        "complaint": states[point.id].complaint, "how": "proven", "why": say.signed_off(point.name)
    }  # fmt: skip
    return [*lines, entry_line("close", close, entry_id=f"{identity}.o", at=at)]


def _faults_seen(case: Case, point: PointPart) -> Sequence[str]:
    """Return the faults with which a point failed, each once."""
    seen = [
        d.fault or "" for _, d in case.of(InspectData) if d.point == point.id and d.result == "fail"
    ]
    by_figure = any(
        d.point == point.id and d.value and d.result != "fail" for _, d in case.of(InspectData)
    )
    return list(dict.fromkeys([*seen, *([""] if by_figure or not seen else [])]))


def _raised_by_others(
    case: Case,
    point: PointPart,
    states: Mapping[str, PointState],
    head: InspectionData,
    listing: InspectionList,
) -> set[str]:
    """Return the tests and clues that other points keep up because they still fail."""
    found: set[str] = set()
    for other in listing.points_for(head.vehicle, head.brake_kind):
        state = states.get(other.id)
        if other.id == point.id or state is None or state.state not in {"fails", "worked"}:
            continue
        for fault in _faults_seen(case, other):
            part = _part(other, fault, {"position": "other"}, "", clears=False)
            part = part or _part(other, fault, {"position": "steer"}, "", clears=False)
            if part is not None:
                found.add(part.test or part.clue or "")
            elif other.drive in {"park", "tow"}:
                found.add(listing.file.unsafe or "")
    return found


def _part(
    point: PointPart, fault: str, told: Mapping[str, str], value: str, *, clears: bool
) -> RaisePart | None:
    one = next((f for f in point.faults if f.id == fault), None)
    holder = one or point
    return raised(holder.clears if clears else holder.raises, told, value)


def _entered(
    part: RaisePart | None, identity: str, at: str | None, by: str | None, value: str
) -> list[str]:
    if part is None:
        return []
    if part.clue is not None:
        data: dict[str, Any] = {"clue": part.clue, "seen": part.seen}
        return [entry_line("clue", data, entry_id=identity, at=at)]
    data = {"test": part.test, "result": part.result}
    data |= {"value": value[:64]} if value else {}
    return [entry_line("test", data, entry_id=identity, at=at, by=by)]


def _told(given: Mapping[str, str], place: str, head: InspectionData) -> dict[str, str]:
    return {**given, "position": position_of(place, head)}
