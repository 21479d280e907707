"""How a shop decides what to do next: habits, simple rules, our planner, and knowing it all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from studies.virtual_shop.trucks import UNLISTED, Truck

from witnessmark.inference.family.doubt import doubt_of
from witnessmark.inference.family.family_belief import Belief, FamilyModel, family_belief
from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.knowledge import Family, Knowledge
from witnessmark.model.odds import DECIDED_FROM
from witnessmark.model.shop_record import Closing, History
from witnessmark.model.step import Step
from witnessmark.planner.order.progress import Progress
from witnessmark.planner.ranked_steps import FamilyState, rank_steps
from witnessmark.planner.ranking.costs import repair_usd

__all__ = ["POLICIES", "Learning", "Run", "first_of", "renew"]

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
        said: causes that the workbench said the findings point to.
        wrong: of them, those that were not there.
        plain: causes with odds of 0.80 or more, whether it was said or not.
        plain_wrong: of them, those that were not there.
        cause: the repair that ended it, empty where the search did, and where two parts were
            renewed through one opening, for then nothing says which of them it was.
        results: (test id, outcome) of the tests made before the first repair.
        expected: what the workbench expected the truck to cost at check-in [USD], else 0.
    """

    usd: float
    hours: float
    needless: int
    gave_up: bool
    said: int = 0
    wrong: int = 0
    plain: int = 0
    plain_wrong: int = 0
    cause: str = ""
    results: tuple[tuple[str, str], ...] = ()
    expected: float = 0.0


class Watch:
    """Notes every new statement about a cause and whether it is true.

    A statement is what the case page says: the odds stay at 0.80 with the doubt in the judged
    figures counted against them, "other" names nothing, and clues alone never name a part, nor
    do repairs in vain with nothing tested since.
    Beside it stands every cause that plainly has 0.80 or more.
    """

    def __init__(self, truck: Truck) -> None:
        self.truck = truck
        self.said: dict[tuple[str, int], bool] = {}
        self.plain: dict[tuple[str, int], bool] = {}

    def look(self, belief: Belief) -> None:
        """Note what the odds state now."""
        marginals = belief.marginals()
        likely = np.flatnonzero(marginals >= DECIDED_FROM)
        if not likely.size or not (belief.results or belief.repaired):
            return
        since = bool(belief.results or not belief.repaired)
        keys = [(belief.causes[n], self.truck.bill.repairs) for n in likely]
        if all(key in self.said for key in keys):
            return
        low = doubt_of(belief).low if since else np.zeros(len(marginals))
        for number in likely:
            cause = belief.causes[number]
            key, true = (cause, self.truck.bill.repairs), cause in self.truck.faults
            self.plain.setdefault(key, true)
            if since and low[number] >= DECIDED_FROM and not cause.endswith("_other"):
                self.said.setdefault(key, true)


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
    return _likeliest(truck, start_belief(truck, knowledge, model), Watch(truck))


def everything(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Run:
    """Every test of the family, then the likeliest part."""
    belief, watch = start_belief(truck, knowledge, model), Watch(truck)
    for test in truck.world.family.tests:
        belief = belief.after_test(test, truck.test(test))
    watch.look(belief)
    return _likeliest(truck, belief, watch)


def ours(
    truck: Truck,
    knowledge: Knowledge,
    model: FamilyModel,
    history: History | None = None,
) -> Run:
    """What the workbench proposes first, before every step, as the case page shows it."""
    belief, watch = start_belief(truck, knowledge, model), Watch(truck)
    family = truck.world.family
    done: dict[str, bool] = {}  # test -> found something
    repaired: tuple[str, ...] = ()
    last_test = ""
    first: dict[str, str] = {}
    expected = 0.0
    for _ in range(60):
        watch.look(belief)
        steps = rank_steps(
            [FamilyState(family, belief)],
            settings=truck.settings,
            access_groups=knowledge.access_groups,
            history=history,
            progress=Progress(tests=frozenset(done), repaired=repaired, last_test=last_test),
        )
        step = first_of(steps)
        if truck.bill.usd == 0.0 and step is not None:
            expected = step.expected_total_usd
        if step is None or step.step.startswith("search_"):
            break
        if step.kind == "repair":
            gone = renew(truck, step)
            for cause in (step.step, *step.along):
                belief = belief.after_repair(cause, None)
            if gone:
                cause = "" if step.along else step.step
                ended = _run(truck, watch, gave_up=False, cause=cause)
                return replace(ended, results=tuple(first.items()), expected=expected)
            belief = belief.after_outcome(False)
            repaired = (*repaired, step.step, *step.along)
            done, last_test = {t: found for t, found in done.items() if not found}, ""
        else:
            test = family.test(step.step)
            assert test is not None
            outcome = truck.test(test)
            belief = belief.after_test(test, outcome)
            done[test.id] = outcome != test.outcomes[-1]
            last_test = test.id
            if not repaired:
                first[test.id] = outcome
    truck.search()
    return replace(_run(truck, watch, gave_up=True), expected=expected)


def first_of(steps: Sequence[Step]) -> Step | None:
    """Return what is proposed first besides safety and the proof, which every policy does."""
    return next(
        (s for s in steps if s.kind != "safety" and not s.step.startswith("remeasure_")), None
    )


def renew(truck: Truck, step: Step) -> bool:
    """Do a repair, and what is done through the same opening; measure once; say whether cured."""
    gone = truck.repair(step.step, measured=not step.along)
    for number, other in enumerate(step.along, 1):
        last = number == len(step.along)
        gone = truck.repair(other, beside=step.step, measured=last) or gone
    return gone


class Learning:
    """Ours in one shop that learns from its own proven closings, truck after truck."""

    def __init__(self, knowledge: Knowledge, family: Family) -> None:
        self.knowledge, self.family = knowledge, family
        self.closings: tuple[Closing, ...] = ()

    def run(self, truck: Truck) -> Run:
        """Repair one truck with what the shop has learnt so far, and learn from it."""
        history = History(self.closings)
        model = FamilyModel(self.family, self.knowledge.conditions, history)
        run = ours(truck, self.knowledge, model, history)
        causes = (run.cause,) if run.cause else ()
        closing = Closing(
            case=f"c{len(self.closings)}",
            family=self.family.id,
            causes=causes,
            proven=bool(causes),
            days_ago=10.0,
            results=run.results,
        )
        self.closings = (*self.closings, closing)
        return run


def mend_what_is_wrong(truck: Truck) -> None:
    """Put right what is at fault and nothing else, each part up to five times."""
    if UNLISTED in truck.faults:
        truck.mend(UNLISTED)
    for cause in sorted(truck.faults):
        for _ in range(5):
            if truck.repair(cause) or cause not in truck.faults:
                break


def knowing(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Run:
    """Only the parts that are at fault, without a test."""
    mend_what_is_wrong(truck)
    return _run(truck, Watch(truck), gave_up=bool(truck.faults))


POLICIES: dict[str, Callable[[Truck, Knowledge, FamilyModel], Run]] = {
    "habit order": habit,
    "cheapest first": cheapest,
    "likeliest first": likeliest,
    "test everything": everything,
    "ours": ours,
    "all-knowing": knowing,
}


def start_belief(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Belief:
    evidence = StagedEvidence(truck.clues)
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


def _run(truck: Truck, watch: Watch, *, gave_up: bool, cause: str = "") -> Run:
    bill = truck.bill
    counts = []
    for noted in (watch.said, watch.plain):
        counts += [len(noted), sum(not true for true in noted.values())]
    return Run(bill.usd, bill.hours, bill.needless, gave_up, *counts, cause)
