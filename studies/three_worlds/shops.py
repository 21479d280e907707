"""How shops decide, in the three worlds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np
from studies.virtual_shop.policies import Watch, first_of, mend_what_is_wrong, renew, start_belief
from studies.virtual_shop.trucks import UNLISTED, Truck

from witnessmark.inference.family.family_belief import FamilyModel
from witnessmark.knowledge import Family, Knowledge
from witnessmark.model.shop_record import History
from witnessmark.model.step import Step
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.progress import Progress
from witnessmark.planner.ranked_steps import FamilyState, rank_steps
from witnessmark.planner.ranking.costs import price_of_test, repair_usd

__all__ = ["POLICIES", "SIMPLE", "Ended"]

#: Cheap tests of the simple rule cost at most this [USD].
CHEAP_USD = 75.0
#: A shop without a rule of its own gives up on parts after so many.
MOST_REPAIRS = 8
#: The simple rule is run with each of these numbers of vain repairs before it searches.
AFTER = (4, 5, 6, 8)


@dataclass
class Ended:
    """One truck under one policy.

    Attributes:
        usd: money to a proven cure.
        needless: parts renewed that were not at fault.
        repairs: repairs made by the policy.
        searched: whether the open search had to finish it.
        said, wrong: statements called decided, and how many of them were not true.
        plain, plain_wrong: the same of odds of 0.80 and more.
        warned: what had been spent when "stop and search" was first said [USD]; -1 for never.
        unlisted: sum over vain repairs of P(no listed cause) just after, and below whether so.
        looked: how many vain repairs that sum holds.
        again: steps proposed three times running (none may be).
        steps: steps taken.
    """

    usd: float
    needless: int
    repairs: int
    searched: bool
    said: int = 0
    wrong: int = 0
    plain: int = 0
    plain_wrong: int = 0
    warned: float = -1.0
    unlisted: float = 0.0
    looked: int = 0
    again: int = 0
    steps: int = 0


@dataclass
class Log:
    """What a policy noted on the way."""

    warned: float = -1.0
    unlisted: float = 0.0
    looked: int = 0
    again: int = 0
    steps: list[str] = field(default_factory=list)


Policy = Callable[[Truck, Knowledge, FamilyModel], Ended]


def ours(
    truck: Truck, knowledge: Knowledge, model: FamilyModel, history: History | None = None
) -> Ended:
    """Do what the case page proposes first, before every step.

    What only a word lifts ("a certified person does it") is done as the stop asks, once nothing
    else is proposed beside it; it costs nothing here.
    """
    belief, watch, log = start_belief(truck, knowledge, model), Watch(truck), Log()
    family = model.family
    facts = Facts()
    done: dict[str, bool] = {}
    made: list[str] = []
    here: list[str] = []
    repaired: tuple[str, ...] = ()
    last_test = ""
    for _ in range(60):
        watch.look(belief)
        rank = partial(
            rank_steps,
            [FamilyState(family, belief)],
            settings=truck.settings,
            access_groups=knowledge.access_groups,
            history=history,
        )
        progress = _progress(done, made, here, repaired, last_test)
        steps = rank(progress=replace(progress, facts=facts))
        step = first_of(steps)
        if (step is None or step.step.startswith("search_")) and not facts.marks:
            told = _as_the_stops_ask(family, steps)
            if told.marks:
                facts = told
                steps = rank(progress=replace(progress, facts=facts))
        if log.warned < 0 and any(s.step.startswith("search_") for s in steps):
            log.warned = truck.bill.usd
        step = first_of(steps)
        if step is None or step.step.startswith("search_"):
            break
        log.steps.append(step.step)
        log.again += len(log.steps) >= 3 and len(set(log.steps[-3:])) == 1
        if step.kind == "repair":
            gone = renew(truck, step)
            for cause in (step.step, *step.along):
                belief = belief.after_repair(cause, None)
            if gone:
                return _ended(truck, watch, log, searched=False)
            belief = belief.after_outcome(False)
            repaired = (*repaired, step.step, *step.along)
            done, last_test = {t: found for t, found in done.items() if not found}, ""
            here.clear()
            log.looked += 1
            log.unlisted += belief.unlisted() - (UNLISTED in truck.faults)
        else:
            test = family.test(step.step)
            assert test is not None
            again = test.id in belief.results
            outcome = truck.test_again(test) if again else truck.test(test)
            belief = belief.after_test(test, outcome, by="another hand" if again else "")
            done[test.id] = outcome != test.outcomes[-1]
            made.append(test.id)
            here.append(test.id)
            last_test = test.id
    truck.search()
    return _ended(truck, watch, log, searched=True)


def _as_the_stops_ask(family: Family, steps: Sequence[Step]) -> Facts:
    """Return the words that lift the stops of a list, where a word does."""
    standing = {s.step for s in steps if s.kind == "safety"}
    asked = [a for stop in family.stops if stop.id in standing for a in stop.until]
    words = {w: a.seen for a in asked if a.kind == "clue" for w in a.ids}
    return Facts(tuple(Mark(k, 0, "clue", w, seen) for k, (w, seen) in enumerate(words.items())))


def _progress(
    done: dict[str, bool],
    made: list[str],
    here: list[str],
    repaired: tuple[str, ...],
    last_test: str,
) -> Progress:
    return Progress(
        tests=frozenset(done),
        repaired=repaired,
        last_test=last_test,
        made=tuple(made),
        here=tuple(here),
    )


def habit(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Ended:
    """Parts in the order of the pack's shares."""
    causes = sorted(truck.world.family.causes, key=lambda c: -c.prior)
    for cause in causes[:MOST_REPAIRS]:
        if truck.repair(cause.id):
            return _ended(truck, Watch(truck), Log(), searched=False)
    truck.search()
    return _ended(truck, Watch(truck), Log(), searched=True)


def simple_rule(after: int) -> Policy:
    """Return: cheap tests first, then probability over cost, search after so many vain repairs."""

    def rule(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Ended:
        tests = [
            t for t in truck.world.family.tests if price_of_test(t, truck.settings) <= CHEAP_USD
        ]
        return _by_worth(truck, knowledge, model, tests, after)

    return rule


def everything(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> Ended:
    """Every test of the family, then probability over cost."""
    tests = list(truck.world.family.tests)
    return _by_worth(truck, knowledge, model, tests, MOST_REPAIRS)


def _by_worth(
    truck: Truck, knowledge: Knowledge, model: FamilyModel, tests: list, after: int
) -> Ended:
    belief, watch = start_belief(truck, knowledge, model), Watch(truck)
    family = truck.world.family
    for test in sorted(tests, key=lambda t: price_of_test(t, truck.settings)):
        belief = belief.after_test(test, truck.test(test))
    usd = np.array([repair_usd(c, family, truck.settings, c.minutes) for c in family.causes])
    left = np.ones(len(usd), dtype=bool)
    for _ in range(min(after, len(usd))):
        watch.look(belief)
        worth = np.where(left, belief.marginals() / usd, -1.0)
        number = int(np.argmax(worth))
        left[number] = False
        cause = family.causes[number].id
        if truck.repair(cause):
            return _ended(truck, watch, Log(), searched=False)
        belief = belief.after_repair(cause, False)
    truck.search()
    return _ended(truck, watch, Log(), searched=True)


def knowing(truck: Truck, _knowledge: Knowledge, _model: FamilyModel) -> Ended:
    """Only the parts that are at fault, without a test."""
    mend_what_is_wrong(truck)
    return _ended(truck, Watch(truck), Log(), searched=bool(truck.faults))


SIMPLE = ("habit order", *(f"simple rule, {n}" for n in AFTER), "test everything")
POLICIES: dict[str, Policy] = {
    "ours": ours,
    "habit order": habit,
    **{f"simple rule, {n}": simple_rule(n) for n in AFTER},
    "test everything": everything,
    "all-knowing": knowing,
}


def _ended(truck: Truck, watch: Watch, log: Log, *, searched: bool) -> Ended:
    bill = truck.bill
    counts = []
    for noted in (watch.said, watch.plain):
        counts += [len(noted), sum(not true for true in noted.values())]
    return Ended(
        bill.usd,
        bill.needless,
        bill.repairs,
        searched,
        *counts,
        log.warned,
        log.unlisted,
        log.looked,
        log.again,
        len(log.steps),
    )
