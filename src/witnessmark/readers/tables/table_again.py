"""Headings that stand again among the rows: a recorder was started anew, or tables were joined."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.readers.tables.table_layout import Layout
from witnessmark.readers.tables.table_rows import RowCheck
from witnessmark.readers.told import Trouble

if TYPE_CHECKING:
    import polars as pl
else:
    pl = late("polars")

__all__ = ["HeadingsAgain", "swapped_behind_break"]

_LETTERS = r"^[^\d+\-.,]*\p{L}{2}"
#: Rows looked at closely in one piece; more rows of words are no headings.
_MOST = 200


class HeadingsAgain:
    """Finds rows of words among rows of numbers.

    The same headings again are left out. Other headings mean that the values below stand in other
    columns or units: the table ends there.

    Attributes:
        ended: other headings were found; nothing below them is read.
    """

    def __init__(self, layout: Layout, trouble: Trouble, check: RowCheck) -> None:
        self._check = check
        self.ended = False
        self._names = [_plain(name) for name in layout.names]
        self._units = [_plain(unit) for unit in layout.units]
        self._shown = layout.names
        self._headed = layout.headed
        self._trouble = trouble

    def without(
        self, strings: pl.DataFrame, texts: Collection[int], line_of: Callable[[int], int]
    ) -> tuple[pl.DataFrame, Sequence[int]]:
        """Return the rows without headings, and the line of each.

        Args:
            strings: cells as text, columns ``c0``, ``c1``, ...
            texts: columns that are no numbers anyway.
            line_of: the line of a row in the file.
        """
        lines: Sequence[int] = range(line_of(0), line_of(0) + strings.height)
        if strings.height and line_of(strings.height - 1) != lines[-1]:
            lines = [line_of(n) for n in range(strings.height)]
        wordy = self._wordy(strings, texts)
        if not wordy:
            return strings, lines
        keep = [True] * strings.height
        for number in wordy:
            cells = [_plain(str(c or "")) for c in strings.row(number)]
            same = cells in (self._names, self._units) or not any(cells)
            if same and not self._titled(lines[number]):
                keep[number] = False
                self._trouble.add(
                    "headings again",
                    f"The headings stand again in line {lines[number]} ({{count}} times).",
                    do="They are left out.",
                )
            elif same or self._is_other(cells):
                keep[number:] = [False] * (strings.height - number)
                self.ended = True
                self._report(cells, strings.row(number), lines[number])
                break
        return strings.filter(pl.Series(keep)), [n for n, k in zip(lines, keep, strict=True) if k]

    def _wordy(self, strings: pl.DataFrame, texts: Collection[int]) -> list[int]:
        """Return the rows of which at least half of the cells that should be numbers are words."""
        columns = [f"c{n}" for n in range(strings.width) if n not in texts]
        if not columns or not self._headed:
            return []
        words = sum(strings[c].str.contains(_LETTERS).fill_null(value=False).cast(int)
                    for c in columns)  # fmt: skip
        full = sum(strings[c].is_not_null().cast(int) for c in columns)
        found = ((words * 2 >= full) & (words >= 1)).arg_true()  # type: ignore[union-attr]
        return found.to_list() if len(found) <= _MOST else []

    def _is_other(self, cells: list[str]) -> bool:
        """Say whether a row of words names columns: most of its words are known headings."""
        from witnessmark.readers.columns.column_names import heading  # noqa: PLC0415  (only then)

        full = [c for c in cells if c]
        named = sum(
            c in self._names
            or (one := heading(c)).quantity is not None
            or one.wanted is not None
            or one.time
            for c in full
        )
        words = all(re.match(r"[^\W\d]", c) for c in full) and len(set(full)) == len(full)
        return len(full) >= 2 and (named * 2 >= len(full) or words)

    def _titled(self, line: int) -> bool:
        """Say whether words stand above: the rows below are another truck's or another run's."""
        return bool({line - 1, line - 2} & self._check.others)

    def _report(self, cells: list[str], shown: Sequence[object], line: int) -> None:
        at = next((n for n, c in enumerate(cells) if c != self._names[n]), None)
        if at is None:
            self._trouble.add(
                "headings again below a title",
                f"The headings stand again in line {line}, below a title of their own: that is "
                "another recording.",
                do="The rows from there on are left out; cut the file there and read both parts.",
            )
            return
        self._trouble.add(
            "other headings",
            f"Other headings stand in line {line}: column {at + 1} is "
            f"'{str(shown[at] or '')[:40]}' there, '{self._shown[at][:40]}' above.",
            do="The rows from there on are left out; cut the file there and read both parts.",
            where=self._shown[at],
        )


def swapped_behind_break(
    frame: pl.DataFrame, lines: npt.NDArray[np.int64], breaks: set[int], trouble: Trouble
) -> tuple[pl.DataFrame, bool]:
    """Return the rows up to a break behind which two columns changed places, and whether one did.

    Args:
        frame: numbers, columns ``c0``, ``c1``, ...
        lines: line of every row in the file.
        breaks: lines that are no rows.
        trouble: is told.
    """
    if len(lines) != frame.height:
        return frame, False
    numbers = [c for c, kind in frame.schema.items() if kind == pl.Float64]
    for line in sorted(breaks):
        row = int(np.searchsorted(lines, line))
        if not 0 < row < frame.height:
            continue
        before, after = (np.array(frame.select(numbers).row(r), float) for r in (row - 1, row))
        for a, b in combinations(range(len(numbers)), 2):
            same = abs(before[a] - after[a]) + abs(before[b] - after[b])
            turned = abs(before[a] - after[b]) + abs(before[b] - after[a])
            if same > 0.5 * max(abs(before[a]), abs(before[b])) and turned < 0.1 * same:
                trouble.add(
                    "columns changed places",
                    f"Behind line {line} the numbers of columns {numbers[a][1:]} and "
                    f"{numbers[b][1:]} (from 0) go on in each other's place: the columns were "
                    "changed there without headings.",
                    do="The rows from there on are left out; cut the file there and give both "
                    "parts their headings.",
                )
                return frame.head(row), True
    return frame, False


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text.strip(" \"'\u00a0#").lower())
