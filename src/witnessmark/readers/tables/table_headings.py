"""What stands above the data of a table: headings, units, and lines that describe the recording."""

from __future__ import annotations

import re

from witnessmark.readers.columns.column_names import heading, repaired, unit_of
from witnessmark.readers.tables.time_columns import is_time

__all__ = ["Above", "headings_of", "is_remark", "split_key"]

_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
#: A number, alone or with a unit behind it.
_WITH_UNIT = re.compile(r"[-+]?[\d.,]*\d(?:[eE][-+]?\d{1,3})?\s*[A-Za-z%°/µ\u00b5]{0,8}")
#: What a line under the headings may say of the type of the columns.
_TYPES = {"float", "double", "int", "int16", "int32", "single", "uint16", "uint8", "string",
          "datetime", "number", "numeric", "float32", "float64", "analog", "digital"}  # fmt: skip

#: Headings, units, and key -> values of the lines above.
Above = tuple[list[str], list[str], dict[str, list[str]]]


def is_remark(line: str) -> bool:
    """Say whether a line is a remark."""
    return line.lstrip().startswith(("#", "//", "%"))


def headings_of(rows: list[list[str]], lines: list[str], width: int) -> Above:
    """Return headings, units and the key-value lines above the data.

    The headings are the row of words that names most; among equals the one that stands first
    where many lines follow, the last one where it stands over the data.
    """
    above: dict[str, list[str]] = {}
    kept: list[list[str]] = []
    for row, line in zip(rows, lines, strict=True):
        if not row:
            continue
        cells = row
        if is_remark(line):
            cells = [re.sub(r"^\s*(#|//|%)+\s*", "", row[0]), *row[1:]]
        kept.append([repaired(c) for c in cells])
        _stated(line, above)
    table = [r for r in kept if len(r) >= max(2, width - 1) or len(r) == width]
    if not table and kept and len(kept[-1]) >= 2 and not _values(kept[-1]):
        table = kept[-1:]  # fewer headings than cells: looked at by the reader
        width = len(kept[-1])
    wide = [r for r in table if sum(bool(c) for c in r) >= 0.5 * width]
    units = next((r for r in reversed(wide) if _is_units(r)), [])
    words = [r for r in wide if r is not units and not _is_units(r) and not _is_types(r)]
    plain = [r for r in words if not _values(r[1:]) and len(set(r[1:])) >= min(2, len(r) - 1)]
    names = _best(plain or [r for r in words if not _describes(r)])
    for row in kept:
        if row is not names and row is not units and len(row) >= 2 and row[0]:
            above.setdefault(_key(row[0]), [c.strip() for c in row[1:]])
    if names:
        _under(names, kept, above)
    return names, units, above


def split_key(line: str) -> tuple[str, str] | None:
    """Take ``key: value``, ``key = value`` or ``key 5000 Hz`` apart."""
    text = re.sub(r"^\s*(#|//|%)*\s*", "", repaired(line.strip().strip('",;')))
    found = re.fullmatch(r"([^=:]{1,60}?)\s*[=:]\s*(\S.*)", text)
    if found is None:
        found = re.fullmatch(
            r"([A-Za-z][^\d,;\t]{1,60}?)\s+([-+]?\d[\d.,]*\s*[A-Za-zµ/]{0,8})", text
        )
    return (_key(found[1]), found[2].strip()) if found else None


def _stated(line: str, above: dict[str, list[str]]) -> None:
    found = split_key(line)
    if found is not None and found[0] not in above:
        above[found[0]] = [found[1].strip('"')]


def _best(rows: list[list[str]]) -> list[str]:
    if not rows:
        return []
    scores = [_known(row) for row in rows]
    best = max(scores)
    equal = [row for row, score in zip(rows, scores, strict=True) if score == best]
    return equal[0] if len(rows) > 2 and best == 0 else equal[-1]


def _known(row: list[str]) -> int:
    """Count the cells that name a quantity or a time."""
    count = 0
    for cell in row:
        if len(cell) < 2 or len(cell) > 60:
            continue
        one = heading(cell)
        count += one.quantity is not None or one.wanted is not None or one.time
    return count


def _under(names: list[str], kept: list[list[str]], above: dict[str, list[str]]) -> None:
    """Numbers above the data that stand under a heading of their own (``Increment``)."""
    at = kept.index(names)
    for row in kept[at + 1 :]:
        for name, cell in zip(names[1:], row[1:], strict=False):
            if name and _NUMBER.fullmatch(cell.strip()):
                above.setdefault(_key(name), [cell.strip()])


def _key(text: str) -> str:
    return text.strip().lower().rstrip(":= ")


def _is_units(row: list[str]) -> bool:
    full = [c for c in row if c]
    known = sum(unit_of(c) is not None or c.strip("[]() ") in {"", "-"} for c in full)
    named = sum(unit_of(c) is None and heading(c).quantity is not None for c in full)
    return bool(full) and known >= 0.6 * len(full) and named < 2


def _is_types(row: list[str]) -> bool:
    full = [c.strip().lower() for c in row if c]
    return bool(full) and sum(c in _TYPES for c in full) >= 0.6 * len(full)


def _describes(row: list[str]) -> bool:
    """``Device, logger`` says something of the recording; it names no columns."""
    return bool(row) and any(_WITH_UNIT.fullmatch(c) or is_time(c) for c in row[1:] if c)


def _values(row: list[str]) -> bool:
    return any(_NUMBER.fullmatch(c.strip()) or is_time(c.strip()) for c in row if c.strip())
