"""The ranked next steps, with the packs and a tiny exact belief."""

import json
from dataclasses import replace

import numpy as np
import pytest

from planner.tiny_belief import TinyBelief, sure_of
from witnessmark.inference.family.family_belief import family_belief
from witnessmark.inference.family.staged_evidence import (
    Outcome,
    Stage,
    StagedEvidence,
    TestResult,
    Work,
)
from witnessmark.knowledge import load_knowledge
from witnessmark.model.candidate import Candidate, CandidateOutcome
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History, Job
from witnessmark.model.step import Spread
from witnessmark.planner.order.progress import Progress, progress
from witnessmark.planner.ranked_steps import FamilyState, rank_steps
from witnessmark.planner.ranking.costs import (
    mean,
    repair_usd,
    seal_usd,
    shop_minutes,
    shop_parts,
    whose_figures,
)
from witnessmark.planner.ranking.pricing import plan_family
from witnessmark.planner.ranking.serve_both import same_fault
from witnessmark.workflow.dossier.as_json import _step

KNOWLEDGE = load_knowledge()
FUEL = KNOWLEDGE.families["fuel_low"]


def rank(*states, **more):
    return rank_steps(states, access_groups=KNOWLEDGE.access_groups, links=KNOWLEDGE.links, **more)


def state(family=FUEL, belief=None, **more):
    return FamilyState(family, belief or TinyBelief(family), **more)


def by_id(steps):
    return {s.step: s for s in steps}


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_every_family_gets_whole_steps(family):
    steps = rank(state(KNOWLEDGE.families[family]))
    work = [s for s in steps if s.kind != "safety"]
    assert work
    for step in work:
        assert step.minutes.low <= step.minutes.typical <= step.minutes.high
        assert step.minutes.typical > 0
        assert step.why.strip()
        assert step.cautions
        assert sum(r.probability for r in step.results) == pytest.approx(1.0, abs=1e-6)
        if step.kind == "repair":
            assert step.proof
            assert step.must_renew == KNOWLEDGE.cause(step.step).renew_with


def test_a_sure_cause_is_repaired_without_further_tests():
    steps = rank(state(belief=sure_of(FUEL, "pump_relief")))
    assert steps[0].kind == "repair"
    assert steps[0].step == "pump_relief"
    assert not [s for s in steps if s.kind == "test"]
    cause = FUEL.cause("pump_relief")
    usd = repair_usd(cause, FUEL, Settings(), cause.minutes)
    assert steps[0].expected_total_usd >= usd


def asks_for(cause, test):
    """Say whether a part is seen bad by a test, by name or by its row."""
    pairs = zip(test.row(cause.id)[:-1], test.base[:-1], strict=True)
    named = {look.test for look in cause.look_first}
    trapped = {name for trap in FUEL.traps for name in trap.unless}
    return test.id in named | trapped or any(p >= 0.5 and p >= 3 * q for p, q in pairs)


def test_a_test_is_proposed_only_if_it_lowers_the_expected_total():
    belief = TinyBelief(FUEL)
    plan = plan_family(state(belief=belief), Settings(), access_groups=KNOWLEDGE.access_groups)
    shown = {s.step for s in rank(state(belief=belief), most=99) if s.kind == "test"}
    for number, test in enumerate(plan.tests):
        lowers = plan.moves.test[0, number] < plan.without_test - 0.5
        # What does not lower it is listed only as the look that would see a part bad.
        assert test.id in shown or not lowers
        if test.id in shown and not lowers:
            assert any(asks_for(c, test) for c in FUEL.causes), test.id
    assert shown
    dear = Settings(labour_usd_per_hour=150.0, load_minutes=600, warm_up_minutes=6000)
    loaded = [t.id for t in FUEL.tests if "load" in t.needs]
    assert not set(loaded) & {s.step for s in rank(state(belief=belief), settings=dear)}


def test_the_look_at_the_relief_comes_before_the_pump():
    """DOMAIN.md section 11, D1: after the gauges pump 55 %, relief 29 %, yet the relief look
    (40 min, $15) is the cheapest next step, not the likelier pump ($380 and 2 h)."""
    given = {frozenset({"pump_worn"}): 0.55, frozenset({"pump_relief"}): 0.29}
    given |= {frozenset({"air_ingress"}): 0.05, frozenset({"return_regulator"}): 0.05}
    given |= {frozenset({"pump_worn", "pump_relief"}): 0.03, frozenset(): 0.03}
    belief = TinyBelief(FUEL, given)
    steps = rank(state(belief=belief), most=99)
    # The walk round comes first; then this.
    best = next(s.step for s in steps if (t := FUEL.test(s.step)) is None or t.kind != "look")
    # A reading of the return flow opens nothing and costs about the same: also right.
    assert best in {"f_relief", "f_block", "pump_relief", "f_cap", "f_return"}
    listed = by_id(steps)
    assert listed["pump_worn"].expected_total_usd > listed[best].expected_total_usd + 50
    order = [s.step for s in steps]
    assert order.index("f_relief") < order.index("pump_worn")
    look = listed["f_relief"]
    found = next(r for r in look.results if r.result == "positive")
    assert found.leads[0][0] == "pump_relief"
    assert found.leads[0][1] > 0.7


def test_what_was_done_at_this_stage_is_not_proposed_again():
    first = rank(state())[0]
    assert first.kind == "test"
    again = rank(state(), progress=Progress(tests=frozenset({first.step})))
    assert first.step not in by_id(again)
    even = TinyBelief(FUEL, {frozenset({"pump_worn"}): 0.6, frozenset({"pump_relief"}): 0.4})
    assert "pump_relief" in by_id(rank(state(belief=even), most=99))
    # Nothing is renewed on a mere possibility while a test can still be made.
    other = TinyBelief(FUEL, {frozenset({"pump_worn"}): 0.88, frozenset({"pump_relief"}): 0.12})
    assert "pump_relief" not in by_id(rank(state(belief=other), most=99))
    renewed = rank(state(belief=other), progress=Progress(repaired=("pump_relief",)), most=99)
    assert "pump_relief" not in by_id(renewed)


class AskedBelief(TinyBelief):
    results = {"f_sight": ("negative", 1.0)}  # noqa: RUF012


def test_a_renewed_part_is_proposed_once_more_only_when_everything_points_at_it():
    alone = state(belief=sure_of(FUEL, "pump_relief"))
    repeated = rank(alone, progress=Progress(repaired=("pump_relief",)))
    assert "pump_relief" not in by_id(repeated)  # nothing was tested between
    sure = state(belief=AskedBelief(FUEL, given=alone.belief.given))
    again = rank(sure, progress=Progress(repaired=("pump_relief",)))
    assert again[0].step == "pump_relief"
    assert again[0].name.startswith("Check the repair made")
    twice = rank(sure, progress=Progress(repaired=("pump_relief", "pump_relief")))
    assert "pump_relief" not in by_id(twice)


def test_after_work_the_same_points_are_measured_first():
    steps = rank(state(), progress=Progress(unmeasured="e8"))
    assert steps[0].step == "remeasure_fuel_low"
    assert steps[0].kind == "measure"
    assert "e8" in steps[0].why


def test_safety_stops_stand_first():
    vibration = KNOWLEDGE.families["vib_load"]
    belief = sure_of(vibration, "damper_loose")
    steps = rank(state(vibration, belief))
    assert steps[0].kind == "safety"
    assert "Do not start" in steps[0].name
    assert steps[1].step == "damper_loose"
    calm = rank(state(vibration, sure_of(vibration, "fan_acc")))
    assert calm[0].kind != "safety"


def test_every_stop_names_causes_of_its_family():
    for stop in (s for f in KNOWLEDGE.families.values() for s in f.stops):
        known = {c.id for c in KNOWLEDGE.families[stop.family].causes}
        assert set(stop.causes) <= known


def test_when_nothing_listed_explains_it_a_reading_comes_first():
    lost = TinyBelief(FUEL, none=0.55)
    steps = rank(state(belief=lost))
    assert steps[0].kind in {"measure", "test"}
    sure = sure_of(FUEL, "pump_relief")
    steps = rank(state(belief=sure, fits=False))
    assert steps[0].kind in {"measure", "test"}


def test_two_complaints_are_planned_together():
    power = KNOWLEDGE.families["low_power"]
    fuel_belief = sure_of(FUEL, "air_ingress")
    power_belief = sure_of(power, "lp_fuel")
    fuel, lazy = state(belief=fuel_belief), state(power, power_belief)
    alone = by_id(rank(fuel))["air_ingress"].expected_total_usd
    other = by_id(rank(lazy))["lp_fuel"].expected_total_usd
    both = rank(fuel, lazy)
    first = both[0]
    assert first.step == "air_ingress"
    assert first.also == ("low_power",)
    assert first.expected_total_usd < alone + other - 50
    assert first.expected_total_usd >= alone - 1e-6
    apart = rank_steps([fuel, lazy], access_groups=KNOWLEDGE.access_groups)
    assert apart[0].expected_total_usd == pytest.approx(alone + other, abs=1.0)
    assert not apart[0].also


def test_a_fault_behind_two_complaints_is_paid_for_once_whatever_comes_first():
    # A test before the repair leads to the same repair: neither kind of step may look cheaper
    # only because the saving at the other complaint was counted for it alone.
    power = KNOWLEDGE.families["low_power"]
    fuel_given = {frozenset({"air_ingress"}): 0.5, frozenset({"fuel_gauge_err"}): 0.5}
    power_given = {frozenset({"lp_fuel"}): 0.6, frozenset({"lp_turbo"}): 0.4}
    fuel = state(belief=TinyBelief(FUEL, fuel_given))
    lazy = state(power, TinyBelief(power, power_given))
    alone, other = by_id(rank(fuel, most=99)), rank(lazy, most=99)
    both = by_id(rank(fuel, lazy, most=99))
    kinds = {both[s].kind for s in alone}
    assert {"test", "repair"} <= kinds
    added = [both[s].expected_total_usd - alone[s].expected_total_usd for s in alone]
    assert max(added) - min(added) < 0.01
    whole = min(s.expected_total_usd for s in other)
    assert 0.4 * whole < added[0] < whole - 50  # half of the time it was the other fault
    unlinked = rank_steps([fuel, lazy], access_groups=KNOWLEDGE.access_groups, most=99)
    first = by_id(unlinked)["air_ingress"].expected_total_usd
    assert first == pytest.approx(alone["air_ingress"].expected_total_usd + whole, abs=1.0)


@pytest.mark.parametrize("odds", [3.0, 10.0])
def test_how_likely_two_complaints_have_one_fault(odds):
    # By brute force over the four events: two independent chances, joined by the link's odds.
    one, two = 0.3, 0.2
    cells = {(a, b): (one if a else 1 - one) * (two if b else 1 - two) * (odds if a and b else 1)
             for a in (0, 1) for b in (0, 1)}  # fmt: skip
    whole = sum(cells.values())
    first = (cells[1, 1] + cells[1, 0]) / whole
    second = (cells[1, 1] + cells[0, 1]) / whole
    both = cells[1, 1] / (cells[1, 1] + cells[0, 1])
    power = KNOWLEDGE.families["low_power"]
    link = replace(KNOWLEDGE.links[0], causes=("air_ingress",), other=("lp_fuel",), odds=odds)
    given = {frozenset({"air_ingress"}): first, frozenset({"fuel_gauge_err"}): 1 - first}
    there = {frozenset({"lp_fuel"}): second, frozenset({"lp_turbo"}): 1 - second}
    fuel = plan_family(state(belief=TinyBelief(FUEL, given)), Settings())
    lazy = plan_family(state(power, TinyBelief(power, there)), Settings())
    assert same_fault(fuel, lazy, link) == pytest.approx(both * (1 - 1 / odds), rel=1e-4)


def test_while_you_are_in_there():
    given = {frozenset({"secondary_filter"}): 0.45, frozenset({"primary_filter"}): 0.45}
    given |= {frozenset({"secondary_filter", "primary_filter"}): 0.1}
    here = state(belief=TinyBelief(FUEL, given), tests_done=frozenset(t.id for t in FUEL.tests))
    steps = by_id(rank(here))
    assert "While you are in there" in steps["secondary_filter"].why
    assert steps["secondary_filter"].along == ("primary_filter",)
    assert _step(steps["secondary_filter"], si=False)["along"] == ["primary_filter"]
    lonely = rank_steps([here])
    assert all("While you are in there" not in s.why and not s.along for s in lonely)


def test_what_the_last_test_has_opened_is_still_open():
    sure = state(belief=sure_of(FUEL, "pump_relief"))
    look = FUEL.test("f_relief")
    closed = rank(sure)[0]
    still_open = rank(sure, progress=Progress(last_test="f_relief"))[0]
    saved = KNOWLEDGE.access_groups[look.access_group].minutes
    assert closed.step == still_open.step == "pump_relief"
    usd = closed.expected_total_usd - still_open.expected_total_usd
    assert usd == pytest.approx((saved.low + 4 * saved.typical + saved.high) / 6 * 2.5, rel=0.01)


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_no_work_shares_more_than_its_own_time(family):
    # A look of ten minutes has not taken nine hours of disassembly off the repair after it.
    plan = plan_family(
        state(KNOWLEDGE.families[family]), Settings(), access_groups=KNOWLEDGE.access_groups
    )
    rate = Settings().labour_usd_per_hour / 60.0
    looks = rate * np.array([mean(t.minutes) for t in plan.tests])
    works = rate * np.array([mean(plan.minutes[c]) for c in plan.table.causes])
    for first, then, saves in (
        (looks, works, plan.problem.repair_saves[:-1]),
        (looks, looks, plan.problem.test_saves[:-1]),
        (works, works, plan.shared_usd),
    ):
        most = 0.9 * np.minimum(first[:, None], then[None, :])
        assert (saves <= most + 1e-9).all()
        assert saves[saves > 0].size == 0 or saves.max() > 5.0
    cheapest = plan.problem.test_usd - plan.problem.test_saves.max(axis=0)
    assert (cheapest > 0).all()


def test_a_candidate_measurement_competes_with_tests_and_repairs():
    groups = (("pump_worn",), ("return_regulator",))
    sure = {frozenset({0}): np.log(0.98), frozenset({1}): np.log(0.02)}
    other = {frozenset({0}): np.log(0.02), frozenset({1}): np.log(0.98)}
    candidate = Candidate(
        id="return_flow_two_speeds",
        family="fuel_low",
        name="Timed return flow at two speeds",
        minutes=Spread(10, 15, 25),
        usd=Spread(0, 0, 0),
        outcomes=(
            CandidateOutcome("weak", "weak flow", JointSupport("fuel_low", groups, sure)),
            CandidateOutcome("strong", "strong flow", JointSupport("fuel_low", groups, other)),
        ),
        cautions=("hot fuel",),
        why="It separates the pump's side from the return side.",
    )
    belief = TinyBelief(FUEL, {frozenset({"pump_worn"}): 0.5, frozenset({"return_regulator"}): 0.5})
    done = frozenset(t.id for t in FUEL.tests)
    steps = rank(state(belief=belief, candidates=(candidate,), tests_done=done))
    step = by_id(steps)["return_flow_two_speeds"]
    assert step.kind == "measure"
    assert step.results[0].leads[0][0] == "pump_worn"
    assert step.results[1].leads[0][0] == "return_regulator"
    assert "hot fuel" in step.cautions
    assert "separates" in step.why
    instead = replace(candidate, covers=("f_return",))
    shown = by_id(rank(state(belief=belief, candidates=(instead,)), most=99))
    assert "return_flow_two_speeds" in shown
    assert "f_return" not in shown
    useless = replace(
        candidate,
        outcomes=tuple(CandidateOutcome(r, r, Support("fuel_low", {})) for r in ("weak", "strong")),
    )
    steps = rank(state(belief=belief, candidates=(useless,), tests_done=done))
    assert "return_flow_two_speeds" not in by_id(steps)


def test_the_shops_own_times_and_seals_are_used():
    jobs = tuple(
        Job("c", "pump_relief", minutes=270, quoted_minutes=90, parts=("Copper washer",))
        for _ in range(40)
    )
    belief = sure_of(FUEL, "pump_relief")
    plain = rank(state(belief=belief))[0]
    slow = rank(state(belief=belief), history=History(jobs=jobs))[0]
    assert slow.minutes.typical > 2.5 * plain.minutes.typical
    assert slow.expected_total_usd > plain.expected_total_usd + 300
    assert "Copper washer" in slow.must_renew


def test_the_time_of_the_one_who_works_on_the_truck_counts():
    def jobs(who, minutes, number):
        return tuple(
            Job("c", "pump_relief", technician=who, minutes=minutes, quoted_minutes=90)
            for _ in range(number)
        )

    history = History(jobs=(*jobs("Ann", 90, 40), *jobs("Bob", 180, 40)))
    belief = sure_of(FUEL, "pump_relief")

    def first(who):
        return rank(state(belief=belief), history=history, technician=who)[0]

    quick, slow, anyone, new = (first(who) for who in ("Ann", "Bob", "", "Cid"))
    assert anyone.minutes.typical == new.minutes.typical  # no jobs of his own yet
    assert quick.minutes.typical < anyone.minutes.typical < slow.minutes.typical
    assert slow.minutes.typical == pytest.approx(2 * quick.minutes.typical, rel=0.15)
    assert slow.expected_total_usd > quick.expected_total_usd + 150
    few = History(jobs=(*jobs("Ann", 90, 40), *jobs("Bob", 180, 1)))
    once = rank(state(belief=belief), history=few, technician="Bob")[0]
    assert once.minutes.typical < 1.3 * quick.minutes.typical  # one job is no rule


def test_times_and_parts_are_held_against_the_packs_figure_not_the_quote():
    cause = FUEL.cause("pump_relief")
    usual = cause.minutes.typical
    parts = cause.parts_usd.typical + seal_usd(cause)

    def jobs(quoted):
        return History(
            jobs=tuple(
                Job("c", cause.id, "Ann", 2 * usual, quoted, 3 * parts, quoted) for _ in range(40)
            )
        )

    for quoted in (None, 2 * usual, 0.5 * usual):  # a quote that has learnt, or none at all
        assert shop_minutes(cause, jobs(quoted)).typical == pytest.approx(2 * usual, rel=0.1)
        dear = shop_parts(cause, jobs(quoted))
        assert dear.typical == pytest.approx(3 * cause.parts_usd.typical, rel=0.15)
    marked_up = shop_parts(cause, jobs(None), markup_percent=50.0)
    assert marked_up.typical == pytest.approx(2 * cause.parts_usd.typical, rel=0.15)
    assert shop_parts(cause, None) == cause.parts_usd
    assert "judgement" in whose_figures(cause, None)
    told = whose_figures(cause, jobs(None), "Ann")
    assert "40 jobs of this shop, 40 of them by Ann" in told
    step = rank(state(belief=sure_of(FUEL, cause.id)), history=jobs(None))[0]
    assert "40 jobs of this shop" in step.why
    assert step.usd == shop_parts(cause, jobs(None))


def test_a_test_asked_again_on_untouched_parts_is_expected_to_repeat_itself(monkeypatch):
    # The gas test was positive, then another part was renewed in vain: made again it will mostly
    # say the same, and that would tell next to nothing.
    family = KNOWLEDGE.families["overheat"]
    # A gas test surer and quicker than the pack's, so that it is worth proposing at all.
    gas = KNOWLEDGE.test("o_gas")
    surer = {c: (0.9, 0.1) if c == "oh_gas" else (0.04, 0.96) for c in gas.probability}
    quick = replace(gas, probability=surer, base=(0.04, 0.96), minutes=Spread(2.0, 3.0, 4.0))
    tests = tuple(quick if t.id == "o_gas" else t for t in family.tests)
    family = replace(family, tests=tests)
    positive = Stage(tests=(TestResult("o_gas", "positive"),))
    in_vain = Stage(work=Work("oh_low"), outcomes=(Outcome(False),))
    belief = family_belief(
        family, StagedEvidence((), (positive, in_vain)), conditions=KNOWLEDGE.conditions
    )
    now = belief.marginals()[belief.causes.index("oh_gas")]
    # With the stop that this belief calls for, no gas test is proposed before the level is checked.
    monkeypatch.setattr("witnessmark.planner.ranked_steps.safety_stops", lambda *_, **__: [])
    step = by_id(rank(state(family, belief, repaired=("oh_low",)), most=99))["o_gas"]
    again = step.results[0]
    assert again.result == "positive"
    assert again.probability > 0.9
    assert again.leads[0][0] == "oh_gas"
    assert now - 0.01 <= again.leads[0][1] < now + 0.05


def test_progress_is_read_off_the_entries():
    rows = [
        ("test", {"test": "f_sight", "result": "negative"}),
        ("test", {"test": "f_curve", "result": "positive"}),
        ("test", {"test": "l_clean", "result": KNOWLEDGE.test("l_clean").outcomes[-1]}),
        ("test", {"test": "f_dp", "result": "maybe"}),
        (
            "reading",
            {
                "quantity": "fuel_gallery_pressure",
                "value": "65 psi",
                "point": {"rpm": 650, "warm": True},
            },
        ),
        ("work", {"did": "renewed", "cause": "return_regulator"}),
    ]
    lines = [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ]
    before = progress(read_case("x", lines[:5]), KNOWLEDGE.families.values())
    assert before.tests == {"f_sight", "f_curve", "l_clean"}
    assert before.measured == (("fuel_gallery_pressure", 650.0),)
    assert before.warm
    assert not before.unmeasured
    hot = progress(read_case("x", [*lines, _tested("o_hose")]), KNOWLEDGE.families.values())
    assert hot.warm == ("warm" in KNOWLEDGE.test("o_hose").needs)
    stood = progress(read_case("x", [*lines[:5], _tested("x_press")]), KNOWLEDGE.families.values())
    assert "cold" in KNOWLEDGE.test("x_press").needs
    assert not stood.warm
    after = progress(read_case("x", lines), KNOWLEDGE.families.values())
    assert after.tests == {"f_sight", "l_clean"}  # they found nothing; nothing broke since
    assert after.repaired == ("return_regulator",)
    assert after.unmeasured == "e5"
    heard = json.dumps(
        {
            "kind": "outcome",
            "id": "e9",
            "at": "2026-03-03T08:00:00Z",
            "data": {"complaint": "e1", "gone": False},
        }
    )
    assert not progress(read_case("x", [*lines, heard])).unmeasured


def _rows(*rows):
    lines = [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ]
    return progress(read_case("x", lines), KNOWLEDGE.families.values())


def test_maybe_said_twice_is_an_answer_and_a_result_that_no_test_knows_is_none():
    perhaps = ("test", {"test": "f_dp", "result": "maybe"})
    assert _rows(perhaps).tests == frozenset()
    assert _rows(perhaps, perhaps).tests == {"f_dp"}
    work = ("work", {"did": "renewed", "cause": "return_regulator"})
    assert _rows(perhaps, work, perhaps).tests == frozenset()
    # A look told as a clue is a look.
    told = ("clue", {"clue": "f_look", "seen": False})
    unsure = ("clue", {"clue": "f_look", "seen": "maybe"})
    assert _rows(told).tests == {"f_look"}
    assert _rows(unsure).tests == frozenset()
    assert _rows(unsure, unsure).tests == {"f_look"}
    # In an old file: neither used nor done.
    strange = _rows(("test", {"test": "f_dp", "result": "a_result_of_long_ago"}))
    assert strange.tests == frozenset()
    assert strange.last_test == ""


@pytest.mark.parametrize("name", ["vib_speed", "hard_start", "oil_press", "wheel_end", "brakes"])
def test_no_step_is_proposed_three_times_running_whatever_is_answered(name):
    # The worst answer to everything: perhaps.
    family = KNOWLEDGE.families[name]
    rows, asked = [], []
    for _ in range(5):
        done = _rows(*rows)
        results = tuple(TestResult(d["test"], d["result"]) for _, d in rows)
        belief = family_belief(
            family, StagedEvidence((), (Stage(tests=results),)), conditions=KNOWLEDGE.conditions
        )
        step = next(
            s for s in rank(state(family, belief, tests_done=done.tests), most=99)
            if s.kind == "test" and KNOWLEDGE.test(s.step) is not None
        )  # fmt: skip
        asked.append(step.step)
        rows.append(("test", {"test": step.step, "result": "maybe"}))
    assert not any(len(set(asked[k : k + 3])) == 1 for k in range(len(asked) - 2)), asked
    assert len(set(asked)) >= 2


def _tested(identity):
    data = {"test": identity, "result": "negative"}
    at = "2026-03-02T09:00:00Z"
    return json.dumps({"kind": "test", "id": "e8", "at": at, "data": data})


def test_nothing_open_nothing_to_do():
    assert rank() == ()


def test_a_complaint_that_is_probably_gone_is_proven_before_more_parts():
    class Gone(TinyBelief):
        def healthy(self):
            return 0.9

    steps = rank(state(belief=Gone(FUEL)))
    assert steps[0].step == "remeasure_fuel_low"
    assert "Nothing points to a fault any more" in steps[0].why
    assert all(s.expected_total_usd > steps[0].expected_total_usd for s in steps[1:])
