"""Three worlds in which invented trucks break, none of them the packs'.

A: the packs' shares and tables, every log odds moved by a standard deviation of 0.85. B: every
cause as likely as every other, the packs' tables, and eight results in a hundred written down
wrong. C: a world of other equations: what tests see hangs together through hidden normal scores of
the truck (no noisy-OR, no signs), the same misreading runs through all tests of one kind, new parts
may be bad, work may go wrong, and a complaint that went away by luck comes back and costs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from studies.virtual_shop.trucks import Distance, Truck, World, draw_truck

from witnessmark.knowledge import Family, Knowledge, Test

__all__ = ["WORLDS", "draw", "moved_world", "world_of"]

WORLDS = ("A", "B", "C")
#: World A: standard deviation of every log odds.
MOVED = 0.85
#: World B: results written down wrong.
MISREAD = 0.08
#: World C: correlation of the hidden scores of tests that a pack calls dependent, and of any two.
ALIKE, ANY_TWO = 0.6, 0.15
#: World C: P(new part bad), P(wrong work), P(a cure by luck comes back), and what a comeback
#: costs besides the work [USD]; results written down wrong.
BAD_PART, WRONG_WORK, COMES_BACK, COMEBACK_USD, MISREAD_C = 0.03, 0.04, 0.75, 250.0, 0.04
_NORMAL = NormalDist()


def world_of(name: str, family: Family, knowledge: Knowledge, rng: np.random.Generator) -> World:
    """Return the truth of one shop for one family."""
    if name == "A":
        return moved_world(family, knowledge, rng, MOVED)
    if name == "B":
        world = World.of(family, knowledge, rng, Distance(0.0, 0.0, 0.0))
        return replace(world, shares=np.full(len(family.causes), 1.0 / len(family.causes)))
    return World.of(family, knowledge, rng, Distance(0.4, 0.3, 0.4))


def moved_world(family: Family, knowledge: Knowledge, rng: np.random.Generator, sd: float) -> World:
    """Return a truth whose every log odds is moved from the pack's by a standard deviation."""
    world = World.of(family, knowledge, rng, Distance(0.0, 0.0, 0.4))
    moved = np.array([c.prior for c in family.causes])
    moved = _moved(moved / moved.sum(), rng, sd)
    rows = {t: {c: _moved(r, rng, sd) for c, r in by.items()} for t, by in world.rows.items()}
    base = {t: _moved(row, rng, sd) for t, row in world.base.items()}
    return replace(world, shares=moved / moved.sum(), rows=rows, base=base)


def draw(name: str, world: World, knowledge: Knowledge, seed: int) -> Truck:
    """Return one truck of a world."""
    truck = draw_truck(world, knowledge, seed)
    kind = {"A": PlainTruck, "B": MisreadTruck, "C": OddTruck}[name]
    return kind(truck.world, truck.faults, truck.clues, truck.seed, truck.settings, truck.groups)


def _moved(row: np.ndarray, rng: np.random.Generator, sd: float) -> np.ndarray:
    """Return probabilities with the log odds of each moved, scaled to one again."""
    inside = np.clip(row, 1e-4, 1.0 - 1e-4)
    odds = np.log(inside / (1.0 - inside)) + sd * rng.standard_normal(row.size)
    moved = 1.0 / (1.0 + np.exp(-odds))
    return np.asarray(np.clip(moved / moved.sum(), 1e-3, 1.0))


@dataclass
class MisreadTruck(Truck):
    """A truck whose results are sometimes written down wrong."""

    wrong = MISREAD
    hand = 0

    def fresh(self) -> Truck:
        """Return the same truck as it came in."""
        kept = (self.world, self.faults, self.clues, self.seed, self.settings, self.groups)
        return type(self)(*kept)

    def test(self, test: Test) -> str:
        """Do a test; now and then another result is written down than was there."""
        seen = super().test(test)
        rng = self.draws(f"misread {test.id} {sorted(self.faults)} {self.hand}")
        if rng.random() >= self.wrong:
            return seen
        others = [o for o in test.outcomes if o != seen]
        return others[int(rng.integers(len(others)))]

    def test_again(self, test: Test) -> str:
        """Do a test once more by another hand: the truck is the same, the misreading is not."""
        self.hand += 1
        seen = self.test(test)
        self.hand -= 1
        return seen


@dataclass
class PlainTruck(MisreadTruck):
    """A truck whose results are written down as they are."""

    wrong = 0.0


@dataclass
class OddTruck(MisreadTruck):
    """A truck whose tests hang together by hidden scores and whose repairs are imperfect."""

    wrong = MISREAD_C

    def test(self, test: Test) -> str:
        """Do a test: its outcome is where a hidden score of the truck falls."""
        # The money is paid as everywhere; only the result is another.
        MisreadTruck.test(self, test)
        chances = np.cumsum(self.world.chances(test, self.faults)[::-1])
        place = _NORMAL.cdf(self._score(test)) * float(chances[-1])
        number = len(test.outcomes) - 1 - int(np.searchsorted(chances, place))
        seen = test.outcomes[max(number, 0)]
        rng = self.draws(f"misread {test.id} {sorted(self.faults)} {self.hand}")
        if rng.random() >= self.wrong:
            return seen
        return test.outcomes[-1] if seen != test.outcomes[-1] else test.outcomes[0]

    def _score(self, test: Test) -> float:
        """Return the hidden score of a test: partly the truck's, partly its kin's, partly its own.

        It stays while the faults stay.
        """
        state = f"{sorted(self.faults)}"
        group = next(
            (k for k, g in enumerate(self.world.family.dependent_tests) if test.id in g), -1
        )
        truck = self.draws(f"score {state}").standard_normal()
        own = self.draws(f"score {test.id} {state}").standard_normal()
        kin = self.draws(f"score group {group} {state}").standard_normal() if group >= 0 else 0.0
        share = ALIKE - ANY_TWO if group >= 0 else 0.0
        rest = 1.0 - ANY_TWO - share
        return float(np.sqrt(ANY_TWO) * truck + np.sqrt(share) * kin + np.sqrt(rest) * own)

    def repair(self, identity: str, *, beside: str = "", measured: bool = True) -> bool:
        """Renew a part; it may be bad, the work may be wrong, and luck does not last."""
        before = self.faults
        gone = super().repair(identity, beside=beside, measured=measured)
        rng = self.draws(f"odd repair {identity} {self.tries[identity]}")
        fails = 1.0 - (1.0 - BAD_PART) * (1.0 - WRONG_WORK)
        if identity in before and identity not in self.faults and rng.random() < fails:
            self.faults |= {identity}
            return False
        if gone and self.faults and rng.random() < COMES_BACK:
            self.bill.usd += COMEBACK_USD
            self.bill.hours += 1.0
            return False
        return gone
