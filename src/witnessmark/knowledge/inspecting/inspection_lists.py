"""Inspection lists: the shipped one and a shop's own, read, merged and checked.

A shop's own list overrides and adds by the id of the point: for a state's stricter rule.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pydantic import ValidationError

from witnessmark.errors import PackRefused, UnitRefused
from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_parts import (
    INSPECTION_SCHEMA,
    AskPart,
    FaultPart,
    InspectionFile,
    LimitPart,
    PointPart,
    RaisePart,
    ReadingPart,
)
from witnessmark.knowledge.reading.toml_lines import TomlLines
from witnessmark.knowledge.records import Knowledge
from witnessmark.knowledge.shipped import SHIPPED
from witnessmark.model.problem import Problem

__all__ = ["InspectionList", "check_inspection", "is_inspection", "load_inspection"]

_MOST_BYTES = 2_000_000
_FOLDER = SHIPPED / "inspection"


@dataclass(frozen=True, slots=True)
class InspectionList:
    """The points of an inspection, as the shipped file and a shop's own say them together."""

    file: InspectionFile

    def points_for(self, vehicle: str, brakes: str = "") -> tuple[PointPart, ...]:
        """Return the points of a kind of vehicle in the order of the walk.

        Args:
            vehicle: truck, tractor, trailer or dolly.
            brakes: air, hydraulic or electric; empty: every kind.
        """
        order = [station.id for station in self.file.stations]
        mine = (
            p
            for p in self.file.points
            if vehicle in p.vehicles and not (brakes and p.brakes and brakes not in p.brakes)
        )
        return tuple(sorted(mine, key=lambda p: order.index(p.station)))

    def point(self, identity: str) -> PointPart | None:
        """Return a point by its id."""
        return next((p for p in self.file.points if p.id == identity), None)

    def said(self, evidence: str) -> str:
        """Return in words how far a figure was proven."""
        return self.file.evidence.get(evidence, evidence)

    def months(self, rule: str) -> int:
        """Return for how many months: ``valid`` or ``kept``."""
        return next(r.months for r in self.file.rules if r.id == rule)

    def section(self, rule: str) -> str:
        """Return the section that says so."""
        return next(r.section for r in self.file.rules if r.id == rule)


def load_inspection(own: Sequence[Path] = ()) -> InspectionList:
    """Return the shipped list with a shop's own files on top.

    Raises:
        PackRefused: a file has faults.
    """
    return _loaded(tuple((p, p.stat().st_mtime_ns) for p in own))


def is_inspection(path: Path) -> bool:
    """Say whether a file says of itself that it is an inspection list."""
    try:
        with path.open("rb") as file:
            head = file.read(_MOST_BYTES)
        schema = tomllib.loads(head.decode("utf-8")).get("schema")
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(schema, str) and schema.startswith("witnessmark.inspection/")


def check_inspection(path: Path, knowledge: Knowledge) -> tuple[list[Problem], dict[str, int]]:
    """Return every fault of an inspection list, each with its line, and what the list holds.

    A list without the stations, areas or evidence of its own is checked on top of the shipped one.
    """
    file, problems, lines = _read(path)
    if file is None:
        return problems, {}
    whole = file if path.parent == _FOLDER else _merged([_shipped(), file])
    problems = [
        Problem(_place(path.name, lines, at), what, do)
        for at, what, do in _faults(file, whole, knowledge)
    ]
    limits = sum(len(p.reading.limits) for p in file.points if p.reading)
    return problems, {"points": len(file.points), "limits": limits}


@lru_cache(maxsize=16)
def _loaded(own: tuple[tuple[Path, int], ...]) -> InspectionList:
    files = [_shipped()]
    for path, _ in own:
        file, problems, _ = _read(path)
        if file is None:
            raise PackRefused(
                " ".join(f"{p.where}: {p.what}" for p in problems),
                where=path.name,
                do="Run 'witnessmark pack check' on the file.",
            )
        files.append(file)
    whole = _merged(files)
    stations = {s.id for s in whole.stations}
    for point in whole.points:
        if point.station not in stations:
            raise PackRefused(f"The point '{point.id}' stands at no known station.",
                              do="Run 'witnessmark pack check' on the file.")  # fmt: skip
    return InspectionList(whole)


@lru_cache(maxsize=1)
def _shipped() -> InspectionFile:
    file, problems, _ = _read(_FOLDER / "periodic.toml")
    if file is None:
        raise PackRefused(" ".join(p.what for p in problems), where="periodic.toml")
    return file


def _read(path: Path) -> tuple[InspectionFile | None, list[Problem], TomlLines]:
    nothing = TomlLines("")
    try:
        raw = path.read_bytes()[: _MOST_BYTES + 1]
        if len(raw) > _MOST_BYTES:
            return None, [Problem(path.name, "The file is too large for a list.")], nothing
        text = raw.decode("utf-8-sig")
        document = tomllib.loads(text)
    except OSError as error:
        reason = (error.strerror or "cannot be read").lower()
        return None, [Problem(path.name, f"The file cannot be read: {reason}.")], nothing
    except (ValueError, RecursionError) as error:
        what = f"The file is not whole TOML: {str(error)[:200]}."
        return None, [Problem(path.name, what, "Correct that place.")], nothing
    lines = TomlLines(text)
    if document.get("schema") != INSPECTION_SCHEMA:
        what = f"The list says {document.get('schema')!r:.60}; this reads '{INSPECTION_SCHEMA}'."
        return None, [Problem(_place(path.name, lines, ("schema",)), what)], lines
    try:
        return InspectionFile.model_validate(document), [], lines
    except ValidationError as error:
        faults = [
            Problem(
                _place(path.name, lines, tuple(item["loc"])),
                f"{str(item['msg']).removeprefix('Value error, ')}.",
                "docs/inspection.md says what belongs here.",
            )
            for item in error.errors(include_url=False, include_context=False)
        ]
        return None, faults, lines


def _merged(files: Sequence[InspectionFile]) -> InspectionFile:
    first = files[0]

    def by_id(name: str) -> tuple[object, ...]:
        rows = {row.id: row for file in files for row in getattr(file, name)}
        return tuple(rows.values())

    evidence: Mapping[str, str] = {k: v for file in files for k, v in file.evidence.items()}
    names = ("rules", "qualified", "brake_qualified", "stations", "areas", "points")
    return first.model_copy(update={"evidence": evidence, **{name: by_id(name) for name in names}})


Fault = tuple[tuple[int | str, ...], str, str]


def _faults(file: InspectionFile, whole: InspectionFile, known: Knowledge) -> Iterator[Fault]:
    stations, areas = {s.id for s in whole.stations}, {a.id for a in whole.areas}
    if file.unsafe and file.unsafe not in known.conditions:
        yield ("unsafe",), f"No pack knows the clue '{file.unsafe}'.", "Name one of common."
    seen: set[str] = set()
    for number, point in enumerate(file.points):
        at = ("points", number)
        if point.id in seen:
            yield (*at, "id"), f"The id '{point.id}' stands twice.", "Give each point its own."
        seen.add(point.id)
        if point.station not in stations:
            yield (*at, "station"), f"No station '{point.station}'.", f"Known: {sorted(stations)}."
        if point.area not in areas:
            yield (*at, "area"), f"No area '{point.area}'.", f"Known: {sorted(areas)}."
        sources = [point.evidence, *(limit.evidence for limit in _limits(point))]
        for name in dict.fromkeys(s for s in sources if s not in whole.evidence):
            yield (*at, "evidence"), f"No kind of evidence '{name}'.", "Add it under [evidence]."
        yield from _opens(at, point, known)
        for part in _raises(point):
            yield from _raise(at, part, point, known)
        if point.reading is not None:
            yield from _reading((*at, "reading"), point.reading)


def _limits(point: PointPart) -> Sequence[LimitPart]:
    return point.reading.limits if point.reading else ()


def _raises(point: PointPart) -> Iterator[RaisePart]:
    parts: list[PointPart | FaultPart] = [point, *point.faults]
    for part in parts:
        yield from part.raises
        yield from part.clears


def _opens(at: tuple[int | str, ...], point: PointPart, known: Knowledge) -> Iterator[Fault]:
    if point.opens is None:
        return
    family = known.families.get(point.opens)
    if family is None:
        yield (*at, "opens"), f"No pack knows the family '{point.opens}'.", "Name a family."
        return
    kinds = {"truck" if v == "tractor" else v for v in point.vehicles}
    for kind in sorted(kinds - set(family.vehicles)):
        yield (*at, "opens"), f"'{family.id}' is no complaint of a {kind}.", "Name another family."


def _raise(
    at: tuple[int | str, ...], part: RaisePart, point: PointPart, known: Knowledge
) -> Iterator[Fault]:
    if part.clue is not None:
        if part.clue not in known.conditions:
            yield (*at, "raises"), f"No pack knows the clue '{part.clue}'.", "Name a known one."
        return
    test = known.test(part.test or "")
    if test is None:
        yield (*at, "raises"), f"No pack knows the test '{part.test}'.", "Name a known one."
        return
    for result in (part.result, *part.also):
        if result not in {"positive", "negative", *test.outcomes}:
            yield (*at, "raises"), f"'{result}' is no result of {test.id}.", "Name one it has."
    family = known.families.get(point.opens or "")
    if family is None or not any(test.id in {t.id, *t.same_as} for t in family.tests):
        yield (*at, "raises"), f"{test.id} is no test of what the point opens.", "Name one that is."


def _reading(at: tuple[int | str, ...], reading: ReadingPart) -> Iterator[Fault]:
    asks = {ask.id: ask for ask in reading.asks}
    kinds = {"length", "angle"} if reading.angle else set()
    for name, end in (("lowest", reading.lowest), ("highest", reading.highest)):
        yield from _figure((*at, name), end, kinds)
    for number, tool in enumerate(reading.instruments):
        yield from _figure((*at, "instruments", number, "error"), tool.error, kinds)
    for number, limit in enumerate(reading.limits):
        here = (*at, "limits", number)
        for text in (limit.most, limit.least, limit.above):
            if text is not None:
                yield from _figure(here, text, kinds)
        if limit.of is not None and (limit.of not in asks or asks[limit.of].unit is None):
            yield (*here, "of"), f"'{limit.of}' is not asked as a value.", "Add it to the asks."
        for key, values in limit.given.items():
            yield from _given((*here, "given"), key, values, asks)


def _given(
    at: tuple[int | str, ...], key: str, values: Sequence[str], asks: Mapping[str, AskPart]
) -> Iterator[Fault]:
    if key == "position":
        known = {"steer", "other"}
    elif key in asks:
        known = {option.id for option in asks[key].options}
    else:
        yield at, f"'{key}' is not asked.", "Add it to the asks."
        return
    for value in values:
        if value not in known:
            yield at, f"'{value}' is no answer to '{key}'.", f"Known: {', '.join(sorted(known))}."


def _figure(at: tuple[int | str, ...], text: str, kinds: set[str]) -> Iterator[Fault]:
    try:
        kind = figure(text).kind
    except UnitRefused as error:
        yield at, error.what, error.do
        return
    kinds = kinds or {kind}
    if kind not in kinds:
        yield at, f"'{text}' is a {kind}.", "Use one kind of unit at a point."


def _place(where: str, lines: TomlLines, at: tuple[int | str, ...]) -> str:
    line = lines.line(at)
    path = "".join(f"[{s}]" if isinstance(s, int) else f".{s}" for s in at).removeprefix(".")
    return f"{where}: {path}" if line is None else f"{where} line {line}: {path}"
