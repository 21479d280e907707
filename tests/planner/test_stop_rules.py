"""Which stop stands: every kind of condition, in the order in which things became known."""

import json

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.model.entries.case import read_case
from witnessmark.model.step import forbidden_by
from witnessmark.planner.order.facts import Facts, Mark, facts_of
from witnessmark.planner.order.safety import safety_stops, stops_of_the_truck
from witnessmark.planner.order.stop_rules import holds, standing_stop

KNOWLEDGE = load_knowledge()
SOURCE = KNOWLEDGE.families["oil_press"].source
TESTS = {"t_look": ("a", "b", "clean"), "t_other": ("positive", "negative")}


def stop(when, until=(), drive=(), *, repair_lifts=False):
    return Stop(
        "s", "f", tuple(when), "say", "why", tuple(until), "", tuple(drive), "", repair_lifts,
        "worse", "park", ("start",), (), (), "", SOURCE,
    )  # fmt: skip


def facts(*rows, chances=None, codes=(), findings=()):
    lines = [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ]
    found = facts_of(read_case("x", lines), (), findings, codes).weighed(chances or {}, {})
    object.__setattr__(found, "outcomes", TESTS)
    return found


def made(test, result):
    return "test", {"test": test, "result": result}


def read(value, rpm=700):
    return "reading", {"quantity": "oil_pressure", "value": value, "point": {"rpm": rpm}}


WORK = ("work", {"cause": "c1", "did": "renewed"})
FOUND = Asked("test", ("t_look",), results=("a",))
CLEAN = Asked("test", ("t_look",), results=("clean",))
ODDS = Asked("at_fault", ("c1", "c2"), at_least=0.3)
LOW = Asked("reading", ("oil_pressure",), below=100e3, rpm=(500.0, 900.0))


def stands(rule, known):
    return standing_stop(rule, known) is not None


def test_odds_raise_as_long_as_they_are_there_and_a_result_lifts_them():
    rule = stop([ODDS], [CLEAN])
    assert stands(rule, facts(chances={"c1": 0.2, "c2": 0.2}))  # 1 - 0.8 * 0.8
    assert not stands(rule, facts(chances={"c1": 0.2}))
    assert not stands(rule, facts(made("t_look", "clean"), chances={"c1": 0.9}))
    assert stands(rule, facts(made("t_look", "maybe"), chances={"c1": 0.9}))
    assert stands(stop([ODDS]), facts(made("t_look", "clean"), chances={"c1": 0.9}))


def test_what_may_mean_the_danger_raises_and_only_what_surely_means_none_lifts():
    rule = stop([FOUND], [Asked("test", ("t_look",), results=("b", "clean"))])
    assert stands(rule, facts(made("t_look", "positive")))  # any way of being positive
    assert not stands(rule, facts(made("t_look", "a"), made("t_look", "b")))
    assert stands(rule, facts(made("t_look", "a"), made("t_look", "positive")))


def test_either_end_of_a_range_raises_and_only_both_lift():
    rule = stop([LOW], [Asked("reading", ("oil_pressure",), above=150e3)])  # 14.5 and 21.8 psi
    assert stands(rule, facts(read("8 to 30 psi")))
    assert not stands(rule, facts(read("16 to 30 psi")))
    assert stands(rule, facts(read("8 psi"), read("20 to 30 psi")))
    assert not stands(rule, facts(read("8 psi"), read("swings 23 to 30 psi")))


def test_what_was_found_stays_until_something_newer_lifts_it():
    rule = stop([FOUND, Asked("test", ("t_other",), results=("positive",))], [CLEAN])
    assert stands(rule, facts(made("t_look", "clean"), made("t_other", "positive")))
    assert not stands(rule, facts(made("t_other", "positive"), made("t_look", "clean")))
    assert stands(rule, facts(made("t_look", "a"), WORK))
    assert not stands(rule, facts(made("t_look", "a"), WORK, made("t_look", "clean")))


def test_a_repair_lifts_only_where_the_pack_says_so_and_only_of_its_own_cause():
    seen = facts(made("t_look", "a"), WORK)
    assert not stands(stop([FOUND, ODDS], [CLEAN], repair_lifts=True), seen)
    other = Asked("at_fault", ("c9",), at_least=0.3)
    assert stands(stop([FOUND, other], [CLEAN], repair_lifts=True), seen)


def test_a_clue_counts_by_its_last_word_and_in_any_order_within_a_stage():
    hiss = Asked("clue", ("hiss",))
    rule = stop([hiss], [CLEAN])
    said = ("clue", {"clue": "hiss", "seen": True})
    assert stands(rule, facts(said))
    assert not stands(rule, facts(said, ("clue", {"clue": "hiss", "seen": False})))
    assert not stands(rule, facts(("clue", {"clue": "hiss", "seen": "maybe"})))
    assert not stands(rule, facts(made("t_look", "clean"), said))
    assert stands(rule, facts(made("t_look", "clean"), WORK, said))


def test_a_reading_counts_where_its_limit_holds_and_a_missing_speed_is_not_assumed():
    fine = Asked("reading", ("oil_pressure",), above=150e3)
    rule = stop([LOW], [fine])
    assert stands(rule, facts(read("8 psi")))
    assert not stands(rule, facts(read("8 psi", 1500)))
    assert not stands(rule, facts(read("8 psi", None)))
    assert not stands(rule, facts(read("8 psi"), read("40 psi")))
    assert stands(rule, facts(read("40 psi"), read("8 psi")))
    assert stands(rule, facts(read("8 psi"), read("40 psi"), read("9 psi")))


def test_codes_and_findings_raise():
    code = stop([Asked("code", spn=100, fmi=(1, 18))], [CLEAN])
    assert stands(code, facts(codes=[(100, 1)]))
    assert not stands(code, facts(codes=[(100, 3)]))
    assert stands(stop([Asked("finding", ("leak_seen",))]), facts(findings=["leak_seen"]))


def test_all_and_any_and_a_test_that_was_not_made():
    both = Asked("all", parts=(FOUND, ODDS))
    assert not stands(stop([both]), facts(made("t_look", "a")))
    assert stands(stop([both]), facts(made("t_look", "a"), chances={"c1": 0.5}))
    optional = Asked("test", ("t_other",), results=("negative",), or_not_run=True)
    rule = stop([ODDS], [CLEAN, optional])
    sure = {"c1": 0.9}
    assert not stands(rule, facts(made("t_look", "clean"), chances=sure))
    assert stands(rule, facts(made("t_look", "clean"), made("t_other", "positive"),
                              chances=sure))  # fmt: skip
    assert holds(Asked("any", parts=(FOUND, ODDS)), facts(made("t_look", "a")))


def test_two_levels():
    rule = stop([FOUND], [CLEAN], [Asked("test", ("t_other",), results=("negative",))])
    first = standing_stop(rule, facts(made("t_look", "a")))
    assert (first.level, first.checks, first.say) == ("start", ("t_look",), "worse")
    then = standing_stop(rule, facts(made("t_look", "a"), made("t_look", "clean")))
    assert (then.level, then.checks) == ("drive", ("t_other",))
    assert set(then.blocks) == {"load", "road"}
    rows = [made("t_look", "a"), made("t_look", "clean"), made("t_other", "negative")]
    assert not stands(rule, facts(*rows))


def test_low_oil_pressure_is_lifted_by_a_gauge_before_or_a_good_reading_after_the_repair():
    [rule] = [s for s in KNOWLEDGE.families["oil_press"].stops if s.id == "stop_oil_pressure"]
    level, low = made("g_level", "negative"), made("g_mech", "negative")
    fixed = ("work", {"cause": "op_relief", "did": "renewed"})

    def known(*rows):
        found = facts(*rows)
        outcomes = {t.id: t.outcomes for t in KNOWLEDGE.families["oil_press"].tests}
        object.__setattr__(found, "outcomes", outcomes)
        return found

    assert stands(rule, known(level, low))
    assert stands(rule, known(level, low, read("23 psi")))  # the dash says so, the gauge did not
    assert stands(rule, known(level, low, fixed))
    assert stands(rule, known(level, low, fixed, read("9 psi")))
    assert not stands(rule, known(level, low, fixed, read("23 psi")))
    assert not stands(rule, known(level, made("g_mech", "positive")))


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_every_shipped_stop_that_tests_lift_can_be_lifted_by_their_results(family):
    for rule in KNOWLEDGE.families[family].stops:
        for asked in (part for group in (rule.until, rule.until_drive) for part in group):
            assert all(leaf.kind != "at_fault" for leaf in asked.leaves())
        assert not set(rule.checks) & set(rule.blocks_tests)


def test_a_stop_forbids_repairs_by_name_besides_kinds_of_step():
    certified = next(
        s for s in KNOWLEDGE.families["hvac_cooling"].stops if s.id == "stop_ac_certified"
    )
    facts_then = Facts((), 0, {}, chances={"hc_leak": 0.5})
    steps = safety_stops([certified], facts_then, 0.0)
    causes = {c.id: c for c in KNOWLEDGE.families["hvac_cooling"].causes}
    assert certified.blocks_repairs
    barred = [c for c in causes.values() if forbidden_by(steps, c.id, c.demands)]
    assert {c.id for c in barred} == set(certified.blocks_repairs)
    assert not forbidden_by(steps, "hc_blower", causes["hc_blower"].demands)


def test_a_stop_tells_only_what_its_own_check_found():
    stop = next(s for s in KNOWLEDGE.families["egr_fault"].stops if s.id == "stop_egr_barred")
    seen = Mark(1, 0, "test", "egt_stack", "positive")
    outcomes = {t.id: t.outcomes for t in KNOWLEDGE.families["egr_fault"].tests}
    raised = standing_stop(stop, Facts((seen,), 0, outcomes))
    assert raised.say == stop.say
    stuck = Mark(2, 0, "test", "egt_bar", "positive")
    assert standing_stop(stop, Facts((seen, stuck), 0, outcomes)).say == stop.once_checked


def test_a_check_that_lifts_only_after_a_repair_is_not_let_through_before_it():
    """A knock: the gauge on the running engine counts once the bearings were renewed."""
    bearing = next(s for s in KNOWLEDGE.families["oil_press"].stops if s.id == "stop_oil_bearing")
    gauge = KNOWLEDGE.test("g_mech")
    knock = ("clue", {"clue": "knock", "seen": True})
    before = safety_stops([bearing], facts(knock), 0.0)
    assert before[0].checks == ("g_pan",)
    assert forbidden_by(before, gauge.id, gauge.demands) is not None
    work = ("work", {"did": "shells renewed", "cause": "op_bearing"})
    after = safety_stops([bearing], facts(knock, work), 0.0)
    assert "g_mech" in after[0].checks
    assert forbidden_by(after, gauge.id, gauge.demands) is None


def _of_a_case(marks, families):
    facts = Facts(
        marks, 0, {t.id: t.outcomes for f in KNOWLEDGE.families.values() for t in f.tests}
    )
    mine = [KNOWLEDGE.families[f] for f in families]
    own = [s for f in mine for s in safety_stops(f.stops, facts, 0.0)]
    found = stops_of_the_truck(KNOWLEDGE.stops_beside(families), facts, 0.0, mine, own)
    return {s.step: s for s in found}, {s.step for s in own}


def test_what_bars_the_truck_stands_in_a_case_of_any_complaint():
    nuts = Mark(1, 0, "test", "w_nuts", "loose", entry="e1")
    beside, own = _of_a_case((nuts,), ["hvac_heat"])
    assert not own
    assert beside["stop_we_nuts"].drive == "park"
    assert beside["stop_we_nuts"].family == "hvac_heat"
    beside, own = _of_a_case((nuts,), ["wheel_end"])
    assert own == {"stop_we_nuts"}
    assert not beside
    # One fact that two complaints know is said once, by the stricter stop of the case itself.
    smokes = Mark(1, 0, "clue", "hub_smokes", True, entry="e1")
    beside, own = _of_a_case((smokes,), ["wheel_end"])
    assert "stop_we_smoke" in own
    assert not beside
