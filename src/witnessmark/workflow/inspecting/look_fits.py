"""Whether a look fits its point: what is refused at the door, with what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.analyses.inspecting.limit_check import fits
from witnessmark.analyses.inspecting.places import places_of
from witnessmark.errors import InputRefused, UnitRefused
from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList
from witnessmark.knowledge.inspecting.inspection_parts import AskPart, PointPart, ReadingPart
from witnessmark.model.entries.inspection_data import InspectionData

__all__ = ["RESULTS", "Look", "must_fit"]

RESULTS = ("pass", "fail", "not_looked", "not_fitted")


@dataclass(frozen=True, slots=True)
class Look:
    """One look at a point, as it comes from a door.

    Attributes:
        point: point id.
        result: pass, fail, not_looked, not_fitted; empty where a figure says it.
        place: wheel, tyre or side; empty where the point has one place.
        value: what was read, with its unit.
        gauge: id of one of the point's instruments.
        error: how far off another instrument may be, with its unit.
        given: what the limit depends on.
        fault: which of the point's faults was seen.
        note: in words.
    """

    point: str
    result: str = ""
    place: str = ""
    value: str = ""
    gauge: str = ""
    error: str = ""
    given: Mapping[str, str] = field(default_factory=dict)
    fault: str = ""
    note: str = ""


def must_fit(one: Look, head: InspectionData, listing: InspectionList) -> PointPart:
    """Return the point that a look is of.

    Raises:
        InputRefused: no such point on this vehicle, or the look does not fit it.
    """
    points = {p.id: p for p in listing.points_for(head.vehicle, head.brake_kind)}
    point = points.get(one.point)
    if point is None:
        raise InputRefused(
            f"'{one.point[:60]}' is no point of the inspection of this {head.vehicle}.",
            where="point",
            do="'witnessmark inspect show' lists them.",
        )
    if one.result and one.result not in RESULTS:
        raise InputRefused(
            f"'{one.result[:40]}' is no result.", where="result", do=f"Use {', '.join(RESULTS)}."
        )
    if one.result == "not_fitted" and not point.may_be_absent:
        raise InputRefused(
            f"{point.name}: every such vehicle has it; it cannot be 'not fitted'.",
            where="result",
            do="Missing is a defect.",
        )
    if one.fault and (one.result != "fail" or all(f.id != one.fault for f in point.faults)):
        raise InputRefused(
            f"'{one.fault[:40]}' is no fault of {point.name}.",
            where="fault",
            do=f"Known: {', '.join(f.id for f in point.faults) or 'none'}; only where it fails.",
        )
    if point.reading is None:
        if one.value or one.place or one.gauge or one.error or one.given:
            raise InputRefused(
                f"{point.name} is looked at, not read.", where="value", do="Give pass or fail."
            )
        if not one.result:
            raise InputRefused(f"{point.name}: no result.", where="result", do="Pass or fail?")
    else:
        _must_read(one, point, point.reading, head)
    return point


def _must_read(one: Look, point: PointPart, reading: ReadingPart, head: InspectionData) -> None:
    places = places_of(reading.places, head)
    if places == ("",):
        if one.place:
            raise InputRefused(f"{point.name} has one place.", where="place", do="Leave it out.")
    elif one.place and one.place not in places:
        raise InputRefused(
            f"'{one.place}' is no place of this {head.vehicle}.",
            where="place",
            do=f"Places: {', '.join(places)}.",
        )
    if not one.value:
        if one.result in {"", "pass"}:
            raise InputRefused(
                f"{point.name} passes by a reading, and none was typed.",
                where="value",
                do=f"Type the {reading.what} with its unit, such as 1 {reading.unit.strip('/')}.",
            )
        if one.gauge or one.error:
            raise InputRefused("An instrument without a reading.", where="value")
        return
    if places != ("",) and not one.place:
        raise InputRefused(
            f"{point.name} is read at each place.", where="place", do=f"One of {', '.join(places)}."
        )
    if one.result in {"not_looked", "not_fitted"}:
        raise InputRefused("A reading was typed: it was looked at.", where="result")
    _must_be(one.value, reading.unit, reading.lowest, reading.highest, "value", reading.angle)
    _must_know_gauge(one, reading)
    for ask in reading.asks:
        _must_answer(one, ask)
    unknown = set(one.given) - {ask.id for ask in reading.asks}
    if unknown:
        raise InputRefused(f"'{min(unknown)[:40]}' is not asked at {point.name}.", where="given")
    if one.result == "pass":
        raise InputRefused(
            "A reading passes or fails by its limit, not by a word.",
            where="result",
            do="Leave the result out, or say fail where something else is wrong too.",
        )


def _must_know_gauge(one: Look, reading: ReadingPart) -> None:
    if one.gauge and all(i.id != one.gauge for i in reading.instruments):
        raise InputRefused(
            f"'{one.gauge[:40]}' is no instrument of this point.",
            where="gauge",
            do=f"Use {', '.join(i.id for i in reading.instruments)}, or type the error of yours.",
        )
    if not one.error:
        return
    kinds = {figure(i.error).kind for i in reading.instruments}
    off = figure(one.error)
    if off.value <= 0.0:
        raise InputRefused(
            "No instrument is without error.",
            where="error",
            do=f"Write how far off it may be, like {reading.instruments[0].error}.",
        )
    if off.kind not in kinds:
        raise InputRefused(
            f"'{one.error[:40]}' is not the error of such an instrument.",
            where="error",
            do=f"Write it like {reading.instruments[0].error}.",
        )


def _must_answer(one: Look, ask: AskPart) -> None:
    told = one.given.get(ask.id, "")
    if not fits(ask.only, one.given):
        if told:
            raise InputRefused(f"{ask.words}: not asked here.", where=ask.id, do="Leave it out.")
        return
    if not told:
        if ask.needed:
            known = ", ".join(o.id for o in ask.options)
            raise InputRefused(
                f"{ask.words}: not said. The limit hangs on it.",
                where=ask.id,
                do=f"One of {known}." if known else f"Type it in {ask.unit}.",
            )
        return
    if ask.options:
        if all(o.id != told for o in ask.options):
            raise InputRefused(
                f"'{told[:40]}' is no answer to: {ask.words}.",
                where=ask.id,
                do=f"One of {', '.join(o.id for o in ask.options)}.",
            )
        return
    _must_be(told, ask.unit or "", ask.lowest or "", ask.highest or "", ask.id, refuse=ask.refuse)


def _must_be(
    text: str, unit: str, lowest: str, highest: str, where: str, angle: bool = False,
    refuse: str = "",
) -> None:  # fmt: skip
    try:
        read = figure(text)
    except UnitRefused as error:
        raise InputRefused(error.what, where=where, do=error.do) from None
    low, high = figure(lowest), figure(highest)
    if angle and read.kind == "angle":
        return
    if read.kind != low.kind:
        raise InputRefused(
            f"'{text[:40]}' is not in {unit.strip('/')}.", where=where, do=f"Write it in {unit}."
        )
    slack = 1e-9 * max(1.0, abs(high.value))
    if not low.value - slack <= read.value <= high.value + slack:
        raise InputRefused(
            refuse or f"'{text[:40]}' cannot be: possible is {lowest} to {highest}.",
            where=where,
            do=f"Between {lowest} and {highest}. Check the number and the unit.",
        )
