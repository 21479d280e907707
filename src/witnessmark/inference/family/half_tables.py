"""Likelihoods over every set of causes, kept as two small tables, and sums over all sets.

A noisy-MAX likelihood is a product over the causes, so over the sets it is the outer product of a
table over the first half of the causes and one over the rest: 2 * 2**(n/2) numbers stand for
2**n. A sum over all sets of such a product times P(set) is then two small matrix products, for
all tests and outcomes at once. Nothing is approximated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.likelihood import Floats, MaxRow, present, products

__all__ = ["HalfTables", "marginals_of", "pairs_of", "results_of", "tilted_sums"]

#: An outcome rarer than this is the small difference of two sums; it is summed term by term.
RARE = 1e-3


@dataclass(frozen=True, slots=True)
class HalfTables:
    """P(no outcome more telling than k | set) of one test, as an outer product.

    Attributes:
        low: (K, 2**l) factors of the sets of the first l causes; the background is in it.
        high: (K, 2**(n - l)) factors of the sets of the other causes.
        base: (K,) P(outcome) with no listed cause present.
    """

    low: Floats
    high: Floats
    base: Floats

    @classmethod
    def of(cls, row: MaxRow) -> HalfTables:
        """Return the tables of a test."""
        split = _split(row.factor.shape[1])
        low = np.asarray([leak * products(f[:split]) for leak, f in _levels(row)])
        high = np.asarray([products(f[split:]) for _, f in _levels(row)])
        return cls(low, high, row.base)

    def scaled(self, background: float, factors: Floats, base: float) -> HalfTables:
        """Return every number times another product over the causes.

        Args:
            background: the part of the product that every set has.
            factors: (n,) factor of each present cause.
            base: the whole product where no listed cause is present.
        """
        split = _split(len(factors))
        low = self.low * (background * products(factors[:split]))
        return HalfTables(low, self.high * products(factors[split:]), self.base * base)

    def every(self) -> Floats:
        """Return P(outcome | state) of every state, shape (K, 2**n + 1)."""
        size = self.low.shape[1] * self.high.shape[1]
        chance = np.empty((len(self.base), size + 1))
        for k, (high, low) in enumerate(zip(self.high, self.low, strict=True)):
            np.multiply.outer(high, low, out=_by_half(chance[k], len(low)))
        chance[:-1] -= chance[1:]
        np.maximum(chance, 0.0, out=chance)
        chance[:, 0] = chance[:, -1] = self.base
        return chance

    def at(self, states: npt.NDArray[np.integer]) -> Floats:
        """Return P(outcome | state) of some states, shape (K, states)."""
        across = self.low.shape[1]
        rows = np.minimum(states // across, self.high.shape[1] - 1)  # the unlisted cause: below
        chance = self.high[:, rows] * self.low[:, states % across]
        chance[:-1] -= chance[1:]
        np.maximum(chance, 0.0, out=chance)
        chance[:, (states == 0) | (states == across * self.high.shape[1])] = self.base[:, None]
        return np.asarray(chance)

    def weighted(self, trust: Floats) -> Floats:
        """Return the likelihood over states of a result: its outcomes by their weights.

        The sum over the outcomes is one over the levels, each weighed by the step of the weights.
        """
        steps = np.diff(trust, prepend=0.0)
        likelihood = np.empty(self.low.shape[1] * self.high.shape[1] + 1)
        sets = _by_half(likelihood, self.low.shape[1])
        np.matmul((self.high * steps[:, None]).T, self.low, out=sets)
        np.maximum(likelihood, 0.0, out=likelihood)
        likelihood[0] = likelihood[-1] = trust @ self.base
        return likelihood


def results_of(states: Floats, tests: Sequence[HalfTables]) -> list[tuple[Floats, Floats]]:
    """Return, for each test, (P(outcome), P(outcome and cause present)), unnormalised.

    Args:
        states: weight of every state, shape (2**n + 1,).
        tests: the tests' tables.

    Returns:
        Shapes (K,) and (K, n), one pair a test.
    """
    if not tests:
        return []
    low = np.concatenate([t.low for t in tests])
    high = np.concatenate([t.high for t in tests])
    total, joint = _sums(states, low, high)
    neither = float(states[0] + states[-1])
    found: list[tuple[Floats, Floats]] = []
    start = 0
    for test in tests:
        end = start + len(test.base)
        chance, held = total[start:end].copy(), joint[start:end].copy()
        chance[:-1] -= total[start + 1 : end]
        held[:-1] -= joint[start + 1 : end]
        chance += neither * test.base
        if chance.min() < RARE * float(states.sum()):
            weighed = test.every() * states
            chance = weighed.sum(axis=1)
            held = np.asarray([marginals_of(w) for w in weighed])
        found.append((chance, held))
        start = end
    return found


def marginals_of(states: Floats) -> Floats:
    """Return the weight of each cause being present, shape (n,)."""
    low, high = _split_of(states)
    sets = _by_half(states, 2**low)
    return np.concatenate([_held(low) @ sets.sum(axis=0), _held(high) @ sets.sum(axis=1)])


def pairs_of(states: Floats) -> Floats:
    """Return the weight of each two causes being present together, shape (n, n)."""
    low, high = _split_of(states)
    sets = _by_half(states, 2**low)
    below, above = _held(low), _held(high)
    both = np.empty((low + high, low + high))
    both[:low, :low] = (below * sets.sum(axis=0)) @ below.T
    both[low:, low:] = (above * sets.sum(axis=1)) @ above.T
    both[low:, :low] = above @ sets @ below.T
    both[:low, low:] = both[low:, :low].T
    return both


def tilted_sums(states: Floats, factor: float) -> tuple[float, Floats]:
    """Return (weight, weight with each cause present), every set times *factor* a further cause.

    The first cause of a set has no factor; states without a listed cause have no part in it.
    """
    low, high = _split_of(states)
    tables = (np.full(low, factor), np.full(high, factor))
    below, above = (products(t)[None, :] for t in tables)
    total, joint = _sums(states, below / factor, above)
    return float(total[0]), np.asarray(joint[0])


def _sums(states: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the sums over all sets with a cause of state times low times high, and each cause's.

    Args:
        states: (2**n + 1,).
        low: (R, 2**l) factors of the first causes.
        high: (R, 2**(n - l)) factors of the others.

    Returns:
        Shapes (R,) and (R, n).
    """
    sets = _by_half(states, low.shape[1])
    across = high * (low @ sets.T)
    # The first row without its first set: no cause at all.
    across[:, 0] = high[:, 0] * (low[:, 1:] @ sets[0, 1:])
    along = low * (high @ sets)
    split, rest = _split_of(states)
    joint = np.concatenate([along @ _held(split).T, across @ _held(rest).T], axis=1)
    return across.sum(axis=1), joint


def _levels(row: MaxRow) -> list[tuple[float, Floats]]:
    return list(zip(row.leak.tolist(), row.factor, strict=True))


def _by_half(states: Floats, across: int) -> Floats:
    """Return the sets as a table, the sets of the other causes by those of the first, no copy."""
    return states[:-1].reshape(-1, across)


def _split(n: int) -> int:
    return n // 2


def _split_of(states: Floats) -> tuple[int, int]:
    """Return how many causes stand in the first half and how many in the other."""
    n = (len(states) - 1).bit_length() - 1
    return _split(n), n - _split(n)


@lru_cache(maxsize=32)
def _held(n: int) -> Floats:
    """Return which of n causes is in which set, shape (n, 2**n)."""
    return present(n)[:, :-1]
