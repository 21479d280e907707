"""A result read once more by another hand or instrument before a dear repair rests on it.

The odds count that a result may be misread (``inference/family/misreading.py``). Where a dear part
leads because of one result, the same test by another person is itself a test: it errs by itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Test
from witnessmark.knowledge.rules import Stop
from witnessmark.model.settings import Settings
from witnessmark.planner.ranking.costs import price_of_test

__all__ = ["checks_that_disagree", "test_to_repeat"]

#: A repair is dear from here on [USD], where it leads with at least so much.
DEAR_USD, LEADS_FROM = 600.0, 0.30
#: Reading again costs at most this share of the repair.
SHARE = 0.15
#: The result is so many times likelier with the leading cause than without any.
POINTS = 2.0


def test_to_repeat(
    family_tests: Sequence[Test],
    results: Mapping[str, tuple[str, float]],
    made_here: Sequence[str],
    leader: tuple[str, float, float],
    settings: Settings,
) -> str:
    """Return the test that is worth reading again, empty for none.

    Args:
        family_tests: tests of the family.
        results: test id -> (result, weight) at this stage.
        made_here: every test recorded at this stage, once for each time; one that was read twice
            is not asked for a third time.
        leader: (cause id, P(present), cost of its repair [USD]) of the likeliest cause.
        settings: the shop's rates.
    """
    cause, chance, usd = leader
    if chance < LEADS_FROM or usd < DEAR_USD:
        return ""
    worth: dict[str, float] = {}
    for test in family_tests:
        result, weight = results.get(test.id, ("maybe", 0.0))
        if result == "maybe" or weight < 1.0 or list(made_here).count(test.id) != 1:
            continue
        if price_of_test(test, settings) > SHARE * usd:
            continue
        told = _chance(test, test.row(cause), result) / _chance(test, test.base, result)
        if told >= POINTS:
            worth[test.id] = told
    return max(worth, key=lambda t: worth[t], default="")


def checks_that_disagree(
    stops: Sequence[Stop], results: Mapping[str, str], made_here: Sequence[str]
) -> frozenset[str]:
    """Return the checks of a stop that found something where another of its checks lifts it.

    A stick that stands high with a sample free of fuel: the level is set right and the stick read
    once more, or the truck would stand for good on one glance.

    Args:
        stops: stops of the family.
        results: test id -> result at this stage.
        made_here: every test recorded at this stage, once for each time.
    """
    found: set[str] = set()
    for stop in stops:
        leaves = [leaf for part in stop.until for leaf in part.leaves() if leaf.kind == "test"]
        told = {leaf.ids[0]: results[leaf.ids[0]] in leaf.results for leaf in leaves
                if results.get(leaf.ids[0], "maybe") != "maybe"}  # fmt: skip
        if len(told) > 1 and any(told.values()):
            found |= {t for t, well in told.items() if not well and list(made_here).count(t) == 1}
    return frozenset(found)


def _chance(test: Test, row: Sequence[float], result: str) -> float:
    rows: npt.NDArray[np.float64] = np.asarray(row)
    return max(float(rows[list(test.outcome_set(result))].sum()), 1e-6)
