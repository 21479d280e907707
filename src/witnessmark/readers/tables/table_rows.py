"""The rows of a table held against its headings: none may be longer, shorter or of another kind.

A row with another number of cells than there are headings cannot be read: nobody knows which cell
is missing or too many, so its values would stand under the wrong headings. Such rows are left out
and named by their line in the file.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from witnessmark.readers.tables.table_headings import is_remark
from witnessmark.readers.told import Trouble

__all__ = ["RowCheck"]

_QUOTE, _LINE_END = 34, 10
#: A blank cell: nothing, blanks or tabs, and a carriage return at the end.
_BLANK = b" \t\r"


@dataclass(slots=True)
class RowCheck:
    """Takes the text of a table piece by piece and keeps the rows that fit.

    Attributes:
        delimiter: one byte between two cells.
        cells: cells a row must have.
        line: number of the first line of the next piece, from 1 on, as an editor counts.
        trouble: is told what is left out.
        others: lines that are no rows, such as a title in the middle.
    """

    delimiter: bytes
    cells: int
    line: int
    trouble: Trouble
    others: set[int] = field(default_factory=set)

    def fitting(
        self, text: bytes, *, closely: bool = False
    ) -> tuple[bytes, npt.NDArray[np.int64] | None]:
        """Return the rows of *text* that fit, and the line of each where some are left out.

        Where the delimiters are as many as they have to be, rows that are too long and too short
        can only stand beside each other; the parser refuses the long ones, and only then every
        row is looked at.

        Args:
            text: whole lines.
            closely: look at every row.
        """
        first = self.line
        lines = text.count(b"\n") + (not text.endswith(b"\n"))
        self.line += lines
        even = text.count(self.delimiter) == lines * (self.cells - 1)
        if even and not closely and b'"' not in text:
            return text, None
        widths, torn = _widths(text, self.delimiter)
        widths[torn] = -1
        if (widths == self.cells).all():
            return text, None
        return self._picked(text, widths, first)

    def where(self, number: int, lines: npt.NDArray[np.int64] | None, first: int) -> int:
        """Return the line of the file in which row *number* of a piece stands."""
        return int(lines[number]) if lines is not None else first + number

    def _picked(
        self, text: bytes, widths: npt.NDArray[np.int64], first: int
    ) -> tuple[bytes, npt.NDArray[np.int64]]:
        rows = text.split(b"\n")
        kept: list[bytes] = []
        where: list[int] = []
        for number, width in enumerate(widths.tolist()):
            row = rows[number]
            if width > self.cells:
                row = self._shortened(row, width)
                width = self.cells if row != rows[number] else width  # noqa: PLW2901
            if width == self.cells:
                kept.append(row)
                where.append(first + number)
            elif row.strip(_BLANK + self.delimiter):
                self._report(row, width, first + number)
        return b"\n".join(kept) + b"\n" * bool(kept), np.array(where, np.int64)

    def _shortened(self, row: bytes, width: int) -> bytes:
        """Take away blank cells behind the last heading; they shift nothing."""
        if b'"' in row:
            return row
        cells = row.split(self.delimiter)
        if any(cell.strip(_BLANK) for cell in cells[self.cells : width]):
            return row
        return self.delimiter.join(cells[: self.cells])

    def _report(self, row: bytes, width: int, line: int) -> None:
        words = row.decode("utf-8", "replace").strip()
        if width == 1 and (is_remark(words) or not any(c.isdigit() for c in words[:1])):
            self.others.add(line)
            self.trouble.add(
                "other lines",
                f"Line {line} is no row of the table: '{words[:40]}' ({{count}} such lines).",
                do="They are left out.",
            )
        elif width == -1:
            self.trouble.add(
                "torn rows",
                f"In line {line} a quotation mark is opened and not closed ({{count}} such rows).",
                do="These rows are left out; mend them or export the table anew.",
            )
        else:
            kind = "long rows" if width > self.cells else "short rows"
            self.trouble.add(
                kind,
                f"Line {line} has {width} cells where the table has {self.cells} columns "
                f"({{count}} rows are {'longer' if width > self.cells else 'shorter'}): which cell "
                f"is {'too many' if width > self.cells else 'missing'} cannot be told, and every "
                "value behind it would stand under another heading.",
                do="These rows are left out; export the table anew.",
            )


def _widths(text: bytes, delimiter: bytes) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Return how many cells every line has, and which lines open a quote and do not close it."""
    letters = np.frombuffer(text if text.endswith(b"\n") else text + b"\n", np.uint8)
    ends = np.flatnonzero(letters == _LINE_END)
    marks = np.flatnonzero(letters == delimiter[0])
    torn = np.zeros(ends.size, np.bool_)
    if b'"' in text:
        quotes = np.flatnonzero(letters == _QUOTE)
        before = np.searchsorted(quotes, ends)
        torn = (np.diff(before, prepend=0) % 2) == 1
        line = np.searchsorted(ends, marks)
        start = np.r_[0, before[:-1]]
        inside = (np.searchsorted(quotes, marks) - start[line]) % 2 == 1
        marks = marks[~inside]
    return np.diff(np.searchsorted(marks, ends), prepend=0) + 1, torn
