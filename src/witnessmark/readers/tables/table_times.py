"""The time of a table's rows: which column says it, in what unit, and what is odd about it."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.readers.columns.column_names import ColumnHeading
from witnessmark.readers.logs.timeline import Timeline
from witnessmark.readers.tables.table_fit import is_row_number
from witnessmark.readers.tables.table_layout import Layout
from witnessmark.readers.tables.time_columns import TimeColumn, clock_of, day_scale, is_compact
from witnessmark.readers.told import Trouble

__all__ = ["Times", "day_column", "time_column", "times_of"]

#: A larger number is no time [s].
_MOST_SECONDS = 1e11
#: From this step between two rows on plain numbers may as well be milliseconds [s].
_LONG_STEP_S = 5.0
#: Share of such steps that makes the unit doubtful; a pause here and there does not.
_LONG_SHARE = 0.1

Order = npt.NDArray[np.intp]
#: Times, the stated rate, the order to put the rows in, the clock.
Times = tuple[Floats, float | None, Order | None, Timeline | None]


def time_column(
    headings: list[ColumnHeading], cells: list[list[str]], layout: Layout, month_first: bool | None
) -> tuple[int | None, TimeColumn | None]:
    """Return the column that says the time, and how it is written.

    Columns that are called a time come first, then ones in a unit of time, then the first one if
    it rises. Where there are several, one without repeated stamps is better, and plain seconds
    are better than the clock on the wall.
    """
    order = [n for n, h in enumerate(headings) if h.time]
    by_unit = [
        n for n, h in enumerate(headings)
        if not h.time and h.quantity is None and h.unit is not None and h.unit.kind == "time"
    ]  # fmt: skip
    first = next((n for n in range(len(headings)) if n >= layout.beside), 0)
    if not layout.headed or (not order and _may_be_time(headings, cells, first)):
        by_unit.append(first)
    best: tuple[int, int, TimeColumn] | None = None
    for number in [*order, *by_unit]:
        unit = headings[number].unit
        scale = unit.factor if unit is not None and unit.kind == "time" else None
        tail = layout.tails[number] if number < len(layout.tails) else ""
        column = [_plain(c.strip().removesuffix(tail), layout) for c in cells[number]]
        clock = clock_of([c for c in column if c][:50], scale, month_first=month_first)
        if clock is None or (not headings[number].time and not _rises(column)):
            continue
        if clock.form == "date" and all(re.fullmatch(r"[\d./-]{1,12}", c) for c in column if c):
            continue  # a day alone is no time
        known = [c for c in column if c]
        cost = 2 * (len(set(known)) < 0.8 * len(known)) + (clock.form == "clock")
        cost += number not in order
        if best is None or cost < best[0]:
            best = cost, number, clock
    return (best[1], best[2]) if best else (None, None)


def _may_be_time(headings: list[ColumnHeading], cells: list[list[str]], column: int) -> bool:
    """Say whether a first column that is not called so can be the time.

    The running number of the rows rises too, and so does a distance or a total.
    """
    one = headings[column]
    if one.quantity is not None or (one.unit is not None and one.unit.kind != "time"):
        return False
    return not is_row_number(one.label, cells[column])


def day_column(
    cells: list[list[str]], time: int | None, clock: TimeColumn | None, month_first: bool | None
) -> tuple[int | None, TimeColumn | None, TimeColumn | None]:
    """Return the column of dates beside clock times, how it is written, and the clock."""
    if clock is None or time is None:
        return None, None, clock
    compact = clock.form == "number" and is_compact(cells[time])
    if clock.form != "clock" and not compact:
        return None, None, clock
    for number, column in enumerate(cells):
        other = clock_of(column[:20], None, month_first=month_first)
        if compact and other is not None and other.form == "number" and all(
            re.fullmatch(r"20\d\d[01]\d[0-3]\d", c.strip()) for c in column[:20] if c.strip()
        ):  # fmt: skip
            other = TimeColumn("date", pattern="%Y%m%d")
        if number != time and other is not None and other.form == "date":
            return number, other, replace(clock, form="compact") if compact else clock
    return None, None, clock


def times_of(
    raw: Floats | None,
    clock: TimeColumn | None,
    columns: dict[int, Floats],
    rows: int,
    trouble: Trouble,
    *,
    dated: bool,
    named: bool,
    rate: float | None,
    interval_s: float | None,
) -> Times:
    """Return the times of the rows.

    Args:
        raw: seconds as read, ``None`` where no column says the time.
        clock: how they were written.
        columns: the other columns.
        rows: how many rows there are.
        trouble: is told what is odd.
        dated: *raw* holds the day too.
        named: the table holds named quantities, which no recorder samples like a waveform.
        rate: stated above the data [Hz].
        interval_s: what the user said [s].
    """
    if raw is not None and rate is not None and _is_index(raw):
        raw = None
    if raw is None:
        step = 1.0 / rate if rate else interval_s
        if step is None:
            trouble.add(
                "no time",
                "The table has no time column.",
                do="Nothing that depends on time is judged; name the time column, or give the "
                "time between two rows.",
            )
            return np.full(rows, np.nan), None, None, None
        return np.arange(rows, dtype=np.float64) * step, rate, None, None
    epoch_s: float | None = None
    if clock is not None and clock.form == "number" and not clock.epoch and not clock.stated:
        raw, epoch_s = _of_no_unit(raw, trouble, named=named)
        if raw is None:
            if rate is None and interval_s is None:
                return np.full(rows, np.nan), None, None, None
            step = 1.0 / rate if rate else interval_s or np.nan
            return np.arange(rows, dtype=np.float64) * step, rate, None, None
    raw = np.where(np.abs(raw) < _MOST_SECONDS, raw, np.nan)
    raw, order = _known(raw, columns, trouble)
    clocked = clock is not None and clock.form in {"clock", "minutes"} and not dated
    timeline = Timeline(trouble, what="rows", day_wraps=clocked)
    epoch = (clock is not None and (clock.epoch or clock.form == "date")) or dated
    if raw.size and (epoch or raw[0] > 1e6):
        timeline.epoch_s = float(raw[0]) if epoch else None
        raw = raw - raw[0]
    timeline.epoch_s = epoch_s if epoch_s is not None else timeline.epoch_s
    time = timeline.repaired(raw)
    if time.size:
        time = time - min(float(time[0]), float(time.min()))
    if timeline.unordered:
        by_time = np.argsort(time, kind="stable")
        time = time[by_time]
        order = by_time if order is None else order[by_time]
    return time, rate, order, timeline


def _of_no_unit(
    raw: Floats, trouble: Trouble, *, named: bool
) -> tuple[Floats | None, float | None]:
    """Plain numbers are seconds, unless they cannot be; ``None`` where nobody can tell."""
    days = day_scale(raw) if named else None
    if days is not None:
        trouble.add(
            "days",
            "The times are parts of days, as spreadsheets keep them; they are read as such.",
            do="Check the duration; export the times in seconds if it is wrong.",
        )
        start = float(raw[~np.isnan(raw)][0])
        return (raw - start) * days[0], days[1]
    steps = np.diff(raw[~np.isnan(raw)])
    steps = steps[steps > 0.0]  # stamps that stand several times say nothing of the unit
    long = steps >= _LONG_STEP_S
    if named and steps.size > 3 and np.count_nonzero(long) > _LONG_SHARE * steps.size:
        trouble.add(
            "unit of time",
            "The time column does not say its unit; taken as seconds there would be "
            f"{float(np.median(steps[long])):,.0f} s between two rows. Nothing that depends on "
            "time is judged.",
            do="Name it once, such as 'Time=time [ms]' or 'Time=time [s]'.",
        )
        return None, None
    return raw, None


def _known(
    raw: Floats, columns: dict[int, Floats], trouble: Trouble
) -> tuple[Floats, Order | None]:
    """Leave out the rows whose time cannot be read."""
    known = ~np.isnan(raw)
    if known.all():
        return raw, None
    if sum(int((~np.isnan(c[~known])).any()) for c in columns.values()):
        trouble.add(
            "no stamp",
            f"{int((~known).sum()):,} rows have no time that can be read; they are left out.",
        )
    return raw[known], np.flatnonzero(known)


def _rises(column: list[str]) -> bool:
    try:
        values = [float(c) for c in column if c]
    except ValueError:
        return True
    return len(values) > 2 and all(b > a for a, b in pairwise(values))


def _plain(cell: str, layout: Layout) -> str:
    cell = cell.strip()
    if layout.thousands and ":" not in cell:
        cell = cell.replace(layout.thousands, "")
    return cell.replace(",", ".") if layout.decimal_comma else cell


def _is_index(raw: Floats) -> bool:
    return bool(raw.size > 2 and (np.diff(raw[:1000]) == 1.0).all())
