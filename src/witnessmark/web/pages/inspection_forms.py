"""What the forms of an inspection say, and what they begin with."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.ledger_data import InspectData
from witnessmark.model.inspection import InspectionSheet, PointState
from witnessmark.web.pages.entry_forms import Fields, one
from witnessmark.workflow.inspecting.look_at_point import Look

__all__ = [
    "ReadingStart", "head_fields", "looks_of", "reading_look", "shown_before", "start_of",
    "units_of",
]  # fmt: skip

_TEXTS = (
    "vehicle", "brake_kind", "built", "inspector", "qualified", "evidence", "brake_inspector",
    "brake_qualified", "brake_evidence", "carrier", "carrier_address",
)  # fmt: skip
_MORE_UNITS = {
    "in": ("in", "mm"), "/32 in": ("/32 in", "in", "mm"), "psi": ("psi", "kPa"), "s": ("s", "min"),
    "%": ("%",),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReadingStart:
    """What the form of a reading begins with.

    Attributes:
        place: the place that comes next.
        given: what the limit hangs on, as it was told last at this point.
        gauge: the instrument of the last reading.
        error: the error typed with it.
        unit: the unit of the last reading.
        number: what was typed before a refusal.
        result: the answer besides a figure.
        note: in words.
        entry_id: the id of the form.
    """

    place: str
    given: dict[str, str]
    gauge: str
    error: str
    unit: str
    number: str
    result: str
    note: str
    entry_id: str


def head_fields(form: Fields) -> dict[str, Any]:
    """Return the head of an inspection as the form says it."""
    data: dict[str, Any] = {name: one(form, name) for name in _TEXTS if one(form, name)}
    for name in ("axles", "steer_axles"):
        text = one(form, name)
        if text and not (text.isascii() and text.isdecimal() and len(text) < 3):
            raise InputRefused(f"'{text[:20]}' is not a number of axles.", where=name)
        if text:
            data[name] = int(text)
    duals = one(form, "dual_axles")
    if duals.lower() in {"none", "no", "0"}:
        data["dual_axles"] = []
    elif duals:
        numbers = re.findall(r"\d{1,2}", duals)
        if not numbers or re.search(r"[^\d ,and]", duals):
            raise InputRefused(
                f"'{duals[:40]}' names no axles.", where="dual_axles", do="Such as 2, 3, or none."
            )
        data["dual_axles"] = [int(n) for n in numbers]
    if not data.get("vehicle"):
        raise InputRefused("Say which kind of vehicle it is.", where="vehicle", do="Tap one.")
    return data


def shown_before(point: PointState) -> str:
    """Return the answer that stands for a point that is looked at; empty where none does."""
    if point.state in {"passes", "repaired"}:
        return "pass"
    return point.state if point.state == "not_fitted" else ""


def looks_of(form: Fields, sheet: InspectionSheet) -> list[Look]:
    """Return what was looked at on the walk: what stood there before is left out."""
    looks = []
    for point in sheet.points:
        given = one(form, f"point.{point.id}")
        note = one(form, f"note.{point.id}")
        if not given or (given == shown_before(point) and not note):
            continue
        result, _, fault = given.partition("/")
        looks.append(Look(point.id, result, fault=fault, note=note[:400]))
    return looks


def reading_look(point: str, form: Fields, asks: Sequence[Any]) -> Look:
    """Return one reading as its form says it; what is not asked for its kind is left out."""
    number, unit = one(form, "number"), one(form, "unit")
    result = one(form, "result")
    value = ""
    if number:
        bare = re.fullmatch(r"-?[\d ./,]+", number) is not None
        joined = f"{number}{unit}" if unit.startswith("/") else f"{number} {unit}"
        value = joined if bare and unit else number
    given = {
        name.removeprefix("given."): _with_unit(form, name)
        for name in form
        if name.startswith("given.") and one(form, name)
    }
    for ask in asks:
        if any(given.get(key) not in values for key, values in ask.only.items()):
            given.pop(ask.id, None)
    if not value:
        return Look(point, result, one(form, "place"), note=one(form, "note")[:400])
    return Look(
        point, result, one(form, "place"), value, one(form, "gauge"),
        _error(form), given, note=one(form, "note")[:400],
    )  # fmt: skip


def units_of(reading: Any) -> tuple[str, ...]:
    """Return the units in which a point is read."""
    units = _MORE_UNITS.get(reading.unit, (reading.unit,))
    return (*units, "deg") if reading.angle else units


def start_of(case: Case, point: PointState, form: Fields) -> ReadingStart:
    """Return what the form of a reading begins with: the next place, the rest as last time."""
    last = None
    for _, data in case.of(InspectData):
        if data.point == point.id and data.value:
            last = data
    given = dict(last.given or {}) if last is not None else {}
    given |= {n.removeprefix("given."): one(form, n) for n in form if n.startswith("given.")}
    waiting = [p.place for p in point.places if p.state in {"not_looked", "worked", "too_close"}]
    value = (last.value or "") if last is not None else ""
    in_32nds = re.fullmatch(r"[\d.,]+/32 ?in", value.strip()) is not None
    typed = "/32 in" if in_32nds else re.sub(r"^[\d ./,]*\d", "", value).strip()
    unit = one(form, "unit") or typed
    return ReadingStart(
        place=one(form, "place") or (waiting[0] if waiting else point.places[0].place),
        given=given,
        gauge=one(form, "gauge") or ((last.gauge or "") if last is not None else ""),
        error=one(form, "error") or ((last.error or "") if last is not None else ""),
        unit=unit,
        number=one(form, "number"),
        result=one(form, "result"),
        note=one(form, "note"),
        entry_id=one(form, "entry_id"),
    )


def _with_unit(form: Fields, name: str) -> str:
    text, unit = one(form, name), one(form, f"unit_{name}")
    return f"{text} {unit}" if unit and re.fullmatch(r"[\d ./,]+", text) else text


def _error(form: Fields) -> str:
    """Return the error of another instrument; that of one on the list is known."""
    return one(form, "error") if not one(form, "gauge") else ""
