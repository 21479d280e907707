"""In which order a noisy-OR network is summed: it decides how wide the table of the sums gets.

A finding is in the table from its first to its last possible cause. So the findings are finished
one after the other: all causes of one, then what is left of the next. Which finding comes next is
chosen greedily by what its causes would cost, from every possible first finding.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

__all__ = ["Order", "SumStep", "order_of"]

#: An order of work that touches more numbers than this is worth a search for a better one.
DEAR = 4000


@dataclass(frozen=True, slots=True)
class SumStep:
    """One cause is taken.

    Attributes:
        cause: its number.
        opened: findings that enter the table, at its top end, in this order.
        places: (bit of the finding in the table, finding) for each finding it may bring about.
        closed: the same for the findings that leave after it, each bit as it is at its turn.
    """

    cause: int
    opened: tuple[int, ...]
    places: tuple[tuple[int, int], ...]
    closed: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Order:
    """The order of work.

    Attributes:
        steps: cause by cause; causes of none of the findings are left out.
        alone: findings without any cause.
    """

    steps: tuple[SumStep, ...]
    alone: tuple[int, ...]

    def sizes(self) -> list[int]:
        """Return the length of the table at each step."""
        width, found = 0, []
        for step in self.steps:
            width += len(step.opened)
            found.append(1 << width)
            width -= len(step.closed)
        return found

    def cost(self) -> int:
        """Return about how many numbers the sums touch."""
        return sum(
            size * (2 + len(step.places))
            for size, step in zip(self.sizes(), self.steps, strict=True)
        )


def order_of(findings: Sequence[int], parents: Sequence[int]) -> Order:
    """Return a good order of work.

    Args:
        findings: the findings to be summed over.
        parents: finding -> its possible causes, as bits.
    """
    wanted = {f: parents[f] for f in findings if parents[f]}
    alone = tuple(f for f in findings if not parents[f])
    quick = Order(_steps(wanted, _one_after_the_other(wanted)), alone)
    if quick.cost() <= DEAR:
        return quick
    other = Order(_steps(wanted, _by_closing(wanted)), alone)
    return other if other.cost() < quick.cost() else quick


def _one_after_the_other(parents: Mapping[int, int]) -> list[int]:
    """Return the causes of the open finding that has the fewest left, again and again."""
    waiting = dict(parents)
    open_: set[int] = set()
    order: list[int] = []
    while waiting:
        todo = min((waiting[f] for f in open_ or waiting), key=int.bit_count)
        cause = (todo & -todo).bit_length() - 1
        order.append(cause)
        for f in [f for f, left in waiting.items() if left >> cause & 1]:
            waiting[f] &= ~(1 << cause)
            open_.add(f)
            if not waiting[f]:
                open_.discard(f)
                del waiting[f]
    return order


def _by_closing(parents: Mapping[int, int]) -> list[int]:
    """Return the causes in the best order found of finishing the findings."""
    names = list(parents)
    rows = [parents[f] for f in names]
    reach: dict[int, int] = {}
    for number, row in enumerate(rows):
        for cause in _bits(row):
            reach[cause] = reach.get(cause, 0) | 1 << number
    opens = []
    for row in rows:
        mask = 0
        for cause in _bits(row):
            mask |= reach[cause]
        opens.append(mask)
    best, closing = -1, list(range(len(rows)))
    for first in range(len(rows)):
        cost, tried = _greedy(first, rows, opens, best)
        if tried and (best < 0 or cost < best):
            best, closing = cost, tried
    order: list[int] = []
    taken = seen = 0
    for number in closing:
        todo = list(_bits(rows[number] & ~taken))
        while todo:
            cause = min(todo, key=lambda c: ((reach[c] & ~seen).bit_count(), -reach[c].bit_count()))
            todo.remove(cause)
            order.append(cause)
            taken |= 1 << cause
            seen |= reach[cause]
    return order


def _greedy(
    first: int, rows: Sequence[int], opens: Sequence[int], limit: int
) -> tuple[int, list[int]]:
    """Return (cost, order of finishing) from one first finding; no order when it passes *limit*."""
    left = set(range(len(rows)))
    taken = seen = closed = cost = 0
    chosen: list[int] = []
    following = first
    while True:
        seen |= opens[following]
        width = (seen & ~closed).bit_count()
        cost += (rows[following] & ~taken).bit_count() << width
        if 0 <= limit <= cost:
            return cost, []
        taken |= rows[following]
        chosen.append(following)
        done = {f for f in left if not rows[f] & ~taken}
        left -= done
        closed |= sum(1 << f for f in done)
        if not left:
            return cost, chosen
        following = min(
            left,
            key=lambda f: (
                (rows[f] & ~taken).bit_count() << ((seen | opens[f]) & ~closed).bit_count()
            ),
        )


def _steps(parents: Mapping[int, int], causes: Sequence[int]) -> tuple[SumStep, ...]:
    waiting = dict(parents)
    place: list[int] = []
    steps = []
    for cause in causes:
        linked = [f for f, left in waiting.items() if left >> cause & 1]
        opened = tuple(f for f in linked if f not in place)
        place += opened
        places = tuple((place.index(f), f) for f in linked)
        closed = []
        for f in linked:
            waiting[f] &= ~(1 << cause)
            if not waiting[f]:
                closed.append((place.index(f), f))
                place.remove(f)
                del waiting[f]
        steps.append(SumStep(cause, opened, places, tuple(closed)))
    return tuple(steps)


def _bits(mask: int) -> list[int]:
    found = []
    while mask:
        found.append((mask & -mask).bit_length() - 1)
        mask &= mask - 1
    return found
