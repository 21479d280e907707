"""Likelihoods over sets of present causes.

A *state* is a set of listed causes that are present, or "an unlisted cause alone". States are
numbered: state ``s < 2**n`` has cause ``i`` present when bit ``i`` of ``s`` is set (state 0: the
truck is healthy), and state ``2**n`` is the unlisted cause.

The packs say P(outcome | one cause alone) and P(outcome | none). Several causes at once follow
the noisy-MAX rule (Diez 1993; for two outcomes it is the noisy-OR of Pearl 1988): each present
cause would by itself bring about some outcome, so would the background, and the most telling of
them is what is seen. With D_k = P(no outcome more telling than k), D_k(set) is the product of the
background's D_k and each present cause's factor. Rows of single causes are reproduced exactly,
also where a cause makes an outcome rarer than the background does.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Test
from witnessmark.model.finding import JointSupport, Support

Floats = npt.NDArray[np.float64]

__all__ = [
    "Floats",
    "MaxRow",
    "any_in",
    "as_known",
    "flattened",
    "how_many",
    "joint_likelihood",
    "joint_likelihood_at",
    "max_row",
    "max_row_of",
    "outcome_weights",
    "present",
    "present_in",
    "products",
    "sums",
    "support_likelihood",
]

#: "Maybe": the doubtful sight is twice as likely when the thing is there (judgement).
MAYBE_RATIO = 2.0
#: A finding is never taken for stronger evidence than this log ratio (judgement): the packs'
#: rows and the physics are themselves only known to so many digits.
STRONGEST = 12.0
#: How well the judged rows of the packs are known: standard deviation of the log odds of every
#: probability in them, a factor of two either way (judgement about judgements).
JUDGED_LOG_SD = 0.7
#: Where a finding speaks for a cause, the strongest named cause is taken to bring it about
#: with this probability (judgement); from it follows how two causes combine.
SURE = 0.95


_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class MaxRow:
    """A test as noisy-MAX.

    Attributes:
        leak: shape (k,), P(no outcome more telling than k) of the background, with some cause
            present; the first is 1.
        factor: shape (k, n), the factor of each cause on it; at most 1, not rising with k.
        base: shape (k,), P(outcome) with no listed cause present.
    """

    leak: Floats
    factor: Floats
    base: Floats


def as_known(test: Test) -> Test:
    """Return a test with its judged probabilities averaged over how well they are known.

    A judged 95 % may be 90 % or 97 % in this shop. What counts for one truck is the mean over
    what it may be, and that lies nearer to the middle: one judged test never says quite as much
    as its figures. Measured and handbook figures stay as they are.
    """
    if test.source.kind != "judgement":
        return test
    return replace(
        test,
        base=_averaged(test.base),
        probability={c: _averaged(row) for c, row in test.probability.items()},
    )


def max_row(test: Test, causes: Sequence[str]) -> MaxRow:
    """Return a test's table as noisy-MAX; see the module's text for the rule."""
    return max_row_of(np.asarray(test.base), np.asarray([test.row(c) for c in causes]))


def max_row_of(base: Floats, rows: Floats) -> MaxRow:
    """Return as noisy-MAX P(outcome | none), (k,), and P(outcome | each cause alone), (n, k)."""
    # survival[k] = P(no outcome more telling than k): outcomes k, k+1, ... the last.
    tails = np.cumsum(np.vstack([base, rows])[:, ::-1], axis=1)[:, ::-1]
    tails[:, 0] = 1.0
    # The background is the least telling of all rows, level by level: then every factor is a
    # probability and falls from level to level, whatever the table says.
    steps = (tails[:, 1:] / tails[:, :-1]).max(axis=0)
    leak = np.concatenate([[1.0], np.cumprod(steps)])
    factor = np.minimum(tails[1:].T / leak[:, None], 1.0)
    return MaxRow(leak, factor, base)


def outcome_weights(test: Test, result: str) -> Floats:
    """Return the weight of each outcome that a result stands for, read rightly.

    A sure result weighs its outcome with 1 and the others with 0. "maybe" weighs being positive
    ``MAYBE_RATIO`` times as much as being negative.

    Raises:
        KeyError: the test has no such result.
    """
    if result == "maybe":
        weights = np.full(len(test.outcomes), MAYBE_RATIO)
        weights[-1] = 1.0
        return weights / MAYBE_RATIO
    weights = np.zeros(len(test.outcomes))
    weights[list(test.outcome_set(result))] = 1.0
    return weights


def flattened(test: Test, weights: Floats, weight: float) -> Floats:
    """Return weights of outcomes that say less.

    With *weight* below 1 the others get a share such that the largest ratio that the weights can
    make between two causes is taken to the power *weight*: at 0.5 its log is halved.
    """
    if weight >= 1.0:
        return weights
    top = float(weights.max())
    chance = np.asarray([test.base, *test.probability.values()]) @ weights / top
    high, low = float(chance.max()), float(chance.min())
    ratio = (high / low) ** max(weight, 0.0)
    denominator = ratio * (1.0 - low) - (1.0 - high)
    share = 1.0 if denominator <= 0.0 else (high - ratio * low) / denominator
    return np.asarray(weights + min(max(share, 0.0), 1.0) * (top - weights))


def support_likelihood(support: Support, causes: Sequence[str]) -> Floats:
    """Return the likelihood over states of a finding that speaks cause by cause, up to a factor.

    Ratios below 1 multiply. Ratios above 1 combine as noisy-OR, with the strongest named cause
    bringing the finding about with probability ``SURE``.
    """
    logs = np.asarray([support.log_likelihood.get(c, 0.0) for c in causes])
    logs = np.clip(np.nan_to_num(logs), -STRONGEST, STRONGEST)
    against = products(np.exp(np.minimum(logs, 0.0)))
    ratios = np.exp(np.maximum(logs, 0.0))
    if ratios.max(initial=1.0) > 1.0:
        background = SURE / ratios.max()
        absent = np.log1p(-background)
        spared = np.log1p(-(ratios * background - background) / (1.0 - background))
        against = against * -np.expm1(absent + sums(spared)) / background
    return np.append(against, 1.0)


def joint_likelihood(joint: JointSupport, causes: Sequence[str]) -> Floats:
    """Return the likelihood over states of a physical model that speaks of sets of groups.

    Sets of groups that the model did not rate get the mean likelihood of their largest rated
    subsets; without one, the worst rated likelihood. A cause that no group holds is outside the
    model: it may or may not touch the readings, so a state with such a cause gets half the
    likelihood of its groups and half the mean over all rated sets. So does the unlisted cause.
    """
    if not joint.log_likelihood:
        return np.ones(2 ** len(causes) + 1)
    by_set, mean = _by_set(joint)
    numbers = _groups_of(joint, causes)
    sets = np.zeros(1, dtype=np.int64)
    for number in numbers:
        sets = np.concatenate([sets, sets | number])
    stranger = 1.0 - products(1.0 if number else 0.0 for number in numbers)
    likelihood = np.asarray(by_set[sets])
    likelihood = np.where(stranger > 0.5, 0.5 * (likelihood + mean), likelihood)
    return np.append(likelihood, 0.5 * (by_set[0] + mean))


def joint_likelihood_at(
    joint: JointSupport, causes: Sequence[str], states: npt.NDArray[np.integer]
) -> Floats:
    """Return :func:`joint_likelihood` of some states alone, in the same scale.

    Args:
        joint: what the model says.
        causes: ids, in the order of the states' bits.
        states: which, shape (states,).
    """
    if not joint.log_likelihood:
        return np.ones(len(states))
    by_set, mean = _by_set(joint)
    sets, stranger = np.zeros(len(states), dtype=np.int64), states == 2 ** len(causes)
    for place, number in enumerate(_groups_of(joint, causes)):
        here = (states >> place) & 1 == 1
        sets[here] |= number
        if not number:
            stranger = stranger | here
    return np.where(stranger, 0.5 * (by_set[sets] + mean), by_set[sets])


def _groups_of(joint: JointSupport, causes: Sequence[str]) -> list[int]:
    return [sum(1 << g for g, group in enumerate(joint.groups) if c in group) for c in causes]


def _by_set(joint: JointSupport) -> tuple[Floats, float]:
    """Return the likelihood of every set of groups, the best rated one at 1, and the mean rated."""
    logs = np.clip(list(joint.log_likelihood.values()), -700.0, 700.0)
    values = np.exp(np.maximum(logs - logs.max(), -60.0))
    shares = _largest_rated(len(joint.groups), tuple(joint.log_likelihood))
    by_set = np.where(shares.any(axis=1), shares @ values, values.min())
    return by_set, float(values.mean())


@lru_cache(maxsize=32)
def present(n: int) -> Floats:
    """Return which cause is present in which state, shape (n, 2**n + 1), zeros and ones."""
    table = present_in(np.arange(2**n + 1), n)
    table.flags.writeable = False
    return table


def present_in(states: npt.NDArray[np.integer], n: int) -> Floats:
    """Return which of n causes is present in some states, shape (n, states), zeros and ones."""
    # The unlisted cause, 2**n, has none of the n bits.
    return ((states[None, :] >> np.arange(n)[:, None]) & 1).astype(np.float64)


@lru_cache(maxsize=32)
def how_many(n: int) -> npt.NDArray[np.int8]:
    """Return how many listed causes are present in each state, shape (2**n + 1,)."""
    count = np.zeros(1, dtype=np.int8)
    for _ in range(n):
        count = np.concatenate([count, count + np.int8(1)])
    return np.append(count, np.int8(0))


@lru_cache(maxsize=64)
def any_in(n: int, causes: tuple[int, ...]) -> npt.NDArray[np.bool_]:
    """Return whether at least one of some causes is present, for every state, shape (2**n + 1,)."""
    mask = sum(1 << c for c in set(causes))
    return np.asarray(np.arange(2**n + 1) & mask != 0)


def products(factors: Iterable[float] | Floats) -> Floats:
    """Return the product of the factors of the present causes for every set, shape (2**n,)."""
    table = np.ones(1)
    for factor in factors:
        table = np.concatenate([table, table * factor])
    return table


def sums(terms: Iterable[float] | Floats) -> Floats:
    """Return the sum of the terms of the present causes for every set, shape (2**n,)."""
    table = np.zeros(1)
    for term in terms:
        table = np.concatenate([table, table + term])
    return table


def _averaged(row: Sequence[float]) -> tuple[float, ...]:
    """Return E[p] of each probability when its log odds scatter, scaled to one again."""
    mean = [_mean_chance(round(p, 9)) for p in row]
    total = sum(mean)
    return tuple(p / total for p in mean)


@lru_cache(maxsize=4096)
def _mean_chance(chance: float) -> float:
    """Return E[p] of a probability when its log odds scatter.

    One probability at a time and to nine digits: equal figures stay equal and near ones keep
    their order, which the last bit of a sum over a whole row does not promise.
    """
    inside = min(max(chance, 1e-6), 1.0 - 1e-6)
    odds = math.log(inside / (1.0 - inside)) + JUDGED_LOG_SD * _NODES
    return float((_NODE_WEIGHTS / (1.0 + np.exp(-odds))).sum())


@lru_cache(maxsize=64)
def _largest_rated(groups: int, rated: tuple[frozenset[int], ...]) -> Floats:
    """Return for each set of groups the share of each rated set, shape (2**groups, rated).

    The largest rated subsets share equally; the set itself, where it is rated, has all of it. A
    set without a rated subset has a row of zeros.
    """
    bits = np.asarray([sum(1 << g for g in s) for s in rated], dtype=np.int64)
    size = np.asarray([len(s) for s in rated])
    every = np.arange(1 << groups, dtype=np.int64)[:, None]
    inside = (bits[None, :] & ~every) == 0
    largest = np.where(inside, size, -1).max(axis=1, keepdims=True)
    chosen = (inside & (size[None, :] == largest)).astype(float)
    table = np.asarray(chosen / np.maximum(chosen.sum(axis=1, keepdims=True), 1.0))
    table.flags.writeable = False
    return table
