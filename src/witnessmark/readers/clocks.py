"""Time columns of tables: seconds, epochs, clock times, dates with times."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl

from witnessmark.model.recording import Floats

__all__ = ["Clock", "clock_of", "seconds"]

Form = Literal["number", "clock", "date"]

_CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,:]\d{1,9})?))?( ?[AaPp][Mm])?")
_PARTS = r"^\s*(\d{1,3}):(\d{2})(?::(\d{2}(?:[.:]\d{1,9})?))?\s*([APap]?)"
_MOMENT = r"^(\S+?)(?:[T _]+([0-9:.]+(?: ?[APap][Mm])?)(?:Z|[+-]\d\d:?\d\d)?)?$"
_DATES = (
    # strptime pattern of polars (chrono), regular expression
    ("%Y-%m-%d", r"\d{4}-\d{1,2}-\d{1,2}"),
    ("%Y/%m/%d", r"\d{4}/\d{1,2}/\d{1,2}"),
    ("%d.%m.%Y", r"\d{1,2}\.\d{1,2}\.\d{4}"),
    ("%d.%m.%y", r"\d{1,2}\.\d{1,2}\.\d{2}"),
    ("%m/%d/%Y", r"\d{1,2}/\d{1,2}/\d{4}"),
    ("%m/%d/%y", r"\d{1,2}/\d{1,2}/\d{2}"),
    ("%m-%d-%Y", r"\d{1,2}-\d{1,2}-\d{4}"),
    ("%d-%b-%Y", r"\d{1,2}-[A-Za-z]{3}-\d{4}"),
    ("%Y%m%d", r"\d{8}"),
)


_TWO_NUMBERS = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-]\d{2,4}")


@dataclass(frozen=True, slots=True)
class Clock:
    """How a time column is written.

    Attributes:
        form: plain numbers, clock times, or dates with times.
        scale: seconds per unit of plain numbers.
        epoch: plain numbers count from 1970.
        pattern: pattern of the date.
        afternoon: AM and PM are written.
        assumed: a date that could be read two ways, such as 03/04/2026, and nobody said which.
    """

    form: Form
    scale: float = 1.0
    epoch: bool = False
    pattern: str = ""
    afternoon: bool = False
    assumed: str = ""


def clock_of(
    cells: list[str], scale: float | None, *, month_first: bool | None = None
) -> Clock | None:
    """Say how the cells of a time column are written; ``None`` where they are no times.

    Args:
        cells: some cells that are not blank.
        scale: seconds per unit where the heading states the unit.
        month_first: how dates are read that could be read two ways; ``None`` where nobody said.
    """
    cells = [c.strip().strip('"') for c in cells if c.strip()]
    if not cells:
        return None
    numbers = [_number(c) for c in cells]
    if all(n is not None for n in numbers):
        first = abs(numbers[0] or 0.0)
        for unit_s, low in ((1.0, 9e8), (1e-3, 9e11), (1e-6, 9e14), (1e-9, 9e17)):
            if low <= first < low * 4:
                return Clock("number", unit_s, epoch=True)
        return Clock("number", 1.0 if scale is None else scale)
    if all(_CLOCK.fullmatch(c) for c in cells):
        return Clock("clock", afternoon=any(c[-1] in "mM" for c in cells))
    for pattern, expression in _DATES:
        whole = re.compile(expression + r"(?:[T _]+(.*?))?(?:Z|[+-]\d\d:?\d\d)?")
        matches = [whole.fullmatch(c) for c in cells]
        if all(m is not None and (not m[1] or _CLOCK.fullmatch(m[1])) for m in matches):
            late = any(c.rstrip()[-1:] in "mM" for c in cells)
            order, assumed = _month_order(pattern, cells, month_first)
            return Clock("date", pattern=order, afternoon=late, assumed=assumed)
    return None


def seconds(column: pl.Series, clock: Clock) -> Floats:
    """Turn a time column into seconds; NaN where a cell is no time. Epochs stay epochs."""
    if clock.form == "number":
        return column.cast(pl.Float64, strict=False).to_numpy() * clock.scale
    text = column.cast(pl.String).str.strip_chars(' "').str.replace(",", ".", literal=True)
    if clock.form == "clock":
        return _clock(text, afternoon=clock.afternoon)
    split = text.str.extract_groups(_MOMENT)
    day = split.struct[0].str.to_date(clock.pattern, strict=False)
    days = day.cast(pl.Int32).cast(pl.Float64).to_numpy() * 86400.0
    time = split.struct[1].fill_null("00:00:00")
    return days + _clock(time, afternoon=clock.afternoon)


def _clock(text: pl.Series, *, afternoon: bool) -> Floats:
    parts = text.str.extract_groups(_PARTS)
    columns = parts.struct.unnest()
    names = columns.columns
    hour, minute = (columns[n].cast(pl.Float64, strict=False).to_numpy() for n in names[:2])
    second = columns[names[2]].str.replace(":", ".", literal=True).fill_null("0")
    total = hour * 3600.0 + minute * 60.0 + second.cast(pl.Float64, strict=False).to_numpy()
    if afternoon:
        late = columns[names[3]].str.to_lowercase().fill_null("").to_numpy()
        total = total - np.where(hour == 12.0, 43200.0, 0.0) + np.where(late == "p", 43200.0, 0.0)
    return np.asarray(total, np.float64)


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", ".")) if re.fullmatch(r"[-+0-9.,eE]+", text) else None
    except ValueError:
        return None


def _month_order(pattern: str, cells: list[str], month_first: bool | None) -> tuple[str, str]:
    """Return the pattern of the date, and a date that both orders would read.

    A number above 12 settles it; then what the user said counts; then the month stands first.
    """
    if not pattern.startswith("%m"):
        return pattern, ""
    turned = "%d" + pattern[2] + "%m" + pattern[5:]
    dates = {c[: m.end()]: m for c in cells if (m := _TWO_NUMBERS.match(c))}
    if any(int(m[1]) > 12 for m in dates.values()):
        return turned, ""
    if any(int(m[2]) > 12 for m in dates.values()):
        return pattern, ""
    if month_first is not None:
        return (pattern if month_first else turned), ""
    return pattern, next((date for date, m in dates.items() if m[1] != m[2]), "")
