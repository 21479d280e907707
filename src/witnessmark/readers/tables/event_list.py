"""Lists of events: a time, and the pickup it came from or the way the level went."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Floats, Recording
from witnessmark.readers.columns.column_names import heading
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.pickups.tooth_channels import recording_of, unit_by_size
from witnessmark.readers.reader import Reader
from witnessmark.readers.tables.table_layout import cells_of, decoded_text
from witnessmark.readers.told import ReaderSettings

_NUMBER = re.compile(r"[-+]?(\d+[.,]?\d*|[.,]\d+)([eE][-+]?\d{1,3})?")
_WORD = re.compile(r"[A-Za-z][\w .#/-]{0,20}")
_CHANNEL = re.compile(
    r"(?i)^(channel|chan|ch|input|line|pin|pickup|sensor|source)s?( ?(no|number|id))?\.?$"
)
_RISING = {"rising", "rise", "up", "posedge", "positive", "pos", "r"}
_FALLING = {"falling", "fall", "down", "negedge", "negative", "neg", "f"}
_LEAST = 12
#: More pickups than this are words, not pickups.
_MOST_PICKUPS = 8


@dataclass(frozen=True, slots=True)
class _Events:
    delimiter: str
    heads: tuple[str, ...]
    first: int
    time: int
    source: int


def recognises(head: bytes) -> bool:
    """Say whether it is a list of times, each with the name of its pickup."""
    return _layout(head) is not None


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read the events."""
    layout = _layout(source.head)
    if layout is None:
        raise RecordingRefused("This is no list of events.", where=source.name, do="Check it.")
    times: dict[str, list[float]] = {}
    bad = seen = 0
    for block in source.lines():
        for line in block.decode("utf-8", "replace").lstrip("\ufeff").splitlines():
            seen += 1
            if seen <= layout.first or not line.strip():
                continue
            event = _event(cells_of(line, layout.delimiter), layout)
            if event is None:
                bad += 1
            else:
                times.setdefault(event[1], []).append(event[0])
    if bad:
        source.trouble.add("bad lines", f"{bad:,} lines are no events; they are left out.")
    scale = _scale(source, layout, times, settings)
    found = {name: np.array(rows) * scale for name, rows in times.items()}
    return recording_of(source, _rising_only(found), {}, "list of events")


def _layout(head: bytes) -> _Events | None:
    text, _ = decoded_text(head[:16384])
    if "\0" in text:
        return None
    lines = re.split(r"\r\n|\n|\r", text.lstrip("\ufeff"))[:400]
    if len(lines) > 2 and len(head) >= 16384:
        lines = lines[:-1]
    for delimiter in (",", ";", "\t", "|"):
        rows = [cells_of(line, delimiter) for line in lines]
        if sum(len(row) in {2, 3} for row in rows) < 0.8 * max(1, sum(bool(r) for r in rows)):
            continue
        for first, row in enumerate(rows[:10]):
            if any(_NUMBER.fullmatch(c.strip()) for c in row):
                return _columns(delimiter, rows, first)
    return None


def _columns(delimiter: str, rows: list[list[str]], first: int) -> _Events | None:
    heads = [c.strip().strip('"') for c in rows[first - 1]] if first else []
    body = [row for row in rows[first:] if len(row) >= 2]
    if len(body) < _LEAST:
        return None
    width = Counter(len(row) for row in body).most_common(1)[0][0]
    body = [row for row in body if len(row) == width]
    time = source = None
    for n in range(width):
        column = [row[n].strip().strip('"') for row in body]
        numbers = [float(c.replace(",", ".")) for c in column if _NUMBER.fullmatch(c)]
        few = 1 <= len(set(column)) <= _MOST_PICKUPS
        called = n < len(heads) and _CHANNEL.match(heads[n])
        words = all(_WORD.fullmatch(c) for c in column) and not _states(column)
        if few and (words or (called and len(set(column)) > 1)):
            source = n
        elif len(numbers) == len(column) and (np.diff(numbers) >= 0.0).mean() > 0.95:
            index = set(np.diff(numbers)) == {1.0}
            time = n if time is None or not index else time
    if time is None or source is None:
        return None
    return _Events(delimiter, tuple(heads), first, time, source)


def _states(column: list[str]) -> bool:
    """On and off of one signal are levels; the reader of tables takes those."""
    return {c.lower() for c in column} <= {"on", "off", "true", "false", "high", "low", "h", "l"}


def _event(cells: list[str], layout: _Events) -> tuple[float, str] | None:
    if len(cells) <= max(layout.time, layout.source):
        return None
    text = cells[layout.time].strip().strip('"').replace(",", ".")
    name = cells[layout.source].strip().strip('"')
    return (float(text), name) if name and _NUMBER.fullmatch(text) else None


def _scale(
    source: FileSource, layout: _Events, times: dict[str, list[float]], settings: ReaderSettings
) -> float:
    told = heading(layout.heads[layout.time]).unit if layout.time < len(layout.heads) else None
    if told is not None and told.kind == "time":
        return told.factor
    if settings.sample_interval_s is not None:
        return settings.sample_interval_s
    busiest = max(times.values(), key=len, default=[])
    found = unit_by_size(np.array(busiest[:10_000]))
    if found is None:
        raise RecordingRefused(
            "The list does not say the unit of its times.",
            where=source.name,
            do="Give the length of one unit with --interval SECONDS, such as --interval 1e-6.",
        )
    if found[0] != "s":
        source.trouble.add(
            "unit of edges",
            f"The list does not say the unit of its times; they are read in {found[0]}.",
            do="If that is wrong, give the length of one unit with --interval SECONDS.",
        )
    return found[1]


def _rising_only(found: dict[str, Floats]) -> dict[str, Floats]:
    """Where the names are the ways a level went, keep the rising edges of the one pickup."""
    ways = {name.lower() for name in found}
    if ways <= _RISING | _FALLING:
        rising = [times for name, times in found.items() if name.lower() in _RISING]
        return {"pickup": np.concatenate(rising)} if rising else found
    prefix = "channel " if all(name.isdigit() for name in found) else ""
    return {prefix + name: times for name, times in found.items()}


READER = Reader("list of events", recognises, read)
