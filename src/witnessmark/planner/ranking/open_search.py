"""When to stop buying parts: the open search, proposed before the money of a worst case is spent.

The odds and the plan rest on a list of causes and on judged tables; where these mislead, every
further part looks like the best one. So what was spent in vain counts besides the odds: the open
search, a second opinion or a referral is said aloud before a bill could become many times that of
one who knew, and stands before any further part once as much went in vain as a search costs (of two
ways of which one ends for certain, changing over then never costs more than twice the better one).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.ranking.costs import needs_road, price_of_test
from witnessmark.planner.ranking.pricing import Plan
from witnessmark.words.say import stopping as say

__all__ = ["Stopping", "search_step", "stopping"]

#: After so many repairs in vain the search comes before any further part that is only likely, and
#: after so many before any part at all (judgement, tried on seeds of the study's development).
VAIN_DUE, VAIN_HARD = 4, 6
#: So many times what a search costs may go in vain before the same.
SPENT_DUE, SPENT_HARD = 1.0, 1.5
#: The search is said aloud before a bill of so many times that of a mechanic who knew, and of so
#: much money [USD].
TIMES, LARGE_USD = 5.0, 1500.0
#: A repair that may come next is one of a cause of at least this.
SUSPECTED_FROM = 0.30
#: What one who knew would pay at least: this share of the hypotheses costs less.
CHEAP_SHARE = 0.10

Urgency = Literal["", "say", "due", "hard"]


@dataclass(frozen=True, slots=True)
class Stopping:
    """Whether it is time to stop and search.

    Attributes:
        urgency: "" not yet; "say": said beside the other steps; "due": before parts that are only
            likely; "hard": before any part.
        vain: repairs of this complaint that did not cure it.
        spent_usd: what tests and these repairs have cost so far, by the shop's usual prices [USD].
    """

    urgency: Urgency = ""
    vain: int = 0
    spent_usd: float = 0.0


def stopping(plan: Plan, made: Sequence[str], settings: Settings, *, searched: bool) -> Stopping:
    """Say whether it is time to stop and search.

    Args:
        plan: the family, priced.
        made: every test made on this truck so far, once for each time.
        settings: the shop's rates.
        searched: it was searched already since the latest work.
    """
    usd = dict(zip(plan.table.causes, plan.problem.repair_usd.tolist(), strict=True))
    vain = [usd[c] for c in plan.state.repaired if c in usd]
    if getattr(plan.state.belief, "better", None) is not None and vain:
        vain.pop()  # it has probably cured one of two
    tests = {t.id: t for t in plan.state.family.tests}
    spent = sum(price_of_test(tests[t], settings) for t in made if t in tests) + sum(vain)
    if searched:
        return Stopping("", len(vain), spent)
    price = float(plan.root.weights[0] @ plan.problem.search_usd / plan.root.weights[0].sum())
    if len(vain) >= VAIN_HARD or sum(vain) >= SPENT_HARD * price:
        return Stopping("hard", len(vain), spent)
    if len(vain) >= VAIN_DUE or (len(vain) >= 2 and sum(vain) >= SPENT_DUE * price):
        return Stopping("due", len(vain), spent)
    large = max(LARGE_USD, TIMES * _who_knew(plan))
    return Stopping("say" if spent + _next_usd(plan) > large else "", len(vain), spent)


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


def _who_knew(plan: Plan) -> float:
    """Return what a mechanic who knew would pay at least, by the odds as they stand [USD]."""
    members, weights = plan.table.members, plan.root.weights[0]
    usd = members @ plan.problem.repair_usd
    usd[~members.any(axis=1)] = float(np.median(plan.problem.repair_usd))
    order = np.argsort(usd)
    share = np.cumsum(weights[order]) / weights.sum()
    return float(usd[order][int(np.searchsorted(share, CHEAP_SHARE))])


def _next_usd(plan: Plan) -> float:
    """Return what the repair that may come next costs by itself [USD]: the dearest suspected."""
    repair, usd = plan.moves.repair[0], plan.problem.repair_usd
    possible = np.isfinite(repair)
    if not possible.any():
        return 0.0
    next_ = possible & (plan.chances >= SUSPECTED_FROM)
    next_[int(np.argmin(repair))] = True
    return float(usd[next_].max())
