"""Trucks with hidden faults: drawn from other shares and other likelihoods than the packs'."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from studies.virtual_shop.other_fuel import TESTS, fuel_results, with_faults

from witnessmark.inference.family.staged_evidence import Clue
from witnessmark.knowledge import AccessGroup, Family, Knowledge, Test
from witnessmark.model.settings import Settings
from witnessmark.model.step import Spread
from witnessmark.planner.ranking.costs import (
    price_of_test,
    remeasure_minutes,
    repair_usd,
    shared_minutes,
)

__all__ = ["UNLISTED", "Bill", "Distance", "Truck", "World", "draw_truck"]

#: Trucks with one, two and three faults.
FAULTS = (0.84, 0.13, 0.03)
#: Trucks whose only fault no pack lists; no test sees it and no listed repair cures it.
UNLISTED, UNLISTED_SHARE = "unlisted", 0.03
#: A clue of the family is known at check-in with this chance.
CLUE_KNOWN = 0.5


@dataclass(frozen=True)
class Distance:
    """How far the truth is from the packs.

    Attributes:
        share: standard deviation of the log of a cause's share.
        test: of the log of each outcome of each row of each test, so that the log odds of a
            two-outcome row scatter by 1.4 times as much.
        clue: of the log of a clue's weight.
    """

    share: float = 0.5
    test: float = 0.5
    clue: float = 0.4

    def times(self, factor: float) -> Distance:
        """Return a truth nearer to the packs, or farther from them."""
        return Distance(factor * self.share, factor * self.test, factor * self.clue)


@dataclass(frozen=True)
class World:
    """The truth of one family: shares, test rows and clue multipliers that are not the pack's."""

    family: Family
    shares: np.ndarray
    rows: dict[str, dict[str, np.ndarray]]
    base: dict[str, np.ndarray]
    clues: dict[str, dict[str, float]]

    @classmethod
    def of(
        cls,
        family: Family,
        knowledge: Knowledge,
        rng: np.random.Generator,
        distance: Distance | None = None,
    ) -> World:
        """Draw the truth of a family around the pack."""
        far = distance or Distance()
        prior = np.array([c.prior for c in family.causes])
        shares = prior * np.exp(far.share * rng.standard_normal(prior.size))
        rows, base = {}, {}
        for test in family.tests:
            base[test.id] = _moved(np.array(test.base), rng, far.test)
            rows[test.id] = {
                c.id: _moved(np.array(test.row(c.id)), rng, far.test) for c in family.causes
            }
        clues: dict[str, dict[str, float]] = {}
        for cause in family.causes:
            for name, factor in cause.odds_multipliers.items():
                if not knowledge.conditions[name].part_scoped:
                    true = factor * np.exp(far.clue * rng.standard_normal())
                    clues.setdefault(name, {})[cause.id] = float(true)
        return cls(family, shares / shares.sum(), rows, base, clues)

    def chances(self, test: Test, faults: frozenset[str]) -> np.ndarray:
        """Return P(outcome) with these faults: nothing is found only if none of them shows."""
        base = self.base[test.id]
        rows = [self.rows[test.id][c] for c in sorted(faults) if c in self.rows[test.id]]
        if not rows:
            return base
        nothing = min(1.0, base[-1] * np.prod([r[-1] / base[-1] for r in rows]))
        found = np.sum([r[:-1] for r in rows], axis=0)
        return np.append(found / found.sum() * (1.0 - nothing), nothing)


@dataclass
class Bill:
    """What one truck has cost so far."""

    usd: float = 0.0
    hours: float = 0.0
    needless: int = 0
    repairs: int = 0
    tests: int = 0


@dataclass
class Truck:
    """One truck. Every draw depends on the truck and the action only, not on the policy."""

    world: World
    faults: frozenset[str]
    clues: tuple[Clue, ...]
    seed: int
    settings: Settings
    groups: Mapping[str, AccessGroup] = field(default_factory=dict)
    bill: Bill = field(default_factory=Bill)
    last_test: str = ""  # what it has opened is open still
    tries: dict[str, int] = field(default_factory=dict)

    def fresh(self) -> Truck:
        """Return the same truck as it came in."""
        return Truck(self.world, self.faults, self.clues, self.seed, self.settings, self.groups)

    def test(self, test: Test) -> str:
        """Do a test, pay for it, return its outcome id."""
        rng = self.draws(f"test {test.id} {sorted(self.faults)}")
        open_now = self._open_for(test.access_group, test.minutes)
        rate = self.settings.labour_usd_per_hour / 60.0
        usd = price_of_test(test, self.settings) - open_now * rate
        self._pay(usd, max(0.0, test.minutes.typical - open_now), rng)
        self.last_test = test.id
        self.bill.tests += 1
        if self.world.family.id == "fuel_low" and test.id in TESTS:
            circuit = with_faults(self.faults, self.draws("circuit"))
            return fuel_results(circuit, rng)[test.id]
        chances = self.world.chances(test, self.faults)
        return test.outcomes[int(rng.choice(chances.size, p=chances / chances.sum()))]

    def repair(self, identity: str, *, beside: str = "", measured: bool = True) -> bool:
        """Renew a part, measure again, return whether the complaint is gone.

        What the last test has opened need not be opened again, whoever decides what is done.

        Args:
            identity: cause id.
            beside: the repair through whose opening this one is made too.
            measured: without it the measurement comes after the next part of the same opening.
        """
        family, settings = self.world.family, self.settings
        cause = family.cause(identity)
        assert cause is not None
        self.tries[identity] = self.tries.get(identity, 0) + 1
        rng = self.draws(f"repair {identity} {self.tries[identity]}")
        saved = self._open_for(cause.access_group, cause.minutes)
        other = family.cause(beside)
        if other is not None and cause.access_group in self.groups:
            saved = shared_minutes(
                self.groups[cause.access_group].minutes, cause.minutes, other.minutes
            )
        self.last_test = ""
        again = 0.0 if measured else remeasure_minutes(family, settings)
        rate = settings.labour_usd_per_hour / 60.0
        usd = repair_usd(cause, family, settings, cause.minutes) - (saved + again) * rate
        minutes = remeasure_minutes(family, settings) - again + cause.minutes.typical
        self._pay(usd, max(0.0, minutes - saved), rng)
        self.bill.repairs += 1
        luck = rng.random()
        if identity not in self.faults:
            self.bill.needless += 1
            return bool(luck < cause.p_cured_if_not)
        if luck < cause.p_cured_if_cause:
            self.faults -= {identity}
        return not self.faults

    def spend(self, usd: float, minutes: float, what: str) -> None:
        """Pay for a measurement that is no test of the pack."""
        self._pay(usd, minutes, self.draws(what))
        self.bill.tests += 1

    def search(self) -> None:
        """Give up and search openly: its time, needless repairs, and what is really wrong."""
        family, settings = self.world.family, self.settings
        usd = [repair_usd(c, family, settings, c.minutes) for c in family.causes]
        share = np.array([c.prior for c in family.causes])
        needless = settings.search_needless * float(np.dot(usd, share) / share.sum())
        hours = settings.search_minutes / 60.0
        usual = float(np.dot([c.minutes.typical for c in family.causes], share) / share.sum())
        hours += settings.search_needless * usual / 60.0
        self.bill.usd += hours_usd(settings) + settings.search_usd + needless
        self.bill.hours += hours
        self.bill.needless += round(settings.search_needless)
        for identity in sorted(self.faults):
            self.mend(identity)

    def mend(self, identity: str) -> None:
        """Put a known fault right; one that is not listed costs what is usual in the family."""
        family, settings = self.world.family, self.settings
        cause = family.cause(identity)
        causes = family.causes if cause is None else (cause,)
        each = [repair_usd(c, family, settings, c.minutes) for c in causes]
        minutes = float(np.median([c.minutes.typical for c in causes]))
        self.bill.usd += float(np.median(each))
        self.bill.hours += (minutes + remeasure_minutes(family, settings)) / 60
        self.faults -= {identity}

    def _open_for(self, group: str, minutes: Spread) -> float:
        """Return the disassembly that the last test has spared this work [min]."""
        last = self.world.family.test(self.last_test)
        if last is None or group not in self.groups or last.access_group != group:
            return 0.0
        return shared_minutes(self.groups[group].minutes, minutes, last.minutes)

    def _pay(self, usd: float, minutes: float, rng: np.random.Generator) -> None:
        factor = float(np.exp(0.25 * rng.standard_normal() - 0.03125))
        self.bill.usd += usd * factor
        self.bill.hours += minutes / 60.0 * factor

    def draws(self, what: str) -> np.random.Generator:
        """Return the random numbers of one action on this truck."""
        return np.random.default_rng([self.seed, *what.encode()])


def hours_usd(settings: Settings) -> float:
    """Return the labour of an open-ended search [USD]."""
    return settings.search_minutes / 60.0 * settings.labour_usd_per_hour


def draw_truck(
    world: World,
    knowledge: Knowledge,
    seed: int,
    settings: Settings | None = None,
    *,
    faults: frozenset[str] | None = None,
) -> Truck:
    """Draw a truck with one to three faults and the clues that are known at check-in."""
    rng = np.random.default_rng(seed)
    causes = world.family.causes
    number = 1 + int(rng.choice(3, p=FAULTS))
    drawn = rng.choice(len(causes), size=number, replace=False, p=world.shares)
    lone = rng.random() < UNLISTED_SHARE
    if faults is None:
        faults = frozenset({UNLISTED} if lone else {causes[int(k)].id for k in drawn})
    clues = []
    for name, factors in sorted(world.clues.items()):
        if rng.random() >= CLUE_KNOWN:
            continue
        rate = knowledge.conditions[name].base_rate
        for fault in faults:
            rate *= factors.get(fault, 1.0)
        clues.append(Clue(name, bool(rng.random() < min(rate, 0.95))))
    groups = knowledge.access_groups
    return Truck(world, faults, tuple(clues), seed, settings or Settings(), groups)


def _moved(row: np.ndarray, rng: np.random.Generator, sd: float) -> np.ndarray:
    moved = row * np.exp(sd * rng.standard_normal(row.size))
    return np.asarray(np.clip(moved / moved.sum(), 1e-3, 1.0))
