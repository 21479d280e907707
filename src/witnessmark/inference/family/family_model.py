"""A family made ready for computing: its likelihoods over every set of causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from witnessmark.inference.family.half_tables import HalfTables
from witnessmark.inference.family.learnt_tests import learnt_rows, learnt_tests
from witnessmark.inference.family.likelihood import (
    JUDGED_LOG_SD,
    Floats,
    MaxRow,
    as_known,
    joint_likelihood,
    max_row,
    outcome_weights,
    present,
    support_likelihood,
)
from witnessmark.inference.shop_history import PSEUDO_CASES, shares
from witnessmark.knowledge import Condition, Family, Link, Test
from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.shop_record import History

__all__ = ["DEPENDENT_WEIGHTS", "FamilyModel"]

#: Weight of the second-strongest of several tests that see the same thing, and of any further.
DEPENDENT_WEIGHTS = (1.0, 0.5, 0.25)


class FamilyModel:
    """A family made ready for computing: likelihood tables over all sets of causes.

    Args:
        family: the family.
        conditions: condition id -> condition.
        history: the shop's own closings, which move the shares of the causes and the tables of
            the tests.
        links: faults that make two complaints; a repair in another family that is linked to a
            cause here may have dealt with that cause too.
    """

    def __init__(
        self,
        family: Family,
        conditions: Mapping[str, Condition] | None = None,
        history: History | None = None,
        links: Sequence[Link] = (),
    ) -> None:
        self.family = family
        self.links = tuple(links)
        self.history = history
        self.conditions = conditions or {}
        self.causes = tuple(c.id for c in family.causes)
        self.number = {c: i for i, c in enumerate(self.causes)}
        self._rows: dict[str, MaxRow] = {}
        self._halves: dict[str, HalfTables] = {}
        self._factors: dict[tuple[str, str, float], Floats] = {}

    @property
    def present(self) -> Floats:
        """Return which cause is present in which state, shape (n, 2**n + 1)."""
        return present(len(self.causes))

    def known(self, test: Test) -> Test:
        """Return the test as well as its table is known here."""
        return self.tests.get(test.id) or as_known(test)

    def row(self, test: Test) -> MaxRow:
        """Return the test as noisy-MAX."""
        if test.id not in self._rows:
            self._rows[test.id] = max_row(self.known(test), self.causes)
        return self._rows[test.id]

    def chances(self, test: Test) -> Floats:
        """Return P(outcome | state), shape (outcomes, states)."""
        return self.halves(test).every()

    def halves(self, test: Test) -> HalfTables:
        """Return P(outcome | state) as an outer product."""
        if test.id not in self._halves:
            self._halves[test.id] = HalfTables.of(self.row(test))
        return self._halves[test.id]

    def factor(self, test: Test, result: str, weight: float) -> Floats:
        """Return the likelihood over states of a recorded result."""
        key = (test.id, result, weight)
        if key not in self._factors:
            trust = outcome_weights(self.known(test), result, weight)
            self._factors[key] = self.halves(test).weighted(trust)
        return self._factors[key]

    def support(self, support: Support | JointSupport) -> Floats:
        """Return the likelihood over states of a finding."""
        if isinstance(support, JointSupport):
            return joint_likelihood(support, self.causes)
        return support_likelihood(support, self.causes)

    def twins(self, cause: str) -> list[int]:
        """Return the numbers of the causes here that are linked to a cause of another family."""
        linked = {
            c
            for link in self.links
            for mine, other in ((link.causes, link.other), (link.other, link.causes))
            if cause in other
            for c in mine
        }
        return [self.number[c] for c in self.causes if c in linked]

    @cached_property
    def share(self) -> Mapping[str, float]:
        """Cause id -> share among the cases with one cause: the pack's and the shop's own."""
        priors = {c.id: c.prior for c in self.family.causes}
        if self.history is None or not self.history.closings:
            return priors
        return shares(self.history, self.family.id, priors).prior()

    @cached_property
    def share_doubt(self) -> Mapping[str, float]:
        """Cause id -> standard deviation of the log odds of its share; 0 where it is measured."""
        own = 0.0
        if self.history is not None and self.history.closings:
            priors = {c.id: c.prior for c in self.family.causes}
            own = shares(self.history, self.family.id, priors).weight
        judged = JUDGED_LOG_SD * _narrowed(own)
        return {c.id: judged if c.source.kind == "judgement" else 0.0 for c in self.family.causes}

    def row_doubt(self, test: Test) -> Mapping[str, float]:
        """Return cause id (empty for the base) -> doubt of the test's row, as a log odds."""
        judged = JUDGED_LOG_SD if test.source.kind == "judgement" else 0.0
        own = self._results.get(test.id, {})
        narrowed = {c: judged * _narrowed(float(own[c].sum())) for c in own}
        return {"": judged, **dict.fromkeys(self.causes, judged), **narrowed}

    @cached_property
    def _results(self) -> Mapping[str, Mapping[str, Floats]]:
        return learnt_rows(self.history, self.family)

    @cached_property
    def tests(self) -> Mapping[str, Test]:
        """Test id -> the test as well as its table is known, moved by the shop's own closings."""
        judged = replace(self.family, tests=tuple(as_known(t) for t in self.family.tests))
        return {t.id: t for t in judged.tests} | learnt_tests(self.history, judged)

    @cached_property
    def neighbours(self) -> dict[str, frozenset[str]]:
        """Test id -> the tests that see the same thing."""
        found: dict[str, set[str]] = {}
        for group in self.family.dependent_tests:
            for test in group:
                found.setdefault(test, set()).update(g for g in group if g != test)
        return {k: frozenset(v) for k, v in found.items()}

    def weights(self, results: Mapping[str, str], halved: frozenset[str]) -> dict[str, float]:
        """Return the weight of each recorded test: the strongest of dependent tests counts whole.

        Args:
            results: test id -> result id.
            halved: tests that a physical finding has already used.
        """
        strength = {t: self._strength(t, r) for t, r in results.items()}
        weights = {}
        for test in results:
            stronger = sum(
                (strength[o], o) > (strength[test], test)
                for o in self.neighbours.get(test, ())
                if o in strength
            ) + (test in halved)
            weights[test] = DEPENDENT_WEIGHTS[min(stronger, len(DEPENDENT_WEIGHTS) - 1)]
        return weights

    def _strength(self, identity: str, result: str) -> float:
        record = self.family.test(identity)
        if record is None:
            return 0.0
        test = self.known(record)
        chance = np.asarray([test.base, *test.probability.values()]) @ outcome_weights(test, result)
        return float(np.log(chance.max() / chance.min()))


def _narrowed(own: float) -> float:
    """Return what is left of a judged figure's doubt beside the shop's own proven closings."""
    return float(np.sqrt(PSEUDO_CASES / (PSEUDO_CASES + own)))
