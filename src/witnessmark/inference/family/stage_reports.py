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
        hints: test id -> weight of every outcome, from clues that see what the test sees. Clues
            have moved the odds already: only what a test says beyond its hint is news.
    """

    model: FamilyModel
    trusts: Mapping[str, Floats]
    earlier: Mapping[str, tuple[str, Floats]]
    ratios: Mapping[str, float]
    hints: Mapping[str, Floats]

    def on(self, states: Floats) -> Floats:
        """Return weights of the states times the likelihood of all reports."""
        states = states.copy()
        for identity, trust in self.trusts.items():
            test = self._test(identity)
            if identity in self.model.sign_of:
                continue
            if identity in self.earlier:
                states *= self._as_before(test, trust, self.model.factor(test, trust))
            elif identity in self.hints:
                hint = self.hints[identity]
                states *= self.model.factor(test, trust * hint) / self.model.factor(test, hint)
            else:
                states *= self.model.factor(test, trust)
        for identity, sign in self._signs.items():
            expected = self._expected(identity)
            absent, shown = self.told(sign)
            states *= _mixed(absent, shown, expected)
            if any(t in self.hints for t in sign.reporters):
                absent, shown = self.hinted(sign)
                states /= _mixed(absent, shown, expected)
        return states

    def told(self, sign: SharedSign) -> tuple[Floats, Floats]:
        """Return the likelihoods of all reports of a sign: without it, and with it."""
        if sign.id not in self._told:
            self._told[sign.id] = self._product(sign, self.trusts)
        return self._told[sign.id]

    def hinted(self, sign: SharedSign) -> tuple[Floats, Floats]:
        """Return the same of the hints alone."""
        return self._product(sign, {})

    def _product(self, sign: SharedSign, trusts: Mapping[str, Floats]) -> tuple[Floats, Floats]:
        # In place: a family of many causes has arrays of megabytes, dear to come by.
        product: tuple[Floats, Floats] | None = None
        for identity in sign.reporters:
            weights = [w[identity] for w in (trusts, self.hints) if identity in w]
            if not weights:
                continue
            test, trust = self._test(identity), np.asarray(np.prod(weights, axis=0))
            branches = self.model.reports(test, trust)
            if identity in self.earlier:
                branches = (
                    self._as_before(test, trust, branches[0]),
                    self._as_before(test, trust, branches[1]),
                )
            if product is None:
                product = branches[0].copy(), branches[1].copy()
            else:
                np.multiply(product[0], branches[0], out=product[0])
                np.multiply(product[1], branches[1], out=product[1])
        return product or (np.ones(1), np.ones(1))

    def shows(self, sign: SharedSign, *, hints_only: bool = False) -> Floats:
        """Return P(a sign shows | state and what was recorded), shape (states,).

        Args:
            sign: the sign.
            hints_only: of what was recorded, clues alone.
        """
        key = (sign.id, hints_only)
        if key not in self._shown:
            before = self._expected(sign.id)
            if self._moved(sign):
                absent, shown = self.hinted(sign) if hints_only else self.told(sign)
                total = _mixed(absent, shown, before)
                before = before * shown
                before /= np.maximum(total, 1e-300, out=total)
            self._shown[key] = before
        return self._shown[key]

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
            if test.id in self.hints:
                chances = self.chances(test) * states
                held = np.asarray([marginals_of(c) for c in chances])
                found[test.id] = (chances.sum(axis=1), held)
                continue
            count, n = len(test.outcomes), len(self.model.causes)
            found[test.id] = (np.zeros(count), np.zeros((count, n)))
            alike = ""
            if test.id in self.earlier:
                key = (id(self.earlier[test.id][1]), same_again(test))
                alike = groups.setdefault(key, test.id)
            sign = self.model.sign_of.get(test.id)
            if sign is None or not self._moved(sign):
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
        there = {a: (float(r.sum()), marginals_of(r)) for a, r in repeats.items()}
        done = []
        for test in tests:
            total, joint = found[test.id]
            if test.id in self.hints:
                done.append((total, joint))
                continue
            if test.id in self.earlier:
                alike = groups[id(self.earlier[test.id][1]), same_again(test)]
                last, (sure, held) = self.last(test), there[alike]
                total, joint = total + sure * last, joint + np.outer(last, held)
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
    def _shown(self) -> dict[tuple[str, bool], Floats]:
        return {}

    def _expected(self, sign: str) -> Floats:
        """Return P(a sign shows | state and clues)."""
        record = next(s for s in self.model.signs if s.id == sign)
        return self.model.shows(record, self.ratios.get(sign, 1.0))

    def _at(self, table: HalfTables, states: _Some) -> Floats:
        return table.every() if isinstance(states, slice) else table.at(states)

    def _moved(self, sign: SharedSign) -> bool:
        """Whether anything was said of a sign."""
        known = {*self.trusts, *self.hints}
        return sign.id in self.ratios or any(t in known for t in sign.reporters)

    def _again(self, test: Test, chances: Floats) -> Floats:
        """Return what a test shows that was read already, or of which a clue was heard."""
        known = [w[test.id] for w in (self.trusts, self.hints) if test.id in w]
        if not known:
            return chances
        weighed = np.asarray(np.prod(known, axis=0))[:, None] * chances
        return np.asarray(weighed / np.maximum(weighed.sum(axis=0), 1e-300))

    def _as_before(self, test: Test, trust: Floats, fresh: Floats) -> Floats:
        """Return a likelihood where the test was made before the latest work too."""
        again = same_again(test) * self.earlier[test.id][1]
        return np.asarray(again * float(trust @ self.last(test)) + (1.0 - again) * fresh)

    def _test(self, identity: str) -> Test:
        test = self.model.family.test(identity)
        assert test is not None  # noqa: S101
        return test


def _mixed(absent: Floats, shown: Floats, share: Floats) -> Floats:
    """Return absent + (shown - absent) * share, in one array."""
    found: Floats = np.asarray(shown - absent)
    if found.shape != share.shape:
        return np.asarray(absent + found * share)
    found *= share
    found += absent
    return found
