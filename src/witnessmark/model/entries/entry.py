"""Entries: the only thing that is stored as truth. Schema ``witnessmark.entry/1``.

An entry is one line of JSON: ``kind``, ``id``, ``at`` and ``data``. Each kind has its own
frozen record for *data*. Fields we do not know are kept in the line and reported, never used.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Literal, cast

from pydantic import ValidationError

from witnessmark.errors import EntryRefused, UnitRefused
from witnessmark.model.entries.entry_data import KINDS, Data, ReadingData
from witnessmark.model.entries.record_base import Record, truths_and_numbers
from witnessmark.model.entries.soundness import turns_reading, unsound
from witnessmark.model.problem import Problem
from witnessmark.units import QUANTITIES

__all__ = ["SCHEMA", "Entry", "Kind", "json_schema", "must_be_readable", "parse_entry"]

SCHEMA = "witnessmark.entry/1"
#: The years of :data:`_YEARS`, as the schema says them.
_AT_PATTERN = "^(19|20|21)[0-9]{2}-"
Kind = Literal[
    "truck",
    "complaint",
    "reading",
    "recording",
    "clue",
    "code",
    "test",
    "work",
    "outcome",
    "quote",
    "approval",
    "part",
    "visit",
    "labour",
    "clock",
    "inspect",
    "inspection",
    "certificate",
    "decline",
    "close",
    "photo",
    "note",
    "retract",
]

#: A line longer than this is refused: no entry a person makes comes near it.
MAX_LINE = 1_000_000
#: Years in which something is done to a truck; every sum of times stays within the calendar.
_YEARS = range(1900, 2200)
#: Longer lines are parsed anew each time, so that what is remembered stays small.
_REMEMBERED = 4096


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry.

    Attributes:
        kind: what it is.
        id: unique within its case.
        at: when it was made, as written (ISO 8601).
        data: the record of its kind.
        line: the JSON line exactly as it came in, without the line end.
        by: whose it is, empty where the line does not say.
    """

    kind: Kind
    id: str
    at: str
    data: Data
    line: str
    by: str = ""

    def when(self) -> datetime:
        """Return *at* as a point in time; without an offset it is read as UTC."""
        moment = datetime.fromisoformat(self.at)
        return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def parse_entry(line: str, *, where: str = "") -> tuple[Entry, list[Problem]]:
    """Read one line of the entry format.

    Args:
        line: one JSON object.
        where: file and line for the sentences.

    Returns:
        The entry, and problems that do not stop it (fields that are not known).

    Raises:
        EntryRefused: the line is no entry; *what* names every fault with its path.
    """
    if len(line) > MAX_LINE:
        raise EntryRefused(
            f"The line has {len(line)} characters; at most {MAX_LINE} are read.",
            where=where,
            do="Keep recordings and photos in files of their own.",
        )
    try:
        entry, unknown = _parsed(line) if len(line) <= _REMEMBERED else _parse(line)
    except EntryRefused as error:
        raise EntryRefused(error.what, where=where, do=error.do) from None
    problems = [
        Problem(
            where or entry.id,
            f"The field '{name:.60}' is not part of the entry format.",
            "It is kept in the line but not used.",
        )
        for name in unknown
    ]
    return entry, problems


@lru_cache(maxsize=16384)  # more than the longest case: else none of it would be held
def _parsed(line: str) -> tuple[Entry, tuple[str, ...]]:
    """Return an entry and its unknown fields; the same line is parsed once."""
    return _parse(line)


def _parse(line: str) -> tuple[Entry, tuple[str, ...]]:
    try:
        found = json.loads(line, parse_constant=_no_constant, object_pairs_hook=_no_twins)
    except RecursionError:
        raise EntryRefused(
            "The line is nested too deeply.", do="An entry has at most a few levels."
        ) from None
    except ValueError as error:
        raise EntryRefused(
            f"The line is not whole JSON: {_reason(error)}.",
            do="Repair the line or enter it anew; the other lines are used.",
        ) from None
    if fault := unsound(found):
        raise EntryRefused(
            f"The line cannot be used: {fault}.",
            do="Enter it anew; an entry is a few short texts and numbers.",
        )
    if not isinstance(found, dict):
        raise EntryRefused(
            "The line is JSON but not an object.",
            do='An entry looks like {"kind":..,"id":..,"at":..,"data":{..}}.',
        )
    return _entry(found, line)


def must_be_readable(line: str, *, where: str = "") -> None:
    """Refuse a new entry whose text would look like something else than it is.

    Raises:
        EntryRefused: a text turns the direction of reading.
    """
    if turns_reading(json.loads(line)):
        raise EntryRefused(
            "A text holds marks that turn the direction of reading, so that it looks like "
            "something else.",
            where=where,
            do="Type the text anew instead of pasting it.",
        )


def json_schema() -> dict[str, Any]:
    """Return the published JSON Schema (2020-12) of one entry."""
    definitions: dict[str, Any] = {}
    options = []
    for kind, record in KINDS.items():
        schema = record.model_json_schema(ref_template="#/$defs/{model}")
        definitions.update(schema.pop("$defs", {}))
        definitions[record.__name__] = schema
        options.append(
            {
                "properties": {
                    "kind": {"const": kind},
                    "data": {"$ref": f"#/$defs/{record.__name__}"},
                },
            }
        )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:witnessmark:entry:1",
        "title": SCHEMA,
        "type": "object",
        "required": ["kind", "id", "at", "data"],
        "properties": {
            "schema": {"const": SCHEMA},
            "kind": {"enum": list(KINDS)},
            "id": {
                "type": "string",
                "minLength": 1,
                "maxLength": 80,
                "pattern": "^[A-Za-z0-9._:-]+$",
            },
            "at": {"type": "string", "format": "date-time", "pattern": _AT_PATTERN},
            "by": {"type": "string", "maxLength": 200},
            "data": {"type": "object"},
        },
        "oneOf": options,
        "$defs": definitions,
    }


def _entry(found: dict[str, Any], line: str) -> tuple[Entry, tuple[str, ...]]:
    faults: list[str] = []
    kind = found.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        faults.append(f"kind: {kind!r:.40} is not one of {', '.join(KINDS)}")
    if found.get("schema", SCHEMA) != SCHEMA:
        faults.append(f"schema: {found['schema']!r:.60} is not {SCHEMA}")
    identity = found.get("id")
    if not isinstance(identity, str) or not _is_id(identity):
        faults.append("id: a short text of letters, digits, dot, dash, colon, underscore is needed")
    at = found.get("at")
    if not isinstance(at, str) or not _is_time(at):
        faults.append(f"at: {at!r:.40} is not a date and time such as 2026-03-02T08:00:00Z")
    data = found.get("data")
    record: Record | None = None
    if not isinstance(data, dict):
        faults.append("data: an object is needed")
    elif isinstance(kind, str) and kind in KINDS:
        try:
            record = KINDS[kind].model_validate(data)
        except ValidationError as error:
            faults += [_fault(item) for item in error.errors(include_url=False)]
    if record is not None:
        faults += truths_and_numbers(data, record, "data")
    if isinstance(record, ReadingData):
        faults += _reading_faults(record)
    if faults or record is None:
        raise EntryRefused("; ".join(faults) + ".", do="Correct the entry and add it again.")
    by = found.get("by")
    known = {"kind", "id", "at", "data", "schema"} | ({"by"} if _is_name(by) else set())
    extra = [name for name in found if name not in known]
    unknown = (*extra, *(f"data.{name}" for name in record.unknown_fields()))
    who = by.strip() if isinstance(by, str) and _is_name(by) else ""
    made = Entry(cast("Kind", kind), str(identity), str(at), cast("Data", record), line, who)
    return made, unknown


def _reading_faults(record: ReadingData) -> list[str]:
    if record.quantity not in QUANTITIES:
        return [
            f"data.quantity: '{record.quantity:.60}' is not a quantity known here; "
            "docs/quantities.md lists them"
        ]
    try:
        record.house_value()
    except UnitRefused as error:
        return [f"data.value: {error.what.rstrip('.')}. {error.do.rstrip('.')}"]
    return []


def _fault(item: Any) -> str:
    path = "".join(
        f"[{p}]" if isinstance(p, int) else f".{p}"
        for p in item["loc"]
        if p not in {"str", "float", "bool", "int"}
    )
    if item["loc"] and item["loc"][-1] == "value" and not isinstance(item.get("input"), str):
        return f'data{path}: a bare number; write text with the unit, such as "74 psi"'
    message = str(item["msg"]).removeprefix("Value error, ")
    return f"data{path}: {message[:1].lower()}{message[1:]}"


def _is_id(text: str) -> bool:
    return 0 < len(text) <= 80 and all(c.isascii() and (c.isalnum() or c in "._:-") for c in text)


def _is_name(found: object) -> bool:
    return isinstance(found, str) and len(found) <= 200


def _is_time(text: str) -> bool:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return False
    return moment.year in _YEARS and ("T" in text or " " in text)


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a field stands twice")
    return found


def _reason(error: ValueError) -> str:
    if isinstance(error, json.JSONDecodeError):
        return f"{error.msg[:1].lower()}{error.msg[1:]} at character {error.pos + 1}"
    return str(error)
