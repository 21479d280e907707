"""What proven closings teach about tests: results by proven cause, here and in many shops.

A pack's row of a test counts as 20 results (judgement, as for the shares); each closing with one
proven cause adds the results that were written down before its repair. So a test that keeps
coming out otherwise in this shop than the pack believes loses its weight by itself. Where the
owner took a pool in, a row that many shops' counts have moved stands in place of the pack's, with
the weight that the pool gives it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from witnessmark.inference.family.likelihood import Floats
from witnessmark.inference.shop_history import HALF_LIFE_DAYS, PSEUDO_CASES, faded
from witnessmark.knowledge import Family, Test
from witnessmark.model.shop_record import History

__all__ = ["learnt_rows", "learnt_tests", "pooled_rows", "results_by_test"]


def learnt_tests(
    history: History | None,
    family: Family,
    *,
    pseudo_results: float = PSEUDO_CASES,
    half_life_days: float = HALF_LIFE_DAYS,
) -> dict[str, Test]:
    """Return test id -> the test with its rows moved; tests without results are left out.

    A result that stands for several outcomes ("positive") is shared out as the pack's row has
    them; "maybe" and tests that gave no answer teach nothing, nor do closings with two causes.

    Args:
        history: the shop's closings.
        family: the family.
        pseudo_results: weight of a row of the pack.
        half_life_days: age at which a closing counts half [days].
    """
    own = learnt_rows(history, family, half_life_days)
    shared = pooled_rows(history, family)
    found = {}
    for identity in dict.fromkeys((*shared, *own)):
        test = family.test(identity)
        if test is None:
            continue
        rows, weight = shared.get(identity, ({}, 0.0))
        moved = {**test.probability, **rows}
        for cause, seen in own.get(identity, {}).items():
            start = rows.get(cause, test.row(cause))
            row = (weight if cause in rows else pseudo_results) * np.asarray(start) + seen
            moved[cause] = tuple(float(p) for p in row / row.sum())
        found[identity] = replace(test, probability=moved)
    return found


def pooled_rows(
    history: History | None, family: Family
) -> dict[str, tuple[Mapping[str, tuple[float, ...]], float]]:
    """Return test id -> (cause id -> many shops' row, what a row weighs [results]).

    A test whose outcomes are others than here is left out.
    """
    pool = history.pool if history is not None else None
    found: dict[str, tuple[Mapping[str, tuple[float, ...]], float]] = {}
    for identity, told in (pool.tests.get(family.id, {}) if pool is not None else {}).items():
        test = family.test(identity)
        if test is not None and test.outcomes == told.outcomes and told.shops:
            rows = {c: row for c, row in told.rows.items() if family.cause(c) is not None}
            found[identity] = (rows, told.weight)
    return found


def learnt_rows(
    history: History | None, family: Family, half_life_days: float = HALF_LIFE_DAYS
) -> dict[str, dict[str, Floats]]:
    """Return test id -> cause id -> what proven closings add to its row, one number an outcome."""
    counts: dict[str, dict[str, Floats]] = {}
    for closing in history.closings_of(family.id) if history else ():
        causes = [c for c in closing.causes if family.cause(c) is not None]
        if not closing.proven or len(causes) != 1:
            continue
        weight = faded(closing, half_life_days)
        for identity, result in dict(closing.results).items():
            test = family.test(identity)
            told = None if test is None else _told(test, causes[0], result)
            what = f"{family.id}:{identity}:{causes[0]}"
            if told is not None and history and history.counts(what, closing.days_ago):
                rows = counts.setdefault(identity, {})
                rows[causes[0]] = rows.get(causes[0], 0.0) + weight * told
    return counts


def results_by_test(history: History | None, family: Family) -> int:
    """Return how many results of proven closings have moved the tables of a family's tests."""
    number = 0
    for closing in history.closings_of(family.id) if history else ():
        causes = [c for c in closing.causes if family.cause(c) is not None]
        if closing.proven and len(causes) == 1:
            number += sum(
                (test := family.test(t)) is not None and _told(test, causes[0], r) is not None
                for t, r in dict(closing.results).items()
            )
    return number


def _told(test: Test, cause: str, result: str) -> Floats | None:
    try:
        numbers = list(test.outcome_set(result))
    except KeyError:
        return None
    row = np.asarray(test.row(cause))
    told = np.zeros(row.size)
    told[numbers] = row[numbers] / row[numbers].sum()
    return told
