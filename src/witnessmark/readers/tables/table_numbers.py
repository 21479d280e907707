"""How the numbers of a table are written: decimal mark, thousands, units behind them."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from witnessmark.readers.tables.time_columns import is_time

__all__ = ["BLANKS", "Numbers", "is_value", "numbers_of"]

_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
_COMMA_NUMBER = re.compile(r"[-+]?\d*,\d+([eE][-+]?\d{1,3})?")
_POINT_NUMBER = re.compile(r"[-+]?\d*\.\d+([eE][-+]?\d{1,3})?")
_GROUPED = re.compile(r"[-+]?\d{1,3}(?:([ '\u2019\u00a0\u202f,.])\d{3})(?:\1\d{3})*(?:[.,]\d+)?")
#: One group only, so the mark could be a decimal mark with three digits behind it.
_TWO_WAYS = re.compile(r"[-+]?[1-9]\d{0,2}[.,]\d{3}")
_TAIL = re.compile(r"[-+]?[\d.,]*\d\s*([A-Za-z%°/\u00b0\u00b5]{1,6}\d?)")
BLANKS = {"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "#n/a", "nodata", "no data",
          "inf", "?", "*", "err", "error", "----"}  # fmt: skip
_STATES = {"on", "off", "true", "false", "yes", "no", "open", "closed", "active", "inactive",
           "high", "low"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Numbers:
    """How the numbers of a table are written.

    Attributes:
        decimal_comma: they carry a decimal comma.
        thousands: character that groups thousands, or empty.
        unclear: columns whose marks can be thousands or decimals; nobody can tell.
        tails: for every column the unit that stands behind each number, or empty.
    """

    decimal_comma: bool
    thousands: str
    unclear: frozenset[int] = frozenset()
    tails: tuple[str, ...] = ()


def is_value(cell: str, decimal_comma: bool, thousands: str) -> bool:
    """Say whether a cell is a number, a time or a state."""
    cell = cell.strip().strip('"')
    if thousands:
        cell = cell.replace(thousands, "")
    if _NUMBER.fullmatch(cell) or (decimal_comma and _COMMA_NUMBER.fullmatch(cell)):
        return True
    if cell.lower() in _STATES or _GROUPED.fullmatch(cell) or is_time(cell):
        return True
    tail = _TAIL.fullmatch(cell)
    return tail is not None and not re.fullmatch(r"[A-Fa-f0-9x]+", cell)


def numbers_of(rows: list[list[str]], width: int) -> Numbers:
    """Say how the numbers of these rows are written."""
    columns = [[r[n].strip() for r in rows if n < len(r)] for n in range(width)]
    columns = [[c for c in column if c.lower() not in BLANKS] for column in columns]
    tails = tuple(_tail(column) for column in columns)
    bare = [
        [c[: -len(t)].rstrip() if t and c.endswith(t) else c for c in column]
        for column, t in zip(columns, tails, strict=True)
    ]
    every = [c for column in bare for c in column]
    decimal_comma, thousands, unclear = _marks(every, bare)
    return Numbers(decimal_comma, thousands, unclear, tails)


def _tail(column: list[str]) -> str:
    """Return the unit that stands behind the numbers of a column."""
    found = [m[1] for c in column if (m := _TAIL.fullmatch(c)) and not _NUMBER.fullmatch(c)]
    if not found or len(found) < 0.8 * len(column) or any(is_time(c) for c in column[:3]):
        return ""
    unit, often = Counter(found).most_common(1)[0]
    return unit if often >= 0.8 * len(column) else ""


def _marks(every: list[str], columns: list[list[str]]) -> tuple[bool, str, frozenset[int]]:
    """Return whether commas are decimal, the mark of thousands, and the columns nobody can read.

    ``12,5`` shows a decimal comma and ``12.5`` a decimal point, for the whole table. ``1,234`` can
    be both: it then depends on what else stands in the column.
    """
    plain = [c for c in every if not _GROUPED.fullmatch(c)]
    comma = sum(bool(_COMMA_NUMBER.fullmatch(c)) for c in plain)
    point = sum(bool(_POINT_NUMBER.fullmatch(c)) for c in plain)
    mixed = [m for c in every if (m := _GROUPED.fullmatch(c)) and re.search(r"[.,]\d+$", c)]
    for m in mixed:  # 1.234,5 and 1,234.5 say it all
        last = re.findall(r"[.,]", m[0])[-1]
        if last != m[1]:
            comma, point = comma + 5 * (last == ","), point + 5 * (last == ".")
    marks = Counter(m[1] for c in every if (m := _GROUPED.fullmatch(c)))
    other = next((mark for mark, _ in marks.most_common() if mark not in ",."), "")
    decimal_comma = comma > point and comma > 0.002 * len(every)
    if decimal_comma:
        return True, "." if "." in marks else other, frozenset()
    if point:
        return False, "," if "," in marks else other, frozenset()
    for mark in (",", "."):
        if mark in marks:
            return _by_column(columns, mark)
    return False, other, frozenset()


def _by_column(columns: list[list[str]], mark: str) -> tuple[bool, str, frozenset[int]]:
    """Only numbers such as 1,234 and whole ones: look at each column by itself."""
    grouped: list[int] = []
    decimal: list[int] = []
    unclear: list[int] = []
    for number, column in enumerate(columns):
        marked = [c for c in column if mark in c]
        if not marked:
            continue
        whole = [c for c in column if re.fullmatch(r"[-+]?\d{1,3}", c)]
        if any(c.count(mark) > 1 for c in marked) or (
            whole and len(whole) + len(marked) == len(column)
        ):
            grouped.append(number)
        elif any(not _TWO_WAYS.fullmatch(c) for c in marked):
            decimal.append(number)
        else:
            unclear.append(number)
    if decimal or (mark == "." and not grouped):
        return mark == "," and not grouped, "", frozenset(grouped if decimal and grouped else ())
    if grouped:
        return mark == ".", mark, frozenset()
    return False, "", frozenset(unclear)
