"""The sums behind a noisy-OR network: forwards over the causes, and backwards for each of them.

The table holds, for every set of open findings, the weight with which just this set is explained
so far. Its rows are the sets and its columns the questions asked at once (the network as it
stands, and once for every further finding), so that each step is one pass over long runs of
memory. A present cause multiplies what it leaves unexplained and adds what it explains; every
number stays positive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from witnessmark.inference.networks.noisy_or_order import Order, SumStep

__all__ = ["Ends", "Floats", "sums"]

Floats = npt.NDArray[np.float64]
Ends = Mapping[int, tuple[float, float]]

#: Numbers held at once; more questions than fit are answered in turns.
HELD = 2**23


def sums(
    odds: Floats, link: Floats, leak: Floats, ends: Ends, order: Order
) -> tuple[Floats, Floats]:
    """Return (sum over all sets of causes, the same over the sets with each cause).

    The weight of a set is the product of its odds times P(the ends | set).

    Args:
        odds: shape (rows, n): one row a question.
        link: shape (n, m), P(a present cause brings the finding about).
        leak: shape (m,), P(finding seen | no cause).
        ends: finding -> (weight when not seen, weight when seen).
        order: order of work over the findings of *ends*.
    """
    rows, n = odds.shape
    sizes = order.sizes()
    fit = max(1, HELD // max(sum(sizes), 1))
    turns = -(-rows // fit)
    columns = -(-rows // turns)
    weight = np.ascontiguousarray(odds.T)
    work = _Work(sizes, columns, link, leak, ends, order.steps)
    total = np.empty(rows)
    joint = np.empty((n, rows))
    for start in range(0, rows, columns):
        part = slice(start, min(start + columns, rows))
        total[part] = work.forward(weight[:, part])
        work.backward(weight[:, part], joint[:, part])
    scale = np.ones(rows)
    for finding in order.alone:
        off, on = ends[finding]
        scale *= off * (1.0 - leak[finding]) + on * leak[finding]
    used = {step.cause for step in order.steps}
    free = [i for i in range(n) if i not in used]
    scale *= np.prod(1.0 + weight[free], axis=0)
    total *= scale
    joint *= scale
    joint[free] = total * weight[free] / (1.0 + weight[free])
    return total, joint.T


class _Work:
    """The memory of the sums, taken once for all turns."""

    def __init__(
        self,
        sizes: Sequence[int],
        columns: int,
        link: Floats,
        leak: Floats,
        ends: Ends,
        steps: Sequence[SumStep],
    ) -> None:
        self.sizes, self.ends, self.steps, self.leak = sizes, ends, steps, leak
        # One piece of memory: fresh large arrays at every step cost more than the sums.
        wide = [max(sizes, default=1)] * 3
        memory = np.empty((sum(sizes) + sum(wide)) * columns)
        cuts = np.cumsum([0, *sizes, *wide]) * columns
        pieces = [memory[a:b] for a, b in pairwise(cuts)]
        self.tape = pieces[: len(sizes)]
        self.here, self.there, self.half = pieces[len(sizes) :]
        self.ratios = []
        self.left = []
        for size, step in zip(sizes, steps, strict=True):
            chances = [float(link[step.cause, f]) for _, f in step.places]
            left = np.ones(size)
            for (place, _), chance in zip(step.places, chances, strict=True):
                left.reshape(-1, 2, 1 << place)[:, 0] *= 1.0 - chance
            self.left.append(left[:, None])
            self.ratios.append(
                [(p, c / (1.0 - c)) for (p, _), c in zip(step.places, chances, strict=True)]
            )

    def forward(self, weight: Floats) -> Floats:
        """Return the sum over all sets, one a question; the tables stay on the tape."""
        columns = weight.shape[1]
        table = np.ones((1, columns))
        for number, step in enumerate(self.steps):
            before = _piece(self.tape[number], self.sizes[number], columns)
            length = len(table)
            before[:length] = table
            for finding in step.opened:
                leak = self.leak[finding]
                np.multiply(before[:length], leak, out=before[length : 2 * length])
                before[:length] *= 1.0 - leak
                length *= 2
            table = _piece(self.here, length, columns)
            np.multiply(before, weight[step.cause], out=table)
            table *= self.left[number]
            for place, ratio in self.ratios[number]:
                parts = table.reshape(-1, 2, columns << place)
                self._add(parts[:, 1], parts[:, 0], ratio)
            table += before
            for place, finding in step.closed:
                off, on = self.ends[finding]
                parts = table.reshape(-1, 2, columns << place)
                table = _piece(self._other(), len(table) // 2, columns)
                kept = table.reshape(-1, columns << place)
                np.multiply(parts[:, 1], on, out=kept)
                if off:
                    self._add(kept, parts[:, 0], off)
        return np.asarray(table[0])

    def backward(self, weight: Floats, joint: Floats) -> None:
        """Write the sum over the sets with each cause into *joint*, shape (n, questions)."""
        columns = weight.shape[1]
        after = np.ones((1, columns))
        for number in reversed(range(len(self.steps))):
            step = self.steps[number]
            for place, finding in reversed(step.closed):
                kept = after.reshape(-1, columns << place)
                after = _piece(self._other(), 2 * len(after), columns)
                wider = after.reshape(-1, 2, columns << place)
                for side, end in enumerate(self.ends[finding]):
                    np.multiply(kept, end, out=wider[:, side])
            before = _piece(self.tape[number], self.sizes[number], columns)
            pulled = _piece(self._other(), len(before), columns)
            np.multiply(after, weight[step.cause], out=pulled)
            for place, ratio in self.ratios[number]:
                parts = pulled.reshape(-1, 2, columns << place)
                self._add(parts[:, 0], parts[:, 1], ratio)
            pulled *= self.left[number]
            joint[step.cause] = np.einsum("ij,ij->j", before, pulled)
            after = np.add(after, pulled, out=pulled)
            for finding in reversed(step.opened):
                leak, length = self.leak[finding], len(after) // 2
                after[:length] *= 1.0 - leak
                self._add(after[:length], after[length:], leak)
                after = after[:length]

    def _other(self) -> Floats:
        """Return the one of two pieces of memory that is not in use, and turn them over."""
        self.here, self.there = self.there, self.here
        return self.here

    def _add(self, to: Floats, what: Floats, factor: float) -> None:
        """Add *factor* times *what* without a fresh array."""
        much = self.half[: what.size].reshape(what.shape)
        to += np.multiply(what, factor, out=much)


def _piece(memory: Floats, length: int, columns: int) -> Floats:
    return memory[: length * columns].reshape(length, columns)
