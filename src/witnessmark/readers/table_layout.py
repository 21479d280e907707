"""How a table of text is laid out: delimiter, decimals, headings, units, first row of data."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass, field

from witnessmark.readers.clocks import _CLOCK, _DATES
from witnessmark.readers.column_names import repaired, unit_of

__all__ = ["Layout", "cells_of", "decoded_text", "layout_of"]

_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
_COMMA_NUMBER = re.compile(r"[-+]?\d+,\d+([eE][-+]?\d{1,3})?")
_GROUPED = re.compile(r"[-+]?\d{1,3}(?:([ '\u00a0\u202f,.])\d{3})(?:\1\d{3})*(?:[.,]\d+)?")
_BLANKS = {"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "#n/a", "nodata", "no data",
           "inf", "?", "*", "err", "error", "----"}  # fmt: skip
_STATES = {"on", "off", "true", "false", "yes", "no", "open", "closed", "active", "inactive"}
_DELIMITERS = (",", ";", "\t", "|")


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


def layout_of(head: bytes, *, whole: bool) -> Layout | None:
    """Find the layout from the first bytes of the file; ``None`` where it is no table.

    Args:
        head: the first bytes.
        whole: they are the whole file, so the last line is not cut.
    """
    text, encoding = decoded_text(head)
    if "\0" in text:
        return None
    lines = re.split(r"\r\n|\n|\r", text)
    if not whole and len(lines) > 1:
        lines = lines[:-1]
    lines = lines[:400]
    best: tuple[float, Layout] | None = None
    for delimiter in (*_DELIMITERS, " "):
        found = _try(lines, delimiter, encoding)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    return best[1] if best else None


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
    if width < 2 or often < 0.6 * total:
        ragged = [len(r) for r in rows[-60:] if r]
        width = max(ragged)
        if width < 2 or delimiter == " " or min(ragged[: len(ragged) // 2 + 1]) < 2:
            return None
    start = _first_data(rows, width, lines)
    if start is None:
        return None
    data = [row for row in rows[start:] if row][:80]
    cells = [c.strip() for row in data for c in row]
    full = [c for c in cells if c.lower() not in _BLANKS]
    if not full:
        return None
    comma = sum(bool(_COMMA_NUMBER.fullmatch(c)) for c in full)
    decimal_comma = comma > 0.02 * len(full) and not any(
        re.fullmatch(r"[-+]?\d+\.\d+", c) for c in full
    )
    thousands = _thousands(full, decimal_comma=decimal_comma)
    good = sum(_is_value(c, decimal_comma, thousands) for c in full)
    names, units, above = _headings(rows[:start], lines[:start], width)
    if delimiter == " " and not names and width > 12:
        return None
    score = good / len(full) + 0.2 * often / total + (0.15 if any(names) else 0.0)
    score += min(width, 10) * 0.01 - (0.25 if delimiter == " " else 0.0)
    if good < 0.6 * len(full):
        return None
    layout = Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal_comma=decimal_comma,
        thousands=thousands,
        first_row=start,
        names=tuple(_padded(names, max(width, len(names)))),
        units=tuple(_padded(units, max(width, len(names)))),
        above=above,
        samples=data,
        spaced=delimiter != " "
        and any(delimiter + " " in line for line in lines[start : start + 50]),
        headed=any(names),
    )
    return score, layout


def _padded(cells: list[str], count: int) -> list[str]:
    return (cells + [""] * count)[:count]


def _without_trailing(row: list[str]) -> list[str]:
    return [] if not any(c.strip() for c in row) else row


def _first_data(rows: list[list[str]], width: int, lines: list[str]) -> int | None:
    """Return the first row from which on the rows are mostly values."""
    for number, row in enumerate(rows):
        if not row or lines[number].lstrip().startswith(("#", "//", "%")):
            continue
        if len(row) < min(width, 2) or (len(row) < 0.5 * width and len(row) < 3):
            continue
        full = [c.strip() for c in row if c.strip().lower() not in _BLANKS]
        good = sum(_is_value(c, True, "") or _is_value(c, False, "") for c in full)
        if not full or good < max(1, 0.6 * len(full)):
            continue
        if _stays(rows, number, width) and not _is_meta(row, rows, number):
            return number
    return None


def _is_meta(row: list[str], rows: list[list[str]], number: int) -> bool:
    """A line like ``Sampling rate,1000,1000`` starts with words where data have a number."""
    first = row[0].strip()
    if not first or _is_value(first, True, "") or _is_value(first, False, ""):
        return False
    later = [r[0].strip() for r in rows[number + 1 : number + 30] if r and r[0].strip()]
    wordy = [c for c in later if not (_is_value(c, True, "") or _is_value(c, False, ""))]
    return len(wordy) < 0.5 * len(later) if later else False


def _stays(rows: list[list[str]], number: int, width: int) -> bool:
    after = [r for r in rows[number : number + 12] if r]
    good = 0
    for row in after:
        full = [c.strip() for c in row if c.strip().lower() not in _BLANKS]
        values = sum(_is_value(c, True, "") or _is_value(c, False, "") for c in full)
        good += bool(full) and values >= 0.6 * len(full) and len(row) >= min(width, 2)
    return good >= 0.8 * len(after)


def _is_value(cell: str, decimal_comma: bool, thousands: str) -> bool:
    cell = cell.strip().strip('"')
    if thousands:
        cell = cell.replace(thousands, "")
    if _NUMBER.fullmatch(cell) or (decimal_comma and _COMMA_NUMBER.fullmatch(cell)):
        return True
    if _CLOCK.fullmatch(cell) or cell.lower() in _STATES or _GROUPED.fullmatch(cell):
        return True
    return any(re.match(expression + r"([T _].*)?$", cell) for _, expression in _DATES[:-1])


def _thousands(cells: list[str], *, decimal_comma: bool) -> str:
    marks = Counter(
        m[1]
        for c in cells
        if (m := _GROUPED.fullmatch(c)) and not (decimal_comma and _COMMA_NUMBER.fullmatch(c))
    )
    for mark, _ in marks.most_common():
        if mark == "." and not decimal_comma:
            continue  # 1.234 is one and a bit
        if mark == "," and decimal_comma:
            continue
        return mark
    return ""


def _headings(
    rows: list[list[str]], lines: list[str], width: int
) -> tuple[list[str], list[str], dict[str, list[str]]]:
    """Return headings, units and the key-value lines above the data."""
    above: dict[str, list[str]] = {}
    kept = []
    for row, line in zip(rows, lines, strict=True):
        if not row:
            continue
        if line.lstrip().startswith(("#", "//", "%")):
            row = [re.sub(r"^\s*(#|//|%)+\s*", "", row[0]), *row[1:]]  # noqa: PLW2901
        kept.append([repaired(c) for c in row])
    names: list[str] = []
    units: list[str] = []
    table = [r for r in kept if len(r) >= max(2, width - 1) or (len(r) == width)]
    if not table and kept and len(kept[-1]) >= 2 and not _has_numbers(kept[-1]):
        table = kept[-1:]  # fewer headings than cells: looked at by the reader
        width = len(kept[-1])
    named = [r for r in table if sum(bool(c) for c in r) >= 0.5 * width]
    if named:
        # The row of headings: the last one of words that is not a row of units.
        words = [r for r in named if not _row_of_units(r)]
        unit_rows = [r for r in named if _row_of_units(r)]
        plain = [r for r in words if not _has_numbers(r) and len(set(r[1:])) >= min(2, len(r) - 1)]
        names = (plain or words or [[]])[-1 if not _key_value(words) else 0]
        units = unit_rows[-1] if unit_rows else []
    for row in kept:
        if row is not names and row is not units and len(row) >= 2 and row[0]:
            above[row[0].strip().lower().rstrip(":")] = [c.strip() for c in row[1:]]
    for row in kept:
        for part in row if len(row) == 1 else []:
            key, mark, value = part.partition("=" if "=" in part else ":")
            if mark:
                above[key.strip().lower()] = [value.strip()]
    return names, units, above


def _key_value(words: list[list[str]]) -> bool:
    """Several rows of words above the data: the first names the columns, the rest describe."""
    return len(words) > 2


def _row_of_units(row: list[str]) -> bool:
    full = [c for c in row if c]
    known = sum(unit_of(c) is not None or c.strip("[]() ") in {"", "-"} for c in full)
    return bool(full) and known >= 0.6 * len(full) and not any(len(c) > 14 for c in full)


def _has_numbers(row: list[str]) -> bool:
    return any(_NUMBER.fullmatch(c.strip()) for c in row if c.strip())
