"""What the tests recorded between two pieces of work say together, and what one more would say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.half_tables import HalfTables, marginals_of, results_of
from witnessmark.inference.family.likelihood import Floats, outcome_weights
from witnessmark.inference.family.misreading import recorded, same_again
from witnessmark.inference.family.signs import SharedSign
from witnessmark.knowledge import Test

__all__ = ["StageReports"]

_Some = npt.NDArray[np.integer] | slice
_EVERY = slice(None)


@dataclass(frozen=True)
class StageReports:
    """The recorded tests of one stage.

    Attributes:
        model: the family's tables.
        trusts: test id -> weight of every outcome, of the recorded tests.
        earlier: test id -> (last result before the latest work, share of every state that no
            work has touched since); on what nobody touched a test shows what it showed.
        ratios: sign id -> factor on the odds that the sign shows, from clues.
    """

    model: FamilyModel
    trusts: Mapping[str, Floats]
    earlier: Mapping[str, tuple[str, Floats]]
    ratios: Mapping[str, float]

    def on(self, states: Floats) -> Floats:
        """Return weights of the states times the likelihood of all reports."""
        states = states.copy()
        for identity, trust in self.trusts.items():
            test = self._test(identity)
            if identity in self.model.sign_of:
                continue
            if identity in self.earlier:
                states *= self._as_before(test, trust, self.model.factor(test, trust), _EVERY)
            else:
                states *= self.model.factor(test, trust)
        for identity, sign in self._signs.items():
            absent, shown = self.told(sign)
            states *= absent + (shown - absent) * self._expected(identity)
        return states

    def told(self, sign: SharedSign, without: str = "") -> tuple[Floats, Floats]:
        """Return the likelihoods of all reports of a sign: where it does not show, where it does.

        Args:
            sign: the sign.
            without: a test that is left out.
        """
        if not without and sign.id in self._told:
            return self._told[sign.id]
        product = [np.ones(1), np.ones(1)]
        for identity in sign.reporters:
            if identity in self.trusts and identity != without:
                test, trust = self._test(identity), self.trusts[identity]
                for k, branch in enumerate(self.model.reports(test, trust)):
                    likely = branch
                    if identity in self.earlier:
                        likely = self._as_before(test, trust, branch, _EVERY)
                    product[k] = product[k] * likely
        absent, shown = product
        if not without:
            self._told[sign.id] = (absent, shown)
        return absent, shown

    def shows(self, sign: SharedSign) -> Floats:
        """Return P(a sign shows | state and what was recorded), shape (states,)."""
        if sign.id not in self._shown:
            before = self._expected(sign.id)
            if sign.id in self._signs:
                absent, shown = self.told(sign)
                before = before * shown / np.maximum(absent + (shown - absent) * before, 1e-300)
            self._shown[sign.id] = before
        return self._shown[sign.id]

    def chances(self, test: Test, states: _Some = _EVERY) -> Floats:
        """Return P(result written down | state) of a test made now, (outcomes, states).

        Args:
            test: the test. One that was recorded is read once more, by another hand.
            states: numbers of the states that are asked for.
        """
        sign = self.model.sign_of.get(test.id)
        if sign is None:
            shown = self._again(test, self._at(self.model.halves(test), states))
        else:
            here = self.shows(sign)[states]
            absent, shown = (
                self._again(test, self._at(b, states)) for b in self.model.branches(test)
            )
            shown = (1.0 - here) * absent + here * shown
        if test.id in self.earlier and test.id not in self.trusts:
            again = same_again(test) * self.earlier[test.id][1][states]
            shown = np.outer(self.last(test), again) + (1.0 - again) * shown
        return recorded(self.model.known(test), np.asarray(shown))

    def weighed(self, states: Floats, tests: Sequence[Test]) -> list[tuple[Floats, Floats]]:
        """Return, for each test not recorded here, (P(result), P(result and cause present)).

        Args:
            states: P(state) after all that was recorded.
            tests: the tests.
        """
        jobs: dict[tuple[str, str, str], list[tuple[str, float, HalfTables]]] = defaultdict(list)
        found: dict[str, tuple[Floats, Floats]] = {}
        groups: dict[tuple[int, float], str] = {}
        for test in tests:
            count, n = len(test.outcomes), len(self.model.causes)
            found[test.id] = (np.zeros(count), np.zeros((count, n)))
            alike = ""
            if test.id in self.earlier:
                key = (id(self.earlier[test.id][1]), same_again(test))
                alike = groups.setdefault(key, test.id)
            sign = self.model.sign_of.get(test.id)
            if sign is None or (sign.id not in self._signs and sign.id not in self.ratios):
                for coefficient, table in self.model.pieces(test):
                    jobs[alike, "", ""].append((test.id, coefficient, table))
            else:
                absent, shown = self.model.branches(test)
                jobs[alike, sign.id, "absent"].append((test.id, 1.0, absent))
                jobs[alike, sign.id, "shown"].append((test.id, 1.0, shown))
        by_id = {t.id: t for t in tests}
        signs = {s.id: s for s in self.model.signs}
        fresh, repeats = {"": states}, {}
        for (alike, sign_id, branch), job in jobs.items():
            if alike not in fresh:
                untouched = self.earlier[alike][1]
                repeats[alike] = same_again(by_id[alike]) * untouched * states
                fresh[alike] = states - repeats[alike]
            weights = fresh[alike]
            if sign_id:
                shows = self.shows(signs[sign_id])
                weights = weights * (shows if branch == "shown" else 1.0 - shows)
            sums = results_of(weights, [table for _, _, table in job])
            for (identity, coefficient, _), (total, joint) in zip(job, sums, strict=True):
                before = found[identity]
                found[identity] = (
                    before[0] + coefficient * total,
                    before[1] + coefficient * joint,
                )
        held = {a: (float(r.sum()), marginals_of(r)) for a, r in repeats.items()}
        done = []
        for test in tests:
            total, joint = found[test.id]
            if test.id in self.earlier:
                alike = groups[id(self.earlier[test.id][1]), same_again(test)]
                last, (sure, there) = self.last(test), held[alike]
                total, joint = total + sure * last, joint + np.outer(last, there)
            known = self.model.known(test)
            done.append((recorded(known, total), recorded(known, joint)))
        return done

    def last(self, test: Test) -> Floats:
        """Return the share of each outcome in the result before the latest work."""
        before = outcome_weights(self.model.known(test), self.earlier[test.id][0])
        return np.asarray(before / before.sum())

    @cached_property
    def _signs(self) -> dict[str, SharedSign]:
        """The signs that something recorded reports."""
        return {
            s.id: s for t in self.trusts if (s := self.model.sign_of.get(t)) is not None
        }  # fmt: skip

    @cached_property
    def _told(self) -> dict[str, tuple[Floats, Floats]]:
        return {}

    @cached_property
    def _shown(self) -> dict[str, Floats]:
        return {}

    def _expected(self, sign: str) -> Floats:
        """Return P(a sign shows | state and clues)."""
        record = next(s for s in self.model.signs if s.id == sign)
        return self.model.shows(record, self.ratios.get(sign, 1.0))

    def _at(self, table: HalfTables, states: _Some) -> Floats:
        return table.every() if isinstance(states, slice) else table.at(states)

    def _again(self, test: Test, chances: Floats) -> Floats:
        """Return what a test that was read shows to the next who reads it."""
        if test.id not in self.trusts:
            return chances
        weighed = self.trusts[test.id][:, None] * chances
        return np.asarray(weighed / np.maximum(weighed.sum(axis=0), 1e-300))

    def _as_before(self, test: Test, trust: Floats, fresh: Floats, states: _Some) -> Floats:
        """Return a likelihood where the test was made before the latest work too."""
        again = same_again(test) * self.earlier[test.id][1][states]
        return np.asarray(again * float(trust @ self.last(test)) + (1.0 - again) * fresh)

    def _test(self, identity: str) -> Test:
        test = self.model.family.test(identity)
        assert test is not None  # noqa: S101
        return test
