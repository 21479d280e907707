"""Sums of many shops' counts, kept so that the cap can be chosen afterwards: memory stays flat.

No shop may be longer on a line (sum of absolute counts) than a cap, and the cap hangs on the sum
of all. So every shop is laid, line by line, into the step of caps that it just fits into, once as
it is and once over its length: from both the sum under any of the caps follows. A shop costs one
addition, whatever the number of shops.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.pooling.cells import Cells

__all__ = ["BOUND", "JUDGED", "Shared", "Sums", "shared"]

Floats = npt.NDArray[np.float64]
#: No file moves a share by more.
BOUND = 0.02
#: Cases that the packs' shares count for (judgement, as in a shop's own history).
JUDGED = 20.0
#: The pool weighs at least and at most so many own cases.
_WEIGHT = (20.0, 400.0)
#: Fewer shops say nothing of how shops differ.
_FEW = 8
#: Steps of caps, each twice the one before: from 0.05 to 3,300 cases at the usual bound.
_STEPS = 17
_TOGETHER = 256


@dataclass(frozen=True, slots=True)
class Shared:
    """What a pool says of every line.

    Attributes:
        share: shape (cells,); each line sums to 1.
        weight: own cases at which a shop counts as much, shape (lines,).
        shops: shops behind it.
    """

    share: Floats
    weight: Floats
    shops: int


class Sums:
    """Sums over shops.

    Args:
        cells: the order of the cells.
        bound: what one shop may move a share by.
    """

    def __init__(self, cells: Cells, bound: float = BOUND) -> None:
        self.cells = cells
        self.bound = bound
        self.caps: Floats = np.asarray(0.125 * bound * JUDGED * 2.0 ** np.arange(_STEPS), float)
        self.shops = 0
        lines, many = len(cells.size), len(cells.said)
        # As it is, and over the length (squares over its square); the last step lies over all caps.
        self.counts = np.zeros((2, _STEPS + 1, many))
        self.cross = np.zeros((2, _STEPS + 1, many))
        self.squares = np.zeros((2, _STEPS + 1, lines))
        self.sizes = np.zeros((2, _STEPS + 1, lines))
        self.noise = np.zeros((2, _STEPS + 1, lines))

    def add(self, counts: Floats, noise: Floats, sign: float = 1.0) -> None:
        """Add shops, or with a *sign* of -1 take them out again.

        Args:
            counts: of whole shops, shape (shops, cells).
            noise: variance of the blur of each count, shape (shops, lines).
            sign: 1 or -1.
        """
        self.shops += round(sign) * len(counts)
        for first in range(0, len(counts), _TOGETHER):
            part = slice(first, first + _TOGETHER)
            self._add(counts[part], noise[part], sign)

    def plus(self, other: Sums) -> None:
        """Add what was summed elsewhere."""
        self.shops += other.shops
        for mine, theirs in zip(self._all(), other._all(), strict=True):
            np.add(mine, theirs, out=mine)

    def _all(self) -> tuple[Floats, ...]:
        return self.counts, self.cross, self.squares, self.sizes, self.noise

    def _add(self, counts: Floats, noise: Floats, sign: float) -> None:
        start, line_of = self.cells.start, self.cells.line_of
        length = np.add.reduceat(np.abs(counts), start, axis=1)
        size = np.add.reduceat(counts, start, axis=1)
        step = np.searchsorted(self.caps, length)
        over = sign / np.maximum(length, 1e-12)
        wide = step[:, line_of] * counts.shape[1] + np.arange(counts.shape[1])
        narrow = step * len(start) + np.arange(len(start))
        cross = counts * size[:, line_of]
        _lay(self.counts, wide, sign * counts, over[:, line_of] * counts)
        _lay(self.cross, wide, sign * cross, (sign * over**2)[:, line_of] * cross)
        squares = np.add.reduceat(counts**2, start, axis=1)
        for into, row in ((self.squares, squares), (self.sizes, size**2), (self.noise, noise)):
            _lay(into, narrow, sign * row, sign * over**2 * row)


def shared(sums: Sums) -> Shared:
    """Return the pooled shares of every line, and what they weigh."""
    cells, caps = sums.cells, sums.caps
    start, line_of = cells.start, cells.line_of
    judged = JUDGED * cells.said
    at_all = _under(sums.counts, caps)
    total = np.add.reduceat(judged + np.maximum(at_all, 0.0), start, axis=1)
    # Half the bound is kept back for what the cap itself moves.
    bad = 4.0 * caps[:, None] > sums.bound * (total - caps[:, None])
    bad[0] = False
    step = np.where(bad.any(axis=0), bad.argmax(axis=0) - 1, len(caps) - 1)

    def of(sums_at: Floats, lines: npt.NDArray[np.intp]) -> Floats:
        return np.asarray(sums_at[step[lines], np.arange(sums_at.shape[1])])

    each = np.arange(len(start))
    summed = of(at_all, line_of)
    blur = of(_under(sums.noise, np.square(caps)), each)
    size = np.add.reduceat(summed, start)
    # The sum of so many blurs scatters like a smaller number of sharp cases: the packs' shares
    # weigh the more against it.
    cases = np.maximum(size, 1.0)
    apart = np.maximum(1.0 - np.add.reduceat(cells.said**2, start), 0.1)
    dearer = 1.0 + cells.size * np.maximum(blur, 0.0) / (cases * apart)
    whole = dearer[line_of] * judged + np.maximum(summed, 0.0)
    share = whole / np.add.reduceat(whole, start)[line_of]
    alike = _alike(sums, share, size, blur, of)
    weight = 1.0 / (1.0 / alike + 1.0 / (cases / dearer + JUDGED))
    return Shared(share, np.maximum(weight, _WEIGHT[0]), sums.shops)


def _alike(sums: Sums, share: Floats, size: Floats, blur: Floats, of: object) -> Floats:
    """Return own cases at which a shop counts as much as the pool: 1 / correlation - 1."""
    assert callable(of)  # noqa: S101
    cells, caps = sums.cells, sums.caps
    if sums.shops < _FEW:
        return np.full(len(size), _WEIGHT[0])
    each = np.arange(len(size))
    squares = of(_under(sums.squares, np.square(caps)), each)
    sizes = of(_under(sums.sizes, np.square(caps)), each)
    cross = of(_under(sums.cross, np.square(caps)), cells.line_of)
    alike = np.add.reduceat(share**2, cells.start)
    apart = squares - 2.0 * np.add.reduceat(share * cross, cells.start) + alike * sizes
    apart = apart - blur * (cells.size - 2.0 + cells.size * alike)
    pairs = (sizes - cells.size * blur - size) * (1.0 - alike)
    more = apart - size * (1.0 - alike)
    groups = int(cells.group.max(initial=-1)) + 1
    pairs = np.bincount(cells.group, pairs, groups)[cells.group]
    more = np.bincount(cells.group, more, groups)[cells.group]
    sure = pairs > 0.0
    correlation = np.where(sure, more / np.where(sure, pairs, 1.0), 1.0)
    correlation = np.maximum(correlation, 1.0 / (_WEIGHT[1] + 1.0))
    found = np.clip(1.0 / correlation - 1.0, *_WEIGHT)
    return np.asarray(np.where(sure, found, _WEIGHT[0]))


def _under(laid: Floats, caps: Floats) -> Floats:
    """Return the sums under each cap, shape (steps, ...)."""
    below = np.cumsum(laid[0], axis=0)[:-1]
    above = laid[1].sum(axis=0) - np.cumsum(laid[1], axis=0)[:-1]
    return np.asarray(below + caps[:, None] * above)


def _lay(into: Floats, where: npt.NDArray[np.intp], as_it_is: Floats, over_length: Floats) -> None:
    for half, rows in zip(into, (as_it_is, over_length), strict=True):
        flat = half.reshape(-1)
        if len(where) == 1:
            flat[where[0]] += rows[0]
        else:
            np.add.at(flat, where, rows)
