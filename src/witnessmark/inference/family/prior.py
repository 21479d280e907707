"""Odds before any test: shares of the packs, the shop's own history, conditions of the truck."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np

from witnessmark.inference.family.likelihood import JUDGED_LOG_SD, Floats, how_many, products
from witnessmark.inference.family.staged_evidence import Clue
from witnessmark.knowledge import Cause, Condition, Family

__all__ = ["clue_doubt", "clue_factor", "counted", "first_weights", "multipliers", "prior_states"]

#: The product of all conditions on one cause is capped here.
CAP = 20.0


def clue_factor(condition: Condition, multiplier: float, seen: bool | str) -> float:
    """Return the factor on a cause's odds of a condition that was looked at.

    True: the pack's multiplier. False: what follows from it and from how often the condition is
    true anyway. "maybe": in between, at two to one for true.
    """
    if seen is True:
        return multiplier
    other = condition.base_rate
    with_cause = min(multiplier * other, 0.95)
    if seen == "maybe":
        return (1.0 + with_cause) / (1.0 + other)
    return (1.0 - with_cause) / (1.0 - other)


def multipliers(
    causes: Sequence[Cause],
    clues: Sequence[Clue],
    conditions: Mapping[str, Condition],
) -> dict[str, float]:
    """Return cause id -> product of its conditions, capped.

    A condition that speaks of one part counts only for the cause whose part it is. A condition
    counts once, the last time it was written down.
    """
    product = dict.fromkeys((c.id for c in causes), 1.0)
    for cause, condition, seen in counted(causes, clues, conditions):
        product[cause] *= _factor(causes, cause, condition, seen)
    return {c: min(p, CAP) for c, p in product.items()}


def clue_doubt(
    causes: Sequence[Cause],
    clues: Sequence[Clue],
    conditions: Mapping[str, Condition],
) -> dict[str, float]:
    """Return cause id -> standard deviation of the log of its clues' product.

    A judged weight is taken as known to half of its logarithm, at most to the doubt of any
    judged figure (judgement about judgements).
    """
    variance = dict.fromkeys((c.id for c in causes), 0.0)
    for cause, condition, seen in counted(causes, clues, conditions):
        if condition.source.kind == "judgement":
            factor = _factor(causes, cause, condition, seen)
            variance[cause] += min(0.5 * abs(float(np.log(factor))), JUDGED_LOG_SD) ** 2
    return {c: float(np.sqrt(v)) for c, v in variance.items()}


def counted(
    causes: Sequence[Cause], clues: Sequence[Clue], conditions: Mapping[str, Condition]
) -> Iterator[tuple[str, Condition, bool | str]]:
    """Yield (cause id, condition, whether it was seen) of every clue that counts."""
    latest = {
        (c.condition, c.cause if _part_scoped(c.condition, conditions) else ""): c for c in clues
    }
    for clue in latest.values():
        condition = conditions.get(clue.condition)
        if condition is None:
            continue
        for cause in causes:
            if condition.id not in cause.odds_multipliers:
                continue
            if condition.part_scoped and clue.cause != cause.id:
                continue
            yield cause.id, condition, clue.seen


def _factor(causes: Sequence[Cause], cause: str, condition: Condition, seen: bool | str) -> float:
    record = next(c for c in causes if c.id == cause)
    return clue_factor(condition, record.odds_multipliers[condition.id], seen)


def first_weights(
    shares_of: Floats,
    second_cause: float,
    none_listed: float,
    together: Sequence[tuple[int, int, float]] = (),
) -> tuple[Floats, float]:
    """Return (odds of each cause, weight of the unlisted cause) of the state as it came in.

    Causes are present independently of each other, given that the truck came in with the
    complaint, but for those that are found together. The scale of the odds is the one that makes
    P(two or more | complaint) equal to *second_cause*; the unlisted cause gets P(none listed |
    complaint) = *none_listed*. Among cases with one cause the shares then come out as given.

    Args:
        shares_of: share of each cause; they sum to 1.
        second_cause: P(two or more | complaint).
        none_listed: P(none listed | complaint).
        together: (number, number, factor on the odds of both beyond independence).
    """
    target = (1.0 - none_listed - second_cause) / (1.0 - none_listed)
    by_size = _sum_by_size(shares_of, together) if together else None

    def some_at(scale: float) -> float:
        if by_size is not None:
            return float(np.polynomial.polynomial.polyval(scale, by_size))
        return float(np.expm1(np.log1p(scale * shares_of).sum()))

    low, high = 1e-15, 1.0
    while high / some_at(high) > target and high < 1e6:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if middle / some_at(middle) > target else (low, middle)
        if high - low <= 1e-15 * high:
            break
    scale = 0.5 * (low + high)
    return scale * shares_of, some_at(scale) * none_listed / (1.0 - none_listed)


def _sum_by_size(shares_of: Floats, together: Sequence[tuple[int, int, float]]) -> Floats:
    """Return the sum of the weights of all sets of each size but none, at scale 1."""
    count = how_many(len(shares_of))[:-1]
    weight = products(shares_of) * _beyond(len(shares_of), tuple(together))
    weight[0] = 0.0
    return np.asarray(np.bincount(count, weights=weight))


@lru_cache(maxsize=16)
def _beyond(n: int, together: tuple[tuple[int, int, float], ...]) -> Floats:
    """Return the factor of every set for the causes in it that are found together."""
    sets = np.arange(2**n)
    factor = np.ones(2**n)
    for one, other, odds in together:
        both = 1 << one | 1 << other
        factor[sets & both == both] *= odds
    factor.flags.writeable = False
    return factor


def prior_states(
    family: Family,
    share: Mapping[str, float],
    product: Mapping[str, float],
) -> Floats:
    """Return P(state) as the truck came in, shape (2**n + 1,).

    State 0, healthy, has what the pack says for complaints that may lie within normal; mostly none.

    Conditions say which cause, not how many: the rate of second causes stays the family's.
    """
    raw = np.asarray([share[c.id] * product.get(c.id, 1.0) for c in family.causes])
    number = {c.id: i for i, c in enumerate(family.causes)}
    pairs = [(number[t.causes[0]], number[t.causes[1]], t.odds) for t in family.together]
    odds, unlisted = first_weights(raw / raw.sum(), family.second_cause, family.none_listed, pairs)
    states = np.append(products(odds) * _beyond(len(raw), tuple(pairs)), unlisted)
    states[0] = 0.0
    states *= (1.0 - family.within_normal) / states.sum()
    states[0] = family.within_normal
    return states


def _part_scoped(condition: str, conditions: Mapping[str, Condition]) -> bool:
    return condition in conditions and conditions[condition].part_scoped
