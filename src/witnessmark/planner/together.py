"""Steps that serve more than one end: shared disassembly, and one fault with two complaints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.knowledge import Link
from witnessmark.model.settings import Settings
from witnessmark.planner.costs import remeasure_minutes
from witnessmark.planner.lookahead import first_moves
from witnessmark.planner.pricing import Plan
from witnessmark.planner.troubleshooting import State, left_after

__all__ = ["Along", "beside", "served_too"]

#: It must save at least this much to be said [USD].
WORTH_USD = 1.0


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
    group = int(problem.repair_group[number])
    if group < 0 or root.repaired[0, number]:
        return None
    family = plan.state.family
    again = remeasure_minutes(family, settings) / 60.0 * settings.labour_usd_per_hour
    best: Along | None = None
    alone = float(plan.moves.repair[0, number])
    for other in np.flatnonzero(problem.repair_group == group):
        if other == number or root.repaired[0, other]:
            continue
        left = left_after(problem, left_after(problem, root.weights[0], number), int(other))
        repaired = root.repaired.copy()
        repaired[0, number] = repaired[0, other] = True
        saves = min(float(problem.group_usd[group]) + again, float(problem.repair_usd[other]))
        state = State(left[None, :], repaired, root.tested, np.array([-1], dtype=np.intp))
        usd = problem.repair_usd[number] + problem.repair_usd[other] - saves
        price = float(usd * root.weights.sum() + first_moves(problem, state).best()[0])
        if price < min(alone, best.price if best else np.inf) - WORTH_USD:
            cause = family.cause(plan.table.causes[other])
            name = cause.name if cause else plan.table.causes[other]
            best = Along(plan.table.causes[other], name, price, saves, plan.groups[group].words)
    return best


def served_too(
    plan: Plan, cause: str, plans: Sequence[Plan], links: Sequence[Link]
) -> tuple[tuple[str, ...], float]:
    """Return the other open families a repair serves, and what it saves there [USD].

    One fault can make two complaints: its repair is then the repair of the other one too, and
    that one needs no work of its own.
    """
    also: list[str] = []
    saved = 0.0
    for link in links:
        here, there = (link.causes, link.other)
        if cause in there:
            here, there = there, here
        if cause not in here:
            continue
        for other in plans:
            if other is plan or other.state.family.id in also:
                continue
            gain = _gain(other, there)
            if gain > 0:
                also.append(other.state.family.id)
                saved += gain
    return tuple(also), saved


def _gain(other: Plan, causes: Sequence[str]) -> float:
    best = 0.0
    for number, identity in enumerate(other.table.causes):
        if identity in causes and not other.root.repaired[0, number]:
            free = float(other.moves.repair[0, number] - other.problem.repair_usd[number])
            best = max(best, other.best - free)
    return best
