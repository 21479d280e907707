"""A family made ready for computing: its likelihoods over every set of causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import combinations

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.clue_hints import hint_of, true_with
from witnessmark.inference.family.half_tables import HalfTables
from witnessmark.inference.family.learnt_tests import learnt_rows, learnt_tests, pooled_rows
from witnessmark.inference.family.likelihood import (
    JUDGED_LOG_SD,
    Floats,
    MaxRow,
    as_known,
    joint_likelihood,
    joint_likelihood_at,
    max_row,
    present,
    support_likelihood,
)
from witnessmark.inference.family.prior import counted
from witnessmark.inference.family.signs import (
    SHARED_FROM,
    SharedSign,
    found_by,
    shared_by,
    signs_of,
)
from witnessmark.inference.family.staged_evidence import Clue
from witnessmark.inference.shop_history import PSEUDO_CASES, Shares, shares
from witnessmark.knowledge import Condition, Family, Link, Test
from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.shop_record import History

__all__ = ["PART_WEIGHT", "FamilyModel"]

#: Weight of a test beside another that sees the same thing without a sign for both, and of one
#: whose reading a physical finding has already used (judgement).
PART_WEIGHT = 0.5
#: Likelihoods of findings held at a time, with the finding so that its identity stays its own.
_SUPPORTS = 24
#: Families whose tables are held between cases.
_HELD = 64


@dataclass(frozen=True, slots=True, eq=False)
class FamilyTables:
    """What a family's tables come to in a shop, whatever the case: made once for all its cases.

    Attributes:
        family: the family.
        history: the shop's own closings.
        tests: test id -> the test as well as its table is known, moved by the shop's own closings.
        signs: what several tests and clues of the family see.
        sign_of: test id -> the sign that it reports.
        beside: test id -> tests that tell more of the same, where no sign holds both. What both
            find, or both do not find, counts half for the one that tells less.
        rows: test id -> the test as noisy-MAX; made when it is first asked for, as the next two.
        halves: test id -> P(outcome | state) of a test that shares nothing.
        branches: test id -> P(outcome | state) where its sign does not show, and where it does.
    """

    family: Family
    history: History | None
    tests: Mapping[str, Test]
    signs: tuple[SharedSign, ...]
    sign_of: Mapping[str, SharedSign]
    beside: Mapping[str, frozenset[str]]
    rows: dict[str, MaxRow] = field(default_factory=dict)
    halves: dict[str, HalfTables] = field(default_factory=dict)
    branches: dict[str, tuple[HalfTables, HalfTables]] = field(default_factory=dict)


_MADE: list[FamilyTables] = []


def _tables_of(family: Family, history: History | None) -> FamilyTables:
    for held in _MADE:
        if held.family is family and held.history is history:
            return held
    judged = replace(family, tests=tuple(as_known(t) for t in family.tests))
    tests = {t.id: t for t in judged.tests} | learnt_tests(history, judged)
    made = _made_of(family, history, tests)
    _MADE[:] = [*_MADE[1 - _HELD :], made]
    return made


def _made_of(family: Family, history: History | None, tests: Mapping[str, Test]) -> FamilyTables:
    signs = signs_of(family, tests)
    sign_of = {t: sign for sign in signs for t in sign.reporters}
    return FamilyTables(family, history, tests, signs, sign_of, _beside(family, tests, sign_of))


def _beside(
    family: Family, tests: Mapping[str, Test], sign_of: Mapping[str, SharedSign]
) -> dict[str, frozenset[str]]:
    causes = [c.id for c in family.causes]
    found: dict[str, set[str]] = {}
    for group in family.dependent_tests:
        here = [t for t in group if t in tests]
        reach = {t: _reach(tests[t], causes) for t in here}
        for test, other in combinations(sorted(here, key=lambda t: (reach[t], t)), 2):
            sign = sign_of.get(test)
            if sign is not None and other in sign.reporters:
                continue
            if shared_by([tests[test], tests[other]], causes) >= SHARED_FROM:
                found.setdefault(test, set()).add(other)
    return {t: frozenset(s) for t, s in found.items()}


def _reach(test: Test, causes: Sequence[str]) -> float:
    """Return the largest difference that finding something can make between two causes."""
    found = found_by(test, causes)
    return float(np.log(found.max() / found.min()))


class FamilyModel:
    """A family made ready for computing: likelihood tables over all sets of causes.

    Args:
        family: the family.
        conditions: condition id -> condition.
        history: the shop's own closings, which move the shares of the causes and the tables of
            the tests.
        links: faults that make two complaints; a repair in another family that is linked to a
            cause here may have dealt with that cause too.
        tests: test id -> the test as well as its table is known, where that is not what the
            family and the history say.
    """

    def __init__(
        self,
        family: Family,
        conditions: Mapping[str, Condition] | None = None,
        history: History | None = None,
        links: Sequence[Link] = (),
        tests: Mapping[str, Test] | None = None,
    ) -> None:
        self.family = family
        self.links = tuple(links)
        self.history = history
        self.conditions = conditions or {}
        self.causes = tuple(c.id for c in family.causes)
        self.number = {c: i for i, c in enumerate(self.causes)}
        self._supports: dict[int, tuple[Support, Floats]] = {}
        self._tables = (
            _tables_of(family, history) if tests is None else _made_of(family, history, tests)
        )
        self.tests = self._tables.tests
        self.signs = self._tables.signs
        self.sign_of = self._tables.sign_of
        self.beside = self._tables.beside
        self._shows: dict[tuple[str, float], Floats] = {}
        self._factors: dict[tuple[object, ...], Floats] = {}

    @property
    def present(self) -> Floats:
        """Return which cause is present in which state, shape (n, 2**n + 1)."""
        return present(len(self.causes))

    def known(self, test: Test) -> Test:
        """Return the test as well as its table is known here."""
        return self.tests.get(test.id) or as_known(test)

    def row(self, test: Test) -> MaxRow:
        """Return the test as noisy-MAX."""
        if test.id not in self._tables.rows:
            self._tables.rows[test.id] = max_row(self.known(test), self.causes)
        return self._tables.rows[test.id]

    def chances(self, test: Test) -> Floats:
        """Return P(outcome | state), read rightly, shape (outcomes, states)."""
        sign = self.sign_of.get(test.id)
        if sign is None:
            return self.halves(test).every()
        shows = self.shows(sign)
        absent, shown = self.branches(test)
        return np.asarray((1.0 - shows) * absent.every() + shows * shown.every())

    def halves(self, test: Test) -> HalfTables:
        """Return P(outcome | state) as an outer product, of a test that shares nothing."""
        if test.id not in self._tables.halves:
            self._tables.halves[test.id] = HalfTables.of(self.row(test))
        return self._tables.halves[test.id]

    def branches(self, test: Test) -> tuple[HalfTables, HalfTables]:
        """Return P(outcome | state) of a test where its sign does not show, and where it does."""
        if test.id not in self._tables.branches:
            reporter = self.sign_of[test.id].reporters[test.id]
            self._tables.branches[test.id] = (
                HalfTables.of(reporter.absent),
                HalfTables.of(reporter.shown),
            )
        return self._tables.branches[test.id]

    def pieces(self, test: Test) -> list[tuple[float, HalfTables]]:
        """Return P(outcome | state) as a sum of outer products, each with its sign."""
        sign = self.sign_of.get(test.id)
        if sign is None:
            return [(1.0, self.halves(test))]
        absent, shown = self.branches(test)
        background, factors = sign.silence()
        hidden = (background, factors, 1.0 - sign.base)
        return [(1.0, absent.scaled(*hidden)), (-1.0, shown.scaled(*hidden)), (1.0, shown)]

    def factor(self, test: Test, trust: Floats) -> Floats:
        """Return the likelihood over states of a test that shares nothing.

        Args:
            test: the test.
            trust: weight of every outcome.
        """
        key = (test.id, *trust.tolist())
        if key not in self._factors:
            self._factors[key] = self.halves(test).weighted(trust)
        return self._factors[key]

    def reports(self, test: Test, trust: Floats) -> tuple[Floats, Floats]:
        """Return the likelihoods of a test without and with its sign, over states."""
        key = (test.id, "reports", *trust.tolist())
        if key not in self._factors:
            self._factors[key] = np.asarray([b.weighted(trust) for b in self.branches(test)])
        absent, shown = self._factors[key]
        return absent, shown

    def shows(self, sign: SharedSign, ratio: float = 1.0) -> Floats:
        """Return P(a sign shows | state), its odds moved by what clues say of it."""
        key = (sign.id, ratio)
        if key not in self._shows:
            plain = sign.shows()
            self._shows[key] = plain * ratio / (1.0 - plain + plain * ratio)
        return self._shows[key]

    def clue_ratios(self, clues: Sequence[Clue]) -> dict[str, float]:
        """Return sign id -> factor on the odds that it shows, where a pack says it of a clue."""
        ratios: dict[str, float] = {}
        for clue in {c.condition: c for c in clues}.values():
            for sign in self.signs:
                if clue.condition in sign.clues:
                    ends = hint_of(np.asarray(sign.clues[clue.condition]), clue.seen)
                    ratios[sign.id] = ratios.get(sign.id, 1.0) * float(ends[1] / ends[0])
        return ratios

    def clue_hints(self, clues: Sequence[Clue]) -> dict[str, Floats]:
        """Return test id -> weight of every outcome, of the tests that see what clues say."""
        said: dict[tuple[str, bool | str], dict[str, float]] = {}
        for cause, condition, seen in counted(self.family.causes, clues, self.conditions):
            record = self.family.causes[self.number[cause]]
            weight = record.odds_multipliers[condition.id]
            said.setdefault((condition.id, seen), {})[cause] = weight
        hints: dict[str, Floats] = {}
        for (identity, seen), weights in said.items():
            condition = self.conditions[identity]
            here = [t for t in condition.overlapped_by if t in self.tests]
            for test in here:
                true = true_with(self.tests[test], self.causes, weights, condition.base_rate)
                # Of tests that see one thing each hears its part of the clue.
                sign = self.sign_of.get(test)
                alike = [t for t in here if t == test or (sign and t in sign.reporters)]
                hint = hint_of(true, seen) ** (1.0 / len(alike))
                hints[test] = hints.get(test, np.ones(hint.size)) * hint / hint.max()
        return hints

    def support(self, support: Support | JointSupport) -> Floats:
        """Return the likelihood over states of a finding."""
        if isinstance(support, JointSupport):
            return joint_likelihood(support, self.causes)
        # The same finding is weighed again and again while the others are taken away in turn.
        held = self._supports.get(id(support))
        if held is None:
            held = self._supports[id(support)] = (
                support,
                support_likelihood(support, self.causes),
            )
            if len(self._supports) > _SUPPORTS:
                del self._supports[next(iter(self._supports))]
        return held[1]

    def support_at(
        self, support: Support | JointSupport, states: npt.NDArray[np.integer]
    ) -> Floats:
        """Return :meth:`support` of some states alone, shape (states,)."""
        if isinstance(support, JointSupport):
            return joint_likelihood_at(support, self.causes, states)
        return np.asarray(self.support(support)[states], dtype=np.float64)

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
    def _learnt_shares(self) -> Shares | None:
        """What this shop and many shops have taught of the shares; ``None`` where nothing has."""
        if self.history is None or not (self.history.closings or self.history.pool):
            return None
        priors = {c.id: c.prior for c in self.family.causes}
        return shares(self.history, self.family.id, priors)

    @cached_property
    def share(self) -> Mapping[str, float]:
        """Cause id -> share among the cases with one cause: the pack's and the shop's own."""
        found = self._learnt_shares
        return {c.id: c.prior for c in self.family.causes} if found is None else found.prior()

    @cached_property
    def share_doubt(self) -> Mapping[str, float]:
        """Cause id -> standard deviation of the log odds of its share; 0 where it is measured."""
        found = self._learnt_shares
        own = 0.0
        if found is not None:
            own = found.weight + (found.start_weight if found.shops else 0.0)
        judged = JUDGED_LOG_SD * _narrowed(own)
        return {c.id: judged if c.source.kind == "judgement" else 0.0 for c in self.family.causes}

    def row_doubt(self, test: Test) -> Mapping[str, float]:
        """Return cause id (empty for the base) -> doubt of the test's row, as a log odds."""
        judged = JUDGED_LOG_SD if test.source.kind == "judgement" else 0.0
        own = self._results.get(test.id, {})
        rows, weight = self._pooled.get(test.id, ({}, 0.0))
        results = {
            c: (weight if c in rows else 0.0) + (float(own[c].sum()) if c in own else 0.0)
            for c in (*rows, *own)
        }
        narrowed = {c: judged * _narrowed(n) for c, n in results.items()}
        return {"": judged, **dict.fromkeys(self.causes, judged), **narrowed}

    @cached_property
    def _results(self) -> Mapping[str, Mapping[str, Floats]]:
        return learnt_rows(self.history, self.family)

    @cached_property
    def _pooled(self) -> Mapping[str, tuple[Mapping[str, tuple[float, ...]], float]]:
        return pooled_rows(self.history, self.family)

    def weights(self, results: Mapping[str, str], halved: frozenset[str]) -> dict[str, float]:
        """Return the weight of each recorded test.

        Args:
            results: test id -> result id of this stage.
            halved: tests that a physical finding has already used.
        """
        found = {t: self._finds(t, r) for t, r in results.items()}
        none: frozenset[str] = frozenset()
        return {
            t: PART_WEIGHT
            if t in halved
            or any(o in found and found[o] == found[t] for o in self.beside.get(t, none))
            else 1.0
            for t in results
        }

    def _finds(self, identity: str, result: str) -> bool | None:
        """Whether a result says that something was found; ``None``: perhaps."""
        test = self.tests.get(identity)
        if test is None or result == "maybe":
            return None
        return test.outcome_set(result) != (len(test.outcomes) - 1,)


def _narrowed(own: float) -> float:
    """Return what is left of a judged figure's doubt beside the shop's own proven closings."""
    return float(np.sqrt(PSEUDO_CASES / (PSEUDO_CASES + own)))
