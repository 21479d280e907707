"""Proof: proven only by measurement at the points plus a second, independent look."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import pytest

from witnessmark.inference.proof_and_odds import as_far_as_odds_agree
from witnessmark.inference.proof_of_cure import prove
from witnessmark.knowledge import load_knowledge
from witnessmark.model.details.trace_details import NoJumps
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.finding import Finding, OperatingPoint
from witnessmark.model.proof import Pair

IDLE = OperatingPoint(rpm=650, load=0.0)
FAST = OperatingPoint(rpm=1400, load=0.0)
PULL = OperatingPoint(rpm=1500, load=1.0)


def case(*entries: tuple[str, dict[str, Any]], family: str = "fuel_low") -> Case:
    rows = [("complaint", {"words": "low fuel pressure", "families": [family]}), *entries]
    return read_case("c", [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(rows)
    ])  # fmt: skip


RECORDED = ("recording", {"path": "pull.csv", "holds": "vibration"})
WORK = ("work", {"did": "renewed", "cause": "return_regulator"})


def pair(
    point: OperatingPoint,
    spec: str = "inside",
    quantity: str = "fuel_gallery_pressure",
    **more: Any,
) -> Pair:
    values = {"before": 4.5e5, "after": 5.2e5, "difference": 7e4, "shown": True, **more}
    return Pair(quantity=quantity, point=point, unit="Pa", spec=spec, **values)  # type: ignore[arg-type]


def verdict(
    *entries: tuple[str, dict[str, Any]],
    pairs: tuple[Pair, ...] = (),
    findings: tuple[Finding, ...] = (),
    family: str = "fuel_low",
) -> tuple[str, str]:
    proof = prove(case(*entries, family=family), load_knowledge().proof_plans(), pairs, findings)[0]
    return proof.verdict, "; ".join(proof.missing)


def test_nothing_done_proves_nothing() -> None:
    found, missing = verdict(pairs=(pair(IDLE, "outside"),))
    assert found == "not enough evidence"
    assert "no work" in missing


def test_pressure_alone_is_not_enough() -> None:
    found, missing = verdict(WORK, pairs=(pair(IDLE), pair(FAST)))
    assert found == "not enough evidence"
    assert "return flow" in missing
    assert "customer's word" in missing


def test_one_point_is_not_enough() -> None:
    found, missing = verdict(WORK, pairs=(pair(IDLE), pair(IDLE, quantity="fuel_return_flow")))
    assert found == "not enough evidence"
    assert "1,500 rpm" in missing


def test_a_second_quantity_proves_and_says_what_was_not_done() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    found, missing = verdict(WORK, pairs=(pair(IDLE), pair(FAST), flow))
    assert found == "proven"
    assert "pull" in missing


@pytest.mark.parametrize("spec", ["outside", "cannot tell"])
def test_a_value_outside_speaks_against_and_a_doubtful_one_stays_open(spec: str) -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    found, _ = verdict(WORK, pairs=(pair(IDLE), pair(FAST, spec), flow))
    assert found == {"outside": "not proven", "cannot tell": "not enough evidence"}[spec]


@pytest.mark.parametrize(("apart", "said"), [(None, "side by side"), (-2e5, "read false")])
def test_another_instrument_after_the_work_proves_nothing(apart: float | None, said: str) -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    one = (pair(IDLE), pair(FAST), flow)
    assert verdict(WORK, pairs=one)[0] == "proven"
    swapped = pair(FAST, swapped=("dash", "gauge 2"), apart=apart)
    found, missing = verdict(WORK, pairs=(pair(IDLE), swapped, flow))
    assert found == "not enough evidence"
    assert said in missing
    assert "dash" in missing
    against = pair(FAST, "outside", swapped=("dash", "gauge 2"))
    assert verdict(WORK, pairs=(pair(IDLE), against, flow))[0] == "not proven"


def test_the_customer_has_the_last_word() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    pairs = (pair(IDLE), pair(FAST), flow)
    back = ("outcome", {"complaint": "e0", "gone": False, "after_days": 1})
    assert verdict(WORK, back, pairs=pairs)[0] == "not proven"
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})
    found, missing = verdict(WORK, gone, pairs=pairs)
    assert found == "proven"
    assert "customer" not in missing


def test_a_word_given_before_later_work_does_not_count() -> None:
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})
    flow = pair(IDLE, "no band", "fuel_return_flow")
    _, missing = verdict(WORK, gone, WORK, pairs=(pair(IDLE), pair(FAST), flow))
    assert "customer" in missing


def test_the_customers_word_alone_is_no_measurement() -> None:
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 3})
    assert verdict(WORK, gone)[0] == "not enough evidence"


def looked(
    outcome: str, code: str = "coolant_temperature_jumps", covered: float = 1800.0
) -> Finding:
    told = NoJumps(
        probability=0.0, log_bayes_factor=-9.0, kinds={}, movement="", smallest_glitch={},
        covered_s=covered,
    )  # fmt: skip
    return Finding(code, "x", outcome, "m/1", stage=1, details=told)  # type: ignore[arg-type]


GONE = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})


def test_not_run_never_counts_as_not_seen() -> None:
    states = {
        outcome: verdict(WORK, GONE, findings=(looked(outcome),), family="cool_unstable")[0]
        for outcome in ("seen", "not_seen", "not_run", "inconclusive")
    }
    assert states == {
        "seen": "not proven", "not_seen": "proven",
        "not_run": "not enough evidence", "inconclusive": "not enough evidence",
    }  # fmt: skip


def test_a_short_look_is_no_proof_and_a_real_swing_speaks_against() -> None:
    short = (looked("not_seen", covered=300.0),)
    assert verdict(WORK, GONE, findings=short, family="cool_unstable")[0] == "not enough evidence"
    swing = (looked("not_seen"), looked("seen", "coolant_temperature_thermostat_cycling"))
    assert verdict(WORK, GONE, findings=swing, family="cool_unstable")[0] == "not proven"


def test_a_test_must_be_repeated_after_the_work() -> None:
    seen = ("test", {"test": "m_colour_black", "result": "positive"})
    dry = ("test", {"test": "m_colour_black", "result": "negative"})
    word = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})
    assert verdict(seen, WORK, word, family="smoke")[0] == "not enough evidence"
    assert verdict(seen, WORK, dry, word, family="smoke")[0] == "proven"
    assert verdict(seen, WORK, seen, word, family="smoke")[0] == "not proven"


def test_a_test_that_still_shows_the_fault_speaks_against_a_good_pressure() -> None:
    bubbles = ("test", {"test": "f_sight", "result": "positive"})
    clear = ("test", {"test": "f_sight", "result": "negative"})
    good = (pair(IDLE), pair(FAST), pair(IDLE, "inside", "fuel_suction_vacuum"))
    assert verdict(bubbles, WORK, bubbles, pairs=good)[0] == "not proven"
    assert verdict(bubbles, WORK, clear, pairs=good)[0] == "proven"
    assert verdict(WORK, bubbles, clear, pairs=good)[0] == "proven"


def test_a_complaint_is_judged_by_the_tests_of_its_own_families() -> None:
    knowledge = load_knowledge()
    smoke = ("test", {"test": "m_colour_black", "result": "positive"})
    clean = ("test", {"test": "m_colour_black", "result": "negative"})
    other = ("test", {"test": "c_rate", "result": "positive"})
    word = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})
    rows = case(smoke, other, WORK, clean, word, family="smoke")
    [proof] = prove(rows, load_knowledge().proof_plans(), (), (), knowledge)
    assert proof.verdict == "proven"


def test_what_was_taken_apart_to_be_seen_is_not_taken_apart_again() -> None:
    knowledge = load_knowledge()
    word = ("outcome", {"complaint": "e0", "gone": True, "after_days": 1})

    def proven(*shown: str, again: str) -> str:
        rows = [("test", {"test": t, "result": "positive"}) for t in shown]
        after = ("test", {"test": again, "result": "negative"})
        entries = case(*rows, WORK, after, word, family="axle_leak_noise")
        return prove(entries, knowledge.proof_plans(), (), (), knowledge)[0].verdict

    both = ("alt_coast", "alt_carrieropen")
    assert proven(*both, again="alt_coast") == "proven"
    assert proven(*both, again="alt_carrieropen") == "not enough evidence"
    assert proven("alt_carrieropen", again="alt_coast") == "not enough evidence"


def test_a_complaint_without_a_family_says_so() -> None:
    proof = prove(case(WORK, family="nonsense"), load_knowledge().proof_plans(), (), ())[0]
    assert proof.verdict == "not enough evidence"
    assert "family" in proof.missing[0]


def test_every_family_has_a_plan_that_can_be_met() -> None:
    plans = load_knowledge().proof_plans()
    assert set(plans) == set(load_knowledge().families)
    for plan in plans.values():
        assert plan.required
        assert plan.second


def test_what_must_be_there_from_before_the_work_is_asked_for_before_it() -> None:
    _, missing = verdict(family="vib_load")
    assert "before the work: a recording of the pull" in missing
    assert "to compare with" not in verdict(RECORDED, family="vib_load")[1]
    _, missing = verdict(family="smoke")
    assert "before the work: a test that shows the complaint" in missing
    shown = ("test", {"test": "m_colour_white", "result": "positive"})
    assert "shows the complaint" not in verdict(shown, family="smoke")[1]


def test_a_repair_without_a_recording_before_it_says_that_nothing_can_be_compared() -> None:
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 2})
    found, missing = verdict(WORK, gone, family="vib_load")
    assert found == "not enough evidence"
    assert "nothing from before the work" in missing
    assert "nothing from before the work" not in verdict(RECORDED, WORK, gone, family="vib_load")[1]


def test_a_reading_before_and_after_that_no_plan_names_stands_with_the_first_complaint() -> None:
    beside = pair(IDLE, "no band", quantity="battery_voltage")
    alone = pair(IDLE, "no band", quantity="oil_pressure", after=None)
    plans = load_knowledge().proof_plans()
    found = prove(case(WORK), plans, (beside, alone), ())[0]
    assert found.pairs == (beside,)
    assert found.verdict == prove(case(WORK), plans, (), ())[0].verdict


BAND = {"band": (4.7e5, 5.5e5)}
LOOSE = {"before": 5.2e5, "difference": 0.0, "shown": False, **BAND}


def test_what_held_before_the_work_just_so_proves_nothing() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow", shown=False, difference=0.0)
    held = (pair(IDLE, **LOOSE), pair(FAST, **LOOSE), flow)
    found, missing = verdict(WORK, pairs=held)
    assert found == "not enough evidence"
    assert "held before the work too" in missing
    was_low = pair(FAST, before=4.5e5, **BAND)
    assert verdict(WORK, pairs=(held[0], was_low, flow))[0] == "proven"
    gone = ("outcome", {"complaint": "e0", "gone": True, "after_days": 2})
    assert verdict(WORK, gone, pairs=held)[0] == "proven"


def test_a_pointer_that_swings_holds_only_with_both_ends_inside() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    far, near = (pair(FAST, swing=swing, **BAND) for swing in (4e4, 2e4))
    assert verdict(WORK, pairs=(pair(IDLE), near, flow))[0] == "proven"
    assert verdict(WORK, pairs=(pair(IDLE), far, flow))[0] == "not enough evidence"


def test_a_pull_that_was_read_outside_its_band_speaks_against() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    found, _ = verdict(WORK, pairs=(pair(IDLE), pair(FAST), flow, pair(PULL, "outside")))
    assert found == "not proven"


def test_a_cold_reading_does_not_stand_for_the_warm_one() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    cold = pair(OperatingPoint(rpm=650, load=0.0, warm=False), "no band")
    low = pair(IDLE, "outside")
    assert verdict(WORK, pairs=(low, cold, pair(FAST), flow))[0] == "not proven"


def test_what_the_odds_still_suspect_is_not_proven() -> None:
    flow = pair(IDLE, "no band", "fuel_return_flow")
    known = load_knowledge()
    proofs = prove(case(WORK), known.proof_plans(), (pair(IDLE), pair(FAST), flow), ())
    assert proofs[0].verdict == "proven"

    def agreed(chance: float, modelled: set[str]) -> str:
        cause = SimpleNamespace(name="Transfer pump", probability=chance)
        odds = SimpleNamespace(complaint="e0", causes=(cause,))
        return as_far_as_odds_agree(proofs, [odds], modelled)[0].verdict  # type: ignore[list-item]

    assert agreed(0.2, {"fuel_low"}) == "proven"
    assert agreed(0.4, set()) == "proven"
    assert agreed(0.4, {"fuel_low"}) == "not enough evidence"
