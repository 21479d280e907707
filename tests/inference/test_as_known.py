"""Judged rows are averaged over how well they are known; measured ones are not."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, logit
from scipy.stats import norm

from witnessmark.inference.family.family_belief import FamilyModel
from witnessmark.inference.family.likelihood import JUDGED_LOG_SD, as_known
from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.inference.odds.case_odds import odds_for
from witnessmark.knowledge import load_knowledge

KNOWLEDGE = load_knowledge()


@pytest.mark.parametrize("chance", [0.01, 0.05, 0.3, 0.5, 0.93, 0.99])
def test_the_mean_over_what_a_judged_chance_may_be(chance):
    # Outside check: the same integral by scipy's adaptive quadrature.
    test = replace(KNOWLEDGE.test("f_dp"), base=(chance, 1.0 - chance))
    expected, _ = quad(
        lambda z: expit(logit(chance) + JUDGED_LOG_SD * z) * norm.pdf(z), -12.0, 12.0
    )
    known = as_known(test).base
    assert known[0] == pytest.approx(expected, abs=1e-6)
    assert sum(known) == pytest.approx(1.0)
    assert abs(known[0] - 0.5) <= abs(chance - 0.5)


def test_every_judged_row_stays_a_row_and_keeps_its_order():
    for family in KNOWLEDGE.families.values():
        for test in family.tests:
            known = as_known(test)
            for cause in family.causes:
                before, after = np.array(test.row(cause.id)), np.array(known.row(cause.id))
                assert after.sum() == pytest.approx(1.0)
                assert after.min() > 0
                # Equal figures stay equal to the last bit; of two others the larger stays larger.
                assert np.array_equal(ranks(before), ranks(after)), (test.id, cause.id)


def ranks(row):
    """Return the place of each figure among the different figures of its row."""
    return np.unique(np.round(row, 9), return_inverse=True)[1]


def test_equal_and_nearly_equal_figures_do_not_turn_round():
    # A sum over the whole row once gave the two 0.005 different last bits, by where they stand.
    judged = replace(KNOWLEDGE.test("f_dp"), base=(0.92, 0.02, 0.005, 0.015, 0.005, 0.035))
    known = as_known(judged).base
    assert known[2] == known[4]
    near = replace(judged, base=(0.3 - 1e-12, 0.3, 0.3 + 1e-12, 0.1))
    first, second, third, _ = as_known(near).base
    assert first <= second <= third


def test_a_measured_table_counts_as_it_stands():
    family = KNOWLEDGE.families["fuel_low"]
    judged = family.test("f_dp")
    measured = replace(judged, source=replace(judged.source, kind="measured"))
    assert as_known(measured) is measured
    tests = tuple(measured if t.id == "f_dp" else t for t in family.tests)
    model = FamilyModel(replace(family, tests=tests), KNOWLEDGE.conditions)
    first = model.causes.index("secondary_filter")
    assert model.chances(measured)[:, 1 << first] == pytest.approx(judged.row("secondary_filter"))
    less = FamilyModel(family, KNOWLEDGE.conditions).chances(judged)[0, 1 << first]
    assert less < judged.row("secondary_filter")[0]


def test_the_odds_state_how_well_judged_tables_are_taken_as_known():
    family = KNOWLEDGE.families["oil_leak"]
    odds = odds_for(family, {"oil_leak": StagedEvidence()}, KNOWLEDGE)
    assert any("factor of 2.0" in said and "judgement" in said for said in odds.assumptions)
