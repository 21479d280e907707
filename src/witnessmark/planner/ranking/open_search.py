"""When to stop buying parts: the open search, proposed before the money of a worst case is spent.

The odds and the plan rest on a list of causes and on judged tables; where these mislead, every
further part looks like the best one. So what was spent in vain counts besides the odds: the open
search, a second opinion or a referral is said aloud before a bill could become many times that of
one who knew, and stands before any further part once as much went in vain as a search costs (of two
ways of which one ends for certain, changing over then never costs more than twice the better one).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from witnessmark.knowledge import Test
from witnessmark.model.candidate import Candidate
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.ranking.costs import needs_road, price_of_test, repair_usd, step_usd
from witnessmark.planner.ranking.pricing import Plan
from witnessmark.words.say import stopping as say

__all__ = ["Stopping", "said_in_time", "search_step", "stopping"]

#: After so many repairs in vain the search comes before any further part that is only likely, and
#: after so many before any part at all (judgement; six and eight were tried and cost more).
VAIN_DUE, VAIN_HARD = 4, 6
#: So many times what a search costs may go in vain before the same.
SPENT_DUE, SPENT_HARD = 1.0, 1.5
#: The search is said aloud before a bill of so many times that of a mechanic who knew, and of so
#: much money [USD].
TIMES, LARGE_USD = 5.0, 1500.0
#: A repair that may come next is one of a cause of at least this.
SUSPECTED_FROM = 0.30
#: What one who knew would pay at least: this share of the hypotheses costs less.
CHEAP_SHARE = 0.02

Urgency = Literal["", "say", "due", "hard"]
#: A figure of a pack, of the shop, or of what ends a step: low, typical, high.
_Side = Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class Stopping:
    """Whether it is time to stop and search.

    Attributes:
        urgency: "" not yet; "say": said beside the other steps; "due": before parts that are only
            likely; "hard": before any part.
        vain: repairs of this complaint that did not cure it.
        spent_usd: what tests and these repairs have cost so far, by the shop's usual prices [USD].
        most_usd: the same by the high figure of every step [USD].
        large_usd: a bill is large from here on [USD].
    """

    urgency: Urgency = ""
    vain: int = 0
    spent_usd: float = 0.0
    most_usd: float = 0.0
    large_usd: float = float("inf")


def stopping(plan: Plan, made: Sequence[str], settings: Settings, *, searched: bool) -> Stopping:
    """Say whether it is time to stop and search.

    Args:
        plan: the family, priced.
        made: every test made on this truck so far, once for each time.
        settings: the shop's rates.
        searched: it was searched already since the latest work.
    """
    usd = dict(zip(plan.table.causes, plan.problem.repair_usd.tolist(), strict=True))
    vain = [c for c in plan.state.repaired if c in usd]
    if getattr(plan.state.belief, "better", None) is not None and vain:
        vain.pop()  # it has probably cured one of two
    tests = {t.id: t for t in plan.state.family.tests}
    looked = [tests[t] for t in made if t in tests]
    lost = sum(usd[c] for c in vain)
    spent = sum(price_of_test(t, settings) for t in looked) + lost
    if searched:
        return Stopping("", len(vain), spent)
    most = sum(_test_usd(t, settings) for t in looked)
    most += sum(_repair_usd(plan, c, settings, "high") for c in vain)
    large = max(LARGE_USD, TIMES * _who_knew(plan, settings))
    stop = Stopping("", len(vain), spent, most, large)
    price = float(plan.root.weights[0] @ plan.problem.search_usd / plan.root.weights[0].sum())
    if len(vain) >= VAIN_HARD or lost >= SPENT_HARD * price:
        return replace(stop, urgency="hard")
    if len(vain) >= VAIN_DUE or (len(vain) >= 2 and lost >= SPENT_DUE * price):
        return replace(stop, urgency="due")
    return stop


def said_in_time(
    ordered: Sequence[Step], plan: Plan, search: Step, settings: Settings, stop: Stopping
) -> list[Step]:
    """List the open search before a step that may make the bill large, or right behind the first.

    A bound by construction: while every step costs no more than its high figure, whoever follows
    the first step, or renews a part that is suspected, has read "stop and search" before the bill
    is larger than *large_usd*, whatever the odds say.

    Args:
        ordered: the list in its order, of all complaints.
        plan: the family, priced.
        search: the open search, said aloud.
        settings: the shop's rates.
        stop: what was spent, and what a large bill is.
    """
    mine = [s for s in ordered if plan.state.family.id in (s.family, *s.also)]
    if not mine or stop.urgency:
        return list(ordered)
    chances = dict(zip(plan.table.causes, plan.chances.tolist(), strict=True))
    next_ = [s for s in mine if s is mine[0] or chances.get(s.step, 0.0) >= SUSPECTED_FROM]
    left = stop.large_usd - stop.most_usd
    dear = next((s for s in next_ if _high_usd(s, plan, settings) > left), None)
    if dear is None:
        return list(ordered)
    there = next((k for k, s in enumerate(ordered) if s.step == search.step), None)
    if there is not None:
        return [*ordered[:there], search, *ordered[there + 1 :]]
    place = max(ordered.index(dear), ordered.index(mine[0]) + 1)
    return [*ordered[:place], search, *ordered[place:]]


def search_step(plan: Plan, others: float, settings: Settings, stop: Stopping) -> Step:
    """Return the open search as a step.

    Args:
        plan: the family, priced.
        others: what the other complaints cost besides [USD].
        settings: the shop's rates.
        stop: whether it is time for it.
    """
    family = plan.state.family
    minutes = settings.search_minutes
    why = say.search_why()
    needs: tuple[str, ...] = ("warm", "road") if needs_road(family) else ("warm",)
    if stop.urgency:
        # What else may be run is for the stops to say; thinking again is never forbidden.
        needs = ()
        why = say.stop_why(stop.vain, stop.spent_usd, first=stop.urgency != "say")
    return Step(
        step=f"search_{family.id}",
        kind="measure",
        family=family.id,
        name=say.stop_name() if stop.urgency else say.search_name(),
        minutes=Spread(minutes / 2, minutes, 2 * minutes),
        usd=Spread(0.0, settings.search_usd, 3 * settings.search_usd),
        expected_total_usd=float(plan.moves.search[0]) + others,
        why=why,
        results=(Result("found", 1.0, plan.table.leads()),),
        needs=needs,
        cautions=(family.safety,) if family.safety else (),
    )


def _who_knew(plan: Plan, settings: Settings) -> float:
    """Return what a mechanic who knew would pay at least, by the odds as they stand [USD].

    By the low figures, and of the cheapest hypotheses that are not out of the question.
    """
    members, weights = plan.table.members, plan.root.weights[0]
    low = np.array([_repair_usd(plan, c, settings, "low") for c in plan.table.causes])
    usd = members @ low
    usd[~members.any(axis=1)] = float(np.median(low))
    order = np.argsort(usd)
    share = np.cumsum(weights[order]) / weights.sum()
    return float(usd[order][int(np.searchsorted(share, CHEAP_SHARE))])


def _high_usd(step: Step, plan: Plan, settings: Settings) -> float:
    """Return what a step costs by its high figures [USD]."""
    if step.kind == "repair":
        parts = [c for c in (step.step, *step.along) if c in plan.table.causes]
        return sum(_repair_usd(plan, c, settings, "high") for c in parts)
    tests = (t for t in plan.tests if t.id == step.step)
    return max((_test_usd(t, settings) for t in tests), default=0.0)


def _test_usd(test: Test | Candidate, settings: Settings) -> float:
    minutes, usd = _at(test.minutes, "high"), _at(test.usd, "high")
    return step_usd(minutes, usd, test.needs, settings)


def _repair_usd(plan: Plan, cause: str, settings: Settings, side: _Side) -> float:
    record = plan.state.family.cause(cause)
    if record is None:
        return 0.0
    minutes, parts = _at(plan.minutes[cause], side), _at(plan.parts[cause], side)
    return repair_usd(record, plan.state.family, settings, minutes, parts)


def _at(spread: Spread, side: _Side) -> Spread:
    """Return the low or the high figure as if it were certain."""
    figure = spread.low if side == "low" else spread.high
    return Spread(figure, figure, figure)
