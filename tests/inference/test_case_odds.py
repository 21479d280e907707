"""From the entries of a case to its odds: stages, links, why, what would change one's mind."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from witnessmark.inference import case_beliefs, case_evidence, case_odds
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.words.numbers import chance_words
from witnessmark.words.strength import speaks

KNOWLEDGE = load_knowledge()


RETURN_SIDE = (("f_return", "positive"), ("f_drain", "positive"), ("f_mech", "negative"))


def case_of(*entries, families=("fuel_low",)):
    lines = [("truck", {"label": "unit 7"}), ("complaint", {"words": "low", "families": families})]
    made = [
        json.dumps({"kind": k, "id": f"e{i}", "at": "2026-03-02T08:00:00Z", "data": d})
        for i, (k, d) in enumerate([*lines, *entries])
    ]
    case = read_case("case", made)
    assert not case.problems
    return case


def one(*entries, family="fuel_low", families=None):
    odds = case_odds(case_of(*entries, families=families or (family,)), KNOWLEDGE)
    return next(o for o in odds if o.family == family)


def result_of(test, result):
    return "test", {"test": test, "result": result}


def test_the_numbers_hang_together():
    odds = one(result_of("f_vac", "negative"), result_of("f_vac_low", "positive"))
    chances = [c.probability for c in odds.causes]
    assert chances == sorted(chances, reverse=True)
    assert len(chances) == 14
    assert 0.0 < odds.two_causes < 1.0
    assert 0.0 < odds.none_listed < 1.0
    # P(at least one) = sum of "only this one" + P(two or more) <= sum of marginals.
    assert sum(chances) >= 1.0 - odds.none_listed - 1e-12
    for zone, chance in odds.zones:
        inside = [c.probability for c in odds.causes if c.zone == zone]
        assert max(inside) - 1e-12 <= chance <= sum(inside) + 1e-12
    assert odds.packs == KNOWLEDGE.digests


def test_a_test_that_was_not_run_or_gave_no_answer_changes_nothing():
    plain = one(result_of("f_dp", "negative"))
    silent = one(
        result_of("f_dp", "negative"),
        result_of("f_vac", "not_run"),
        result_of("f_sight", "inconclusive"),
    )
    assert [c.probability for c in plain.causes] == [c.probability for c in silent.causes]


def test_clues_alone_and_two_readings_alone_never_decide():
    clues = [("clue", {"clue": c, "seen": True}) for c in ("multi_sensor", "harness_repair")]
    odds = one(*clues, family="cool_unstable")
    assert odds.causes[0].cause == "ct_shared"
    assert not odds.decided
    measured = one(
        *clues,
        result_of("c_rate", "positive"),
        result_of("c_multi", "positive"),
        result_of("c_ground", "positive"),
        result_of("c_resist", "negative"),
        family="cool_unstable",
    )
    first = measured.causes[0]
    assert first.cause == "ct_shared"
    assert first.probability >= 0.80
    assert measured.decided == (first.low >= 0.80)


def test_each_contribution_is_the_change_when_that_piece_alone_is_taken_away():
    entries = [
        ("clue", {"clue": "filters_recent", "seen": True}),
        result_of("f_sight", "positive"),
        result_of("f_vac", "negative"),
        result_of("f_dp", "negative"),
    ]
    whole = one(*entries)
    without = one(*[e for e in entries if e[1].get("test") != "f_sight"])
    air = next(c for c in whole.causes if c.cause == "air_ingress")
    said = next(w for w in air.why if w.finding == "test:f_sight")

    def log_odds(p):
        return math.log(p / (1.0 - p))

    change = log_odds(air.probability) - log_odds(without.probability("air_ingress"))
    assert said.effect == pytest.approx(change, abs=1e-9)
    assert said.entries == ("e3",)
    assert said.words.endswith(speaks(said.effect))
    assert speaks(said.effect)
    effects = [abs(w.effect) for w in air.why]
    assert effects == sorted(effects, reverse=True)
    assert {w.finding for w in air.why} >= {"clue:filters_recent", "test:f_vac"}


def test_it_says_which_reading_would_change_its_mind():
    odds = one(result_of("f_vac_low", "positive"), result_of("f_vac", "negative"))
    relief = next(c for c in odds.causes if c.cause == "pump_relief")
    assert any("relief plug" in w for w in relief.would_change)
    assert all("%" in w and "now" in w for c in odds.causes for w in c.would_change)


def test_causes_that_the_findings_cannot_tell_apart_are_named():
    odds = one(
        result_of("f_vac", "negative"),
        result_of("f_vac_low", "positive"),
        result_of("f_dp", "negative"),
        result_of("f_sight", "negative"),
        result_of("f_return", "negative"),
        result_of("f_block", "positive"),
    )
    worn = next(c for c in odds.causes if c.cause == "pump_worn")
    assert "pump_relief" in worn.looks_like
    assert not odds.decided
    assert any("relief plug" in t for t in odds.traps)
    told = one(result_of("f_vac", "negative"), result_of("f_relief", "positive"))
    relief = next(c for c in told.causes if c.cause == "pump_relief")
    assert "pump_worn" not in relief.looks_like


def test_work_splits_the_case():
    before = [result_of(t, r) for t, r in RETURN_SIDE]
    work = ("work", {"cause": "return_regulator", "did": "renewed"})
    open_ = one(*before, work)
    assert open_.stage == 1
    failed = one(*before, work, ("outcome", {"complaint": "e1", "gone": False}))
    cured = one(*before, work, ("outcome", {"complaint": "e1", "gone": True, "after_days": 30}))
    regulator = one(*before).probability("return_regulator")
    assert regulator > 0.7
    assert open_.probability("return_regulator") < 0.1
    assert failed.none_listed < 0.2
    assert cured.none_listed > 0.9
    assert "Nothing points to a fault any more" in cured.statement
    came_back = one(
        *before,
        work,
        ("outcome", {"complaint": "e1", "gone": True, "after_days": 1}),
        ("outcome", {"complaint": "e1", "gone": False, "after_days": 9}),
    )
    assert came_back.none_listed == pytest.approx(failed.none_listed)
    partly = one(*before, work, ("outcome", {"complaint": "e1", "gone": "partly"}))
    # Better, but not gone: something is left, and the work has cured something.
    assert partly.none_listed < failed.none_listed
    assert "Better but not gone" in partly.statement
    assert "Better but not gone" not in failed.statement
    assert any(w.finding == "work:e5" for c in failed.causes for w in c.why)


def test_a_retracted_entry_counts_no_longer():
    plain = one(result_of("f_dp", "negative"))
    back = one(
        result_of("f_dp", "negative"),
        result_of("f_vac", "positive"),
        ("retract", {"entry": "e3", "why": "gauge not zeroed"}),
    )
    assert [c.probability for c in back.causes] == [c.probability for c in plain.causes]


def test_low_fuel_supply_is_felt_as_roughness_and_the_other_way_round():
    starved = [result_of("f_vac", "positive"), result_of("f_dp", "negative")]
    alone = one(family="vib_load")
    joined = one(*starved, family="vib_load", families=("fuel_low", "vib_load"))
    assert joined.probability("fuel_air_rough") > 2 * alone.probability("fuel_air_rough")
    assert any("roughness" in a for a in joined.assumptions)
    rough = one(
        result_of("v_fuel", "positive"), result_of("v_gear", "positive"),
        family="fuel_low", families=("fuel_low", "vib_load"),
    )  # fmt: skip
    assert rough.probability("fuel_gauge_err") < one().probability("fuel_gauge_err")


def test_one_shared_ground_moves_two_complaints():
    found = [result_of("e_gnd", "positive"), result_of("e_multi", "positive")]
    alone = one(family="cool_unstable")
    joined = one(*found, family="cool_unstable", families=("cool_unstable", "electrical"))
    assert joined.probability("ct_shared") > 2 * alone.probability("ct_shared")


def test_linked_families_against_the_joint_table_written_out():
    # Two small families joined by their links, summed over all pairs of states.
    case = case_of(
        result_of("v_fuel", "positive"),
        result_of("f_sight", "positive"),
        families=("hard_start", "crankcase", "oil_press"),
    )
    evidence = case_evidence(case, KNOWLEDGE)
    joined = case_beliefs(evidence, KNOWLEDGE)
    from witnessmark.inference import family_belief

    alone = {
        f: family_belief(KNOWLEDGE.families[f], e, conditions=KNOWLEDGE.conditions)
        for f, e in evidence.items()
    }
    links = [
        k
        for k in KNOWLEDGE.links
        if {KNOWLEDGE.family_of(k.causes[0]).id, KNOWLEDGE.family_of(k.other[0]).id} <= set(alone)
    ]
    assert [sorted(k.causes + k.other) for k in links] == [
        ["cc_oil", "op_dilution"], ["cc_oil", "op_full"],
    ]  # fmt: skip
    oil, crank = alone["oil_press"], alone["crankcase"]
    b = crank.model.present[crank.causes.index("cc_oil")]
    chance_b = float(crank.states @ b)
    raised = 1.0
    for link in links:  # both hang on the same cause of the other family
        [mine] = {*link.causes, *link.other} - {"cc_oil"}
        raised = raised * (1.0 + oil.model.present[oil.causes.index(mine)] * (link.odds - 1.0))
    states = oil.states * (1.0 - chance_b + chance_b * raised)
    np.testing.assert_allclose(
        joined["oil_press"].states, states / states.sum(), rtol=0.0, atol=1e-14
    )
    np.testing.assert_allclose(
        joined["hard_start"].states, alone["hard_start"].states, rtol=1e-6, atol=1e-12
    )


def test_what_the_packs_do_not_know_counts_for_nothing_and_the_rest_counts():
    case = case_of(
        ("clue", {"clue": "moon_phase", "seen": True}),
        ("test", {"test": "f_dp", "result": "purple"}),
        result_of("f_vac", "negative"),
        ("work", {"cause": "gremlins", "did": "chased"}),
    )
    evidence = case_evidence(case, KNOWLEDGE)["fuel_low"]
    assert evidence.recorded_tests() == {"f_vac"}
    assert len(evidence.stages) == 2
    assert case_odds(case, KNOWLEDGE)[0].stage == 1


def reading(quantity, value, **point):
    return "reading", {"quantity": quantity, "value": value, "point": point}


def test_a_reading_beyond_a_tests_limit_answers_the_test():
    measured = one(
        reading("air_restriction", "31 inH2O", rpm=1500, load="full"), family="low_power"
    )
    tested = one(result_of("p_filt", "positive"), family="low_power")
    assert measured.probability("lp_air") == pytest.approx(tested.probability("lp_air"))
    good = one(reading("air_restriction", "12 inH2O", rpm=1500, load="full"), family="low_power")
    cleared = one(result_of("p_filt", "negative"), family="low_power")
    assert good.probability("lp_air") == pytest.approx(cleared.probability("lp_air"))
    air = next(c for c in measured.causes if c.cause == "lp_air")
    assert air.why[0].entries == ("e2",)


def test_a_reading_at_another_point_or_inside_its_accuracy_answers_nothing():
    plain = one(family="low_power")
    for entry in (
        reading("air_restriction", "31 inH2O", rpm=1500, load="none"),
        reading("air_restriction", "31 inH2O", rpm=1500),
        reading("air_restriction", "25.1 inH2O", rpm=1500, load="full"),
    ):
        odds = one(entry, family="low_power")
        assert odds.probability("lp_air") == pytest.approx(plain.probability("lp_air"))


def test_a_test_by_hand_stands_before_what_a_reading_says():
    both = one(
        reading("ground_drop", "200 mV"), result_of("c_ground", "negative"), family="cool_unstable"
    )
    hand = one(result_of("c_ground", "negative"), family="cool_unstable")
    assert both.probability("ct_shared") == pytest.approx(hand.probability("ct_shared"))


def test_a_reading_speaks_of_the_stage_it_was_taken_in():
    before = one(
        reading("ground_drop", "200 mV"),
        ("work", {"cause": "ct_shared", "did": "ground renewed"}),
        reading("ground_drop", "12 mV"),
        family="cool_unstable",
    )
    assert before.probability("ct_shared") < 0.1
    assert one(reading("ground_drop", "200 mV"), family="cool_unstable").probability(
        "ct_shared"
    ) > 2 * one(family="cool_unstable").probability("ct_shared")


def test_a_trap_is_named_from_readings_too():
    odds = one(
        reading("fuel_suction_vacuum", "18 inHg", rpm=1800, load="none"),
        result_of("f_sight", "positive"),
    )
    assert any("probably two faults" in t for t in odds.traps)


def test_a_repair_in_a_linked_family_may_have_cured_this_one_too():
    both = ("fuel_low", "low_power")
    found = [result_of("f_relief", "positive"), result_of("p_fuel", "positive")]
    work = ("work", {"cause": "pump_relief", "did": "renewed"})

    def after(*more):
        return one(*found, work, *more, family="low_power", families=both)

    before = one(*found, family="low_power", families=both)
    gone = after(("outcome", {"complaint": "e1", "gone": True}))
    stays = after(("outcome", {"complaint": "e1", "gone": False}))
    assert before.probability("lp_fuel") > 0.8
    assert gone.none_listed > 0.9
    assert stays.none_listed < 0.1
    assert 0.1 < after().none_listed < 0.9


def test_a_clue_that_names_a_test_counts_as_its_result():
    clue = one(("clue", {"clue": "f_sight", "seen": True}))
    test = one(result_of("f_sight", "positive"))
    assert clue.probability("air_ingress") == pytest.approx(test.probability("air_ingress"))
    doubtful = one(("clue", {"clue": "f_sight", "seen": "maybe"}))
    maybe = one(result_of("f_sight", "maybe"))
    assert doubtful.probability("air_ingress") == pytest.approx(maybe.probability("air_ingress"))


def test_start_pieces_and_what_they_say_together_sum_to_the_odds():
    found = one(
        ("truck", {"label": "7", "miles": 612_000}),
        ("clue", {"clue": "filters_recent", "seen": True}),
        ("clue", {"clue": "cold", "seen": "maybe"}),
        result_of("f_vac", "negative"),
        result_of("f_block", "positive"),
        ("work", {"cause": "return_regulator", "did": "renewed"}),
        ("outcome", {"complaint": "e1", "gone": "partly"}),
        result_of("f_vac_low", "positive"),
    )
    start = one()

    def log_odds(p):
        return math.log(p / (1.0 - p))

    for cause in found.causes:
        assert cause.before == pytest.approx(start.probability(cause.cause))
        total = log_odds(cause.before) + sum(w.effect for w in cause.why) + cause.together
        assert total == pytest.approx(log_odds(cause.probability), abs=1e-9)
    alone = one(result_of("f_vac", "negative"))
    assert all(abs(c.together) < 0.006 for c in alone.causes)  # one piece: nothing to share


def test_what_would_change_my_mind_is_what_happens_when_it_is_read():
    before = (result_of("f_vac", "negative"), result_of("f_vac_low", "positive"))
    family = KNOWLEDGE.families["fuel_low"]
    odds = one(*before)
    checked = 0
    for cause in odds.causes[:4]:
        for words in cause.would_change:
            test = next(t for t in family.tests if words.startswith(f"{t.name}: "))
            for outcome in test.outcomes:
                after = one(*before, result_of(test.id, outcome)).probability(cause.cause)
                said = test.outcome_words.get(outcome, outcome)
                assert f"{said} {chance_words(after)}" in words
                checked += 1
    assert checked >= 8


def test_what_is_left_after_parts_in_vain_is_no_name_before_something_is_measured():
    def work(cause):
        return "work", {"cause": cause, "did": "renewed", "minutes": 60}

    not_gone = ("outcome", {"complaint": "e1", "gone": False})
    left = [result_of(t, "positive") for t in ("e_wiggle", "e_chafe", "e_visual")]
    for part in ("el_splice", "el_term"):
        left += [work(part), not_gone]
    odds = one(*left, family="electrical")
    assert odds.causes[0].cause == "el_chafe"
    assert odds.causes[0].low > 0.80, "the figures alone would name it"
    assert not odds.decided
    assert odds.statement.startswith(f"Likely: {odds.causes[0].name}. Nothing was measured since")
    assert "Measure again before the next part" in odds.statement
    measured = one(*left, result_of("e_chafe", "positive"), family="electrical")
    assert measured.decided
    assert measured.statement.startswith(
        tuple(f"{word}: {odds.causes[0].name}" for word in ("Found", "Almost sure", "Likely"))
    )
    assert "Nothing was measured" not in measured.statement
