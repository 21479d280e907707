"""Time columns of tables: seconds, epochs, clock times, dates with times."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from witnessmark.late import late
from witnessmark.model.recording import Floats

if TYPE_CHECKING:
    import polars as pl
else:
    pl = late("polars")

__all__ = ["TimeColumn", "clock_of", "day_scale", "is_compact", "is_time", "seconds"]

Form = Literal["number", "clock", "minutes", "compact", "date"]

_CLOCK = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2}(?:[.,:]\d{1,9})?))?( ?[AaPp][Mm])?")
_MINUTES = re.compile(r"(\d{1,4}):(\d{2}(?:[.,]\d{1,9})?)")
_COMPACT = re.compile(r"([01]\d|2[0-3])[0-5]\d[0-5]\d(?:[.,]\d{1,9})?")
_PARTS = r"^\s*(\d{1,3}):(\d{2})(?::(\d{2}(?:[.:]\d{1,9})?))?\s*([APap]?)"
_HOURS = r"^(?:(\d+):)?(\d+):(\d+(?:\.\d+)?)$"
_MOMENT = r"^(\S+?)(?:[T _]+([0-9:.]+(?: ?[APap][Mm])?))?$"
#: Other ways to write the same, put into one before anything else is looked at.
#: What other languages call a month, where its first three letters are not the English ones.
_MONTHS = {
    "jan": "ene enero janv janvier", "feb": "févr? février fev fevr", "mar": "mär märz marzo",
    "apr": "avr avril abr abril", "may": "mai mayo", "jun": "juin junio juni",
    "jul": "juil juillet julio juli", "aug": "août aout ago agosto", "oct": "okt oktober octubre",
    "dec": "déc décembre dic diciembre dez dezember",
}  # fmt: skip
_SAME = tuple(
    (re.compile(expression), instead)
    for expression, instead in (
        # Mon Mar 02 08:59:50.5 2026, Mar 2, 2026 08:59:50, with a zone or without
        (
            r"^(?:[A-Za-z]{3,9},? +)?([A-Za-z]{3})[a-z]* +(\d{1,2}),? *(\d{4})[ ,]+(\d\d?:.*)$",
            r"\2-\1-\3 \4",
        ),
        (
            r"^(?:[A-Za-z]{3,9},? +)?([A-Za-z]{3})[a-z]* +(\d{1,2}),? +(\d\d?:[0-9:.,]+)"
            r"(?: +[A-Z]{2,5}\S*)? +(\d{4})$",
            r"\2-\1-\4 \3",
        ),
        (r"^(?:[A-Za-z]{3,9},? +)?(\d{1,2})[ .]+([A-Za-z]{3})[a-z]* +(\d{4})(.*)$", r"\1-\2-\3\4"),
        (r"^(\d{4})(\d\d)(\d\d)[T _]?(\d\d)(\d\d)(\d\d(?:[.,]\d+)?)(Z?)$", r"\1-\2-\3 \4:\5:\6\7"),
        # a zone behind the time: Z, UTC, GMT, +01:00, -0500, +01
        (
            r"^(.*\d:\d\d(?::\d\d(?:[.,:]\d{1,9})?)?(?: ?[AaPp][Mm])?) *"
            r"(?:Z|(?:UTC|GMT)?[+-]\d\d(?::?\d\d)?|UTC|GMT)$",
            r"\1",
        ),
    )
)
_MONTH_RULES = tuple(
    (re.compile(rf"(?i)\b{word}\.? "), f"{month} ")
    for month, words in _MONTHS.items()
    for word in words.split()
)
_DATES = (
    # strptime pattern of polars (chrono), regular expression
    ("%Y-%m-%d", r"\d{4}-\d{1,2}-\d{1,2}"),
    ("%Y/%m/%d", r"\d{4}/\d{1,2}/\d{1,2}"),
    ("%Y.%m.%d", r"\d{4}\.\d{1,2}\.\d{1,2}"),
    ("%d.%m.%Y", r"\d{1,2}\.\d{1,2}\.\d{4}"),
    ("%d.%m.%y", r"\d{1,2}\.\d{1,2}\.\d{2}"),
    ("%m/%d/%Y", r"\d{1,2}/\d{1,2}/\d{4}"),
    ("%m/%d/%y", r"\d{1,2}/\d{1,2}/\d{2}"),
    ("%m-%d-%Y", r"\d{1,2}-\d{1,2}-\d{4}"),
    ("%d-%b-%Y", r"\d{1,2}-[A-Za-z]{3}-\d{4}"),
    ("%d-%b-%y", r"\d{1,2}-[A-Za-z]{3}-\d{2}"),
    ("%Y%m%d", r"\d{8}"),
)


_TWO_NUMBERS = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-]\d{2,4}")


@dataclass(frozen=True, slots=True)
class TimeColumn:
    """How a time column is written.

    Attributes:
        form: plain numbers, clock times, minutes with seconds, clock times without colons, or
            dates with times.
        scale: seconds per unit of plain numbers.
        epoch: plain numbers count from 1970.
        pattern: pattern of the date.
        afternoon: AM and PM are written.
        assumed: a date that could be read two ways, such as 03/04/2026, and nobody said which.
        stated: the unit of plain numbers was stated.
        short: a time such as 08:58 that could be hours or minutes, taken for hours.
    """

    form: Form
    scale: float = 1.0
    epoch: bool = False
    pattern: str = ""
    afternoon: bool = False
    assumed: str = ""
    stated: bool = True
    short: str = ""


def clock_of(
    cells: list[str], scale: float | None, *, month_first: bool | None = None
) -> TimeColumn | None:
    """Say how the cells of a time column are written; ``None`` where they are no times.

    Args:
        cells: some cells that are not blank.
        scale: seconds per unit where the heading states the unit.
        month_first: how dates are read that could be read two ways; ``None`` where nobody said.
    """
    cells = [_same(c.strip().strip('"')) for c in cells if c.strip()]
    if not cells:
        return None
    numbers = [_number(c) for c in cells]
    if all(n is not None for n in numbers):
        first = abs(numbers[0] or 0.0)
        for unit_s, low in ((1.0, 9e8), (1e-3, 9e11), (1e-6, 9e14), (1e-9, 9e17)):
            if low <= first < low * 4:
                return TimeColumn("number", unit_s, epoch=True)
        return TimeColumn("number", 1.0 if scale is None else scale, stated=scale is not None)
    if all(_MINUTES.fullmatch(c) for c in cells) and any(
        "." in c or "," in c or int(c.split(":")[0]) > 23 for c in cells
    ):
        return TimeColumn("minutes")
    if all(_CLOCK.fullmatch(c) for c in cells):
        short = cells[0] if all(c.count(":") == 1 for c in cells) else ""
        return TimeColumn("clock", afternoon=any(c[-1] in "mM" for c in cells), short=short)
    for pattern, expression in _DATES:
        whole = re.compile(expression + r"(?:[T _]+(.*?))?")
        matches = [whole.fullmatch(c) for c in cells]
        if all(m is not None and (not m[1] or _CLOCK.fullmatch(m[1])) for m in matches):
            late = any(c.rstrip()[-1:] in "mM" for c in cells)
            order, assumed = _month_order(pattern, cells, month_first)
            return TimeColumn("date", pattern=order, afternoon=late, assumed=assumed)
    return None


def is_compact(cells: list[str]) -> bool:
    """Say whether the cells can be clock times without colons, such as 085950.25."""
    full = [c.strip() for c in cells if c.strip()]
    return bool(full) and all(_COMPACT.fullmatch(c) for c in full)


def is_time(cell: str) -> bool:
    """Say whether one cell is a clock time, or a date with or without one."""
    if not cell[:1].isalnum() or cell.isalpha():
        return False
    cell = _same(cell)
    if _CLOCK.fullmatch(cell) or _MINUTES.fullmatch(cell):
        return True
    return any(re.match(expression + r"([T _].*)?$", cell) for _, expression in _DATES[:-1])


def seconds(column: pl.Series, clock: TimeColumn) -> Floats:
    """Turn a time column into seconds; NaN where a cell is no time. Epochs stay epochs."""
    if clock.form == "number":
        return column.cast(pl.Float64, strict=False).to_numpy() * clock.scale
    text = column.cast(pl.String).str.strip_chars(' "')
    moved = _moved(text) if clock.form == "date" else None
    rules = _SAME
    if text.str.contains(r"\p{L}{3}").any():
        rules = _MONTH_RULES + _SAME
    for expression, instead in rules:
        text = text.str.replace(expression.pattern, re.sub(r"\\(\d)", r"${\1}", instead))
    text = text.str.replace(",", ".", literal=True)
    if clock.form == "clock":
        return _clock(text, afternoon=clock.afternoon)
    if clock.form == "minutes":
        parts = text.str.extract_groups(_HOURS).struct.unnest()
        hour, minute, second = (
            parts[name].fill_null("0" if place == 0 else "").cast(pl.Float64, strict=False)
            for place, name in enumerate(parts.columns)
        )
        return (hour * 3600.0 + minute * 60.0 + second).to_numpy()
    if clock.form == "compact":
        number = text.cast(pl.Float64, strict=False).to_numpy()
        hours, rest = np.divmod(number, 10000.0)
        return np.asarray(hours * 3600.0 + rest // 100.0 * 60.0 + rest % 100.0)
    split = text.str.extract_groups(_MOMENT)
    day = split.struct[0].str.to_date(clock.pattern, strict=False)
    days = day.cast(pl.Int32).cast(pl.Float64).to_numpy() * 86400.0
    time = split.struct[1].fill_null("00:00:00")
    found = days + _clock(time, afternoon=clock.afternoon)
    return found if moved is None else found - moved


def _moved(text: pl.Series) -> Floats | None:
    """Return by how much the zone behind each stamp differs from the first one's [s]."""
    parts = text.str.extract_groups(r"\d:\d\d\S* ?([+-])(\d\d):?(\d\d)$").struct.unnest()
    sign, hours, minutes = (parts[name] for name in parts.columns)
    if sign.null_count():
        return None
    ahead = hours.cast(pl.Float64).to_numpy() * 3600.0 + minutes.cast(pl.Float64).to_numpy() * 60.0
    offset = np.where(sign.to_numpy() == "-", -ahead, ahead)
    return None if not offset.size or (offset == offset[0]).all() else offset - offset[0]


def day_scale(raw: Floats) -> tuple[float, float | None] | None:
    """Tell days from seconds: named values are not sampled thousands of times a second.

    Args:
        raw: plain numbers whose unit nobody stated.

    Returns:
        Seconds per unit and, for dates of a spreadsheet, the first one as seconds since 1970;
        ``None`` where the numbers can be seconds.
    """
    known = raw[~np.isnan(raw)]
    if known.size < 4:
        return None
    steps = np.diff(known)
    steps = steps[steps > 0.0]
    if not steps.size or float(np.median(steps)) > 7e-4:
        return None
    if not 0.003 <= float(np.median(steps)) * 86400.0 <= 60.0:
        return None
    first = float(known[0])
    # Days of spreadsheets since the end of 1899, of mathematics programs since the year 0.
    zero = 25569.0 if 20000.0 < first < 80000.0 else 719529.0 if 7e5 < first < 8e5 else None
    if zero is None and not 0.0 <= first < 1.0:
        return None
    return 86400.0, None if zero is None else (first - zero) * 86400.0


def _same(cell: str) -> str:
    if any(c.isalpha() for c in cell):
        for expression, instead in _MONTH_RULES:
            cell = expression.sub(instead, cell)
    for expression, instead in _SAME:
        cell = expression.sub(instead, cell)
    return cell


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
