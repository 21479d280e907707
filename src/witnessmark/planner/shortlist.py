"""What is told of the ordered steps, and what stands behind the looks in it."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.odds import DECIDED_FROM
from witnessmark.model.settings import Settings
from witnessmark.model.step import Step
from witnessmark.planner.order.ranks import Rank, rank_of
from witnessmark.planner.ranking.costs import step_usd
from witnessmark.planner.ranking.pricing import Plan

__all__ = ["behind_looks", "kept", "search_behind_what_is_quick"]

#: A test is cheap beside the open search where it costs at most this share of it (judgement).
_CHEAP_SHARE = 1 / 3


def kept(ordered: Sequence[Step], most: int, plans: Sequence[Plan]) -> list[Step]:
    """Return the first steps, and behind them the likely repairs with the looks they wait for."""
    repairs = {s.step for s in ordered if s.kind == "repair"}
    causes = [c for plan in plans for c in plan.state.family.causes if c.id in repairs]
    looks = {look.test for cause in causes for look in cause.look_first}
    tests = [t for plan in plans for t in plan.state.family.tests]
    # One physical check that two complaints list is one step, by either of its names.
    looks |= {t.id for t in tests if looks & set(t.same_as)}
    looks |= {other for t in tests if t.id in looks for other in t.same_as}
    return [
        s
        for k, s in enumerate(ordered)
        if k < most or s.kind == "repair" or s.step in looks or s.is_search
    ]


def behind_looks(
    ordered: Sequence[Step], later: Sequence[Step], plans: Sequence[Plan]
) -> list[Step]:
    """Return the steps with others behind the looks, and before anything is opened or renewed."""
    tests = {t.id: t for plan in plans for t in plan.state.family.tests}
    ranks = [rank_of(s, tests.get(s.step)) for s in ordered]
    most = next((k for k, rank in enumerate(ranks) if rank >= Rank.OPEN), len(ordered))
    place = max((k + 1 for k in range(most) if ranks[k] <= Rank.LOOK), default=0)
    return [*ordered[:place], *later, *ordered[place:]]


def search_behind_what_is_quick(
    ordered: Sequence[Step], plans: Sequence[Plan], settings: Settings, due: Sequence[str]
) -> list[Step]:
    """Let an open search stand behind every listed look and cheap test.

    Who searches the whole thing makes those first (common practice, no source). Behind the search
    stands what costs more than it and is not decided; looks and cheap tests behind such a part
    come forward with it.

    Args:
        ordered: the list in its order, of all complaints.
        plans: the open complaints.
        settings: the shop's rates.
        due: families of which it is time to stop and search now: their search keeps its place.
    """
    search = [s for s in ordered if s.is_search and s.family not in due]
    if not search:
        return list(ordered)
    tests = {t.id: t for plan in plans for t in plan.state.family.tests}
    undecided = {
        c
        for plan in plans
        for c, chance in zip(plan.table.causes, plan.chances.tolist(), strict=True)
        if chance < DECIDED_FROM
    }
    own = {s.step: step_usd(s.minutes, s.usd, s.needs, settings) for s in ordered}
    price = min(own[s.step] for s in search)

    def quick(step: Step) -> bool:
        if step.kind == "repair" or step.is_search:
            return False
        rank = rank_of(step, tests.get(step.step))
        return rank <= Rank.LOOK or (rank < Rank.OPEN and own[step.step] <= _CHEAP_SHARE * price)

    rest = [s for s in ordered if s not in search]
    first = min(k for k, s in enumerate(ordered) if s in search)
    last = max((k + 1 for k, s in enumerate(rest) if quick(s)), default=0)
    dear = next(
        (
            k
            for k, s in enumerate(rest)
            if first <= k < last and s.step in undecided and own[s.step] >= price
        ),
        None,
    )
    if not any(quick(s) for s in ordered[first:]):
        return list(ordered)
    if dear is None:
        return [*rest[:last], *search, *rest[last:]]
    forward = [s for s in rest[dear:] if quick(s)]
    later = [s for s in rest[dear:] if s not in forward]
    return [*rest[:dear], *forward, *search, *later]
