"""One physical check that two families list is one step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from witnessmark.planner.order.entries_to_order import Placed

__all__ = ["one_step_a_check"]


def one_step_a_check(ordered: Iterable[Placed]) -> list[Placed]:
    """Return the steps without those that are the same check as one before them.

    The first of them serves the other's complaint as well.
    """
    kept: list[Placed] = []
    for placed in ordered:
        first = next((k for k in kept if _same(k, placed)), None)
        if first is None:
            kept.append(placed)
            continue
        also = dict.fromkeys((*first.step.also, placed.step.family))
        first.step = replace(first.step, also=tuple(also))
    return kept


def _same(one: Placed, other: Placed) -> bool:
    if one.test is None or other.test is None or one.step.family == other.step.family:
        return False
    return other.test.id in one.test.same_as or one.test.id in other.test.same_as
