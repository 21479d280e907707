"""Readings against their band, and before against after."""

from __future__ import annotations

import json
from typing import Any

import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings import before_after, specification
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.units import UNITS

PSI = UNITS["psi"].factor
GAUGE = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}


def bench(*entries: tuple[str, dict[str, Any]]) -> Bench:
    case = read_case("c", [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(entries)
    ])  # fmt: skip
    assert not case.problems
    return Bench(case, {}, load_knowledge(), case.stages())


def reading(
    value: str, rpm: float | None, load: str | None = "none", **more: Any
) -> tuple[str, dict[str, Any]]:
    point = {k: v for k, v in (("rpm", rpm), ("load", load)) if v is not None}
    return "reading", {
        "quantity": "fuel_gallery_pressure",
        "value": value,
        "point": point,
        "instrument": GAUGE,
        **more,
    }


WORK = ("work", {"did": "renewed"})


@pytest.mark.parametrize(
    ("value", "rpm", "verdict"),
    [
        # Common practice, no source: 74 ± 5 psi at idle, about 95 psi at 1,500 rpm.
        ("70 psi", 650, "inside"), ("74 psi", 650, "inside"), ("78 psi", 650, "inside"),
        ("65 psi", 650, "outside"), ("85 psi", 650, "outside"), ("69.1 psi", 650, "cannot tell"),
        ("80 psi", 1400, "outside"), ("95 psi", 1400, "inside"), ("95 psi", 1500, "inside"),
        ("78 psi", 1400, "outside"), ("6.55 bar", 1500, "inside"), ("655 kPa", 1500, "inside"),
    ],
)  # fmt: skip
def test_verdicts_at_the_operating_point(value: str, rpm: float, verdict: str) -> None:
    found = specification.analyse(bench(reading(value, rpm)))
    assert [f.details.verdict for f in found] == [verdict]
    assert found[0].evidence.entries == ("e0",)
    assert found[0].source


def test_both_are_said_of_70_at_idle_and_80_at_1400() -> None:
    found = specification.analyse(bench(reading("70 psi", 650), reading("80 psi", 1400)))
    assert [f.outcome for f in found] == ["not_seen", "seen"]
    assert "inside the band" in found[0].sentence
    assert "low" in found[1].sentence


def test_a_load_that_was_not_written_down_is_not_zero() -> None:
    found = specification.analyse(bench(reading("80 psi", 1400, None)))
    assert found[0].outcome == "inconclusive"
    assert "load was not written down" in found[0].reason
    assert "without load it would be outside" in found[0].sentence


def test_no_band_is_no_verdict() -> None:
    assert specification.analyse(bench(reading("80 psi", None, None))) == ()
    assert specification.analyse(bench(reading("80 psi", 2150))) == ()


def test_a_better_gauge_never_widens_the_doubt() -> None:
    rough = reading("69.5 psi", 650, instrument={"span": "160 psi", "accuracy": "3 % of span"})
    fine = reading("69.5 psi", 650, instrument={"span": "160 psi", "accuracy": "0.25 % of span"})
    found = specification.analyse(bench(rough, fine))
    chance = [float(str(f.details.conformity)) for f in found]
    assert 0.5 < chance[0] < chance[1]


def test_pairs_match_the_point_and_take_the_last_reading() -> None:
    made = bench(
        reading("60 psi", 655), reading("65 psi", 650), reading("78 psi", 1400),
        reading("71 psi", 1500, "full"), WORK, reading("75 psi", 645), reading("95 psi", 1412),
        reading("88 psi", 1700),
    )  # fmt: skip
    found = {(p.point.rpm, p.point.load): p for p in before_after.pairs(made)}
    assert set(found) == {(645, 0.0), (1412, 0.0), (1700, 0.0), (1500, 1.0)}
    idle = found[(645, 0.0)]
    assert idle.before == pytest.approx(65 * PSI)
    assert idle.difference == pytest.approx(10 * PSI)
    assert idle.shown
    assert idle.spec == "inside"
    assert found[(1700, 0.0)].before is None
    assert found[(1700, 0.0)].difference is None
    assert found[(1500, 1.0)].after is None


def test_before_is_the_state_it_came_in_with() -> None:
    made = bench(reading("65 psi", 650), WORK, reading("70 psi", 650), WORK,
                 reading("75 psi", 650))  # fmt: skip
    pair = before_after.pairs(made)[0]
    assert (pair.before, pair.after) == pytest.approx((65 * PSI, 75 * PSI))
    assert pair.evidence == ("e0", "e4")


def test_a_change_below_the_gauges_repeatability_is_not_shown() -> None:
    # 2 * sqrt(2) * 1 psi: common practice, no source.
    made = bench(reading("78 psi", 1400), WORK, reading("80 psi", 1400))
    pair = before_after.pairs(made)[0]
    assert pair.provable == pytest.approx(2.83 * PSI, rel=0.01)
    assert not pair.shown
    finding = before_after.analyse(made)[0]
    assert finding.outcome == "not_seen"
    assert "no change shown" in finding.sentence


def test_two_gauges_prove_less_than_one() -> None:
    other = reading("74.5 psi", 650, instrument={**GAUGE, "id": "g2"})
    same = before_after.pairs(bench(reading("71 psi", 650), WORK, reading("74.5 psi", 650)))[0]
    two = before_after.pairs(bench(reading("71 psi", 650), WORK, other))[0]
    assert same.shown
    assert not two.shown


def test_full_load_is_never_compared_with_no_load() -> None:
    made = bench(reading("71 psi", 1500, "full"), WORK, reading("95 psi", 1500, "none"))
    assert all(p.difference is None for p in before_after.pairs(made))


def test_without_a_speed_what_the_engine_did_keeps_two_readings_apart() -> None:
    def volts(value: str, engine: str) -> tuple[str, dict[str, Any]]:
        return "reading", {"quantity": "battery_voltage", "value": value,
                           "point": {"engine": engine}}  # fmt: skip

    made = bench(volts("12.6 V", "off"), volts("8.9 V", "cranking"), WORK, volts("12.7 V", "off"),
                 volts("10.9 V", "cranking"))  # fmt: skip
    found = {p.point.engine: (p.before, p.after, p.spec) for p in before_after.pairs(made)}
    assert found["off"][:2] == (12.6, 12.7)
    assert found["cranking"] == (8.9, 10.9, "inside")
    standing, cranking, *_ = list(made.readings())
    assert specification.check_reading(made, standing) is None
    judged = specification.check_reading(made, cranking)
    assert judged is not None
    assert judged.verdict == "outside"
