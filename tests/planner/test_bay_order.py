"""What a good technician does first, where the figures alone would say otherwise."""

import json

import pytest

from planner.tiny_belief import TinyBelief
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.step import forbidden_by
from witnessmark.planner.order.brought_in import brought_in
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.ranked_steps import FamilyState, rank_steps
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()
#: A cause below this is called possible.
POSSIBLE_BELOW = 0.30
STOPS = [stop for f in KNOWLEDGE.families.values() for stop in f.stops]


def steps_of(*families, miles=None, clues=(), tests=()):
    """Return the steps for a truck with these clues (id or (id, cause)) and (test, result)."""
    truck = {"label": "Testbarley 1"} | ({"miles": miles} if miles else {})
    rows = [
        ("truck", truck),
        ("complaint", {"words": "as the driver says", "families": list(families)}),
    ]
    for clue in clues:
        name, cause = clue if isinstance(clue, tuple) else (clue, "")
        rows.append(("clue", {"clue": name, "seen": True} | ({"cause": cause} if cause else {})))
    rows += [("test", {"test": test, "result": result}) for test, result in tests]
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]
    return assess(read_case("x", lines), {}).steps


def seeing(cause, family):
    """Return the tests that see a part bad: those its pack names, else those by their rows."""
    named = {look.test for look in family.cause(cause).look_first if not look.twin}
    by_row = {
        t.id
        for t in family.tests
        if any(
            p >= 0.5 and p >= 3 * q
            for p, q in zip(t.row(cause)[:-1], t.base[:-1], strict=True)
        )
    }  # fmt: skip
    return named or by_row


def work(steps):
    return [s for s in steps if s.kind != "safety"]


def test_a_truck_that_may_have_a_loose_damper_is_not_road_tested_first():
    steps = steps_of("vib_load", clues=["overhaul", "sudden", ("part_new", "damper_loose")])
    assert steps[0].step == "stop_damper"
    assert steps[1].step == "v_bolt"
    assert "the check that the stop asks for" in steps[1].why
    looks = [s for s in work(steps) if s.kind != "repair"]
    assert not [s.step for s in looks[:4] if {"road", "load"} & set(s.needs)]


def test_a_suspected_wheel_end_is_nuts_with_the_wheels_on_then_the_stand():
    steps = steps_of("vib_speed", clues=["tyre_recent", "sudden"])
    assert [s.step for s in steps[:2]] == ["stop_wheel_end", "s_nuts"]
    assert not {"road", "lifted"} & set(steps[1].needs)
    loose = steps_of("vib_speed", clues=["tyre_recent"], tests=[("s_nuts", "loose")])
    standing = [s.step for s in loose if s.kind == "safety"]
    assert {"stop_wheel_loose", "stop_wheel_end"} <= set(standing)
    # With the wheel up: its seat and studs, or the hub rocked by hand.
    assert loose[len(standing)].step in {"s_seat", "wheel_mount", "s_bearing"}


def test_low_oil_pressure_is_dipstick_and_gauge_before_sensor_or_pan():
    steps = steps_of("oil_press", clues=["single_sensor", "harness_repair"])
    assert [s.step for s in steps[:2]] == ["stop_oil_pressure", "g_level"]
    after = steps_of(
        "oil_press", clues=["single_sensor", "harness_repair"], tests=[("g_level", "negative")]
    )
    # A plug is looked at in minutes with the engine off; the first instrument is the gauge.
    assert next(s for s in work(after) if KNOWLEDGE.test(s.step).kind != "look").step == "g_mech"
    tired = steps_of("oil_press", miles=1_010_000, clues=["gradual", "worse_hot"])
    order = [s.step for s in work(tired)]
    assert order[0] == "g_level"
    assert "g_mech" in order
    assert "g_pan" not in order[: order.index("g_mech")]


def test_a_stop_says_what_to_do_once_its_check_was_made():
    steps = steps_of("coolant_cross", clues=["overheated"], tests=[("x_oil", "positive")])
    assert "sampled" not in steps[0].name
    assert steps[0].step == "stop_contaminated_oil"


def test_no_leak_down_before_the_reading_is_repeated_and_the_breather_bypassed():
    # The walk round comes first; of what is measured, the reading itself.
    walk = KNOWLEDGE.families["crankcase"].first_round
    first = next(s for s in work(steps_of("crankcase", miles=905_000)) if s.step not in walk)
    assert first.step == "b_cold"
    made = [("b_cold", "negative")]
    for expected in ({"b_breather", "b_compr"}, {"b_breather", "b_compr"}):
        first = work(steps_of("crankcase", miles=905_000, tests=made))[0]
        assert first.step in expected or first.access < 4
        if first.step not in expected:
            break
        made.append((first.step, "negative"))


def test_gas_in_the_coolant_is_not_answered_by_a_new_sensor():
    steps = steps_of(
        "cool_unstable",
        clues=["topups", "overheated"],
        tests=[("c_level", "positive"), ("c_rate", "negative"), ("c_wiggle", "negative"),
               ("c_gas", "positive")],
    )  # fmt: skip
    order = [s.step for s in work(steps)]
    assert order[0] not in {"ct_sensor", "ct_thermostat", "ct_other"}
    assert "ct_gas" in order
    assert "ct_sensor" not in order[: order.index("ct_gas")]


def test_the_joint_that_lets_air_in_is_found_before_it_is_renewed():
    steps = steps_of(
        "hard_start",
        miles=540_000,
        clues=["sat_long", "filters_recent"],
        tests=[("h_prime", "positive")],
    )
    order = [s.step for s in work(steps)]
    assert order[0] == "h_sight"
    assert "hs_drain" in order


def test_dear_injectors_are_not_renewed_before_a_look_that_takes_minutes():
    steps = steps_of(
        "hard_start",
        miles=890_000,
        clues=["worse_hot"],
        tests=[("h_crank", "negative"), ("h_rpm", "negative"), ("h_rail", "positive")],
    )
    assert work(steps)[0].kind == "test"
    assert work(steps)[0].access <= 2


def test_a_reading_that_is_normal_once_it_is_taken_rightly_is_repeated_before_anything_else():
    walk = KNOWLEDGE.families["crankcase"].first_round
    steps = work(steps_of("crankcase", miles=950_000, tests=[("b_cold", "positive")]))
    first = next(s for s in steps if s.step not in walk)
    assert first.step == "cc_meas"
    assert first.kind == "repair"


def test_the_third_seal_is_not_sold_before_the_crankcase_pressure_is_cured():
    clues = ["gradual", "oil_wet", ("part_new", "ol_front")]
    open_ = steps_of("oil_leak", miles=870_000, clues=clues, tests=[("l_front", "positive")])
    before = [s.step for s in work(open_)]
    assert "l_cc" in before
    assert not [s for s in before[: before.index("l_cc")] if s.startswith("ol_")]
    known = steps_of(
        "oil_leak",
        miles=870_000,
        clues=clues,
        tests=[("l_front", "positive"), ("l_cc", "positive")],
    )
    order = [s.step for s in work(known)]
    assert order.index("ol_cc") < order.index("ol_front")


def test_crankcase_pressure_behind_a_leak_is_left_to_its_own_complaint():
    made = [("l_cc", "positive"), ("l_front", "positive")]
    both = [s.step for s in work(steps_of("crankcase", "oil_leak", miles=910_000, tests=made))]
    own = {t.id for t in KNOWLEDGE.families["crankcase"].tests}
    assert both[0] in own
    alone = work(steps_of("oil_leak", miles=910_000, tests=made))
    told = next(s for s in alone if s.step == "ol_cc")
    assert "name 'crankcase' in the complaint too" in told.why


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_the_order_loses_and_doubles_nothing(family, monkeypatch):
    ordered = rank_steps(
        [FamilyState(KNOWLEDGE.families[family], TinyBelief(KNOWLEDGE.families[family]))], most=60
    )
    monkeypatch.setattr(
        "witnessmark.planner.ranked_steps.in_order", lambda steps, *_, **__: list(steps)
    )
    plain = rank_steps(
        [FamilyState(KNOWLEDGE.families[family], TinyBelief(KNOWLEDGE.families[family]))], most=60
    )
    ids = [s.step for s in ordered]
    assert len(ids) == len(set(ids))
    # Nothing is renewed on a mere possibility, nor on words alone, while a test can still be made.
    belief = TinyBelief(KNOWLEDGE.families[family])
    chances = zip(belief.causes, belief.marginals(), strict=True)
    seen_by = {c: seeing(c, KNOWLEDGE.families[family]) for c in belief.causes}
    long_shots = {c for c, p in chances if p < POSSIBLE_BELOW or seen_by[c] & set(ids)}
    allowed = [s for s in plain if forbidden_by(ordered, s.step, s.demands) is None]
    assert set(ids) >= {s.step for s in allowed} - long_shots
    assert not [s for s in ordered if s.kind == "repair" and s.step in long_shots]
    assert all(s.kind == "test" for s in ordered if s.step not in {p.step for p in plain})


def test_every_check_of_a_stop_is_a_test_of_its_family():
    for stop in STOPS:
        known = {t.id for t in KNOWLEDGE.families[stop.family].tests}
        assert set(stop.checks) <= known
        assert bool(stop.once_checked) <= bool(stop.checks)


def test_what_does_not_start_is_towed_and_the_last_word_counts():
    seen = Mark(0, 0, "clue", "wont_start", True)
    assert brought_in(Facts(marks=(seen,)), KNOWLEDGE.conditions).does_not_run == "no_start"
    runs = Mark(1, 0, "clue", "wont_start", False)
    assert brought_in(Facts(marks=(seen, runs)), KNOWLEDGE.conditions).does_not_run == ""
