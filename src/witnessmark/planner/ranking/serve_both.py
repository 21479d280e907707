"""Steps that serve more than one end: shared disassembly, and one fault with two complaints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Link
from witnessmark.model.settings import Settings
from witnessmark.planner.ranking.costs import remeasure_minutes
from witnessmark.planner.ranking.lookahead import first_moves
from witnessmark.planner.ranking.pricing import Plan
from witnessmark.planner.ranking.troubleshooting import SearchState, left_after

__all__ = ["Along", "after_all", "beside", "same_fault", "served_too"]

Floats = npt.NDArray[np.float64]

#: It must save at least this much to be said [USD].
WORTH_USD = 1.0
#: Orders of so many waiting complaints are all tried.
_ALL_ORDERS = 4


@dataclass(frozen=True, slots=True)
class Along:
    """A second repair worth doing through the same opening.

    Attributes:
        cause: cause id.
        name: in words.
        price: expected total if both are done, then measured once.
        saves: shared time and the second measurement saved [USD].
        group: the disassembly, in words.
    """

    cause: str
    name: str
    price: float
    saves: float
    group: str


def beside(plan: Plan, number: int, settings: Settings) -> Along | None:
    """Return the repair worth doing while repair *number* lies open, if there is one.

    Both share one opening and one measurement afterwards, so this is still one invasive step.
    """
    problem, root = plan.problem, plan.root
    group = plan.groups[number]
    if group is None or root.repaired[0, number]:
        return None
    family = plan.state.family
    again = remeasure_minutes(family, settings) / 60.0 * settings.labour_usd_per_hour
    best: Along | None = None
    alone = float(plan.moves.repair[0, number])
    for other in np.flatnonzero(plan.shared_usd[number] > 0.0):
        if other == number or root.repaired[0, other]:
            continue
        if plan.table.causes[other] in plan.state.waiting:
            continue
        left = left_after(problem, left_after(problem, root.weights[0], number), int(other))
        repaired = root.repaired.copy()
        repaired[0, number] = repaired[0, other] = True
        saves = float(plan.shared_usd[number, other]) + again
        state = SearchState(left[None, :], repaired, root.tested, np.array([-1], dtype=np.intp))
        usd = problem.repair_usd[number] + problem.repair_usd[other] - saves
        price = float(usd * root.weights.sum() + first_moves(problem, state).best()[0])
        if price < min(alone, best.price if best else np.inf) - WORTH_USD:
            cause = family.cause(plan.table.causes[other])
            name = cause.name if cause else plan.table.causes[other]
            best = Along(plan.table.causes[other], name, price, saves, group.words)
    return best


def served_too(plan: Plan, cause: str, plans: Sequence[Plan], links: Sequence[Link]) -> list[str]:
    """Return the other open families that the repair of a cause serves.

    One fault can make two complaints: its repair is then the repair of the other one too.
    """
    also = [
        other.state.family.id
        for other in plans
        if other is not plan
        for link in _between(plan, other, links)
        if cause in link.causes and _proposable(other, link.other)
    ]
    return list(dict.fromkeys(also))


def after_all(plans: Sequence[Plan], links: Sequence[Link]) -> list[float]:
    """Return, for each plan, what is left to pay for the other complaints once it is cured [USD].

    One fault can make two complaints. Whichever of them is worked on first, by a test or by a
    repair, the fault it is cured of is paid for once; the other complaint then costs what is
    expected without that fault. The others follow in the order that costs least.
    """
    number = len(plans)
    left = {(b, a): _left_once_cured(plans[b], plans[a], links) for a in range(number)
            for b in range(number) if a != b}  # fmt: skip

    def rest(done: frozenset[int]) -> float:
        waiting = [b for b in range(number) if b not in done]
        if not waiting:
            return 0.0
        if len(waiting) > _ALL_ORDERS:
            return sum(min(left[b, a] for a in done) for b in waiting)
        return min(min(left[b, a] for a in done) + rest(done | {b}) for b in waiting)

    return [rest(frozenset({a})) for a in range(number)]


def same_fault(cured: Plan, other: Plan, link: Link) -> float:
    """Return P(the fault that *cured* is cured of was the linked one of *other* | that is there).

    A link multiplies the odds of both being there; from that and from how likely each is follows
    P(both). What exceeds their coming together by chance is one fault.
    """
    one, two = _any_of(cured, link.causes), _any_of(other, link.other)
    odds = link.odds
    if odds <= 1.0 or min(one, two) <= 0.0:
        return 0.0
    some = 1.0 + (odds - 1.0) * (one + two)
    root = np.sqrt(max(0.0, some**2 - 4.0 * odds * (odds - 1.0) * one * two))
    both = (some - root) / (2.0 * (odds - 1.0))
    return float(np.clip(both * (1.0 - 1.0 / odds) / two, 0.0, 1.0))


def _left_once_cured(other: Plan, cured: Plan, links: Sequence[Link]) -> float:
    """Return what *other* is expected to cost once *cured* is proven cured [USD]."""
    weights = other.root.weights[0].copy()
    before = weights
    for link in _between(cured, other, links):
        chance = same_fault(cured, other, link)
        for number, identity in enumerate(other.table.causes):
            if identity in link.other and chance > 0.0:
                weights = _without(other, weights, number, chance)
    # What is probably cured already costs only where it is not.
    wrong = 1.0 - other.state.belief.healthy()
    if weights is before:
        return wrong * other.best
    after = SearchState(weights[None, :], other.root.repaired, other.root.tested, other.root.opened)
    now, then = (first_moves(other.problem, s).best()[0] for s in (other.root, after))
    return float(wrong * other.best * min(1.0, then / max(now, 1e-9)))


def _any_of(plan: Plan, causes: Sequence[str]) -> float:
    rows = [k for k, c in enumerate(plan.table.causes) if c in causes]
    weights = plan.root.weights[0]
    return float(weights @ plan.table.members[:, rows].any(axis=1) / weights.sum())


def _without(plan: Plan, weights: Floats, number: int, chance: float) -> Floats:
    """Return the weights once a cause is gone with *chance*; what is cured by it drops out."""
    problem = plan.problem
    goes = problem.members[:, number] & (problem.stays[number] < 1.0)
    moved = np.append(chance * weights * goes, 0.0)[problem.source[number]]
    return np.asarray(weights * (1.0 - chance * goes) + moved)


def _between(plan: Plan, other: Plan, links: Sequence[Link]) -> list[Link]:
    """Return the links of two families, the causes of *plan* standing first."""
    mine, theirs = frozenset(plan.table.causes), frozenset(other.table.causes)

    def join(here: Sequence[str], there: Sequence[str]) -> bool:
        return not mine.isdisjoint(here) and not theirs.isdisjoint(there)

    turned = [replace(k, causes=k.other, other=k.causes) for k in links if join(k.other, k.causes)]
    return [k for k in links if join(k.causes, k.other)] + turned


def _proposable(other: Plan, causes: Sequence[str]) -> bool:
    return any(
        identity in causes and not other.root.repaired[0, number]
        for number, identity in enumerate(other.table.causes)
    )
