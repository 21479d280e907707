"""Headings held against the cells below them: each has to stand over one column, for certain."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from witnessmark.readers.columns.column_names import heading

__all__ = ["Fit", "fitted", "is_row_number"]

_NUMBERED = re.compile(
    r"(?i)\W*(?:row|line|index|idx|record|sample|point|entry|item|nr|no|number|n|#|id|rec|seq|"
    r"sequence|scan|count)\W*(?:no|nr|number|#|id|index)?\W*"
)
_LEAST = 3


@dataclass(frozen=True, slots=True)
class Fit:
    """How headings stand over columns.

    Attributes:
        names: headings, one a column.
        width: cells of a row.
        misfit: why they cannot be brought together, in words; empty where they can.
    """

    names: list[str]
    width: int
    misfit: str = ""


def fitted(
    names: Sequence[str],
    line: str,
    data: Sequence[Sequence[str]],
    width: int,
    delimiter: str,
    below: Sequence[str] = (),
) -> Fit:  # fmt: skip
    """Bring headings and columns together, or say why that cannot be done.

    Args:
        names: cells of the row of headings.
        line: that row as it stands in the file.
        data: cells of the first rows of data.
        width: cells of most rows.
        delimiter: between the cells; a blank stands for runs of blanks.
        below: the rows of data as they stand in the file.
    """
    found = _trimmed(names)
    if not found:
        return Fit([], width)
    if delimiter == " " and not (len(found) == width and _stands_over(line, below, width)):
        found = _fixed(found, line, data)
    if _every_second_is_blank(found, data, width):
        return Fit(
            found,
            width,
            "Every second column is blank below headings that are not: they do not belong to the "
            f"columns they stand over. The headings begin with '{found[0][:40]}'.",
        )
    if any(len(row) == len(found) for row in data):
        return Fit(found, len(found))
    if len(found) == len(_trimmed(names)) and any(len(row) == len(names) for row in data):
        return Fit(list(names), len(names))
    if len(found) < width and _blank_behind(data, len(found)):
        return Fit([*found, *[""] * (width - len(found))], width)
    if len(found) == width - 1 and _counts_rows(found, data):
        return Fit(["", *found], width)
    return Fit(
        found,
        width,
        f"The table has {len(found)} headings, but {width} cells in a row: which heading stands "
        f"over which column cannot be told. The headings begin with '{found[0][:40]}'.",
    )


def is_row_number(name: str, cells: Sequence[str]) -> bool:
    """Say whether a column is only the running number of the rows.

    Args:
        name: its heading; a blank one counts too.
        cells: its first cells.
    """
    if name.strip() and _NUMBERED.fullmatch(name.strip()) is None:
        return False
    return _running(cells)


def _running(cells: Sequence[str]) -> bool:
    full = [c.strip().strip('"') for c in cells if c.strip()]
    if len(full) < _LEAST or not all(re.fullmatch(r"\d{1,9}", c) for c in full):
        return False
    numbers = [int(c) for c in full]
    return all(b - a == 1 for a, b in pairwise(numbers))


def _trimmed(names: Sequence[str]) -> list[str]:
    found = list(names)
    while found and not found[-1].strip():
        found.pop()
    return found


def _blank_behind(data: Sequence[Sequence[str]], count: int) -> bool:
    """A delimiter behind the last cell of every row makes blank cells that nobody misses."""
    return not any(cell.strip() for row in data for cell in row[count:])


def _counts_rows(names: Sequence[str], data: Sequence[Sequence[str]]) -> bool:
    """Say whether the first column has no heading because it only numbers the rows.

    A clock in whole seconds counts like that too: where the first heading is a time, the second
    column has to be one.
    """
    column = [row[0] for row in data if row]
    if not _running(column):
        return False
    if not heading(names[0]).time:
        return True
    second = [row[1].strip() for row in data if len(row) > 1]
    try:
        numbers = [float(c.replace(",", ".")) for c in second]
    except ValueError:
        return bool(second) and all(":" in c for c in second)
    return len(numbers) >= _LEAST and all(b >= a for a, b in pairwise(numbers))


def _stands_over(line: str, below: Sequence[str], width: int) -> bool:
    """Say whether every word of a row of headings stands over the cells of its own column."""
    rows = [[m.span() for m in re.finditer(r"\S+", row)] for row in below]
    rows = [row for row in rows if len(row) == width]
    words = [m.span() for m in re.finditer(r"\S+", line)]
    if not rows or len(words) != width:
        return False
    for number, (start, end) in enumerate(words):
        first = min(row[number][0] for row in rows)
        last = max(row[number][1] for row in rows)
        if end <= first or start >= last:
            return False
    return True


def _every_second_is_blank(names: Sequence[str], data: Sequence[Sequence[str]], width: int) -> bool:
    if len(names) != width or width < 4 or not all(n.strip() for n in names):
        return False
    blank = [n for n in range(width) if not any(r[n].strip() for r in data if n < len(r))]
    return blank == list(range(1, width, 2)) and len(blank) > 1


def _fixed(names: list[str], line: str, data: Sequence[Sequence[str]]) -> list[str]:
    """Split headings of several words in columns of fixed width at two blanks or more."""
    parts = [part for part in re.split(r" {2,}|\t+", line.strip().lstrip("#%").strip()) if part]
    if len(parts) < 2 or len(parts) == len(names):
        return names
    if any(len(row) == len(parts) for row in data) or "  " in line.strip():
        return parts
    return names
