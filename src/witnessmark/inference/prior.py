"""Odds before any test: shares of the packs, the shop's own history, conditions of the truck."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from witnessmark.inference.evidence import Clue
from witnessmark.inference.likelihood import Floats, products
from witnessmark.knowledge import Cause, Condition, Family

__all__ = ["clue_factor", "first_weights", "multipliers", "prior_states"]

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
    recorded_tests: Collection[str] = (),
) -> dict[str, float]:
    """Return cause id -> product of its conditions, capped.

    A condition that speaks of one part counts only for the cause whose part it is. A condition
    counts once, the last time it was written down; once a test is recorded that sees the same
    thing, the condition counts no longer.
    """
    latest = {
        (c.condition, c.cause if _part_scoped(c.condition, conditions) else ""): c for c in clues
    }
    product = dict.fromkeys((c.id for c in causes), 1.0)
    for clue in latest.values():
        condition = conditions.get(clue.condition)
        if condition is None or any(t in recorded_tests for t in condition.overlapped_by):
            continue
        for cause in causes:
            if condition.id not in cause.odds_multipliers:
                continue
            if condition.part_scoped and clue.cause != cause.id:
                continue
            product[cause.id] *= clue_factor(
                condition, cause.odds_multipliers[condition.id], clue.seen
            )
    return {c: min(p, CAP) for c, p in product.items()}


def first_weights(
    shares_of: Floats, second_cause: float, none_listed: float
) -> tuple[Floats, float]:
    """Return (odds of each cause, weight of the unlisted cause) of the state as it came in.

    Causes are present independently of each other, given that the truck came in with the
    complaint. The scale of the odds is the one that makes P(two or more | complaint) equal to
    *second_cause*; the unlisted cause gets P(none listed | complaint) = *none_listed*. Among
    cases with one cause the shares then come out as given.
    """
    target = (1.0 - none_listed - second_cause) / (1.0 - none_listed)

    def single_share(scale: float) -> float:
        return scale / float(np.expm1(np.log1p(scale * shares_of).sum()))

    low, high = 1e-15, 1.0
    while single_share(high) > target and high < 1e6:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if single_share(middle) > target else (low, middle)
        if high - low <= 1e-15 * high:
            break
    odds = 0.5 * (low + high) * shares_of
    some = float(np.expm1(np.log1p(odds).sum()))
    return odds, some * none_listed / (1.0 - none_listed)


def prior_states(
    family: Family,
    share: Mapping[str, float],
    product: Mapping[str, float],
) -> Floats:
    """Return P(state) as the truck came in, shape (2**n + 1,); state 0, healthy, has none.

    Conditions say which cause, not how many: the rate of second causes stays the family's.
    """
    raw = np.asarray([share[c.id] * product.get(c.id, 1.0) for c in family.causes])
    odds, unlisted = first_weights(raw / raw.sum(), family.second_cause, family.none_listed)
    states = np.append(products(odds), unlisted)
    states[0] = 0.0
    return np.asarray(states / states.sum())


def _part_scoped(condition: str, conditions: Mapping[str, Condition]) -> bool:
    return condition in conditions and conditions[condition].part_scoped
