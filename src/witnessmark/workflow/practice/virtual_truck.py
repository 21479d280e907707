"""A virtual truck: what is wrong with it, and how it answers looks, tests and repairs.

Its fault is drawn from the packs' shares and its answers from the packs' rows, both moved a little
(log odds by 0.5 and 0.3), so that the packs are good advice and not the key to the answers. An
answer depends on the truck and the test alone: asked again by the same hand it is the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from witnessmark.knowledge import Family, Test

__all__ = ["VirtualTruck", "drawn_cause"]

#: Standard deviations of the log odds (judgement).
_SHARES, _ROWS = 0.5, 0.3


@dataclass(frozen=True, slots=True)
class VirtualTruck:
    """A truck of the mind.

    Attributes:
        seed: whose draws these are.
        families: family -> what is wrong there, a cause id.
    """

    seed: int
    families: Mapping[str, str]

    def result(self, family: Family, test: Test) -> str:
        """Return what a look or test shows, an outcome id of the test."""
        chance = _chance(self.seed, family.id, test.id)
        row = np.log(np.asarray(test.row(self.families[family.id])))
        odds = np.exp(row + _ROWS * chance.standard_normal(row.size))
        return str(test.outcomes[int(chance.choice(odds.size, p=odds / odds.sum()))])

    def shows(self, family: str, clue: str, base_rate: float, factor: float) -> bool:
        """Return whether a clue is there: as often as its base rate and the cause's weight say."""
        chance = _chance(self.seed, family, f"clue {clue}")
        return bool(chance.random() < min(0.95, base_rate * factor))

    def cured_by(self, family: str, cause: str) -> bool:
        """Say whether putting a cause right ends the complaint."""
        return self.families[family] == cause


def drawn_cause(family: Family, seed: int) -> str:
    """Return the cause that is hidden in a truck of this complaint."""
    chance = _chance(seed, family.id, "")
    odds = np.log(np.asarray([c.prior for c in family.causes]))
    odds = np.exp(odds + _SHARES * chance.standard_normal(odds.size))
    return str(family.causes[int(chance.choice(odds.size, p=odds / odds.sum()))].id)


def _chance(seed: int, family: str, what: str) -> np.random.Generator:
    text = f"{seed}/{family}/{what}".encode()
    return np.random.default_rng(int.from_bytes(hashlib.sha256(text).digest()[:8], "big"))
