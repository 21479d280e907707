"""DOMAIN.md's five invented scenarios from a case file on: the right way, and the trap by name."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from witnessmark.model.odds import Odds
from witnessmark.workflow.dossier.assess_case import assess_file

Entry = tuple[str, dict[str, Any]]


def complaint(family: str) -> Entry:
    return "complaint", {"words": "as the driver says it", "families": [family]}


def clue(name: str, cause: str | None = None) -> Entry:
    return "clue", {"clue": name, "seen": True, **({"cause": cause} if cause else {})}


def results(found: dict[str, str]) -> list[Entry]:
    return [("test", {"test": t, "result": r}) for t, r in found.items()]


def work(cause: str) -> Entry:
    return "work", {"cause": cause, "did": "renewed"}


def word(gone: bool | str) -> Entry:
    return "outcome", {"complaint": "c1", "gone": gone, "after_days": 1}


def reading(quantity: str, value: str, **point: Any) -> Entry:
    return "reading", {"quantity": quantity, "value": value, "point": {"warm": True, **point}}


@pytest.fixture
def judged(tmp_path: Path) -> Any:
    def make(miles: float, family: str, *entries: Entry) -> tuple[Odds, str]:
        rows: list[Entry] = [("truck", {"label": "unit 1", "miles": miles}), complaint(family)]
        lines = [
            json.dumps(
                {
                    "schema": "witnessmark.entry/1",
                    "kind": kind,
                    "id": "c1" if kind == "complaint" else f"e{n}",
                    "at": f"2026-03-02T08:{n:02d}:00Z",
                    "data": data,
                }
            )
            for n, (kind, data) in enumerate([*rows, *entries])
        ]
        path = tmp_path / "case.jsonl"
        path.write_text("\n".join(lines), encoding="utf-8")
        found = assess_file(path)
        assert not found.problems
        return found.odds[0], found.steps[0].step

    return make


def test_relief_or_pump_is_settled_by_the_look_before_a_pump_is_bought(judged: Any) -> None:
    known = [clue("filters_recent"), clue("tank_line_work"), clue("orig_paint", "pump_worn"),
             clue("orig_paint", "pump_relief")]  # fmt: skip
    gauges = results({"f_dp": "negative", "f_vac_low": "positive", "f_sight": "negative",
                    "f_return": "negative", "f_mech": "negative"})  # fmt: skip
    vacuum = reading("fuel_suction_vacuum", "3 inHg", rpm=1800, load="none")
    odds, step = judged(640_000, "fuel_low", *known, *gauges, vacuum)
    assert {c.cause for c in odds.causes[:2]} == {"pump_relief", "pump_worn"}
    assert not odds.decided
    # The look under the plug, or a free look that nobody wrote down: no part before any.
    assert step in {"f_leaklook", "f_look", "f_relief"}
    assert any("before a pump is bought" in t for t in odds.traps)
    assert sum("low vacuum is not a good sign" in t for t in odds.traps) == 1
    # One look may be misread: the other that sees the same thing decides it.
    plug = results({"f_relief": "positive"})
    likely, _ = judged(640_000, "fuel_low", *known, *gauges, *plug)
    assert likely.causes[0].cause == "pump_relief"
    both = results({"f_relief": "positive", "f_cap": "positive"})
    found, _ = judged(640_000, "fuel_low", *known, *gauges, *both)
    clean, _ = judged(640_000, "fuel_low", *known, *gauges, *results({"f_relief": "negative"}))
    assert found.decided
    assert found.causes[0].cause == "pump_relief"
    assert clean.causes[0].cause == "pump_worn"


def test_a_low_vacuum_read_on_the_gauge_names_the_trap_too(judged: Any) -> None:
    vacuum = reading("fuel_suction_vacuum", "3 inHg", rpm=1800, load="none")
    odds, _ = judged(640_000, "fuel_low", vacuum)
    assert any("low vacuum is not a good sign" in t for t in odds.traps)


def test_the_mount_stands_behind_the_damper(judged: Any) -> None:
    known = [clue("engbrake"), clue("orig_paint", "damper_aged")]
    road = results({"v_gear": "positive", "v_neutral": "negative", "v_cutout": "negative",
                  "v_half": "negative", "v_first": "negative", "v_shaft": "negative"})  # fmt: skip
    first, _ = judged(780_000, "vib_load", *known)
    assert any("Injectors are sold" in t for t in first.traps)
    assert any("folded to 25 Hz" in t for t in first.traps)
    look = [*road, *results({"v_damp_vis": "positive"})]
    damper, step = judged(780_000, "vib_load", *known, *look)
    assert damper.statement.startswith("Likely: Viscous crankshaft damper")
    assert damper.causes[0].cause == "damper_aged"
    # Go at it, or look at the mounts first: from under it, with the bar, or against the brakes.
    assert step in {"damper_aged", "v_look", "v_mountbar", "v_mount"}
    lift = reading("mount_lift", "0.75 in")
    both, _ = judged(780_000, "vib_load", *known, *look, lift)
    assert "two faults" in both.statement
    assert any("curing one leaves the other" in t for t in both.traps)
    rest, _ = judged(780_000, "vib_load", *known, *look, lift, work("damper_aged"), word("partly"))
    assert rest.causes[0].cause == "engine_mounts"


def test_one_ground_moves_both_sensors_and_the_low_level_is_its_own_fault(judged: Any) -> None:
    known = [clue("harness_repair"), clue("multi_sensor"), clue("part_new", "ct_sensor"),
             clue("topups")]  # fmt: skip
    drop = reading("ground_drop", "0.20 V")
    looked = results({"c_rate": "positive", "c_multi": "positive", "c_ir": "positive",
                    "c_level": "low"})  # fmt: skip
    odds, _ = judged(61_000, "cool_unstable", *known, *looked, drop)
    assert odds.causes[0].cause == "ct_shared"
    assert odds.zones[0][0] == "wiring"
    assert any("not one bad sensor each" in t for t in odds.traps)
    assert any("low level is then a fault of its own" in t for t in odds.traps)


def test_miles_shout_rings_and_the_first_reading_was_void(judged: Any) -> None:
    first, _ = judged(910_000, "crankcase")
    assert first.causes[0].cause == "cc_rings"
    assert not first.decided
    for trap in ("is void", "before an overhaul is quoted", "before a seal is renewed"):
        assert any(trap in t for t in first.traps), trap
    looked = results({"b_cold": "negative", "b_cut": "negative", "b_leakdown": "negative",
                    "b_breather": "positive", "b_compr": "positive"})  # fmt: skip
    both, _ = judged(910_000, "crankcase", *looked)
    assert {c.cause for c in both.causes[:2]} == {"cc_breather", "cc_comp"}
    assert both.probability("cc_rings") < 0.1
    assert any("one found is not all found" in t for t in both.traps)
    after, _ = judged(910_000, "crankcase", *looked, work("cc_breather"),
                      *results({"b_compr": "positive"}), word(False))  # fmt: skip
    assert after.causes[0].cause == "cc_comp"


def test_high_vacuum_and_pearls_are_probably_two(judged: Any) -> None:
    known = [clue("cold"), clue("part_new", "pump_worn"), clue("part_new", "pump_relief")]
    gauges = results({"f_vac": "positive", "f_vac_low": "negative", "f_sight": "positive",
                    "f_dp": "negative", "f_curve": "positive", "f_return": "negative"})  # fmt: skip
    odds, _ = judged(290_000, "fuel_low", *known, *gauges)
    assert not odds.decided
    assert odds.zones[0][0] == "suction"
    assert "two faults" in odds.statement
    for trap in ("probably two faults", "gelled fuel are blamed easily", "does not prove that its"):
        assert any(trap in t for t in odds.traps), trap
    after, _ = judged(
        290_000, "fuel_low", *known, *gauges, *results({"f_tank": "on_can"}), work("suction_line"),
        *results({"f_vac": "negative", "f_sight": "positive"}), word("partly"),
    )  # fmt: skip
    assert after.causes[0].cause == "air_ingress"
