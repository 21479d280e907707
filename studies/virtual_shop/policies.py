"""How a shop decides what to do next: habits, simple rules, our planner, and knowing it all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from studies.virtual_shop.trucks import Truck

from witnessmark.inference.belief import Belief, FamilyModel, family_belief
from witnessmark.inference.evidence import Evidence
from witnessmark.knowledge import Knowledge
from witnessmark.model.odds import DECIDED_FROM
from witnessmark.planner.costs import repair_usd
from witnessmark.planner.pricing import FamilyState, Plan, plan_family

__all__ = ["POLICIES", "Run"]

#: A shop gives up on parts after so many.
MOST_REPAIRS = 8


@dataclass
class Run:
    """One truck under one policy.

    Attributes:
        usd: money to a proven cure.
        hours: hands-on hours to it.
        needless: parts renewed that were not at fault.
        gave_up: closed without proof by the policy; the open-ended search had to finish it.
        said: statements of 0.80 or more.
        wrong: of them, those about a cause that was not there.
    """

    usd: float
    hours: float
    needless: int
    gave_up: bool
    said: int = 0
    wrong: int = 0


class Watch:
    """Notes every new statement of 0.80 or more and whether it is true."""

    def __init__(self, truck: Truck) -> None:
        self.truck = truck
        self.said: dict[tuple[str, int], bool] = {}

    def look(self, belief: Belief) -> None:
        """Note what the odds state now."""
        marginals = belief.marginals()
        top = int(np.argmax(marginals))
        if marginals[top] >= DECIDED_FROM:
            cause = belief.causes[top]
            key = (cause, self.truck.bill.repairs)
            self.said.setdefault(key, cause in self.truck.faults)


def habit(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Run:
    """Parts in the order of the pack's shares."""
    causes = sorted(truck.world.family.causes, key=lambda c: -c.prior)
    return _in_order(truck, [c.id for c in causes])


def cheapest(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Run:
    """The cheapest repair first."""
    family = truck.world.family
    causes = sorted(family.causes, key=lambda c: repair_usd(c, family, truck.settings, c.minutes))
    return _in_order(truck, [c.id for c in causes])


def likeliest(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Run:
    """The likeliest part by clues and failed repairs, without tests."""
    return _likeliest(truck, _start(truck, knowledge, model), Watch(truck))


def everything(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Run:
    """Every test of the family, then the likeliest part."""
    belief, watch = _start(truck, knowledge, model), Watch(truck)
    for test in truck.world.family.tests:
        belief = belief.after_test(test, truck.test(test))
    watch.look(belief)
    return _likeliest(truck, belief, watch)


def ours(truck: Truck, knowledge: Knowledge, model: FamilyModel, depth: int = 2) -> Run:
    """The planner: what lowers the expected total cost to a proven cure."""
    belief, watch = _start(truck, knowledge, model), Watch(truck)
    family = truck.world.family
    tests = {t.id: t for t in family.tests}
    done: dict[str, bool] = {}  # test -> found something
    repaired: tuple[str, ...] = ()
    opened = ""
    for _ in range(60):
        watch.look(belief)
        plan = plan_family(
            FamilyState(
                family,
                belief,
                tests_done=frozenset(done),
                repaired=repaired,
            ),
            truck.settings,
            access_groups=knowledge.access_groups,
            opened=opened,
            depth=depth,
        )
        prices = np.concatenate([plan.moves.repair[0], plan.moves.test[0], plan.moves.search])
        move = int(np.argmin(prices))
        causes = len(plan.table.causes)
        if move == prices.size - 1:
            break
        if move < causes:
            cause = plan.table.causes[move]
            saved = _saved(plan, move, opened)
            gone = truck.repair(cause)
            truck.bill.usd -= saved
            if gone:
                return _run(truck, watch, gave_up=False)
            belief = belief.after_repair(cause, False)
            repaired = (*repaired, cause)
            done, opened = {t: found for t, found in done.items() if not found}, ""
        else:
            test = tests[plan.tests[move - causes].id]
            outcome = truck.test(test)
            belief = belief.after_test(test, outcome)
            done[test.id] = outcome != test.outcomes[-1]
            opened = test.access_group
    truck.search()
    return _run(truck, watch, gave_up=True)


def knowing(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Run:
    """Only the parts that are at fault, without a test."""
    for cause in sorted(truck.faults):
        for _ in range(5):
            if truck.repair(cause) or cause not in truck.faults:
                break
    return _run(truck, Watch(truck), gave_up=bool(truck.faults))


POLICIES: dict[str, Callable[[Truck, Knowledge, FamilyModel], Run]] = {
    "habit order": habit,
    "cheapest first": cheapest,
    "likeliest first": likeliest,
    "test everything": everything,
    "ours": ours,
    "all-knowing": knowing,
}


def _saved(plan: Plan, move: int, opened: str) -> float:
    problem, groups = plan.problem, plan.groups
    group = int(problem.repair_group[move])
    if group < 0 or groups[group].id != opened:
        return 0.0
    return float(problem.group_usd[group])


def _start(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Belief:
    evidence = Evidence(truck.clues)
    return family_belief(truck.world.family, evidence, conditions=knowledge.conditions, model=model)


def _in_order(truck: Truck, order: list[str]) -> Run:
    for cause in order[:MOST_REPAIRS]:
        if truck.repair(cause):
            return _run(truck, Watch(truck), gave_up=False)
    truck.search()
    return _run(truck, Watch(truck), gave_up=True)


def _likeliest(truck: Truck, belief: Belief, watch: Watch) -> Run:
    left = set(belief.causes)
    for _ in range(MOST_REPAIRS):
        watch.look(belief)
        marginals = belief.marginals()
        cause = max(left, key=lambda c: (marginals[belief.causes.index(c)], c))
        left.discard(cause)
        if truck.repair(cause):
            return _run(truck, watch, gave_up=False)
        belief = belief.after_repair(cause, False)
    truck.search()
    return _run(truck, watch, gave_up=True)


def _run(truck: Truck, watch: Watch, *, gave_up: bool) -> Run:
    bill = truck.bill
    wrong = sum(not true for true in watch.said.values())
    return Run(bill.usd, bill.hours, bill.needless, gave_up, len(watch.said), wrong)
