"""Signs: what several tests and clues see in common.

A weak pump lowers the pressure at the gallery; two gauges and the driver's "no power" only report
it. Given the causes alone, their reports hang together; given the sign they do not. So causes make
a sign show (noisy-OR), and tests and clues report it with their own errors. With Q the probability
that it shows under a set of causes, several reports have the likelihood l0 + (l1 - l0) Q, where l0
and l1 are products over the reports without and with the sign: sums over all sets cost no more
than those of tests that share nothing.

A sign comes from a pack (``[[signs]]``) or from what the tables of tests that see the same thing
have in common. There the share of a cause in the sign is as large as every table allows, and what
a table says beyond it the cause does to that test alone: the table of each test is reproduced to
the last digit for every cause alone, and for none; only what the tests say together changes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from witnessmark.inference.family.likelihood import Floats, MaxRow, max_row_of, products
from witnessmark.knowledge import Family, Test
from witnessmark.knowledge.rules import Sign

__all__ = ["SHARED_FROM", "Reporter", "SharedSign", "found_by", "shared_by", "signs_of"]

#: Two tests see a cause alike when both find it so much above the background (judgement).
SHARED_FROM = 0.2
#: The cause that shows a sign most shows it so often, and the best instrument sees it so often
#: (judgement): the misses of a test are nearly all its own.
STRONGEST_SHOWS, BEST_SEES = 0.96, 0.99
#: Share of the rarest false alarm that is no false alarm: the sign shows for another reason
#: (judgement).
OF_THE_BACKGROUND = 0.7
#: Tests have a sign where one cause at least shows it so often (judgement).
PLAIN_FROM = 0.5
#: A cause is not taken to show a sign more surely than this.
SUREST = 0.99
_SMALL = 1e-6


@dataclass(frozen=True, slots=True)
class Reporter:
    """One test as it reports a sign.

    Attributes:
        absent: the test where the sign does not show.
        shown: the test where it does.
    """

    absent: MaxRow
    shown: MaxRow


@dataclass(frozen=True, slots=True)
class SharedSign:
    """What several tests and clues see.

    Attributes:
        id: its id, the first test's where no pack names it.
        given: P(it shows | this cause alone), shape (n,).
        base: P(it shows | none of the listed causes).
        reporters: test id -> how the test reports it.
        clues: condition id -> P(the clue is true | it does not show, it shows), where a pack says.
    """

    id: str
    given: Floats
    base: float
    reporters: Mapping[str, Reporter]
    clues: Mapping[str, tuple[float, float]]

    @property
    def leak(self) -> float:
        """Return P(it shows | causes that do not make it show)."""
        return min(self.base, float(self.given.min()))

    def silence(self) -> tuple[float, Floats]:
        """Return P(it does not show) as (background, factor of each present cause)."""
        return 1.0 - self.leak, (1.0 - self.given) / (1.0 - self.leak)

    def shows(self) -> Floats:
        """Return P(it shows | state), shape (2**n + 1,)."""
        background, factors = self.silence()
        shows = np.append(1.0 - background * products(factors), self.base)
        shows[0] = self.base
        return shows


def signs_of(family: Family, tests: Mapping[str, Test]) -> tuple[SharedSign, ...]:
    """Return the signs of a family; no test reports more than one.

    Args:
        family: the family.
        tests: its tests as well as their tables are known.
    """
    causes = tuple(c.id for c in family.causes)
    found: list[SharedSign] = []
    taken: set[str] = set()
    for sign in family.signs:
        named = _of_pack(sign, tests, causes, taken)
        if named is not None:
            found.append(named)
            taken |= set(named.reporters)
    for group in _clusters(family, tests, taken):
        made = _of_tables([tests[t] for t in group], causes)
        # Where every cause is plain to one test only, they have nothing in common.
        if float(made.given.max()) >= PLAIN_FROM:
            found.append(made)
    return tuple(found)


def shared_by(tests: Sequence[Test], causes: Sequence[str]) -> float:
    """Return how much above the background all of some tests find the cause they share most."""
    more = [found_by(t, causes) - (1.0 - t.base[-1]) for t in tests]
    return float(np.min(more, axis=0).max())


def found_by(test: Test, causes: Sequence[str]) -> Floats:
    """Return P(anything found | this cause alone), shape (n,)."""
    return 1.0 - np.asarray([test.row(c)[-1] for c in causes])


def _clusters(
    family: Family, tests: Mapping[str, Test], taken: set[str]
) -> Iterator[tuple[str, ...]]:
    """Yield sets of tests that see the same thing, those that share most first.

    A test belongs to one set. It joins where it shares a cause with all of a set and the pack
    says of at least half of them that they see the same.
    """
    causes = [c.id for c in family.causes]
    linked = {
        frozenset(pair)
        for group in family.dependent_tests
        for pair in combinations([t for t in group if t in tests and t not in taken], 2)
    }

    def common(group: Sequence[str]) -> float:
        return shared_by([tests[t] for t in group], causes)

    free = {t for pair in linked for t in pair}
    while True:
        pairs = [p for p in linked if p <= free and common(sorted(p)) >= SHARED_FROM]
        if not pairs:
            return
        best = sorted(max(pairs, key=lambda p: (common(sorted(p)), sorted(p))))
        while True:
            joins = [
                t
                for t in sorted(free - set(best))
                if 2 * sum(frozenset((t, b)) in linked for b in best) >= len(best)
                and common([*best, t]) >= SHARED_FROM
                and len(best) * common([*best, t]) > (len(best) - 1) * common(best)
            ]
            if not joins:
                break
            best.append(max(joins, key=lambda t: (common([*best, t]), t)))
        free -= set(best)
        yield tuple(best)


def _of_tables(tests: Sequence[Test], causes: Sequence[str]) -> SharedSign:
    """Return what the tables of some tests have in common."""
    found = np.asarray([found_by(t, causes) for t in tests])
    base = np.asarray([1.0 - t.base[-1] for t in tests])
    both = (found - base[:, None]).min(axis=0)
    members = both >= min(SHARED_FROM, both.max())
    sees = np.minimum(found[:, members].max(axis=1) / STRONGEST_SHOWS, BEST_SEES)
    sees = np.maximum(sees, base + _SMALL)
    background = OF_THE_BACKGROUND * float((base / sees).min())
    alarm = (base - background * sees) / (1.0 - background)
    alarm = np.clip(np.minimum(alarm, found.min(axis=1)), _SMALL, sees - _SMALL)
    shares = (found - alarm[:, None]) / (sees - alarm)[:, None]
    given = np.clip(shares.min(axis=0), 0.0, SUREST)
    reporters = {
        t.id: _reporter(t, causes, given, background, (1.0 - a, 1.0 - s), t.outcomes[:-1])
        for t, a, s in zip(tests, alarm.tolist(), sees.tolist(), strict=True)
    }
    return SharedSign(tests[0].id, given, background, reporters, {})


def _of_pack(
    sign: Sign, tests: Mapping[str, Test], causes: Sequence[str], taken: set[str]
) -> SharedSign | None:
    """Return a sign as its pack gives it: its figures count before those of the tables."""
    given = np.asarray([sign.given.get(c, sign.base) for c in causes])
    reporters, clues = {}, {}
    for report in sign.reported_by:
        if report.clue:
            clues[report.clue] = (report.false_alarm, report.sensitivity)
        elif report.test in tests and report.test not in taken:
            test = tests[report.test]
            told = {test.outcomes[k] for r in report.results for k in test.outcome_set(r)}
            silent = (1.0 - report.false_alarm, 1.0 - report.sensitivity)
            reporters[test.id] = _reporter(test, causes, given, sign.base, silent, told)
    if not reporters:
        return None
    return SharedSign(sign.id, given, sign.base, reporters, clues)


def _reporter(
    test: Test,
    causes: Sequence[str],
    given: Floats,
    background: float,
    silent: tuple[float, float],
    told: Sequence[str] | set[str],
) -> Reporter:
    """Return a test given that the sign does not show, and given that it does.

    Args:
        test: the test; its table is what both come to together, wherever that can be.
        causes: the causes.
        given: P(the sign shows | this cause alone).
        background: P(it shows | none).
        silent: P(the test does not report | the sign does not show, it shows).
        told: the outcomes that report it.
    """
    rows = np.asarray([test.base, *(test.row(c) for c in causes)])
    reports = np.asarray([o in told for o in test.outcomes])
    share = np.concatenate([[background], given])
    quiet = rows[:, ~reports].sum(axis=1)
    # What a cause does to this test beside the sign, it does where the sign does not show ...
    beside = (quiet - share * silent[1]) / ((1.0 - share) * silent[0])
    absent = silent[0] * np.clip(beside, _SMALL, 1.0)
    shown = np.full_like(quiet, silent[1])
    # ... unless its table is surer than the sign with all that.
    surer = beside < _SMALL
    together = share * silent[1] + (1.0 - share) * absent
    for branch in (absent, shown):
        branch[surer] *= np.maximum(quiet / together, _SMALL)[surer]
    found = []
    for quiet_here in (absent, shown):
        scale = np.where(
            reports,
            ((1.0 - quiet_here) / np.maximum(1.0 - quiet, 1e-12))[:, None],
            (quiet_here / np.maximum(quiet, 1e-12))[:, None],
        )
        table = rows * scale
        found.append(max_row_of(table[0], table[1:]))
    return Reporter(*found)
