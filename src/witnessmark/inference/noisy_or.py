"""Noisy-OR networks of any size: exact posteriors by sums of positive terms only.

Causes are present independently with their prior; a finding is seen unless its background and
every present cause fail to bring it about (Pearl 1988). The classical closed form for many seen
findings (Heckerman 1989) sums terms of alternating sign and loses all digits; enumerating one and
two causes leaves the rest out. Here the causes are taken one after the other while a table holds,
for every set of seen findings, the probability that just this set is explained so far. All terms
are positive, so nothing cancels. A finding lives in the table only between its first and its last
possible cause, so the table has 2**width entries, where the width is at most the number of seen
findings and far smaller when findings have few causes each.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["NoisyOr", "Posterior", "Values"]

Floats = npt.NDArray[np.float64]
#: finding -> its causes that are still to take (as bits)
_Waiting = dict[int, int]
#: (place of a finding's bit in the table, number of the finding)
_Places = tuple[tuple[int, int], ...]


#: An order of work that touches more numbers than this is worth a second try.
DEAR = 4000


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known after the evidence.

    Attributes:
        marginals: shape (n,), P(cause present | evidence).
        none: P(no cause present | evidence).
        two_or_more: P(two or more present | evidence).
        log_evidence: natural log of P(evidence).
    """

    marginals: Floats
    none: float
    two_or_more: float
    log_evidence: float


@dataclass(frozen=True, slots=True)
class Values:
    """What one more finding would say, for several findings at once.

    Attributes:
        findings: their numbers.
        seen: shape (t,), P(seen | evidence).
        if_seen: shape (t, n), P(cause present | evidence, seen).
        if_not: shape (t, n), P(cause present | evidence, not seen).
        bits: shape (t,), what the finding is expected to tell about each cause, summed [bit].
    """

    findings: tuple[int, ...]
    seen: Floats
    if_seen: Floats
    if_not: Floats
    bits: Floats


@dataclass(frozen=True, slots=True)
class _Plan:
    """The order of work: causes with the places of their open findings; findings to close."""

    steps: tuple[tuple[int, tuple[int, ...], _Places, _Places], ...]


class NoisyOr:
    """A two-layer noisy-OR network.

    Args:
        prior: shape (n,), P(cause present), each above 0 and below 1.
        leak: shape (m,), P(finding seen | no cause), at least 0 and below 1.
        link: shape (n, m), P(a present cause brings the finding about by itself), 0 to below 1;
            0 where there is no link.

    Raises:
        ValueError: a number is outside its range or a shape does not fit.
    """

    def __init__(self, prior: Floats, leak: Floats, link: Floats) -> None:
        self.prior = np.asarray(prior, dtype=float)
        self.leak = np.asarray(leak, dtype=float)
        self.link = np.asarray(link, dtype=float)
        if self.link.shape != (self.prior.size, self.leak.size):
            raise ValueError("link has one row a cause and one column a finding")
        if not (np.all(self.prior > 0.0) and np.all(self.prior < 1.0)):
            raise ValueError("every prior lies above 0 and below 1")
        for name, array in (("leak", self.leak), ("link", self.link)):
            if not (np.all(array >= 0.0) and np.all(array < 1.0)):
                raise ValueError(f"every {name} lies from 0 to below 1")
        self._odds = self.prior / (1.0 - self.prior)
        self._spared = 1.0 - self.link
        self._parents = [sum(1 << int(i) for i in np.flatnonzero(column)) for column in self.link.T]

    def posterior(
        self,
        seen: Sequence[int],
        not_seen: Sequence[int] = (),
        soft: Mapping[int, tuple[float, float]] | None = None,
    ) -> Posterior:
        """Return the posterior of every cause.

        Args:
            seen: findings that were seen.
            not_seen: findings that were looked for and not seen; all others were not looked for.
            soft: finding -> (weight if not seen, weight if seen) for doubtful findings.

        Raises:
            ValueError: a finding is named twice, or the evidence is impossible.
        """
        ends = _ends(seen, not_seen, soft)
        odds = self._odds * np.prod(self._spared[:, list(not_seen)], axis=1)
        total, joint = self._sums(odds[None, :], ends)
        if not total[0] > 0.0:
            raise ValueError("the evidence is impossible: a seen finding has no cause and no leak")
        outside = float(np.log1p(-self.prior).sum() + np.log1p(-self.leak[list(not_seen)]).sum())
        none, single = self._alone(odds, ends)
        none, single = none / total[0], single / total[0]
        return Posterior(
            marginals=np.asarray(joint[0] / total[0]),
            none=float(none),
            two_or_more=max(0.0, 1.0 - float(none) - float(single.sum())),
            log_evidence=outside + float(np.log(total[0])),
        )

    def values(
        self,
        seen: Sequence[int],
        not_seen: Sequence[int] = (),
        soft: Mapping[int, tuple[float, float]] | None = None,
        findings: Sequence[int] | None = None,
    ) -> Values:
        """Return what each further finding would say, all in one pass.

        Args:
            seen: as for :meth:`posterior`.
            not_seen: as for :meth:`posterior`.
            soft: as for :meth:`posterior`.
            findings: the findings to value; all that were not looked for when not given.
        """
        ends = _ends(seen, not_seen, soft)
        known = {*ends, *not_seen}
        asked = [f for f in range(self.leak.size) if f not in known]
        asked = asked if findings is None else [f for f in findings if f not in known]
        base = self._odds * np.prod(self._spared[:, list(not_seen)], axis=1)
        odds = np.vstack([base, base * self._spared[:, asked].T])
        total, joint = self._sums(odds, ends)
        now = joint[0] / total[0]
        absent = (1.0 - self.leak[asked]) * total[1:] / total[0]
        if_not = joint[1:] / total[1:, None]
        # One difference of two sums of positive terms; its loss is bounded by 1 / P(seen).
        both = np.maximum(now - absent[:, None] * if_not, 0.0)
        present = np.maximum(1.0 - absent, 1e-300)
        if_seen = np.minimum(both / present[:, None], 1.0)
        bits = (
            _entropy(now).sum()
            - present * _entropy(if_seen).sum(axis=1)
            - absent * _entropy(if_not).sum(axis=1)
        )
        return Values(tuple(asked), np.asarray(present), if_seen, if_not, np.asarray(bits))

    def _alone(self, odds: Floats, ends: Mapping[int, tuple[float, float]]) -> tuple[float, Floats]:
        """Return the weights of "no cause" and of each cause alone."""
        none, single = 1.0, np.array(odds)
        for finding, (off, on) in ends.items():
            missed = (1.0 - self.leak[finding]) * self._spared[:, finding]
            none *= off * (1.0 - self.leak[finding]) + on * self.leak[finding]
            single *= off * missed + on * (1.0 - missed)
        return none, single

    def _sums(self, odds: Floats, ends: Mapping[int, tuple[float, float]]) -> tuple[Floats, Floats]:
        """Return (sum over all sets, the same with each cause present), for each row of odds.

        The weight of a set is the product of its odds times P(the ends | set).
        """
        rows, n = odds.shape
        plan, used = self._plan(ends)
        table = np.ones((rows, 1))
        tape: list[tuple[Floats, int, tuple[tuple[int, float], ...]]] = []
        for cause, opened, places, closed in plan.steps:
            for finding in opened:
                leak = self.leak[finding]
                table = np.concatenate([table * (1.0 - leak), table * leak], axis=1)
            links = tuple((place, float(self.link[cause, f])) for place, f in places)
            if cause >= 0:
                tape.append((table, cause, links))
                table = table + odds[:, cause, None] * _push(table, links)
            for place, finding in closed:
                off, on = ends[finding]
                parts = table.reshape(rows, -1, 2, 1 << place)
                table = off * parts[:, :, 0] + on * parts[:, :, 1] if off else on * parts[:, :, 1]
                table = table.reshape(rows, -1)
        total = table[:, 0]
        joint = np.empty((rows, n))
        self._backward(odds, ends, plan, tape, joint)
        free = [i for i in range(n) if not used >> i & 1]
        scale = np.prod(1.0 + odds[:, free], axis=1)
        joint *= scale[:, None]
        total = total * scale
        joint[:, free] = total[:, None] * odds[:, free] / (1.0 + odds[:, free])
        return total, joint

    def _backward(
        self,
        odds: Floats,
        ends: Mapping[int, tuple[float, float]],
        plan: _Plan,
        tape: list[tuple[Floats, int, tuple[tuple[int, float], ...]]],
        joint: Floats,
    ) -> None:
        rows = odds.shape[0]
        after = np.ones((rows, 1))
        for cause, opened, _, closed in reversed(plan.steps):
            for place, finding in reversed(closed):
                off, on = ends[finding]
                parts = after.reshape(rows, -1, 1 << place)
                after = np.stack([off * parts, on * parts], axis=2).reshape(rows, -1)
            if cause >= 0:
                before, _, links = tape.pop()
                pulled = _pull(after, links)
                weight = odds[:, cause]
                joint[:, cause] = weight * np.einsum("ij,ij->i", before, pulled)
                after = after + weight[:, None] * pulled
            for finding in reversed(opened):
                leak = self.leak[finding]
                half = after.shape[1] // 2
                after = (1.0 - leak) * after[:, :half] + leak * after[:, half:]

    def _plan(self, ends: Mapping[int, tuple[float, float]]) -> tuple[_Plan, int]:
        """Return the order of work and the causes it uses (as bits).

        The quick order finishes one finding after the other. Where it would be dear, a second
        one is made, cause by cause, and the cheaper of the two is taken.
        """
        quick = self._plan_by(ends, self._next_of_a_finding)
        used = sum(1 << step[0] for step in quick.steps if step[0] >= 0)
        if _cost(quick) > DEAR:
            other = self._plan_by(ends, self._next_that_opens_least)
            if _cost(other) < _cost(quick):
                return other, used
        return quick, used

    def _plan_by(
        self, ends: Mapping[int, tuple[float, float]], choose: Callable[[_Waiting, list[int]], int]
    ) -> _Plan:
        waiting = {f: self._parents[f] for f in ends}
        place: list[int] = []
        steps: list[tuple[int, tuple[int, ...], _Places, _Places]] = []
        alone = tuple(f for f in waiting if not waiting[f])
        if alone:
            place += alone
            steps.append((-1, alone, (), self._close(place, waiting)))
        while waiting:
            cause = choose(waiting, place)
            opened = tuple(f for f in waiting if waiting[f] >> cause & 1 and f not in place)
            place += opened
            linked = [f for f in place if waiting[f] >> cause & 1]
            places = tuple((place.index(f), f) for f in linked)
            for f in linked:
                waiting[f] &= ~(1 << cause)
            steps.append((cause, opened, places, self._close(place, waiting)))
        return _Plan(tuple(steps))

    @staticmethod
    def _next_of_a_finding(waiting: _Waiting, place: list[int]) -> int:
        """Return a cause of the open finding that has the fewest causes left."""
        todo = min((waiting[f] for f in place or waiting), key=int.bit_count)
        return (todo & -todo).bit_length() - 1

    @staticmethod
    def _next_that_opens_least(waiting: _Waiting, place: list[int]) -> int:
        """Return the cause that opens the fewest findings and closes the most."""
        opens: dict[int, list[int]] = {}
        for finding, left in waiting.items():
            new, last, todo = finding not in place, left & (left - 1) == 0, left
            while todo:
                cause = (todo & -todo).bit_length() - 1
                todo &= todo - 1
                cost = opens.setdefault(cause, [0, 0, 0])
                cost[0] += new - last
                cost[1] += new
                cost[2] -= not new
        return min(opens, key=opens.__getitem__)

    @staticmethod
    def _close(place: list[int], waiting: dict[int, int]) -> _Places:
        """Take the finished findings out of the table; the places are those at their turn."""
        closed = []
        for finding in [f for f in place if not waiting[f]]:
            closed.append((place.index(finding), finding))
            place.remove(finding)
            del waiting[finding]
        return tuple(closed)


def _cost(plan: _Plan) -> int:
    """Return about how many numbers the plan touches."""
    width = total = 0
    for _, opened, places, closed in plan.steps:
        width += len(opened)
        total += (1 << width) * max(1, len(places))
        width -= len(closed)
    return total


def _push(table: Floats, links: Sequence[tuple[int, float]]) -> Floats:
    """Return the table after a present cause: what was open may now be explained."""
    rows = table.shape[0]
    pushed = table
    for number, (place, chance) in enumerate(links):
        pushed = pushed.copy() if number == 0 else pushed
        parts = pushed.reshape(rows, -1, 2, 1 << place)
        parts[:, :, 1] += chance * parts[:, :, 0]
        parts[:, :, 0] *= 1.0 - chance
    return pushed


def _pull(after: Floats, links: Sequence[tuple[int, float]]) -> Floats:
    """Return the transpose of :func:`_push`, applied to the values of what comes after."""
    rows = after.shape[0]
    pulled = after
    for number, (place, chance) in enumerate(links):
        pulled = pulled.copy() if number == 0 else pulled
        parts = pulled.reshape(rows, -1, 2, 1 << place)
        parts[:, :, 0] *= 1.0 - chance
        parts[:, :, 0] += chance * parts[:, :, 1]
    return pulled


def _ends(
    seen: Sequence[int], not_seen: Sequence[int], soft: Mapping[int, tuple[float, float]] | None
) -> dict[int, tuple[float, float]]:
    named = [*seen, *not_seen, *(soft or {})]
    if len(set(named)) != len(named):
        raise ValueError("a finding is named twice")
    return {**dict.fromkeys(seen, (0.0, 1.0)), **(soft or {})}


def _entropy(chance: Floats) -> Floats:
    inside = np.clip(chance, 1e-300, 1.0)
    outside = np.clip(1.0 - chance, 1e-300, 1.0)
    return np.asarray(-(chance * np.log2(inside) + (1.0 - chance) * np.log2(outside)))
