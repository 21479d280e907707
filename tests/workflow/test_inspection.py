"""An inspection in a shop: looked at, failed, repaired, looked at again, signed; and refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from witnessmark.errors import EntryRefused, InputRefused, NotFound
from witnessmark.model.entries.entry_data import ClueData, ComplaintData, TestData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.model.entries.ledger_data import CloseData, InspectData
from witnessmark.model.inspection import InspectionSheet, PointState
from witnessmark.workflow.case.check_ids import check_ids
from witnessmark.workflow.case.packs_of_shop import Knowledge, knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.inspecting.inspect_case import (
    begin,
    combination,
    listing_of,
    repaired,
    sheet_json,
    sheet_now,
    sheet_of,
    sign,
)
from witnessmark.workflow.inspecting.look_at_point import Look, look
from witnessmark.workflow.papers.inspection_papers import inspection_html
from workflow.inspecting_lines import HEAD, good_looks, shop_with, walk

SIGNED = {"inspector": "A. Inspector", "brake_inspector": "B. Brakes", "accurate": True}
LONG = {"chamber": "c30", "tanks": "85 psi"}


def sheet(shop: Shop) -> InspectionSheet:
    return sheet_of(shop, shop.case("unit"))


def point(shop: Shop, identity: str) -> PointState:
    found = sheet(shop).point(identity)
    assert found is not None
    return found


def stroke(value: str, place: str = "a2l", gauge: str = "tape", **more: Any) -> Look:
    return Look("stroke", place=place, value=value, gauge=gauge, given=LONG, **more)


def test_nothing_looked_at_is_neither_pass_nor_fail(tmp_path: Path) -> None:
    found = sheet(shop_with(tmp_path))
    assert {p.state for p in found.points} <= {"not_looked", "not_required"}
    assert found.certificate is None
    assert len(found.not_looked()) == len([w for w in found.withheld if w.point])
    assert all("neither pass nor fail" in p.said for p in found.points if p.state == "not_looked")


@pytest.mark.parametrize("vehicle", ["truck", "tractor", "trailer", "dolly"])
def test_every_point_of_every_vehicle_is_reached_and_the_whole_walk_is_signed(
    vehicle: str, tmp_path: Path
) -> None:
    shop = shop_with(tmp_path, vehicle)
    walk(shop, vehicle)
    found = sheet_now(shop, "unit")
    mine = {p.id for p in listing_of(shop).points_for(vehicle, "air")}
    assert {p.id for p in found.points} == mine
    assert {p.state for p in found.points if not p.optional} == {"passes"}
    assert found.withheld == ()
    sign(shop, "unit", SIGNED, found)
    after = sheet(shop)
    assert after.certificate is not None
    assert after.certificate.stands
    assert after.certificate.due in after.record
    assert after.certificate.keep in after.record


def test_each_kind_of_vehicle_has_its_own_list() -> None:
    from witnessmark.knowledge.inspecting.inspection_lists import load_inspection

    lists = {
        v: {p.id for p in load_inspection().points_for(v)}
        for v in ("truck", "tractor", "trailer", "dolly")
    }
    assert "free_play" in lists["tractor"] - lists["trailer"]
    assert "kingpin" in lists["trailer"] - lists["tractor"] - lists["dolly"]
    assert "rear_guard" in lists["trailer"] - lists["dolly"]
    assert "fifth_wheel_mount" in lists["dolly"] - lists["trailer"]
    # a point that no vehicle has would never be looked at
    assert set.union(*lists.values()) == {p.id for p in load_inspection().file.points}


@pytest.mark.parametrize("vehicle", ["truck", "tractor", "trailer", "dolly"])
def test_a_defect_at_every_point_opens_a_complaint_of_its_family(
    vehicle: str, tmp_path: Path
) -> None:
    shop = shop_with(tmp_path, vehicle)
    listing = listing_of(shop)
    points = listing.points_for(vehicle, "air")
    look(shop, "unit", [Look(p.id, "fail", note="seen") for p in points])
    case = shop.case("unit")
    opened = {e.id.split(":")[1]: d for e, d in case.of(ComplaintData)}
    assert set(opened) == {p.id for p in points}
    assert all(opened[p.id].families == ((p.opens,) if p.opens else ()) for p in points)
    assert {p.state for p in sheet(shop).points} == {"fails"}
    assert case.problems == ()
    assert check_ids(case, knowledge_of(shop, case)) == tuple(
        p for p in check_ids(case, knowledge_of(shop, case)) if "names no family" in p.what
    )
    entered = {d.test: d.result for _, d in case.of(TestData)} | {
        d.clue: "" for _, d in case.of(ClueData)
    }
    raising = _raising(knowledge_of(shop, case))
    for one in points:
        if one.drive in {"park", "tow"}:  # raises a stop that the packs have
            parts = [r.test or r.clue for f in (one, *one.faults) for r in f.raises]
            assert set(parts or [listing.file.unsafe]) & raising, one.id
            assert one.faults or set(parts or [listing.file.unsafe]) & set(entered), one.id


def _raising(knowledge: Knowledge) -> set[str]:
    """Return the tests and clues that raise some stop of the packs."""
    stops = [s for f in knowledge.families.values() for s in f.stops]
    asked = [a for s in (*stops, *knowledge.stops) for a in s.when]
    return {i for a in asked for part in (a, *a.parts) for i in part.ids}


def test_what_makes_it_unsafe_raises_the_stops_that_the_packs_have(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    look(shop, "unit", [stroke("2 1/4 in"), Look("frame", "fail", note="crack")])
    case = shop.case("unit")
    tests = [(d.test, d.result) for _, d in case.of(TestData)]
    assert tests == [("r_stroke", "positive")]
    assert [(d.clue, d.seen) for _, d in case.of(ClueData)] == [("insp_not_safe", True)]
    said = " ".join(w.what for w in sheet_now(shop, "unit").withheld)
    assert "A stroke over its limit" in said
    assert "unsafe to move" in said


def test_a_defect_is_repaired_looked_at_again_signed_off_and_then_certified(
    tmp_path: Path,
) -> None:
    shop = shop_with(tmp_path)
    walk(shop, "tractor", "tread", "frame")
    head = InspectionData.model_validate(HEAD)
    tread = [k for k in good_looks(shop, head) if k.point == "tread"]
    bad = Look("tread", place="a1l", value="2/32 in", gauge="gauge")
    look(shop, "unit", [bad, *tread[1:], Look("frame", "fail", note="crack, left rail")])
    assert point(shop, "tread").state == "fails"
    # a second look without work counts for nothing
    look(shop, "unit", [tread[0]])
    assert point(shop, "tread").state == "fails"
    assert "no work between" in point(shop, "tread").remarks[0]
    repaired(shop, "unit", "tread", "tyre renewed, left front")
    assert point(shop, "tread").state == "worked"
    assert point(shop, "frame").state == "fails"  # that work was not on the frame
    look(shop, "unit", [tread[0]])
    assert point(shop, "tread").state == "repaired"
    repaired(shop, "unit", "frame", "rail welded by the book of its maker")
    look(shop, "unit", [Look("frame", "pass")])
    case = shop.case("unit")
    closed = {d.complaint: d.how for _, d in case.of(CloseData)}
    assert closed == {"inspection:tread:1": "proven", "inspection:frame:1": "proven"}
    assert [(d.clue, d.seen) for _, d in case.of(ClueData)][-1] == ("insp_not_safe", False)
    found = sheet_now(shop, "unit")
    assert found.withheld == ()
    sign(shop, "unit", SIGNED, found)
    certificate = sheet(shop).certificate
    assert certificate is not None
    assert certificate.stands


def _mended(shop: Shop, one: str, fault: str) -> None:
    look(shop, "unit", [Look(one, "fail", fault=fault)])
    repaired(shop, "unit", one, "renewed")
    look(shop, "unit", [Look(one, "pass")])


def _tests(shop: Shop) -> list[tuple[str, str]]:
    return [(d.test, d.result) for _, d in shop.case("unit").of(TestData)]


def test_a_sign_off_says_no_more_good_than_was_looked_at(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    _mended(shop, "axle_parts", "ubolt")
    # the leaves were not looked at: the whole test along the springs is not good yet
    assert point(shop, "axle_parts").state == "repaired"
    assert _tests(shop) == [("u_leaf", "ubolt")]
    look(shop, "unit", [Look("springs", "pass")], entry_id="e1")
    assert _tests(shop) == [("u_leaf", "ubolt"), ("u_leaf", "sound")]
    assert look(shop, "unit", [Look("springs", "pass")], entry_id="e1") == []
    look(shop, "unit", [Look("springs", "pass")])
    assert len(_tests(shop)) == 2, "said once"
    # a test that also looks for what no point asks is never good by a point
    _mended(shop, "tyres_sound", "cord")
    assert _tests(shop)[-1] == ("py_look", "bulge_cord")
    # what a point looks at as a whole is good as a whole
    _mended(shop, "lamps", "one")
    assert _tests(shop)[-1] == ("ltt_walk", "negative")


def test_a_clue_stays_up_while_another_point_keeps_it(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    look(shop, "unit", [Look("frame", "fail"), Look("beam", "fail")])
    repaired(shop, "unit", "frame", "welded")
    look(shop, "unit", [Look("frame", "pass")])
    assert [d.seen for _, d in shop.case("unit").of(ClueData)] == [True, True]
    repaired(shop, "unit", "beam", "renewed")
    look(shop, "unit", [Look("beam", "pass")])
    assert [d.seen for _, d in shop.case("unit").of(ClueData)][-1] is False


def test_a_stroke_stop_stays_until_what_lifts_it_was_done(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    walk(shop, "tractor", "stroke")
    strokes = [k for k in good_looks(shop, InspectionData.model_validate(HEAD))
               if k.point == "stroke"]  # fmt: skip
    look(shop, "unit", [*strokes[:2], stroke("2 1/4 in", strokes[2].place), *strokes[3:]])
    repaired(shop, "unit", "stroke", "adjuster renewed")
    look(shop, "unit", [strokes[2]])
    assert point(shop, "stroke").state == "repaired"
    kept = sheet_now(shop, "unit")
    assert ["safety stop" in w.what for w in kept.withheld] == [True]
    with pytest.raises(InputRefused, match="safety stop"):
        sign(shop, "unit", SIGNED, kept)
    for test in ("r_cam", "r_adj"):
        shop.add("unit", "test", {"test": test, "result": "negative"})
    assert sheet_now(shop, "unit").withheld == ()


REFUSED: list[tuple[dict[str, Any], str]] = [
    ({"inspector": None}, "inspector's name is missing"),
    ({"qualified": None}, "ability rests on is missing"),
    ({"evidence": None}, "evidence of the inspector's ability"),
    ({"brake_inspector": None}, "brake inspector's name is missing"),
    ({"brake_qualified": None}, "brake inspector's ability rests on is missing"),
    # W73: a licence with the air-brake endorsement makes no brake inspector
    ({"brake_qualified": "licence_only"}, "Not enough by itself: a driver's licence"),
    ({"brake_evidence": " "}, "evidence of the brake inspector's ability"),
    ({"carrier": None}, "Who operates the vehicle is missing"),
    ({"vehicle": "trailer"}, "The case is of a truck, the inspection of a trailer"),
]


@pytest.mark.parametrize(("head", "why"), REFUSED)
def test_no_certificate_without_people_and_vehicle(
    head: dict[str, Any], why: str, tmp_path: Path
) -> None:
    shop = shop_with(tmp_path)
    told = {k: v for k, v in {**HEAD, **head}.items() if v is not None}
    begin(shop, "unit", told)
    walk(shop, str(told["vehicle"]))
    found = sheet(shop)
    assert [why in w.what for w in found.withheld] == [True], found.withheld
    with pytest.raises(InputRefused, match="No certificate"):
        sign(shop, "unit", SIGNED, found)


OPEN: list[tuple[str, list[Look], str]] = [
    ("wipers", [], "Wipers: not looked at"),
    ("wipers", [Look("wipers", "not_looked")], "Wipers: not looked at"),
    ("wipers", [Look("wipers", "fail")], "Wipers: fails"),
    ("free_play", [Look("free_play", value="4.7 in", gauge="rule",
                        given={"assist": "power", "wheel": "w18"})], "too close to say"),
    ("compressor", [Look("compressor", "fail"), Look("compressor", "pass")], "Air compressor"),
]  # fmt: skip


@pytest.mark.parametrize(("left", "looks", "why"), OPEN)
def test_no_certificate_with_an_open_point(
    left: str, looks: list[Look], why: str, tmp_path: Path
) -> None:
    shop = shop_with(tmp_path)
    walk(shop, "tractor", left)
    if looks:
        look(shop, "unit", looks)
    found = sheet(shop)
    assert [why in w.what for w in found.withheld] == [True], found.withheld
    with pytest.raises(InputRefused, match="No certificate"):
        sign(shop, "unit", SIGNED, found)
    # nor by writing the entry past the door
    shop.add("unit", "certificate", SIGNED)
    certificate = sheet(shop).certificate
    assert certificate is not None
    assert not certificate.stands
    assert any(why in w for w in certificate.why_not)


def test_who_signs_and_that_it_is_accurate_is_asked(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    walk(shop)
    found = sheet(shop)
    for data, why in (
        ({**SIGNED, "accurate": False}, "accurate"),
        ({**SIGNED, "inspector": "C. Other"}, "the inspector signs"),
        ({**SIGNED, "inspector": " "}, "Nobody signs"),
        ({**SIGNED, "brake_inspector": "C. Other"}, "the inspector signs"),
    ):
        with pytest.raises(InputRefused, match=why):
            sign(shop, "unit", data, found)
    with pytest.raises(InputRefused, match="day to come"):
        sign(shop, "unit", SIGNED, found, at="2099-01-01T00:00:00+00:00")
    sign(shop, "unit", SIGNED, found, entry_id="e1")
    sign(shop, "unit", SIGNED, sheet(shop), entry_id="e1")  # sent twice
    assert sum(e.kind == "certificate" for e in shop.case("unit").entries) == 1


def test_a_point_that_fails_after_the_certificate_takes_it_down(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    walk(shop)
    sign(shop, "unit", SIGNED, sheet(shop))
    look(shop, "unit", [Look("lamps", "fail", fault="one")])
    certificate = sheet(shop).certificate
    assert certificate is not None
    assert not certificate.stands
    assert sheet(shop).record == ""


def test_one_tyre_not_read_keeps_the_whole_point_open(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    tread = [k for k in good_looks(shop, InspectionData.model_validate(HEAD)) if k.point == "tread"]
    assert [k.place for k in tread][:4] == ["a1l", "a1r", "a2lo", "a2li"]
    look(shop, "unit", tread[:-1])
    assert point(shop, "tread").state == "not_looked"
    look(shop, "unit", tread[-1:])
    assert point(shop, "tread").state == "passes"


def test_the_limit_follows_the_axle_and_another_gauge_decides(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    same = Look("tread", value="3/32 in", gauge="digital")
    look(shop, "unit", [Look("tread", place=p, value=same.value, gauge="digital")
                        for p in ("a1l", "a2lo")])  # fmt: skip
    states = {p.place: p.state for p in point(shop, "tread").places}
    assert (states["a1l"], states["a2lo"]) == ("fails", "passes")
    near = Look("tread", place="a1r", value="4.2/32 in", gauge="gauge")
    look(shop, "unit", [near])
    place = next(p for p in point(shop, "tread").places if p.place == "a1r")
    assert place.state == "too_close"
    assert "digital depth gauge" in place.again
    look(shop, "unit", [Look("tread", place="a1r", value="4.2/32 in", error="0.05 mm")])
    assert next(p for p in point(shop, "tread").places if p.place == "a1r").state == "passes"


def test_the_day_of_building_says_whether_a_part_must_be_there(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)  # built 2015
    look(shop, "unit", [Look("antilock", "not_fitted")])
    assert point(shop, "antilock").state == "not_looked"
    assert "must be there" in point(shop, "antilock").remarks[0]
    begin(shop, "unit", {**HEAD, "built": "1996-02-01"})
    assert point(shop, "antilock").state == "not_fitted"
    assert point(shop, "adjusters").state == "not_looked"
    begin(shop, "unit", {**HEAD, "built": "1994-10-19"})  # W20: a day earlier: not required
    assert point(shop, "adjusters").state == "not_required"
    begin(shop, "unit", {k: v for k, v in HEAD.items() if k != "built"})
    assert "day of building" in point(shop, "antilock").remarks[0]


def test_no_line_of_the_appendix_holds_the_certificate_back_only_when_it_fails(
    tmp_path: Path,
) -> None:
    shop = shop_with(tmp_path)
    walk(shop)
    assert point(shop, "leak_released").state == "not_looked"
    assert sheet(shop).withheld == ()
    slow = Look("build_up", value="60 s", gauge="watch", given={"system": "dual"})
    look(shop, "unit", [slow])
    assert point(shop, "build_up").state == "passes"
    assert "said, fails nothing" in point(shop, "build_up").places[0].limits[0].said
    leak = Look("leak_released", value="4 psi", gauge="dash", given={"units": "alone"})
    look(shop, "unit", [leak])
    assert [w.point for w in sheet(shop).withheld] == ["leak_released"]
    assert "stop_air_leak" in {s.step for s in _stops(shop)}


def _stops(shop: Shop) -> tuple[Any, ...]:
    from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

    return assess_in_shop(shop, "unit").stops


BAD: list[tuple[Look, str]] = [
    (Look("nonsense", "pass"), "no point"),
    (Look("kingpin", "pass"), "no point of the inspection of this tractor"),
    (Look("frame", "maybe"), "no result"),
    (Look("frame"), "no result"),
    (Look("frame", "pass", value="3 in"), "looked at, not read"),
    (Look("frame", "not_fitted"), "cannot be 'not fitted'"),
    (Look("frame", "fail", fault="crack"), "no fault of"),
    (Look("lamps", "pass", fault="one"), "no fault of"),
    (Look("stroke", "pass"), "passes by a reading"),
    (stroke("1 in", "a9l"), "no place of this tractor"),
    (stroke("1 in", ""), "read at each place"),
    (stroke("1"), "bare number"),
    (stroke("1 psi"), "not in in"),
    (stroke("40 in"), "possible is"),
    (stroke("-1 in"), "below zero"),
    (stroke("1 in", gauge="eye"), "no instrument of this point"),
    (stroke("1 in", error="1 psi"), "not the error of such an instrument"),
    (stroke("1 in", result="pass"), "by its limit, not by a word"),
    (stroke("1 in", result="not_looked"), "it was looked at"),
    (Look("stroke", place="a2l", value="1 in", given={"tanks": "85 psi"}), "Chamber: not said"),
    (Look("stroke", place="a2l", value="1 in", given={"chamber": "c99", "tanks": "85 psi"}),
     "no answer to"),
    # W01, W02: 79 is refused; 80 to 100 is taken, and which rule it was is said
    (Look("stroke", place="a2l", value="1 in", given={"chamber": "c30", "tanks": "79 psi"}),
     "80 to 100 psi"),
    (Look("stroke", place="a2l", value="1 in", given={"chamber": "c30", "tanks": "101 psi"}),
     "80 to 100 psi"),
    (Look("stroke", place="a2l", value="1 in", given={**LONG, "rated": "3 in"}), "not asked here"),
    (Look("stroke", place="a2l", value="1 in", given={**LONG, "moon": "full"}), "is not asked"),
    (Look("low_air_warning", place="a1l", value="62 psi", given={"built_to": "new_rule"}),
     "has one place"),
]  # fmt: skip


@pytest.mark.parametrize(("one", "why"), BAD)
def test_a_look_that_does_not_fit_is_refused_with_what_to_do(
    one: Look, why: str, tmp_path: Path
) -> None:
    shop = shop_with(tmp_path)
    before = len(shop.case("unit").entries)
    good = Look("wipers", "pass")
    with pytest.raises(InputRefused, match=why):
        look(shop, "unit", [good, one])
    assert len(shop.case("unit").entries) == before  # all or nothing


def test_the_tank_pressure_says_which_rule_was_used(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    for place, tanks, said in (("a1l", "90 psi", "appendix"), ("a1r", "91 psi", "roadside")):
        given = {"chamber": "c30", "tanks": tanks}
        look(shop, "unit", [Look("stroke", place=place, value="1 in", gauge="tape", given=given)])
        found = next(p for p in point(shop, "stroke").places if p.place == place)
        assert said in found.notes[0]


def test_hostile_words_are_kept_as_words_and_hostile_ids_are_refused(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    look(shop, "unit", [Look("wipers", "fail", note="<script>alert(1)</script> ../../etc")])
    assert "<script>" in point(shop, "wipers").places[0].fault
    with pytest.raises(EntryRefused):
        look(shop, "unit", [Look("wipers", "fail", note="x" * 5000)])
    with pytest.raises(EntryRefused):
        look(shop, "unit", [Look("wipers", "fail", note="half \ud800")])
    with pytest.raises(NotFound):
        look(shop, "no-case", [Look("wipers", "pass")])
    with pytest.raises(InputRefused, match="Nothing was looked at"):
        look(shop, "unit", [])
    with pytest.raises(InputRefused, match="Say what was done"):
        repaired(shop, "unit", "wipers", "  ")
    with pytest.raises(NotFound, match="no point"):
        repaired(shop, "unit", "../x", "done")
    with pytest.raises(InputRefused, match="none of what an ability"):
        begin(shop, "unit", {**HEAD, "qualified": "born"})
    for bad in ({"axles": 0}, {"axles": 99}, {"dual_axles": [7]}, {"steer_axles": 4},
                {"built": "1999-13-01"}, {"vehicle": "ship"}, {"brake_kind": "wind"}):  # fmt: skip
        with pytest.raises(EntryRefused):
            begin(shop, "unit", {**HEAD, **bad})


def test_points_before_the_head_are_refused_and_raw_entries_lift_nothing(tmp_path: Path) -> None:
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case("unit", [entry_line("truck", {"label": "tractor 7", "vin": "X"})])
    with pytest.raises(InputRefused, match="not begun"):
        look(shop, "unit", [Look("wipers", "pass")])
    begin(shop, "unit", HEAD)
    # a figure without a place, one that no limit fits, and a place that the vehicle has not
    shop.add("unit", "inspect", {"point": "tread", "result": "pass", "value": "9/32 in"})
    shop.add("unit", "inspect", {"point": "stroke", "place": "a2l", "value": "1 in"})
    shop.add("unit", "inspect", {"point": "stroke", "place": "a2r", "value": "nonsense"})
    assert (point(shop, "tread").state, point(shop, "stroke").state) == ("not_looked", "not_looked")
    shop.add("unit", "inspect", {"point": "stroke", "place": "a8l", "result": "fail"})
    assert point(shop, "stroke").state == "fails"
    shop.add("unit", "inspect", {"point": "tire left front", "value": "9/32 in"})
    assert sheet(shop).other == ("tire left front",)


def test_sent_twice_it_is_stored_once_and_two_phones_open_one_complaint(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    first = look(shop, "unit", [stroke("2 1/4 in")], entry_id="e1")
    assert len(first) == 3
    assert look(shop, "unit", [stroke("2 1/4 in")], entry_id="e1") == []
    second = look(shop, "unit", [stroke("2 1/4 in", "a2r")], entry_id="e2")
    assert [i for i in second if i.startswith("inspection:")] == []
    assert len(list(shop.case("unit").of(ComplaintData))) == 1
    # taken back, a look is gone; its complaint is taken back apart
    shop.add("unit", "retract", {"entry": "e1", "why": "wrong wheel"})
    states = {p.place: p.state for p in point(shop, "stroke").places}
    assert (states["a2l"], states["a2r"]) == ("not_looked", "fails")


def test_a_point_that_fails_again_opens_a_second_complaint(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    for _ in range(2):
        look(shop, "unit", [Look("wipers", "fail")])
        repaired(shop, "unit", "wipers", "blade renewed")
        look(shop, "unit", [Look("wipers", "pass")])
    opened = [e.id for e, _ in shop.case("unit").of(ComplaintData)]
    assert opened == ["inspection:wipers:1", "inspection:wipers:2"]
    assert point(shop, "wipers").complaint == ""


def test_a_shops_own_list_overrides_by_id(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    folder = shop.folder / "inspection"
    folder.mkdir()
    (folder / "state.toml").write_text(
        """schema = "witnessmark.inspection/1.0"
name = "state"
title = "A stricter rule of the state"
version = "1"
[[points]]
id = "glass_crack"
area = "glass"
station = "cold"
name = "Windshield: width of a crack"
look = "Its width."
fails = "Over 1/8 in."
section = "state rule, invented"
evidence = "practice"
vehicles = ["tractor"]
drive = "limp"
plain = "The windshield has a crack."
[points.reading]
what = "width"
unit = "in"
lowest = "0 in"
highest = "2 in"
instruments = [{ id = "rule", words = "rule", error = "1/64 in", source = "judgement" }]
limits = [{ most = "1/8 in", section = "state rule, invented", evidence = "practice" }]
""",
        encoding="utf-8",
    )
    look(shop, "unit", [Look("glass_crack", value="3/16 in", gauge="rule")])
    assert point(shop, "glass_crack").state == "fails"
    assert point(shop, "wipers").section == "49 CFR 393.78; 396 App. A 13"


def test_the_report_names_every_wheel_beside_its_reading(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    look(shop, "unit", [stroke("1 1/2 in", "a1l"), stroke("1 1/2 in", "a1r"), stroke("2 1/4 in")])
    text = inspection_html(shop, shop.case("unit"), sheet(shop), customer=False)
    assert "axle 1 left, axle 1 right: 1 1/2 in, " in text
    assert "axle 2 left: 2 1/4 in, " in text


def test_a_combination_needs_a_certificate_for_each(tmp_path: Path) -> None:
    from datetime import UTC, datetime

    shop = shop_with(tmp_path)
    walk(shop)
    sign(shop, "unit", SIGNED, sheet(shop))
    shop.new_case("box", [entry_line("truck", {"label": "trailer 12", "vehicle": "trailer"})])
    found = combination(shop, ["unit", "box"], datetime.now(UTC).date())
    assert found["not_covered"] == ["trailer 12"]


def test_the_sheet_as_json_says_what_the_sheet_says(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    look(shop, "unit", [stroke("2 in")])
    found = sheet(shop)
    rows = json.loads(json.dumps(sheet_json(found)))
    assert rows["may_be_signed"] is False
    told = {r["id"]: (r["state"], r["open"]) for r in rows["points"]}
    assert told == {p.id: (p.state, p.is_open) for p in found.points}


def test_old_inspect_entries_still_read() -> None:
    assert InspectData.model_validate({"point": "tire left front", "value": "9/32 in"})
    assert InspectData.model_validate({"point": "x", "result": "not_looked"}).place is None


def test_the_families_that_points_open_take_every_vehicle_of_theirs(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    known = knowledge_of(shop).families
    for one in listing_of(shop).file.points:
        kinds = {"truck" if v == "tractor" else v for v in one.vehicles}
        assert one.opens is None or kinds <= set(known[one.opens].vehicles), one.id
