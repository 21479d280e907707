"""All counts that are pooled, as one long row of cells, and the packs' word on each.

A *line* is what shares are worked out of: a family's causes, one cause's results in one test, the
bands of minutes of one repair, closed and came back of one repair. Lines of one *group* are taken
to be alike from shop to shop to the same degree: the lines of one test, the repairs of a family.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Family
from witnessmark.model.step import Spread
from witnessmark.pooling.experience_file import Experience
from witnessmark.pooling.tally import MINUTES

__all__ = ["COMES_BACK", "POOLED", "Cells", "Judged", "Line", "Reader", "bands_of", "judged_of"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
#: The tables that are pooled, in the order of the cells.
POOLED = ("closings", "results", "minutes", "comebacks")
#: Repairs that come back, of those that were closed (judgement).
COMES_BACK = 0.05
_MOST_COUNT = 1_000_000
_Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Judged:
    """What the packs say of every line, before any count.

    Attributes:
        shares: family -> cause -> share.
        tests: family -> test -> outcomes.
        rows: family -> test -> cause -> P(outcome | cause).
        minutes: cause -> time of its repair [min].
    """

    shares: Mapping[str, Mapping[str, float]]
    tests: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    rows: Mapping[str, Mapping[str, Mapping[str, tuple[float, ...]]]] = field(default_factory=dict)
    minutes: Mapping[str, Spread] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Line:
    """One line.

    Attributes:
        table: one of :data:`POOLED`.
        family: family id.
        test: test id, empty but for results.
        cause: cause id, empty for closings.
    """

    table: str
    family: str
    test: str = ""
    cause: str = ""


class Cells:
    """The order of all cells.

    Args:
        judged: the packs' word.

    Attributes:
        lines: the lines.
        start: first cell of each line, shape (lines,).
        size: cells of each line, shape (lines,).
        line_of: line of each cell, shape (cells,).
        group: group of each line, shape (lines,).
        table: number in :data:`POOLED` of each line, shape (lines,).
        said: the packs' share of each cell within its line, shape (cells,).
    """

    def __init__(self, judged: Judged) -> None:
        self.judged = judged
        self.lines: list[Line] = []
        said: list[Sequence[float]] = []
        group: list[int] = []
        names: dict[tuple[str, ...], int] = {}
        for line, row in _lines(judged):
            self.lines.append(line)
            said.append(row)
            key = (line.table, line.family, line.test)
            group.append(names.setdefault(key, len(names)))
        self.size = np.asarray([len(row) for row in said], np.intp)
        self.start = np.concatenate(([0], np.cumsum(self.size)[:-1])).astype(np.intp)
        self.line_of = np.repeat(np.arange(len(said)), self.size)
        self.group = np.asarray(group, np.intp)
        self.table = np.asarray([POOLED.index(one.table) for one in self.lines], np.intp)
        whole = np.asarray(list(chain.from_iterable(said)), float)
        self.said = whole / np.add.reduceat(whole, self.start)[self.line_of]


class Reader:
    """Brings a file's counts into the order of the cells; files of one edition share the map.

    Args:
        cells: the order.
    """

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        self._causes: Mapping[str, Sequence[str]] = {}
        self._tests: Mapping[str, Mapping[str, Sequence[str]]] = {}
        self._take: Ints | None = None

    def vector(self, found: Experience) -> npt.NDArray[np.int64]:
        """Return the counts of a file, shape (cells,); what it does not list is nought.

        Raises:
            ValueError: its tables are not of the shape it states, or hold no whole numbers.
        """
        flat = np.asarray(_flat(found))
        if flat.size and (flat.dtype.kind != "i" or np.abs(flat).max() > _MOST_COUNT):
            raise ValueError("counts")
        if self._take is None or found.causes != self._causes or found.tests != self._tests:
            self._take = self._map(found)
            self._causes, self._tests = found.causes, found.tests
        whole = np.append(flat.astype(np.int64), 0)
        return np.asarray(whole[self._take], np.int64)

    def _map(self, found: Experience) -> Ints:
        there = {name: k for k, name in enumerate(_names(found.causes, found.tests))}
        judged = self._cells.judged
        causes = {family: tuple(row) for family, row in judged.shares.items()}
        wanted = _names(causes, judged.tests)
        return np.asarray([there.get(name, -1) for name in wanted], np.intp)


def judged_of(families: Mapping[str, Family]) -> Judged:
    """Return the packs' word on every line."""
    return Judged(
        {name: {c.id: c.prior for c in f.causes} for name, f in families.items()},
        {name: {t.id: t.outcomes for t in f.tests} for name, f in families.items()},
        {
            name: {t.id: {c.id: t.row(c.id) for c in f.causes} for t in f.tests}
            for name, f in families.items()
        },
        {c.id: c.minutes for f in families.values() for c in f.causes},
    )


def bands_of(minutes: Spread | None) -> tuple[float, ...]:
    """Return P(band of minutes) by a log-normal time; every band a hundredth at least.

    Args:
        minutes: low and high are taken as the 5th and the 95th percentile; ``None``: alike.
    """
    if minutes is None or minutes.typical <= 0:
        return (1.0 / (len(MINUTES) + 1),) * (len(MINUTES) + 1)
    low, high = max(minutes.low, 0.1 * minutes.typical), max(minutes.high, minutes.typical)
    spread = max((math.log(high) - math.log(low)) / (2 * _Z90), 0.2)
    up_to = [
        0.5 * math.erfc(-(math.log(edge) - math.log(minutes.typical)) / spread / math.sqrt(2))
        for edge in MINUTES
    ]
    parts = [b - a for a, b in zip([0.0, *up_to], [*up_to, 1.0], strict=True)]
    return tuple(0.01 + (1 - 0.01 * len(parts)) * p for p in parts)


def _lines(judged: Judged) -> Iterator[tuple[Line, Sequence[float]]]:
    """Yield every line with the packs' shares, in the order of :func:`_names`."""
    for family, causes in judged.shares.items():
        yield Line("closings", family), tuple(causes.values())
    for family, causes in judged.shares.items():
        for test, outcomes in judged.tests.get(family, {}).items():
            rows = judged.rows.get(family, {}).get(test, {})
            for cause in causes:
                alike = (1.0 / len(outcomes),) * len(outcomes)
                yield Line("results", family, test, cause), rows.get(cause, alike)
    for family, causes in judged.shares.items():
        for cause in causes:
            yield Line("minutes", family, "", cause), bands_of(judged.minutes.get(cause))
    for family, causes in judged.shares.items():
        for cause in causes:
            yield Line("comebacks", family, "", cause), (1.0, COMES_BACK)


def _names(
    causes: Mapping[str, Sequence[str]], tests: Mapping[str, Mapping[str, Sequence[str]]]
) -> Iterator[tuple[str, ...]]:
    """Yield a name for each cell, in the order of :func:`_flat`."""
    for family, row in causes.items():
        yield from (("closings", family, c) for c in row)
    for family, row in causes.items():
        for test, outcomes in tests.get(family, {}).items():
            yield from (("results", family, test, c, o) for c in row for o in outcomes)
    for table, many in (("minutes", len(MINUTES) + 1), ("comebacks", 2)):
        for family, row in causes.items():
            yield from ((table, family, c, str(k)) for c in row for k in range(many))


def _flat(found: Experience) -> list[int]:
    """Return all counts of a file in the order of its own lists, their shape checked."""
    causes, tables = found.causes, found.tables
    flat: list[int] = []
    for family, row in causes.items():
        flat += _checked(tables["closings"].get(family), len(row), None)
    for family, row in causes.items():
        for test, outcomes in found.tests.get(family, {}).items():
            grid = tables["results"].get(f"{family} {test}")
            flat += _checked(grid, len(row), len(outcomes))
    for table, many in (("minutes", len(MINUTES) + 1), ("comebacks", 2)):
        for family, row in causes.items():
            flat += _checked(tables[table].get(family), len(row), many)
    return flat


def _checked(grid: Any, rows: int, columns: int | None) -> Iterable[int]:
    if grid is None:
        return (0,) * (rows * (columns or 1))
    if not isinstance(grid, list) or len(grid) != rows:
        raise ValueError("counts")
    if columns is None:
        return grid
    if grid and set(map(len, grid)) != {columns}:
        raise ValueError("counts")
    return chain.from_iterable(grid)
