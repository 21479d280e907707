"""Tables of decoded channels: CSV, TSV and their relatives, in whatever layout they come."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Floats, Kind, Quality, Recording
from witnessmark.readers.columns.carried import repeated
from witnessmark.readers.columns.column_names import ColumnHeading, heading, unit_of
from witnessmark.readers.columns.named_channels import channel_of, renamed
from witnessmark.readers.columns.stated_rate import rate_above
from witnessmark.readers.files.ahead import one_ahead
from witnessmark.readers.files.keep import Keeper, let_go
from witnessmark.readers.files.source import HEAD_BYTES, FileSource
from witnessmark.readers.honesty import oddities
from witnessmark.readers.logs.timeline import Timeline
from witnessmark.readers.pickups.tooth_channels import recording_of, unit_by_size
from witnessmark.readers.pickups.wheels import wheels
from witnessmark.readers.reader import Reader
from witnessmark.readers.tables.table_cells import frames
from witnessmark.readers.tables.table_doubts import beside_another_clock, doubted, too_fast
from witnessmark.readers.tables.table_kinds import (
    edges_of,
    is_edges,
    is_waveform,
    steady_rate,
    times_of_teeth,
)
from witnessmark.readers.tables.table_layout import Layout, layout_of
from witnessmark.readers.tables.table_times import day_column, time_column, times_of
from witnessmark.readers.tables.time_columns import TimeColumn, seconds
from witnessmark.readers.told import ReaderSettings, Trouble
from witnessmark.units import QUANTITIES

__all__ = ["READER", "header_key", "header_key_of"]

#: Bytes of a table's columns, raw and converted, that stay in memory.
_IN_MEMORY = 512 * 2**20
#: More columns than this are no recording.
_MOST_COLUMNS = 2000


@dataclass(frozen=True, slots=True)
class _Plan:
    layout: Layout
    headings: tuple[ColumnHeading, ...]
    time: int | None
    date: int | None
    day: TimeColumn | None
    clock: TimeColumn | None
    ignored: frozenset[int]


def header_key(names: tuple[str, ...]) -> str:
    """Return the key under which a user's naming of the columns is remembered."""
    return hashlib.sha256("\n".join(names).encode()).hexdigest()[:16]


def header_key_of(path: Path, settings: ReaderSettings) -> str | None:
    """Return the key of a table's headings; ``None`` where the file is no table with headings."""
    with FileSource(path, settings) as source:
        layout = layout_of(source.head, whole=len(source.head) < HEAD_BYTES)
    return header_key(layout.names) if layout is not None and layout.headed else None


def recognises(head: bytes) -> bool:
    """Say whether it is a table of numbers."""
    return layout_of(head, whole=len(head) < HEAD_BYTES) is not None


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read a table."""
    layout = layout_of(source.head, whole=len(source.head) < HEAD_BYTES)
    if layout is None or len(layout.names) > _MOST_COLUMNS:
        raise RecordingRefused(
            "The table has an absurd number of columns.", where=source.name, do="Export fewer."
        )
    _refuse_torn_decimals(layout, source.name)
    if layout.misfit:
        raise RecordingRefused(
            layout.misfit,
            where=f"{source.name}, line {layout.first_row + 1}",
            do="Export the table with one heading a column, and with one mark between all cells.",
        )
    for line, words in layout.lost:
        source.trouble.add(
            "rows above the data",
            f"Line {line} stands between the headings and the data and is no row of either: "
            f"'{words}' ({{count}} such lines).",
            do="It is left out; export the table anew if it was a row.",
        )
    plan = _plan(layout, settings, source.trouble)
    keeper = Keeper(_IN_MEMORY)
    columns, rows = _columns(source, plan, keeper)
    if not rows:
        told = [p.what for p in source.trouble.problems()][:2]
        raise RecordingRefused(
            " ".join(["No row of the table can be read.", *told]),
            where=source.name,
            do="Export it with as many cells in a row as there are headings.",
        )
    raw = columns.pop(plan.time) if plan.time is not None else None
    if plan.date is not None:
        days = columns.pop(plan.date)
        raw = raw + days if raw is not None else days
    columns = beside_another_clock(plan.headings, plan.time, raw, columns, source.trouble)
    teeth = _teeth(source, plan, raw, columns)
    if teeth is not None:
        return teeth
    time, rate, order, timeline = times_of(
        raw,
        plan.clock,
        columns,
        rows,
        source.trouble,
        dated=plan.date is not None,
        named=any(h.quantity not in {None, "vibration"} for h in plan.headings),
        rate=rate_above(layout.above) or settings.rate_hz,
        interval_s=settings.sample_interval_s,
    )
    if order is not None:
        columns = {n: c[order] for n, c in columns.items()}
    plain = plan.clock is not None and plan.clock.form == "number" and not plan.clock.stated
    if plain and not (plan.clock and plan.clock.epoch) and too_fast(
        plan.headings, columns, time, source.trouble
    ):  # fmt: skip
        time, timeline = np.full(time.size, np.nan), None
    return _recording(source, plan, columns, time, rate, timeline, keeper)


def _plan(layout: Layout, settings: ReaderSettings, trouble: Trouble) -> _Plan:
    own = settings.columns.get(header_key(layout.names), {})
    found = []
    ignored = set()
    for number, (name, unit_text) in enumerate(zip(layout.names, layout.units, strict=True)):
        tail = layout.tails[number] if number < len(layout.tails) else ""
        one = heading(name, unit_text or tail)
        if name in own or one.label in own:
            one = _named(one, own.get(name) or own[one.label], trouble)
            if one.label == "ignore":
                ignored.add(number)
        found.append(one)
    cells = [[row[n] if n < len(row) else "" for row in layout.samples] for n in range(len(found))]
    time, clock = time_column(found, cells, layout, settings.month_first)
    date, day, clock = day_column(cells, time, clock, settings.month_first)
    ignored |= set(range(layout.beside))
    if layout.unclear:
        trouble.add(
            "two ways",
            "Numbers such as 1,234 can be read two ways in "
            + ", ".join(f"'{found[n].label or f'column {n + 1}'}'" for n in sorted(layout.unclear))
            + "; they are not used.",
            do="Export the table without marks between thousands.",
        )
        ignored |= layout.unclear
    if clock is not None and clock.short:
        trouble.add(
            "short times",
            f"Times such as {clock.short} are taken for hours and minutes.",
            do="Export them with seconds if they are minutes and seconds.",
        )
    if assumed := (day or clock or TimeColumn("number")).assumed:
        trouble.add(
            "month first",
            f"Dates such as {assumed} could begin with the month or with the day; the month is "
            "taken to stand first.",
            do="Say --day-first or --month-first; the steps between the times are not touched.",
        )
    return _Plan(layout, tuple(found), time, date, day, clock, frozenset(ignored))


def _named(one: ColumnHeading, wanted: str, trouble: Trouble) -> ColumnHeading:
    """Apply what a user named a column: ``time``, ``ignore``, a quantity, ``quantity [unit]``."""
    if wanted in {"time", "ignore"}:
        return ColumnHeading("ignore" if wanted == "ignore" else one.label, None, one.unit,
                       one.unit_text, wanted == "time")  # fmt: skip
    if found := re.fullmatch(r"time\s*\[(.+)\]", wanted):
        given = unit_of(found[1])
        if given is not None and given.kind == "time":
            return ColumnHeading(one.label, None, given, given.symbol, time=True)
    quantity, _, unit_text = wanted.partition("[")
    quantity = quantity.strip()
    unit = unit_of(unit_text.strip(" ]")) if unit_text else one.unit
    row = QUANTITIES.get(quantity)
    if row is None or unit is None or unit.kind != row.kind:
        trouble.add(
            f"named {one.label}",
            f"The column '{one.label}' was named '{wanted}', which is no quantity with a unit of "
            "its kind.",
            do="Name it like 'road_speed [mph]'; docs/quantities.md lists the names.",
        )
        return one
    return ColumnHeading(one.label, quantity, unit, unit.symbol, time=False)


def _columns(source: FileSource, plan: _Plan, keeper: Keeper) -> tuple[dict[int, Floats], int]:
    """Read every column; the time column comes in seconds."""
    texts = {n for n in (plan.time, plan.date) if n is not None}
    if plan.clock is not None and plan.clock.form == "number" and plan.time is not None:
        texts.discard(plan.time)
    pieces: dict[int, list[Floats]] = {n: [] for n in range(len(plan.headings))}
    rows = 0
    for frame in one_ahead(frames(source, plan.layout, frozenset(texts), source.trouble)):
        rows += frame.height
        for number, found in pieces.items():
            column = frame[f"c{number}"]
            if number == plan.time and plan.clock is not None:
                found.append(keeper.array(seconds(column, plan.clock)))
            elif plan.day is not None and number == plan.date:
                found.append(seconds(column, plan.day))
            elif number not in plan.ignored:
                found.append(keeper.array(column.to_numpy().astype(np.float64, copy=False)))
    joined: dict[int, Floats] = {}
    for number in list(pieces):
        parts = pieces.pop(number)
        if parts:
            joined[number] = keeper.array(np.concatenate(parts) if len(parts) > 1 else parts[0])
    return joined, rows


def _recording(
    source: FileSource,
    plan: _Plan,
    columns: dict[int, Floats],
    time: Floats,
    rate: float | None,
    timeline: Timeline | None,
    keeper: Keeper,
) -> Recording:
    rate = rate or steady_rate(time)
    names = plan.headings
    values = {n: c for n, c in columns.items() if not np.isnan(c).all()}
    kind: Kind = "table"
    facts: dict[str, object] = {}
    if plan.layout.headed:
        facts["header_key"] = header_key(plan.layout.names)
    if is_edges(time, list(values.values()), [names[n] for n in values]):
        kind = "tooth_timing"
    elif is_waveform(rate, [names[n] for n in values]):
        kind = "waveform"
    ignored = [names[n].label for n in columns if n not in values]
    if ignored:
        facts["columns_without_numbers"] = ignored
    if kind == "table":
        names = doubted(names, values, source.trouble)
    channels: list[Channel] = []
    taken: set[str] = set()
    for number, column in values.items():
        one = renamed(names[number], number, taken)
        channel = channel_of(one, column, time, rate if kind == "waveform" else None)
        channels.append(keeper.channel(channel))
        let_go(channels[-1])
        if one.doubt and kind == "table":
            facts["could_be"] = True
            source.trouble.add(
                f"doubt {one.label}",
                f"The column '{one.label}' could be {one.wanted}, but it {one.doubt}, so it is "
                "not used as that.",
                do=f"Name it once, such as '{one.wanted} [{QUANTITIES[one.wanted or ''].shop}]'.",
                where=one.label,
            )
        elif one.wanted and one.quantity is None and kind == "table":
            facts["could_be"] = True
            source.trouble.add(
                f"unit {one.label}",
                f"The column '{one.label}' has no unit that fits, so it is not used as "
                f"{one.wanted}.",
                do=f"Name it once, such as '{one.wanted} [{QUANTITIES[one.wanted].shop}]'.",
                where=one.label,
            )
    if kind == "table":
        marked = repeated([c.values for c in channels])
        if marked is not None:
            channels = [_carried(c, m) for c, m in zip(channels, marked, strict=True)]
            facts["carried_forward"] = True
        channels, flags = oddities.checked(channels, source.trouble, keeper)
    else:
        flags = []
    if kind == "tooth_timing":
        channels = [replace(c, name=c.label, unit="") for c in edges_of(channels)]
        facts |= wheels(channels)
    elif timeline is not None:
        timeline.report()
    if timeline is not None and timeline.epoch_s is not None:
        facts["epoch_s"] = timeline.epoch_s
    if not channels:
        source.trouble.add("no engine", "No engine data found: the table holds no numbers.")
    elif kind == "table" and not any(c.name in QUANTITIES for c in channels):
        source.trouble.add(
            "no names",
            "None of the columns has a heading and unit that are known here.",
            do="Name the columns once; it is remembered for every file with these headings.",
        )
    known_time = time.size > 0 and not np.isnan(time[0])
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind=kind,
        format=_format(plan.layout),
        duration_s=float(time[-1] - time[0]) if known_time else None,
        channels=tuple(channels),
        flags=tuple(flags),
        problems=source.trouble.problems(),
        frames=int(time.size),
        facts=facts,
    )


def _teeth(
    source: FileSource, plan: _Plan, raw: Floats | None, columns: dict[int, Floats]
) -> Recording | None:
    """Read a table that lists when teeth passed; ``None`` for other tables."""
    time, column, others = raw, plan.time, columns
    if time is not None and len(others) == 1 and bool((np.diff(time) == 1.0).all()):
        # The running number stands first: the other column is the time.
        column, one = next(iter(others.items()))
        unit = plan.headings[column].unit
        if plan.headings[column].wanted is not None or (unit and unit.kind != "time"):
            return None
        others, time = {-1: time}, one * (unit.factor if unit is not None else 1.0)
        if unit is None and unit_by_size(time) != ("s", 1.0):
            return None
    if time is None:
        return None
    found = times_of_teeth(time, others, plan.headings, column)
    if found is None:
        return None
    facts: dict[str, object] = {}
    if plan.layout.headed:
        facts["header_key"] = header_key(plan.layout.names)
    return recording_of(source, found, facts, "list of edges")


def _carried(channel: Channel, again: npt.NDArray[np.bool_]) -> Channel:
    quality = channel.quality.copy()
    quality[again & (quality == Quality.VALID)] = Quality.REPEATED
    return replace(channel, quality=quality)


def _format(layout: Layout) -> str:
    names = {",": "CSV", ";": "CSV with semicolons", "\t": "TSV", "|": "table with bars"}
    return names.get(layout.delimiter, "table with blanks")


def _refuse_torn_decimals(layout: Layout, name: str) -> None:
    """A decimal comma inside a table with commas tears every number in two."""
    headings = sum(bool(n) for n in layout.names)
    width = max((len(r) for r in layout.samples), default=0)
    if (
        layout.misfit
        and layout.delimiter == ","
        and 2 <= headings < width
        and width >= 2 * headings - 1
    ):
        raise RecordingRefused(
            f"The table has {headings} headings but up to {width} cells in a row: a decimal comma "
            "in a table with commas between the cells can be read in several ways.",
            where=name,
            do="Export it with a decimal point, or with semicolons between the cells.",
        )


READER = Reader("table (CSV, TSV)", recognises, read)
