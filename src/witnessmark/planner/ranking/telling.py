"""Which test tells the causes of a complaint apart best for the money, before anything is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from witnessmark.knowledge import Family, Test
from witnessmark.model.settings import Settings
from witnessmark.planner.ranking.costs import price_of_test

__all__ = ["Telling", "tellings"]

#: A look that costs nothing still takes a walk round the truck [USD] (judgement).
_LEAST_USD = 2.0


@dataclass(frozen=True, slots=True)
class Telling:
    """What one test tells, on the average, for its price.

    Attributes:
        test: test id.
        bits: mutual information between the cause and the result [bit].
        usd: its price by the shop's figures [USD].
    """

    test: str
    bits: float
    usd: float

    @property
    def for_the_money(self) -> float:
        """Return bits for 100 USD."""
        return 100.0 * self.bits / max(self.usd, _LEAST_USD)


def tellings(
    family: Family, shares: Mapping[str, float], tests: Mapping[str, Test], settings: Settings
) -> tuple[Telling, ...]:
    """Return the tests of a family, the one that tells most for the money first.

    Shannon's mutual information of cause and result, one cause at a time: it counts what a test
    parts, whichever cause it is. What a wrong part costs is left to the planner.

    Args:
        family: the family.
        shares: cause id -> share.
        tests: test id -> the test as well as its table is known.
        settings: the shop's figures.
    """
    whole = sum(shares.values()) or 1.0
    found = []
    for test in family.tests:
        rows = {c: tests.get(test.id, test).row(c) for c in shares}
        mix = [
            sum(p / whole * rows[c][k] for c, p in shares.items())
            for k in range(len(test.outcomes))
        ]
        bits = sum(
            p / whole * q * math.log2(q / mix[k])
            for c, p in shares.items()
            for k, q in enumerate(rows[c])
            if q > 0 and p > 0
        )
        found.append(Telling(test.id, max(bits, 0.0), price_of_test(test, settings)))
    return tuple(sorted(found, key=lambda t: (-t.for_the_money, t.test)))
