"""The tables of the tests move with the shop's own proven closings."""

from __future__ import annotations

import pytest

from witnessmark.inference import family_belief, odds_for
from witnessmark.inference.family.learnt_tests import learnt_tests, results_by_test
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence, TestResult
from witnessmark.knowledge import load_knowledge
from witnessmark.model.shop_record import Closing, History

KNOWLEDGE = load_knowledge()
FUEL = KNOWLEDGE.families["fuel_low"]


def closings(number, cause, results, *, proven=True, then=(), days_ago=0.0):
    return History(
        tuple(
            Closing(f"c{k}", "fuel_low", (cause, *then), proven, days_ago, results=results)
            for k in range(number)
        )
    )


def test_a_row_weighs_as_twenty_results():
    pack = FUEL.test("f_relief").row("pump_relief")
    moved = learnt_tests(closings(10, "pump_relief", (("f_relief", "negative"),)), FUEL)
    row = moved["f_relief"].row("pump_relief")
    # DOMAIN.md section 9: "Likelihoods same way", that is (20 * pack + n) / (20 + N).
    assert row == pytest.approx((20 * pack[0] / 30, (20 * pack[1] + 10) / 30))
    assert moved["f_relief"].row("pump_worn") == FUEL.test("f_relief").row("pump_worn")
    assert set(moved) == {"f_relief"}


def test_any_way_of_being_positive_is_shared_out_as_the_pack_has_it():
    pack = FUEL.test("f_tank").row("suction_line")
    moved = learnt_tests(closings(5, "suction_line", (("f_tank", "positive"),)), FUEL)
    row = moved["f_tank"].row("suction_line")
    assert sum(row) == pytest.approx(1.0)
    assert row[-1] == pytest.approx(20 * pack[-1] / 25)
    assert row[0] / row[1] == pytest.approx(pack[0] / pack[1])


@pytest.mark.parametrize(
    "history",
    [
        None,
        closings(9, "pump_relief", (("f_relief", "negative"),), proven=False),
        closings(9, "pump_relief", (("f_relief", "negative"),), then=("air_ingress",)),
        closings(9, "pump_relief", (("f_relief", "maybe"), ("f_dp", "not_run"))),
        closings(9, "gremlin", (("f_relief", "negative"),)),
        closings(9, "pump_relief", (("no_such_test", "negative"),)),
    ],
)
def test_unproven_doubled_and_doubtful_closings_teach_nothing(history):
    assert learnt_tests(history, FUEL) == {}
    assert results_by_test(history, FUEL) == 0


def test_old_results_fade_by_half_every_three_years():
    young = learnt_tests(closings(8, "pump_relief", (("f_relief", "negative"),)), FUEL)
    old = closings(16, "pump_relief", (("f_relief", "negative"),), days_ago=3 * 365.25)
    aged = learnt_tests(old, FUEL)["f_relief"].row("pump_relief")
    assert aged == pytest.approx(young["f_relief"].row("pump_relief"))


def test_a_test_that_misses_its_cause_here_clears_it_less():
    history = closings(30, "pump_relief", (("f_relief", "negative"),))
    share = {c.id: c.prior for c in FUEL.causes}
    evidence = StagedEvidence(stages=(Stage(tests=(TestResult("f_relief", "negative"),)),))
    plain = family_belief(FUEL, evidence)
    moved = family_belief(FUEL, evidence, history)
    kept = moved.marginals()[moved.causes.index("pump_relief")] / moved.share["pump_relief"]
    before = plain.marginals()[plain.causes.index("pump_relief")] / share["pump_relief"]
    assert kept > 2 * before
    said = odds_for(FUEL, {"fuel_low": evidence}, KNOWLEDGE, history).assumptions[0]
    assert "the shop's own proven closings here: 30, with 30 results of tests" in said
