"""Readings of an inspection against the law's figures; beside each the source it was read in.

W.. are the numbers of the outside check values in ../shared/checks/checks_week.json.
"""

from __future__ import annotations

import json
import math
from datetime import date
from pathlib import Path

import pytest

from witnessmark.analyses.inspecting.certificate_check import covered, months_after
from witnessmark.analyses.inspecting.limit_check import (
    Bound,
    chance_it_fails,
    finer_than,
    judged,
)
from witnessmark.errors import UnitRefused
from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_lists import load_inspection
from witnessmark.knowledge.inspecting.inspection_parts import ReadingPart

LIST = load_inspection()


def reading(point: str) -> ReadingPart:
    found = LIST.point(point)
    assert found is not None
    assert found.reading is not None
    return found.reading


def verdicts(point: str, value: str, error: str = "", **told: str) -> dict[str, str]:
    """Return the section of each limit -> verdict, with an instrument that is off by *error*."""
    seen = judged(reading(point), value, error, told, LIST.file.evidence)
    return {s.section: s.verdict for s in seen}


def worst(point: str, value: str, error: str = "", **told: str) -> str:
    found = set(verdicts(point, value, error, **told).values())
    return next((v for v in ("fails", "too_close", "said", "passes") if v in found), "none")


STROKE = [  # 49 CFR 393.47(e); the type, its limit, and where the figure was read
    ("c6", "1.25"), ("c9", "1.375"), ("c36", "2.25"),  # memory of the 2012 table: not reached
    ("c12", "1.375"), ("c12l", "1.75"),  # W04, part of the table
    ("c16", "1.75"), ("c16l", "2"),  # W05, part of the table
    ("c20", "1.75"), ("c24", "1.75"), ("c20l", "2"), ("c24l", "2"), ("c24x", "2.5"),  # memory
    ("c30", "2"), ("c30l", "2.5"),  # W06, trade press and driver texts
    ("wedge", "0.0625"),  # W19, a state's rule on 393.47(f)
]  # fmt: skip


@pytest.mark.parametrize(("chamber", "limit"), STROKE)
def test_a_stroke_equal_to_its_limit_passes_and_above_it_fails(chamber: str, limit: str) -> None:
    # W03: 393.47(e)(1), "must not be greater than"
    assert worst("stroke", f"{limit} in", chamber=chamber) == "passes"
    assert worst("stroke", f"{float(limit) + 0.01} in", chamber=chamber) == "fails"


def test_another_actuator_has_four_fifths_of_its_marked_stroke() -> None:
    # W07: 396 App. A 1.a(5)(b); rated 3.0 in -> 2.4 in
    assert worst("stroke", "2.4 in", chamber="other", rated="3 in") == "passes"
    assert worst("stroke", "2.41 in", chamber="other", rated="3 in") == "fails"


LINING = [
    # W12: 7/32 in is legal on the road with one strip and fails the inspection (App. A 1.a(6)(d))
    ("7/32 in", "drum_strip", "steer", "fails"),
    ("1/4 in", "drum_strip", "steer", "passes"),
    ("1/4 in", "drum_pads", "other", "passes"),  # W13: 393.47(d)(2); App. A 1.a(6)(c)
    ("15/64 in", "drum_pads", "other", "fails"),
    ("1/8 in", "disc", "steer", "passes"),  # W14: 393.47(d); App. A 1.a(6)
    ("7/64 in", "disc", "other", "fails"),
    ("1/16 in", "other", "other", "fails"),  # W15: the inspection fails at 1/16 or less
    ("5/64 in", "other", "other", "passes"),
    # App. A 1.a(6)(d): any drum of a steering axle 1/4 in, hydraulic disc and electric 1/16 in
    ("7/32 in", "hydraulic_drum", "steer", "fails"),
    ("7/32 in", "other", "steer", "passes"),
    ("1/16 in", "hydraulic_drum", "other", "fails"),
    ("5/64 in", "hydraulic_drum", "other", "passes"),
]


@pytest.mark.parametrize(("value", "kind", "position", "expected"), LINING)
def test_linings(value: str, kind: str, position: str, expected: str) -> None:
    assert worst("lining", value, kind=kind, position=position) == expected


def test_road_and_inspection_differ_and_both_are_said() -> None:
    road, inspection = "49 CFR 393.47(d)(1)", "49 CFR 396 App. A 1.a(6)(c)-(d)"
    said = verdicts("lining", "7/32 in", kind="drum_strip", position="steer")
    assert said == {inspection: "fails", road: "passes"}  # W10, W12
    assert verdicts("lining", "11/64 in", kind="drum_strip", position="steer")[road] == "fails"
    other = verdicts("lining", "1/16 in", kind="other", position="other")
    assert other["49 CFR 393.47(d)(2)"] == "passes"  # W15: the road rule asks less than 1/16


def test_a_metric_lining_of_the_laws_own_figure_does_not_fail() -> None:
    # W95: the law prints 4.8 mm beside 3/16 in (4.7625 mm) and 6.4 mm beside 1/4 in (6.35 mm)
    said = verdicts("lining", "4.8 mm", kind="drum_strip", position="steer")
    assert said["49 CFR 393.47(d)(1)"] == "passes"
    assert worst("lining", "6.4 mm", kind="drum_strip", position="steer") == "passes"


FREE_PLAY = [  # W40 to W45: 49 CFR 393.209(b)(1), manual and power
    ("w16", 2.0, 4.25), ("w18", 2.25, 4.75), ("w19", 2.375, 5.0),
    ("w20", 2.5, 5.25), ("w21", 2.625, 5.5), ("w22", 2.75, 5.75),
]  # fmt: skip


@pytest.mark.parametrize(("wheel", "manual", "power"), FREE_PLAY)
def test_steering_free_play(wheel: str, manual: float, power: float) -> None:
    for assist, most in (("manual", manual), ("power", power)):
        assert worst("free_play", f"{most} in", wheel=wheel, assist=assist) == "passes"
        assert worst("free_play", f"{most + 0.02:.3f} in", wheel=wheel, assist=assist) == "fails"


def test_at_16_in_the_stricter_of_the_two_tables_counts_and_both_are_shown() -> None:
    # W40, W46: 4.30 in fails 393.209 and passes the table of App. A 7.a
    said = verdicts("free_play", "4.30 in", wheel="w16", assist="power")
    assert said == {"49 CFR 393.209(b)(1)": "fails", "49 CFR 396 App. A 7.a": "passes"}


def test_a_wheel_outside_the_table_goes_by_its_angle() -> None:
    # W47: 393.209(b)(2): 17.5 in power: 30 deg = 4.58 in at the rim (pi d 30/360)
    told = {"wheel": "other", "assist": "power", "across": "17.5 in"}
    assert math.pi * 17.5 * 30 / 360 == pytest.approx(4.58, abs=0.002)
    assert worst("free_play", "4.58 in", **told) == "passes"
    assert worst("free_play", "4.59 in", **told) == "fails"
    assert worst("free_play", "30 deg", **told) == "passes"
    assert worst("free_play", "31 deg", **told) == "fails"
    assert worst("free_play", "15 deg", **{**told, "assist": "manual"}) == "fails"


OTHERS: list[tuple[str, str, str, dict[str, str]]] = [
    # W24: first on at 58 psi fails (571.121 S5.1.5); 60 itself is not "below 60"
    ("low_air_warning", "58 psi", "fails", {"built_to": "new_rule"}),
    ("low_air_warning", "60 psi", "passes", {"built_to": "new_rule"}),
    # "55 psi or half of cut-out" of an older one was not reached in the text: said, fails nothing
    ("low_air_warning", "54 psi", "said", {"built_to": "old_rule"}),
    ("cut_in", "95 psi", "fails", {"built_to": "since_1997"}),  # W31: 571.121 S5.1.1.1
    ("cut_in", "100 psi", "passes", {"built_to": "since_1997"}),
    ("cut_in", "84 psi", "fails", {"built_to": "bus"}),  # W32
    ("build_up", "45 s", "passes", {"system": "dual"}),  # W28: 46 flagged, not failed
    ("build_up", "46 s", "said", {"system": "dual"}),
    ("build_up", "181 s", "said", {"system": "single"}),  # W29
    ("leak_released", "2 psi", "passes", {"units": "alone"}),  # W33: more than this fails
    ("leak_released", "2.5 psi", "fails", {"units": "alone"}),
    ("leak_released", "3 psi", "passes", {"units": "two"}),  # W34
    ("leak_released", "5.5 psi", "fails", {"units": "three"}),  # W37
    ("leak_applied", "3 psi", "passes", {"units": "alone"}),  # W35
    ("leak_applied", "4.5 psi", "fails", {"units": "two"}),  # W36
    ("leak_applied", "6 psi", "passes", {"units": "three"}),  # W37
    ("reserve", "70 %", "passes", {}),  # W38: 393.50(a), 120 psi -> not under 84
    ("reserve", "69 %", "fails", {}),
    ("pivot", "3/8 in", "passes", {}),  # W53: 396 App. A 2.a
    ("pivot", "0.38 in", "fails", {}),
    ("slider", "0.38 in", "fails", {}),  # W54
    ("halves", "0.50 in", "passes", {}),  # W55: 0.50 pass, 0.51 fail
    ("halves", "0.51 in", "fails", {}),
    ("tread", "4/32 in", "passes", {"position": "steer"}),  # W59: 393.75(b); 3.9 fails
    ("tread", "3.9/32 in", "fails", {"position": "steer"}),
    ("tread", "2/32 in", "passes", {"position": "other"}),  # W60: 393.75(c)
    ("tread", "1.5 mm", "fails", {"position": "other"}),  # W94: 2/32 in is 1.5875 mm
    ("linkage_play", "0.26 in", "said", {"rim": "r16"}),  # W52: 570.60, binds nobody directly
    ("glass_crack", "5/16 in", "fails", {}),  # 393.60, from memory
]


@pytest.mark.parametrize(("point", "value", "expected", "told"), OTHERS)
def test_the_other_limits(point: str, value: str, expected: str, told: dict[str, str]) -> None:
    assert worst(point, value, **told) == expected


def test_build_time_of_larger_tanks() -> None:
    # W30: 571.121 S5.1.1: 25 s x actual / required; ratio 1.6 -> 40 s
    section = "49 CFR 571.121 S5.1.1, the tanks of the towing vehicle alone"
    assert verdicts("build_up", "40 s", system="dual", tanks="1.6 -")[section] == "passes"
    assert verdicts("build_up", "41 s", system="dual", tanks="1.6 -")[section] == "said"


EDGES = [  # type 30, limit 2 in, a tape that may be 1/16 in off
    ("1 15/16 in", "passes"), ("1.95 in", "too_close"), ("2 in", "too_close"),
    ("2 1/16 in", "too_close"), ("2.07 in", "fails"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "expected"), EDGES)
def test_inside_the_error_of_the_gauge_nothing_is_said(value: str, expected: str) -> None:
    assert worst("stroke", value, "1/16 in", chamber="c30") == expected


def test_how_likely_a_stroke_is_over_by_its_gauge() -> None:
    # the tape's 1/16 in is two standard deviations; at the limit itself it is even
    limit = Bound("most", 2.0 * 0.0254, "2 in")
    tape, rule = 0.0254 / 16, 0.0254 / 32
    assert chance_it_fails(limit.value, tape, limit) == pytest.approx(0.5)
    assert chance_it_fails(limit.value + tape, tape, limit) == pytest.approx(0.977, abs=1e-3)
    assert chance_it_fails(limit.value - rule, rule, limit) == pytest.approx(0.023, abs=1e-3)
    assert chance_it_fails(limit.value, 0.0, limit) == 0.0  # W03: equal to the limit passes
    assert chance_it_fails(limit.value + 1e-4, 0.0, limit) == 1.0
    least = Bound("least", 0.00635, "1/4 in")
    assert chance_it_fails(0.00635 - 1e-3, 1e-3, least) == pytest.approx(0.977, abs=1e-3)
    seen = judged(reading("stroke"), "2 in", "1/16 in", {"chamber": "c30"}, LIST.file.evidence)
    assert "chance that it is beyond it 50 %" in seen[0].said


def test_what_must_be_more_than_its_limit_is_too_close_on_both_sides_of_it() -> None:
    told = {"kind": "other", "position": "other"}
    assert worst("lining", "0.0625 in", "0.01 in", **told) == "too_close"
    assert worst("lining", "0.08 in", "0.01 in", **told) == "passes"
    assert worst("lining", "0.05 in", "0.01 in", **told) == "fails"


def test_the_finer_instrument_is_named_and_where_there_is_none_nothing() -> None:
    assert finer_than(reading("stroke"), "1/16 in") == "steel rule on a scribed rod"
    assert finer_than(reading("stroke"), "1/32 in") == "depth gauge or caliper"
    assert finer_than(reading("stroke"), "0.01 in") == ""


def test_figures_in_32nds_and_what_is_none() -> None:
    # W94: 4/32 and 2/32 in in mm: 3.175, 1.5875 (25.4 mm)
    assert figure("4/32 in").value == pytest.approx(3.175e-3)
    assert figure("2/32 in").value == pytest.approx(1.5875e-3)
    assert figure("8.5/32 in").value == pytest.approx(8.5 / 32 * 0.0254)
    # W93: 60 psi is 413.685 kPa
    assert figure("60 psi").value == pytest.approx(413685, rel=1e-5)
    for bad in ("", "4", "-1 in", "nan in", "1e400 in", "4//32 in", "x" * 400):
        with pytest.raises(UnitRefused):
            figure(bad)


def test_every_figure_says_where_it_was_read_and_memory_is_called_memory() -> None:
    for point in LIST.file.points:
        for limit in point.reading.limits if point.reading else ():
            assert limit.evidence in LIST.file.evidence, point.id
    unread = {"c6", "c9", "c20", "c24", "c36", "c20l", "c24l", "c24x"}
    told = {
        chamber: limit.evidence
        for limit in reading("stroke").limits
        for chamber in limit.given["chamber"]
    }
    assert {c for c, e in told.items() if e == "memory"} == unread
    assert "memory" in LIST.said("memory")


def test_the_outside_values_are_those_of_the_list(shared: Path) -> None:
    rows = json.loads((shared / "checks" / "checks_week.json").read_text(encoding="utf-8"))
    checks = {row["id"]: row["value"] for row in rows["checks"]}
    pairs = {f"W{40 + n}": [manual, power] for n, (_, manual, power) in enumerate(FREE_PLAY)}
    assert {k: checks[k] for k in pairs} == pairs
    limits = dict(STROKE)
    for check, types in (("W04", ("c12", "c12l")), ("W05", ("c16", "c16l")),
                         ("W06", ("c30", "c30l"))):  # fmt: skip
        assert checks[check] == [float(limits[t]) for t in types]
    assert (checks["W70"], checks["W71"]) == (LIST.months("valid"), LIST.months("kept"))
    asked = reading("stroke").asks[-1]
    assert [f"{checks['W01'][0]} psi", f"{checks['W02'][1]} psi"] == [asked.lowest, asked.highest]
    adjusters, antilock = LIST.point("adjusters"), LIST.point("antilock")
    assert adjusters is not None
    assert antilock is not None
    assert [r.date for r in adjusters.required_from] == [checks["W20"], checks["W21"]]
    assert [r.date for r in antilock.required_from] == [checks["W22"], checks["W23"]]


def test_months_are_counted_by_the_calendar() -> None:
    # 396.17(c): 12 months; 396.21(b): 14 months
    assert months_after(date(2026, 11, 30), 12) == date(2027, 11, 30)
    assert months_after(date(2028, 2, 29), 12) == date(2029, 2, 28)
    assert months_after(date(2026, 12, 31), 14) == date(2028, 2, 29)
    assert months_after(date(2026, 12, 31), 14, late=True) == date(2028, 3, 1)


def test_a_fresh_tractor_does_not_cover_an_old_trailer() -> None:
    # W70: tractor fresh, trailer 13 months: combination not covered (396.17(a), (c))
    today = date(2026, 12, 1)
    rows = [("tractor 7", date(2026, 11, 30)), ("trailer 12", date(2025, 11, 1))]
    assert covered(rows, today, 12) == ["trailer 12"]
    assert covered([rows[0], ("trailer 12", date(2025, 12, 1))], today, 12) == []
    assert covered([("dolly 1", None)], today, 12) == ["dolly 1"]
