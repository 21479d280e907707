"""Trucks with two complaints: one fault felt twice, or two faults, repaired one way or another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from studies.virtual_shop.policies import MOST_REPAIRS, first_of, renew
from studies.virtual_shop.trucks import Truck, World, draw_truck

from witnessmark.inference.family.family_belief import Belief, FamilyModel, family_belief
from witnessmark.inference.family.links import link_factors
from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.knowledge import Knowledge, Link
from witnessmark.planner.order.progress import Progress
from witnessmark.planner.ranked_steps import FamilyState, rank_steps

__all__ = ["PAIR_POLICIES", "Pair", "PairRun", "draw_pair", "linked_pairs"]

#: Trucks whose two complaints have one fault.
ONE_FAULT = 0.5


@dataclass
class Pair:
    """One truck with two complaints.

    Attributes:
        trucks: family id -> the truck as that complaint sees it; both pay the same bill.
        twin: the one fault as (its name in the first family, in the second), ``None`` when the
            complaints have a fault each.
        models: family id -> its tables.
    """

    trucks: dict[str, Truck]
    twin: tuple[str, str] | None
    models: dict[str, FamilyModel]

    def fresh(self) -> Pair:
        """Return the same truck as it came in."""
        trucks = {f: t.fresh() for f, t in self.trucks.items()}
        first, second = trucks.values()
        second.bill = first.bill
        return Pair(trucks, self.twin, self.models)

    @property
    def open(self) -> list[str]:
        """Return the families whose complaint has not gone."""
        return [f for f, t in self.trucks.items() if t.faults]

    def mended(self) -> None:
        """Carry a cured twin over to the other complaint."""
        if self.twin is None:
            return
        sides = list(zip(self.twin, self.trucks.values(), strict=True))
        if any(name not in truck.faults for name, truck in sides):
            for name, truck in sides:
                truck.faults -= {name}

    def start(self) -> dict[str, Belief]:
        """Return the odds at check-in, family by family."""
        return {
            f: family_belief(t.world.family, StagedEvidence(t.clues), model=self.models[f])
            for f, t in self.trucks.items()
        }


@dataclass
class PairRun:
    """One truck under one policy."""

    usd: float
    hours: float
    needless: int
    gave_up: bool


def linked_pairs(knowledge: Knowledge) -> dict[tuple[str, str], list[Link]]:
    """Return the pairs of families that the packs link, with their links."""
    home = {c.id: f.id for f in knowledge.families.values() for c in f.causes}
    found: dict[tuple[str, str], list[Link]] = {}
    for link in knowledge.links:
        found.setdefault((home[link.causes[0]], home[link.other[0]]), []).append(link)
    return found


def draw_pair(
    families: tuple[str, str],
    links: list[Link],
    knowledge: Knowledge,
    models: dict[str, FamilyModel],
    seed: int,
) -> Pair:
    """Draw a truck with a complaint in each of two linked families."""
    rng = np.random.default_rng([seed, 7])
    worlds = [World.of(knowledge.families[f], knowledge, rng) for f in families]
    chosen: list[frozenset[str] | None] = [None, None]
    twin = None
    if rng.random() < ONE_FAULT:
        link = links[int(rng.integers(len(links)))]
        twin = tuple(
            _one(w, c, rng) for w, c in zip(worlds, (link.causes, link.other), strict=True)
        )
        chosen = [frozenset({name}) for name in twin]
    trucks = {
        f: draw_truck(w, knowledge, seed + 50_000 * k, faults=chosen[k])
        for k, (f, w) in enumerate(zip(families, worlds, strict=True))
    }
    return Pair(trucks, twin, {f: models[f] for f in families})


def _one(world: World, causes: tuple[str, ...], rng: np.random.Generator) -> str:
    names = [c.id for c in world.family.causes]
    share = np.array([world.shares[names.index(c)] for c in causes])
    return causes[int(rng.choice(share.size, p=share / share.sum()))]


def habit(pair: Pair, _knowledge: Knowledge) -> PairRun:
    """One complaint after the other, parts in the order of the packs' shares."""
    gave_up = False
    for family in list(pair.trucks):
        causes = sorted(pair.trucks[family].world.family.causes, key=lambda c: -c.prior)
        gave_up |= _renewed_in_order(pair, family, [c.id for c in causes])
    return _run(pair, gave_up)


def everything(pair: Pair, _knowledge: Knowledge) -> PairRun:
    """One complaint after the other, every test of its family, then the likeliest part."""
    gave_up = False
    beliefs = pair.start()
    for family, truck in pair.trucks.items():
        if not truck.faults:
            continue
        belief = beliefs[family]
        for test in truck.world.family.tests:
            belief = belief.after_test(test, truck.test(test))
        order = [belief.causes[k] for k in np.argsort(-belief.marginals())]
        gave_up |= _renewed_in_order(pair, family, order)
    return _run(pair, gave_up)


def one_by_one(pair: Pair, knowledge: Knowledge) -> PairRun:
    """Ours for one complaint after the other, as if the other had not been said."""
    gave_up = False
    beliefs = pair.start()
    for family in list(pair.trucks):
        if pair.trucks[family].faults:
            gave_up |= _ours(pair, {family: beliefs[family]}, knowledge)
    return _run(pair, gave_up)


def together(pair: Pair, knowledge: Knowledge) -> PairRun:
    """Ours for both complaints together, as the case page plans them."""
    return _run(pair, _ours(pair, pair.start(), knowledge))


def knowing(pair: Pair, _knowledge: Knowledge) -> PairRun:
    """Only what is at fault, without a test."""
    for truck in pair.trucks.values():
        for fault in sorted(truck.faults):
            for _ in range(5):
                if fault in truck.faults:
                    truck.repair(fault) if truck.world.family.cause(fault) else truck.mend(fault)
            pair.mended()
    return _run(pair, bool(pair.open))


PAIR_POLICIES: dict[str, Callable[[Pair, Knowledge], PairRun]] = {
    "habit order, one after the other": habit,
    "test everything, one after the other": everything,
    "ours, one after the other": one_by_one,
    "ours, both planned together": together,
    "all-knowing": knowing,
}


def _ours(pair: Pair, beliefs: dict[str, Belief], knowledge: Knowledge) -> bool:
    """Follow what is proposed first until the complaints are gone; say whether it gave up."""
    done: dict[str, bool] = {}
    repaired: tuple[str, ...] = ()
    last_test, gave_up = "", False
    waiting = set(beliefs)
    for _ in range(90):
        factors = link_factors(knowledge.links, beliefs)
        joined = {f: b.reweighted(factors[f]) if f in factors else b for f, b in beliefs.items()}
        steps = rank_steps(
            [FamilyState(pair.trucks[f].world.family, joined[f]) for f in beliefs if f in waiting],
            access_groups=knowledge.access_groups,
            links=knowledge.links,
            progress=Progress(tests=frozenset(done), repaired=repaired, last_test=last_test),
        )
        step = first_of(steps)
        if step is None:
            return gave_up
        truck = pair.trucks[step.family]
        if step.step.startswith("search_"):
            gave_up = True
            truck.search()
            pair.mended()
            waiting = {f for f in waiting if pair.trucks[f].faults}
            continue
        if step.kind == "repair":
            gone = {step.family} if renew(truck, step) else set()
            pair.mended()
            gone |= {f for f in waiting if not pair.trucks[f].faults}
            for family, belief in beliefs.items():
                after = belief
                for cause in (step.step, *step.along):
                    after = after.after_repair(cause, None)
                beliefs[family] = after.after_outcome(family in gone)
            waiting -= gone
            repaired = (*repaired, step.step, *step.along)
            done, last_test = {t: found for t, found in done.items() if not found}, ""
        else:
            test = truck.world.family.test(step.step)
            assert test is not None
            outcome = truck.test(test)
            beliefs[step.family] = beliefs[step.family].after_test(test, outcome)
            done[test.id] = outcome != test.outcomes[-1]
            last_test = test.id
        if not waiting:
            return gave_up
    for family in waiting:
        pair.trucks[family].search()
    return True


def _renewed_in_order(pair: Pair, family: str, order: list[str]) -> bool:
    truck = pair.trucks[family]
    for cause in order[:MOST_REPAIRS]:
        if not truck.faults:
            return False
        gone = truck.repair(cause)
        pair.mended()
        if gone:
            return False
    if truck.faults:
        truck.search()
        pair.mended()
        return True
    return False


def _run(pair: Pair, gave_up: bool) -> PairRun:
    bill = replace(next(iter(pair.trucks.values())).bill)
    return PairRun(bill.usd, bill.hours, bill.needless, gave_up)
