"""A fuel case by its entries: what comes once, what waits, and what is read again.

The pair of 65 and 78 psi that it begins with: common practice, no source.
"""

from __future__ import annotations

import json

from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.planner.ranking.read_again import checks_that_disagree
from witnessmark.workflow.dossier.assess_case import assess

GALLERY = "fuel_gallery_pressure"
PAIR = ((GALLERY, "65 psi", 650), (GALLERY, "78 psi", 1400))
LOOKS = (("test", {"test": "f_leaklook", "result": "negative"}),
         ("test", {"test": "f_look", "result": "negative"}))  # fmt: skip
STICK_BAD = ("test", {"test": "f_oil", "result": "positive"})
STICK_GOOD = ("test", {"test": "f_oil", "result": "negative"})
SAMPLE_CLEAN = ("test", {"test": "f_sample", "result": "negative"})


def read(quantity: str, value: str, rpm: int) -> tuple[str, dict]:
    point = {"rpm": rpm, "load": "none", "warm": True}
    return "reading", {"quantity": quantity, "value": value, "point": point}


def steps(*rows: tuple[str, dict]) -> list[str]:
    lines = [("complaint", {"words": "low fuel pressure", "families": ["fuel_low"]}), *rows]
    case = read_case("x", [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(lines)
    ])  # fmt: skip
    return [s.step for s in assess(case, {}).steps if s.kind != "safety"]


def test_a_stick_that_stands_high_with_a_clean_sample_is_read_once_more_and_then_the_gauge() -> (
    None
):
    found = steps(*LOOKS, STICK_BAD, SAMPLE_CLEAN)
    assert found[0] == "f_oil"
    assert not {"gallery_idle_1400", "vacuum_1400"} & set(found)
    # the checks that lifted the stop have measured nothing: the first reading is still due
    assert steps(*LOOKS, STICK_BAD, SAMPLE_CLEAN, STICK_GOOD)[0] == "gallery_idle_1400"


def test_checks_disagree_only_where_one_lifts_and_the_other_was_made_once() -> None:
    stops = load_knowledge().families["fuel_low"].stops
    told = {"f_oil": "positive", "f_sample": "negative"}
    assert checks_that_disagree(stops, told, ["f_oil", "f_sample"]) == {"f_oil"}
    assert not checks_that_disagree(stops, told, ["f_oil", "f_sample", "f_oil"])
    assert not checks_that_disagree(stops, {**told, "f_sample": "positive"}, [*told])
    assert not checks_that_disagree(stops, {"f_oil": "positive"}, ["f_oil"])


def test_one_run_reads_what_two_would_and_the_second_gauge_comes_before_anything_is_opened() -> (
    None
):
    found = steps(*LOOKS, STICK_GOOD, *(read(*r) for r in PAIR))
    assert not {"gauge_check", "gallery_1000_1800"} <= set(found)
    gauge = next(k for k, s in enumerate(found) if s in {"gauge_check", "gallery_speeds_and_check"})
    if "f_relief" in found:
        assert gauge < found.index("f_relief")


def test_a_gauge_that_was_compared_is_not_compared_again_after_work() -> None:
    check = read("gauge_check_difference", "0.5 psi", 650)
    work = ("work", {"cause": "return_regulator", "did": "return_regulator"})
    again = [read(GALLERY, "66 psi", 650), read(GALLERY, "79 psi", 1500)]
    again.append(read("fuel_return_flow", "80 L/h", 1500))
    rest = (*LOOKS, STICK_GOOD, *(read(*r) for r in PAIR), work, *again)
    assert "f_mech" not in steps(check, *rest)


def test_where_nothing_wrong_leads_the_pull_settles_it_and_then_the_fuel_side_is_left() -> None:
    pair = [read(GALLERY, "76 psi", 650), read(GALLERY, "96 psi", 1400)]
    known = (*LOOKS, STICK_GOOD, *pair)
    assert len(found := steps(*known)) == 1
    assert found[0] in {"pull_both_gauges", "gallery_full_load"}
    loaded = {"rpm": 1500, "load": "full", "warm": True}
    pull = [
        ("reading", {"quantity": q, "value": v, "point": loaded})
        for q, v in ((GALLERY, "93 psi"), ("fuel_suction_vacuum", "4 inHg"))
    ]
    assert not steps(*known, *pull)


def test_where_the_vacuum_begins_is_not_asked_where_there_is_none() -> None:
    known = (*LOOKS, STICK_GOOD, *(read(*r) for r in PAIR))
    assert "f_vac_where" in steps(*known)
    assert "f_vac_where" not in steps(*known, read("fuel_suction_vacuum", "2 inHg", 1400))


def test_bubbles_alone_renew_no_joint_before_one_weeps() -> None:
    known = (*LOOKS, STICK_GOOD, *(read(*r) for r in PAIR))
    found = steps(*known, ("test", {"test": "f_sight", "result": "positive"}))
    assert "air_ingress" not in found[: found.index("f_joints")]


def test_a_pump_on_the_bench_needs_no_look_through_its_plug() -> None:
    off = ("test", {"test": "f_pump_off", "result": "worn"})
    found = steps(*LOOKS, STICK_GOOD, *(read(*r) for r in PAIR), off)
    assert "f_relief" not in found
    assert "pump_worn" in found
