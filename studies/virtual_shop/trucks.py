"""Trucks with hidden faults: drawn from other shares and other likelihoods than the packs'."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from studies.virtual_shop.other_fuel import TESTS, fuel_results, with_faults

from witnessmark.inference.evidence import Clue
from witnessmark.knowledge import Family, Knowledge, Test
from witnessmark.model.settings import Settings
from witnessmark.planner.costs import price_of_test, remeasure_minutes, repair_usd

__all__ = ["Bill", "Truck", "World", "draw_truck"]

#: How far the truth is from the packs: standard deviation of a cause's log share, and of the log
#: odds of every test result given every cause.
SHARE_LOG_SD, TEST_LOGIT_SD, CLUE_LOG_SD = 0.5, 0.5, 0.4
#: Trucks with one, two and three faults.
FAULTS = (0.84, 0.13, 0.03)
#: A clue of the family is known at check-in with this chance.
CLUE_KNOWN = 0.5


@dataclass(frozen=True)
class World:
    """The truth of one family: shares, test rows and clue multipliers that are not the pack's."""

    family: Family
    shares: np.ndarray
    rows: dict[str, dict[str, np.ndarray]]
    base: dict[str, np.ndarray]
    clues: dict[str, dict[str, float]]

    @classmethod
    def of(cls, family: Family, knowledge: Knowledge, rng: np.random.Generator) -> World:
        """Draw the truth of a family around the pack."""
        prior = np.array([c.prior for c in family.causes])
        shares = prior * np.exp(SHARE_LOG_SD * rng.standard_normal(prior.size))
        rows, base = {}, {}
        for test in family.tests:
            base[test.id] = _moved(np.array(test.base), rng)
            rows[test.id] = {c.id: _moved(np.array(test.row(c.id)), rng) for c in family.causes}
        clues: dict[str, dict[str, float]] = {}
        for cause in family.causes:
            for name, factor in cause.odds_multipliers.items():
                if not knowledge.conditions[name].part_scoped:
                    true = factor * np.exp(CLUE_LOG_SD * rng.standard_normal())
                    clues.setdefault(name, {})[cause.id] = float(true)
        return cls(family, shares / shares.sum(), rows, base, clues)

    def chances(self, test: Test, faults: frozenset[str]) -> np.ndarray:
        """Return P(outcome) with these faults: nothing is found only if none of them shows."""
        base = self.base[test.id]
        if not faults:
            return base
        rows = [self.rows[test.id][c] for c in sorted(faults)]
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
    bill: Bill = field(default_factory=Bill)
    tries: dict[str, int] = field(default_factory=dict)

    def fresh(self) -> Truck:
        """Return the same truck as it came in."""
        return Truck(self.world, self.faults, self.clues, self.seed, self.settings)

    def test(self, test: Test) -> str:
        """Do a test, pay for it, return its outcome id."""
        rng = self._rng(f"test {test.id} {sorted(self.faults)}")
        self._pay(price_of_test(test, self.settings), test.minutes.typical, rng)
        self.bill.tests += 1
        if self.world.family.id == "fuel_low" and test.id in TESTS:
            circuit = with_faults(self.faults, self._rng("circuit"))
            return fuel_results(circuit, rng)[test.id]
        chances = self.world.chances(test, self.faults)
        return test.outcomes[int(rng.choice(chances.size, p=chances / chances.sum()))]

    def repair(self, identity: str) -> bool:
        """Renew a part, measure again, return whether the complaint is gone."""
        cause = self.world.family.cause(identity)
        assert cause is not None
        self.tries[identity] = self.tries.get(identity, 0) + 1
        rng = self._rng(f"repair {identity} {self.tries[identity]}")
        minutes = remeasure_minutes(self.world.family, self.settings) + cause.minutes.typical
        self._pay(repair_usd(cause, self.world.family, self.settings, cause.minutes), minutes, rng)
        self.bill.repairs += 1
        luck = rng.random()
        if identity not in self.faults:
            self.bill.needless += 1
            return bool(luck < cause.p_cured_if_not)
        if luck < cause.p_cured_if_cause:
            self.faults -= {identity}
        return not self.faults

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
            cause = family.cause(identity)
            assert cause is not None
            self.bill.usd += repair_usd(cause, family, settings, cause.minutes)
            self.bill.hours += (cause.minutes.typical + remeasure_minutes(family, settings)) / 60

    def _pay(self, usd: float, minutes: float, rng: np.random.Generator) -> None:
        factor = float(np.exp(0.25 * rng.standard_normal() - 0.03125))
        self.bill.usd += usd * factor
        self.bill.hours += minutes / 60.0 * factor

    def _rng(self, what: str) -> np.random.Generator:
        return np.random.default_rng([self.seed, *what.encode()])


def hours_usd(settings: Settings) -> float:
    """Return the labour of an open-ended search [USD]."""
    return settings.search_minutes / 60.0 * settings.labour_usd_per_hour


def draw_truck(
    world: World, knowledge: Knowledge, seed: int, settings: Settings | None = None
) -> Truck:
    """Draw a truck with one to three faults and the clues that are known at check-in."""
    rng = np.random.default_rng(seed)
    causes = world.family.causes
    number = 1 + int(rng.choice(3, p=FAULTS))
    drawn = rng.choice(len(causes), size=number, replace=False, p=world.shares)
    faults = frozenset(causes[int(k)].id for k in drawn)
    clues = []
    for name, factors in sorted(world.clues.items()):
        if rng.random() >= CLUE_KNOWN:
            continue
        rate = knowledge.conditions[name].base_rate
        odds = rate / (1.0 - rate)
        for fault in faults:
            odds *= factors.get(fault, 1.0)
        clues.append(Clue(name, bool(rng.random() < odds / (1.0 + odds))))
    return Truck(world, faults, tuple(clues), seed, settings or Settings())


def _moved(row: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    moved = row * np.exp(TEST_LOGIT_SD * rng.standard_normal(row.size))
    return np.asarray(np.clip(moved / moved.sum(), 1e-3, 1.0))
