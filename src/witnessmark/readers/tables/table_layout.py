"""How a table of text is laid out: delimiter, decimals, headings, units, first row of data."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import lru_cache

from witnessmark.readers.tables.table_fit import Fit, fitted
from witnessmark.readers.tables.table_headings import headings_of, is_remark
from witnessmark.readers.tables.table_numbers import BLANKS, is_value, numbers_of

__all__ = ["Layout", "cells_of", "decoded_text", "layout_of"]

_DELIMITERS = (",", ";", "\t", "|")
#: Rows of one length that show a table even where rows of another kind follow.
_FIRST = 12
#: Tried where none of the usual ones gives a table.
_RARE = ("^", "~", "!", "&", "*", ":")


@dataclass(frozen=True, slots=True)
class Layout:
    """How the table is laid out.

    Attributes:
        encoding: of the file.
        delimiter: one character; a blank stands for runs of blanks.
        decimal_comma: numbers carry a decimal comma.
        thousands: character that groups thousands, or empty.
        first_row: number of lines before the first row of data.
        names: headings, one a column; empty texts where there is no heading.
        units: the row of units, one a column; empty texts where there is none.
        above: lines above the headings of the form key, value.
        samples: cells of the first rows of data.
        spaced: blanks stand around the delimiter.
        headed: there are headings.
        beside: columns at the left that describe the recording and hold no data.
        unclear: columns whose numbers can be read two ways, such as 1,234.
        tails: for every column the unit that stands behind each number, or empty.
        lost: line and words of rows between headings and data that are neither.
        misfit: why headings and cells do not go together, in words; empty where they do.
        quoting: ``'`` where cells stand in single quotes, ``=`` where they are formulas of text.
    """

    encoding: str
    delimiter: str
    decimal_comma: bool
    thousands: str
    first_row: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    above: dict[str, list[str]] = field(default_factory=dict)
    samples: list[list[str]] = field(default_factory=list)
    spaced: bool = False
    headed: bool = True
    beside: int = 0
    unclear: frozenset[int] = frozenset()
    tails: tuple[str, ...] = ()
    quoting: str = ""
    misfit: str = ""
    lost: tuple[tuple[int, str], ...] = ()


def decoded_text(head: bytes) -> tuple[str, str]:
    """Return the head as text, and its encoding."""
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"),
                       (b"\xfe\xff", "utf-16")):  # fmt: skip
        if head.startswith(mark):
            return head.decode(name, "replace"), name
    if head[:200].count(b"\0") > 40:
        name = "utf-16-le" if head[1:2] == b"\0" else "utf-16-be"
        return head.decode(name, "replace"), name
    for cut in range(4):
        try:
            return head[: len(head) - cut].decode("utf-8"), "utf-8"
        except UnicodeDecodeError:
            continue
    return head.decode("cp1252", "replace"), "cp1252"


@lru_cache(maxsize=2)
def layout_of(head: bytes, *, whole: bool) -> Layout | None:
    """Find the layout from the first bytes of the file; ``None`` where it is no table.

    Args:
        head: the first bytes.
        whole: they are the whole file, so the last line is not cut.
    """
    text, encoding = decoded_text(head)
    lines = re.split(r"\r\n|\n|\r", text)
    if "\0" in text:
        # Damaged rows among good ones; a file of another kind has few lines without.
        kept = [line for line in lines if "\0" not in line]
        if len(kept) < max(10, 0.8 * len(lines)) or "\0" in lines[0]:
            return None
        lines = kept
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    lines = lines[:400]
    quoting = _quoting(lines)
    if quoting:
        lines = [line.replace('="', '"') if quoting == "=" else line.replace("'", "")
                 for line in lines]  # fmt: skip
    for delimiters in ((*_DELIMITERS, " "), _RARE):
        best: tuple[float, Layout] | None = None
        for delimiter in delimiters:
            found = _try(lines, delimiter, encoding)
            if found is not None and (best is None or found[0] > best[0]):
                best = found
        if best:
            return replace(best[1], quoting=quoting) if quoting else best[1]
    return None


def _quoting(lines: list[str]) -> str:
    data = [line for line in lines[-20:] if line.strip()]
    if data and all('="' in line for line in data):
        return "="
    if data and all(re.search(r"^\s*'[^']*'\s*(.)\s*'[^']*'", line) for line in data):
        return "'"
    return ""


def cells_of(line: str, delimiter: str) -> list[str]:
    """Split one line into its cells."""
    if delimiter == " ":
        return line.split()
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.split(delimiter)


def _try(lines: list[str], delimiter: str, encoding: str) -> tuple[float, Layout] | None:
    rows = [cells_of(line, delimiter) for line in lines]
    rows = [_without_trailing(row) for row in rows]
    widths = Counter(len(row) for row in rows[-60:] if row)
    if not widths:
        return None
    width, often = widths.most_common(1)[0]
    total = sum(widths.values())
    if (width < 2 or often < 0.6 * total) and (first := _even_at_first(rows)):
        width, often, total = first, 1, 2  # another kind of rows follows; the reader names them
    elif width < 2 or often < 0.6 * total:
        ragged = [len(r) for r in rows[-60:] if r]
        width = max(ragged)
        if width < 2 or delimiter == " " or min(ragged[: len(ragged) // 2 + 1]) < 2:
            return None
    beside, side = _beside(rows)
    if beside:
        rows = [[*[""] * min(beside, len(row)), *row[beside:]] for row in rows]
    start = 0 if beside else _first_data(rows, width, lines)
    if start is None:
        return None
    data = [row for row in rows[start:] if row and not is_remark(row[0])]
    full = [c.strip() for row in data[:80] for c in row[beside:] if c.strip().lower() not in BLANKS]
    if not full:
        return None
    numbers = numbers_of(data, width)
    good = sum(is_value(c, numbers.decimal_comma, numbers.thousands) for c in full)
    names, units, above = headings_of(rows[:start], lines[:start], width)
    fit = fitted(
        names,
        _line_of(names, rows[:start], lines),
        data[:80],
        width,
        delimiter,
        lines[start : start + 80],
    )
    if units and len(units) != fit.width and len(fit.names) == fit.width:
        units = _beside_headings(units, names, fit)
    names, width = fit.names, fit.width
    if delimiter == " " and not names and width > 12:
        return None
    score = good / len(full) + 0.2 * often / total + (0.15 if any(names) else 0.0)
    score += min(width, 10) * 0.01 - (0.25 if delimiter == " " else 0.0)
    if good < 0.6 * len(full):
        return None
    tails = numbers.tails if any(numbers.tails) else ()
    layout = Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal_comma=numbers.decimal_comma,
        thousands=numbers.thousands,
        first_row=start,
        names=tuple(_padded(names, max(width, len(names)))),
        units=tuple(_padded(units, max(width, len(names)))),
        above={**above, **side},
        samples=data[:80],
        spaced=delimiter != " "
        and any(delimiter + " " in line for line in lines[start : start + 50]),
        headed=any(names),
        beside=beside,
        unclear=numbers.unclear,
        tails=tails,
        misfit=fit.misfit,
        lost=_lost(names, units, rows[:start], lines),
    )
    return score, layout


def _even_at_first(rows: list[list[str]]) -> int:
    """Return the cells of the first rows where those are many and alike; 0 where they are not."""
    widths = [len(row) for row in rows if row][:_FIRST]
    return widths[-1] if len(widths) == _FIRST and widths[-1] > 1 and len(set(widths)) == 1 else 0


def _line_of(names: list[str], rows: list[list[str]], lines: list[str]) -> str:
    """Return the line the headings stand in."""
    for row, line in zip(reversed(rows), reversed(lines[: len(rows)]), strict=True):
        if len(row) == len(names) and row and row[-1].strip() == names[-1].strip():
            return line
    return ""


def _lost(
    names: list[str], units: list[str], rows: list[list[str]], lines: list[str]
) -> tuple[tuple[int, str], ...]:
    """Return rows below the headings that look like damaged data: they hold numbers."""
    heads = [n for n, row in enumerate(rows) if row and row[-1].strip() == names[-1].strip()] if (
        names
    ) else []  # fmt: skip
    if not heads:
        return ()
    return tuple(
        (number + 1, lines[number].strip()[:40])
        for number in range(heads[-1] + 1, len(rows))
        if len(rows[number]) >= max(2, len(names) - 1)
        and not is_remark(lines[number])
        and [c.strip() for c in rows[number]] != [u.strip() for u in units]
        and sum(bool(re.match(r"[-+]?\d", c.strip())) for c in rows[number]) >= 1
    )


def _beside_headings(units: list[str], names: list[str], fit: Fit) -> list[str]:
    """Move the row of units where the headings were moved; one of another length says nothing."""
    if len(units) == len(names) == fit.width - 1 and not fit.names[0]:
        return ["", *units]
    return []


def _beside(rows: list[list[str]]) -> tuple[int, dict[str, list[str]]]:
    """Find lines of key and value that stand left of the data instead of above them."""
    wide = [row for row in rows if row]
    if len(wide) < 40 or min(len(row) for row in wide) < 4:
        return 0, {}
    filled = [bool(row[0].strip()) for row in wide]
    keys = [row for row in wide if row[0].strip()]
    words = [row for row in keys if re.match(r'[A-Za-z"]', row[0].strip())]
    if not 1 <= len(keys) <= 30 or len(words) != len(keys) or any(filled[len(keys) :]):
        return 0, {}
    described = wide[len(keys) + 1 :]
    count = next(
        (n for n in range(len(wide[-1])) if any(len(r) > n and r[n].strip() for r in described)), 0
    )
    side = {row[0].strip().strip('":').lower(): [c.strip() for c in row[1:count]] for row in keys}
    return count, side


def _padded(cells: list[str], count: int) -> list[str]:
    return (cells + [""] * count)[:count]


def _without_trailing(row: list[str]) -> list[str]:
    return [] if not any(c.strip() for c in row) else row


def _first_data(rows: list[list[str]], width: int, lines: list[str]) -> int | None:
    """Return the first row from which on the rows are mostly values."""
    for number, row in enumerate(rows):
        if not row or is_remark(lines[number]):
            continue
        if len(row) < min(width, 2) or (len(row) < 0.5 * width and len(row) < 3):
            continue
        full = [c.strip() for c in row if c.strip().lower() not in BLANKS]
        good = sum(is_value(c, True, "") or is_value(c, False, "") for c in full)
        if not full or good < max(1, 0.6 * len(full)):
            continue
        if _stays(rows, number, width) and not _is_meta(row, rows, number):
            return number
    return None


def _is_meta(row: list[str], rows: list[list[str]], number: int) -> bool:
    """A line like ``Sampling rate,1000,1000`` starts with words where data have a number."""
    first = row[0].strip()
    if not first or is_value(first, True, "") or is_value(first, False, ""):
        return False
    later = [r[0].strip() for r in rows[number + 1 : number + 30] if r and r[0].strip()]
    wordy = [c for c in later if not (is_value(c, True, "") or is_value(c, False, ""))]
    return len(wordy) < 0.5 * len(later) if later else False


def _stays(rows: list[list[str]], number: int, width: int) -> bool:
    after = [r for r in rows[number : number + 12] if r]
    good = 0
    for row in after:
        full = [c.strip() for c in row if c.strip().lower() not in BLANKS]
        values = sum(is_value(c, True, "") or is_value(c, False, "") for c in full)
        fits = bool(full) and values >= 0.6 * len(full) and len(row) >= min(width, 2)
        if not fits and len(after) > 1 and row is after[1] and len(after[0]) != width:
            return False  # numbers above the headings
        good += fits
    return good >= 0.8 * len(after)
