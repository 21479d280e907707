"""Headings that stand again among the rows: a recorder was started anew, or tables were joined."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence

import polars as pl

from witnessmark.readers.tables.table_layout import Layout
from witnessmark.readers.told import Trouble

__all__ = ["HeadingsAgain"]

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

    def __init__(self, layout: Layout, trouble: Trouble) -> None:
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
            if cells in (self._names, self._units) or not any(cells):
                keep[number] = False
                self._trouble.add(
                    "headings again",
                    f"The headings stand again in line {lines[number]} ({{count}} times).",
                    do="They are left out.",
                )
            elif self._is_other(cells):
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
        return len(full) >= 2 and named * 2 >= len(full)

    def _report(self, cells: list[str], shown: Sequence[object], line: int) -> None:
        at = next((n for n, c in enumerate(cells) if c != self._names[n]), 0)
        self._trouble.add(
            "other headings",
            f"Other headings stand in line {line}: column {at + 1} is "
            f"'{str(shown[at] or '')[:40]}' there, '{self._shown[at][:40]}' above.",
            do="The rows from there on are left out; cut the file there and read both parts.",
            where=self._shown[at],
        )


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", text.strip(" \"'\u00a0#").lower())
