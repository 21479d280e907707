"""A result is a reading: it may be wrong, and a second hand tells more than the same again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from witnessmark.inference.family.family_belief import family_belief
from witnessmark.inference.family.likelihood import as_known
from witnessmark.inference.family.misreading import (
    mistake_of,
    recorded,
    told,
    trust_of,
    with_reading,
)
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence, TestResult
from witnessmark.knowledge import load_knowledge

KNOWLEDGE = load_knowledge()
OVERHEAT = KNOWLEDGE.families["overheat"]
CORE = OVERHEAT.test("o_rad_dt")


def chance(*results):
    tests = tuple(TestResult("o_rad_dt", r, by=by) for r, by in results)
    belief = family_belief(OVERHEAT, StagedEvidence((), (Stage(tests=tests),)))
    return float(belief.marginals()[belief.causes.index("oh_rad_int")])


def test_the_rate_is_the_packs_and_else_the_kinds():
    assert mistake_of(replace(CORE, mistake=0.2)) == 0.2
    rates = {k: mistake_of(replace(CORE, mistake=None, kind=k)) for k in ("look", "code", "")}
    assert rates == {"look": 0.04, "code": 0.01, "": 0.03}
    assert all(
        0.0 <= mistake_of(t) <= 0.2 for f in KNOWLEDGE.families.values() for t in f.tests
    )  # fmt: skip


def test_a_wrong_reading_says_half_what_any_truck_says_and_half_anything():
    test = replace(as_known(CORE), mistake=0.1)
    said = recorded(test, np.eye(2))
    assert said.sum(axis=0) == pytest.approx([1.0, 1.0])
    assert said[0, 1] == pytest.approx(0.1 * (0.5 * test.base[0] + 0.25))
    assert told(test, "positive") == pytest.approx(said[0])
    assert told(test, "maybe").tolist() == [1.0, 0.5]


def test_another_hand_tells_more_than_the_same_hand_again_and_the_later_word_of_one_hand_counts():
    once = chance(("positive", "a"))
    again = chance(("positive", "a"), ("positive", "a"))
    other = chance(("positive", "a"), ("positive", "b"))
    assert chance() < once < again < other
    assert again - once < 0.5 * (other - once)
    assert chance(("positive", "a"), ("negative", "a")) == pytest.approx(
        chance(("negative", "a")), abs=1e-12
    )
    # Two hands that disagree leave the truck between; which was first is nothing.
    doubt = chance(("positive", "a"), ("negative", "b"))
    assert doubt == pytest.approx(chance(("negative", "b"), ("positive", "a")), abs=1e-12)
    assert chance(("negative", "a")) < doubt < once


def test_the_weights_of_two_hands_multiply():
    test = as_known(CORE)
    one = with_reading((), test, "positive", "a")
    two = with_reading(one, test, "positive", "b")
    assert trust_of(two) == pytest.approx(told(test, "positive") ** 2)
    same = with_reading(one, test, "positive", "a")
    weights = told(test, "positive")
    assert trust_of(same) == pytest.approx(weights * (0.8 + 0.2 * weights / weights.max()))
