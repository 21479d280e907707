"""The order in which a master works, rule by rule; all of it common practice, no source.

Shipped packs where they tell the story, a complaint of our own where the rule is all that counts.
"""

from dataclasses import replace

import pytest

from planner.test_bay_order import steps_of, work
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.causes_and_tests import StepRules
from witnessmark.knowledge.rules import Asked, LookFirst, StepState
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step, forbidden_by
from witnessmark.planner.order.brought_in import BroughtIn, brought_in
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.one_pass import in_order
from witnessmark.planner.order.open_complaint import OpenComplaint
from witnessmark.planner.order.truck_state import cannot_be_done
from workflow.test_stops_obeyed import found

KNOWLEDGE = load_knowledge()
OVERHEAT = KNOWLEDGE.families["overheat"]
NONE = Spread(0.0, 0.0, 0.0)


def ids(steps):
    return [s.step for s in steps]


# A complaint of our own: three tests and two parts of a tank that runs over.
LOOK, GAUGE, SWAP, TANK, CAP = "y_look", "y_gauge", "y_swap", "y_tank", "y_cap"


def a_test(name, kind, **more):
    like = OVERHEAT.tests[0]
    told = {TANK: (0.8, 0.2), CAP: (0.1, 0.9)}
    plain = replace(
        like, id=name, kind=kind, free_look=False, needs=(), invasive=False, access=1,
        outcomes=("positive", "negative"), base=(0.1, 0.9), probability=told, readings=(),
        rules=StepRules(), same_as=(), outcome_words={},
    )  # fmt: skip
    return replace(plain, **more)


def a_family(tests, causes=None, family="yard_tank"):
    like = OVERHEAT.causes[0]
    plain = replace(like, odds_multipliers={}, look_first=(), rules=StepRules(), damages=(),
                    shown_by=(), belongs_to="", kind="adjust")  # fmt: skip
    made = causes or (replace(plain, id=TANK), replace(plain, id=CAP))
    return replace(OVERHEAT, id=family, tests=tuple(tests), causes=tuple(made), traps=(),
                   stops=(), first_round=(), measurements=())  # fmt: skip


def a_step(name, family, usd, *, kind="test", minutes=10.0, parts=0.0, leads=(TANK, CAP)):
    results = tuple(Result(str(k), 0.5, ((c, 0.9),)) for k, c in enumerate(leads))
    known = family.test(name)
    return Step(
        name, kind, family.id, name, Spread(minutes, minutes, minutes),
        Spread(parts, parts, parts), usd, "Why.", needs=known.needs if known else (),
        results=results, work=known.demands if known else ("open",),
    )  # fmt: skip


def ordered(family, steps, *, stops=(), chances=None, found=False, looks=(), **more):
    bench = OpenComplaint(
        family, chances or {TANK: 0.5, CAP: 0.4}, done=(), found=found,
        looks={s.step: s for s in (*steps, *looks) if s.kind == "test"},
    )  # fmt: skip
    return in_order(steps, stops, [bench], Settings(), **more)


# R1: the safety state, and the state of the truck


def test_a_truck_that_does_not_crank_is_not_asked_to_run_or_crank():
    steps = work(steps_of("hard_start", clues=["wont_turn"]))
    assert steps
    wants = {
        s.step for s in steps if {"cranking", "running", "warm", "road", "load"} & set(s.demands)
    } - {s.step for s in steps if s.kind == "repair"}
    assert wants <= {"h_vdrop"}  # volts at the starter while the key is held: its pack allows it
    turns = {s.step for s in work(steps_of("hard_start")) if "cranking" in s.demands}
    assert turns - {"h_vdrop"}


def test_a_derated_truck_is_not_driven_to_measure_under_load():
    free = work(steps_of("low_power"))
    held = work(steps_of("low_power", clues=["derate_lamp"]))
    assert [s for s in free if "load" in s.needs and s.kind != "repair"]
    assert not [s for s in held if {"load", "road"} & set(s.needs) and s.kind != "repair"]


@pytest.mark.parametrize(
    ("state", "demands", "cannot"),
    [
        ("no_crank", ("cranking",), True),
        ("no_crank", ("cold", "open"), False),
        ("no_start", ("cranking",), False),
        ("no_start", ("warm",), True),
        ("crawl", ("load",), True),
        ("crawl", ("running",), False),
        ("no_air", ("road",), True),
        ("not_to_be_driven", ("road",), True),
        ("not_to_be_driven", ("running",), False),
    ],
)
def test_what_a_state_rules_out(state, demands, cannot):
    assert cannot_be_done(demands, StepRules(), {state}) is cannot
    assert not cannot_be_done(demands, StepRules(possible_in=(state,)), {state})


def test_what_cannot_be_done_is_replaced_by_what_its_pack_names_instead():
    road = StepRules(state=StepState(engine="loaded", road=True), instead=(LOOK,))
    family = a_family([a_test(GAUGE, "measure", rules=road, needs=("road", "load")),
                       a_test(LOOK, "measure")])  # fmt: skip
    drive = a_step(GAUGE, family, 100.0)
    look = a_step(LOOK, family, 400.0)
    few = {TANK: 0.15, CAP: 0.1}
    assert ids(ordered(family, [drive], looks=[look], chances=few)) == [GAUGE]
    crawl = BroughtIn(frozenset({"crawl"}))
    assert ids(ordered(family, [drive], looks=[look], chances=few, brought=crawl)) == [LOOK]


def test_not_if_takes_a_step_away():
    cold = StepRules(not_if=(Asked("clue", ("cold",)),))
    family = a_family([a_test(GAUGE, "measure", rules=cold), a_test(LOOK, "measure")])
    steps = [a_step(GAUGE, family, 100.0), a_step(LOOK, family, 120.0)]
    facts = Facts((Mark(1, 0, "clue", "cold", True),))
    assert ids(ordered(family, steps)) == [GAUGE, LOOK]
    assert ids(ordered(family, steps, facts=facts)) == [LOOK]


def test_the_check_that_lifts_a_stop_stands_before_everything_that_may_be_done():
    family = a_family([a_test(GAUGE, "measure"), a_test(LOOK, "look", free_look=True),
                       a_test(SWAP, "functional", needs=("running",))])  # fmt: skip
    stop = Step("y_stop", "safety", family.id, "Do not start it", NONE, NONE, 0.0, "Danger.",
                forbids=("running",), checks=(GAUGE,))  # fmt: skip
    steps = [a_step(SWAP, family, 10.0), a_step(GAUGE, family, 300.0), a_step(LOOK, family, 200.0)]
    put = ordered(family, steps, stops=[stop])
    assert ids(put) == [GAUGE, LOOK]
    assert "the check that the stop asks for" in put[0].why


# R2: what was just touched


def test_what_was_just_worked_on_is_looked_at_first():
    first = work(steps_of("oil_press", clues=["oil_change_just"], tests=[("g_level", "negative")]))
    assert "just worked on" in first[0].why
    assert first[0].minutes.typical <= 15
    assert not first[0].access > 2


def test_a_clue_that_was_taken_back_touches_nothing():
    told = [Mark(1, 0, "clue", "oil_change_just", True)]
    families = [KNOWLEDGE.families["oil_press"]]
    assert brought_in(Facts(tuple(told)), KNOWLEDGE.conditions, families).touched
    told.append(Mark(2, 0, "clue", "oil_change_just", False))
    assert not brought_in(Facts(tuple(told)), KNOWLEDGE.conditions, families).touched


# R3 to R8: look, measure, isolate, open, renew


def test_every_rank_waits_for_the_one_before_although_its_figure_is_a_little_lower():
    opens = StepRules(state=StepState())
    family = a_family([
        a_test(LOOK, "look", free_look=True), a_test(GAUGE, "measure"),
        a_test(SWAP, "functional"), a_test("y_open", "strip", rules=opens),
    ])  # fmt: skip
    steps = [
        a_step("y_open", family, 500.0, minutes=60.0),
        a_step(SWAP, family, 510.0),
        a_step(GAUGE, family, 520.0),
        a_step(LOOK, family, 530.0),
        a_step(TANK, family, 540.0, kind="repair", minutes=90.0, parts=300.0),
    ]
    assert ids(ordered(family, steps, found=True)) == [LOOK, GAUGE, SWAP, "y_open", TANK]
    # On the driver's words alone the part that a test can see is not spoken of.
    assert ids(ordered(family, steps)) == [LOOK, GAUGE, SWAP, "y_open"]


def test_a_reading_that_leaves_the_same_leader_does_not_hold_up_what_tells_more():
    family = a_family([a_test(GAUGE, "measure"), a_test(SWAP, "functional")])
    dull = a_step(GAUGE, family, 520.0, leads=(TANK, TANK))
    assert ids(ordered(family, [a_step(SWAP, family, 500.0), dull])) == [SWAP, GAUGE]


def test_a_dear_test_does_not_hold_up_a_part_that_costs_less():
    family = a_family([a_test(GAUGE, "measure", minutes=Spread(200, 200, 200))])
    gauge = a_step(GAUGE, family, 520.0, minutes=200.0)
    cheap = a_step(CAP, family, 400.0, kind="repair", minutes=5.0, parts=25.0)
    dear = a_step(CAP, family, 400.0, kind="repair", minutes=120.0, parts=900.0)
    assert ids(ordered(family, [gauge, cheap]))[0] == CAP
    assert ids(ordered(family, [gauge, dear]))[0] == GAUGE


def test_a_part_waits_for_the_look_that_shows_it_bad_unless_it_was_seen_bad():
    family = a_family([a_test(SWAP, "functional")])
    causes = tuple(replace(c, look_first=(LookFirst(SWAP),)) for c in family.causes)
    family = replace(family, causes=causes)
    repair = a_step(TANK, family, 400.0, kind="repair", minutes=60.0, parts=200.0)
    look = a_step(SWAP, family, 900.0)
    assert ids(ordered(family, [repair], looks=[look], found=True)) == [SWAP, TANK]
    assert ids(ordered(family, [repair], looks=[look])) == [SWAP]
    seen = OpenComplaint(family, {TANK: 0.85, CAP: 0.1}, done=(), found=True,
                         looks={SWAP: look}, seen_bad={TANK})  # fmt: skip
    assert ids(in_order([look, repair], (), [seen], Settings())) == [TANK, SWAP]


def test_the_same_check_of_two_complaints_is_one_step():
    one = a_family([a_test(GAUGE, "measure", same_as=("z_gauge",))])
    other = a_family([a_test("z_gauge", "measure")], family="other_tank")
    benches = [OpenComplaint(f, {TANK: 0.5}, done=(), found=False) for f in (one, other)]
    steps = [a_step(GAUGE, one, 100.0), a_step("z_gauge", other, 90.0)]
    [left] = in_order(steps, (), benches, Settings())
    assert left.step == "z_gauge"
    assert left.also == (one.id,)


def test_what_a_pack_names_first_comes_first_whatever_it_costs():
    rules = StepRules(do_first=(LOOK,))
    family = a_family([a_test(GAUGE, "measure", rules=rules), a_test(LOOK, "functional")])
    gauge, look = a_step(GAUGE, family, 100.0), a_step(LOOK, family, 900.0)
    assert ids(ordered(family, [gauge], looks=[look])) == [LOOK, GAUGE]


#: Every third family: each takes a whole dossier.
@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families)[::3])
def test_no_blank_complaint_begins_with_a_part_a_tear_down_or_a_long_shot(family):
    dossier = found(family)
    stops = [s for s in dossier.steps if s.kind == "safety"]
    proposed = work(dossier.steps)
    assert proposed or stops
    for step in proposed:
        assert forbidden_by(stops, step.step, step.demands) is None
        if step.kind == "repair":
            assert dossier.odds[0].probability(step.step) >= 0.095, step.step
    if proposed:
        assert proposed[0].kind != "repair"
        assert proposed[0].access < 4
    looks = [k for k, s in enumerate(proposed) if (t := KNOWLEDGE.test(s.step)) and t.free_look]
    meters = [
        k for k, s in enumerate(proposed)
        if (t := KNOWLEDGE.test(s.step)) and t.kind in {"measure", "code", "functional"}
        and s.step not in {c for stop in stops for c in stop.checks}
        and not any(s.step in other.rules.do_first
                    for other in KNOWLEDGE.families[family].tests)
    ]  # fmt: skip
    assert not looks or not meters or looks[0] < meters[0]


# R9: what broke it


def test_after_a_repair_what_may_have_broken_it_is_looked_at_once():
    smoke = KNOWLEDGE.families["smoke"]
    cause = next(c for c in smoke.causes if c.look_after)
    family = replace(smoke, stops=(), measurements=())
    looks = {t.id: a_step(t.id, family, 300.0) for t in family.tests}
    bench = OpenComplaint(family, {c.id: 0.05 for c in family.causes}, done=(), found=True,
                          looks=looks)  # fmt: skip
    put = in_order([], (), [bench], Settings(), look_after=cause.look_after)
    assert set(cause.look_after) <= set(ids(put))
    assert all("what may have broken it" in s.why for s in put if s.step in cause.look_after)


@pytest.mark.parametrize("family", ["overheat", "hard_start"])
def test_what_stopped_dead_at_the_key_is_barred_over_whatever_it_came_for(family):
    dossier = found(family, clues=["stops_dead"])
    stops = [s for s in dossier.steps if s.kind == "safety"]
    dead = [s for s in stops if "cranking" in s.forbids]
    assert len(dead) == 1  # said once, by the complaint's own stop where it has one
    assert dossier.drive == "tow"
    assert not [s for s in work(dossier.steps) if forbidden_by(stops, s.step, s.demands)]


def test_a_free_look_that_may_stop_the_truck_is_not_put_off():
    steps = work(found("fuel_low", clues=["filters_overdue"]).steps)
    assert steps[0].step == "f_leaklook"


def test_what_was_just_added_is_unplugged_first():
    steps = work(found("electrical", clues=["just_added"]).steps)
    assert steps[0].step == "e_access"


def test_a_repair_with_nothing_behind_it_does_not_name_itself_again():
    clues, tests = ["ts_manual", "ts_lost_range"], [("tst_airp", "noswitch")]
    for step in work(steps_of("trans_shift", clues=clues, tests=tests)):
        if step.kind == "repair" and step.results[1].leads[0][0] == step.step:
            assert "look at this work again" in step.why
            assert "think" not in step.why
            return
    raise AssertionError("no such repair is listed")
