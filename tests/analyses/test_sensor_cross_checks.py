"""Cold soak, probe at the housing, gauge beside the bus."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors import cross_checks as sensor_cross_checks
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Quality, Recording

PSI = 6894.757
AT = "2026-01-01T00:00:00Z"


def channel(name: str, unit: str, time: Floats, values: Floats) -> Channel:
    return Channel(name, unit, time.copy(), values.copy(),
                   np.full(time.size, Quality.VALID, np.uint8), source=0)  # fmt: skip


def run(made: Recording | None, *readings: dict[str, object]) -> list[Finding]:
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": AT,
                    "data": {"words": "x", "families": ["cool_unstable"]}}),
        json.dumps({"kind": "recording", "id": "e2", "at": AT, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    lines += [
        json.dumps({"kind": "reading", "id": f"r{k}", "at": AT, "data": data})
        for k, data in enumerate(readings)
    ]
    case = read_case("x", lines)
    assert case.problems == ()
    recordings = {"e2": made} if made is not None else {}
    return list(
        sensor_cross_checks.analyse(Bench(case, recordings, load_knowledge(), case.stages()))
    )


def cold_start(temperatures: Mapping[str, float], *, running: bool = False) -> Recording:
    time = np.arange(0.0, 300.0)
    speed = np.where((time < 20.0) & (not running), 0.0, 700.0)
    rows = [channel("engine_speed", "rpm", time, speed)]
    rows += [channel(n, "degC", time, np.full(time.size, v)) for n, v in temperatures.items()]
    return Recording("x", "0" * 64, "bus", "test", 299.0, tuple(rows))


def test_all_sensors_within_three_degrees_at_cold_soak() -> None:
    soaked = {"coolant_temperature": 11.0, "oil_temperature": 12.0, "ambient_temperature": 10.0}
    (found,) = run(cold_start(soaked))
    assert (found.code, found.outcome) == ("temperatures_apart_at_cold_soak", "not_seen")


def test_one_sensor_off_at_cold_soak_is_named_with_its_offset() -> None:
    soaked = {"coolant_temperature": 18.0, "oil_temperature": 12.0, "fuel_temperature": 11.0,
              "ambient_temperature": 10.0}  # fmt: skip
    (found,) = run(cold_start(soaked))
    assert found.outcome == "seen"
    assert found.quantity == "coolant_temperature"
    assert found.value == pytest.approx(6.5)
    assert found.support[0].log_likelihood["ct_sensor"] > 1.0


def test_a_truck_that_has_not_cooled_through_is_not_judged() -> None:
    half = {"coolant_temperature": 40.0, "oil_temperature": 34.0, "ambient_temperature": 10.0}
    assert [f.outcome for f in run(cold_start(half))] == ["inconclusive"]
    warm = {"coolant_temperature": 80.0, "oil_temperature": 84.0, "ambient_temperature": 10.0}
    assert run(cold_start(warm)) == []
    # A recording that begins with the engine running is no cold soak.
    soaked = {"coolant_temperature": 18.0, "oil_temperature": 11.0, "ambient_temperature": 10.0}
    assert run(cold_start(soaked, running=True)) == []


def test_cold_soak_read_by_hand() -> None:
    cold = {"rpm": 0, "warm": False}
    (found,) = run(
        None,
        {"quantity": "coolant_temperature", "value": "75 degF", "point": cold},
        {"quantity": "oil_temperature", "value": "60 degF", "point": cold},
        {"quantity": "ambient_temperature", "value": "59 degF", "point": cold},
        {"quantity": "fuel_temperature", "value": "61 degF", "point": cold},
    )
    assert found.outcome == "seen"
    assert found.evidence.entries == ("r0", "r1", "r2", "r3")


def _warm(level: float) -> Recording:
    time = np.arange(0.0, 600.0)
    rows = (
        channel("engine_speed", "rpm", time, np.full(time.size, 1400.0)),
        channel("engine_load", "%", time, np.full(time.size, 20.0)),
        channel("coolant_temperature", "degC", time, np.full(time.size, level)),
        channel("oil_pressure", "Pa", time, np.full(time.size, 40.0 * PSI)),
    )
    return Recording("x", "0" * 64, "bus", "test", 599.0, rows)


@pytest.mark.parametrize(("level", "outcome"), [(88.0, "not_seen"), (76.0, "seen")])
def test_probe_at_the_housing_against_the_bus(level: float, outcome: str) -> None:
    probe = {"quantity": "coolant_housing_temperature", "value": "88 degC",
             "instrument": {"accuracy": "1 degC", "repeatability": "0.5 degC"}}  # fmt: skip
    found = {f.code: f for f in run(_warm(level), probe)}["coolant_bus_against_probe"]
    assert found.outcome == outcome
    assert found.value == pytest.approx(level - 88.0)


@pytest.mark.parametrize(("gauge", "outcome"), [("44 psi", "not_seen"), ("58 psi", "seen")])
def test_gauge_beside_the_bus_at_the_same_point(gauge: str, outcome: str) -> None:
    # 4 psi below the gauge is inside what both may be off (domain map, first demo truck).
    reading = {"quantity": "oil_pressure", "value": gauge, "point": {"rpm": 1400, "load": "none"}}
    found = {f.code: f for f in run(_warm(88.0), reading)}["oil_pressure_bus_against_gauge"]
    assert found.outcome == outcome
    elsewhere = {"quantity": "oil_pressure", "value": gauge, "point": {"rpm": 700}}
    assert not [f for f in run(_warm(88.0), elsewhere) if "gauge" in f.code]


def test_a_coolant_above_the_air_may_be_warm_unless_the_oil_is_cold() -> None:
    # As in a real warm-up (PROVENANCE.md, obd_csv): parked for hours, not for a night.
    parked = {"coolant_temperature": 25.0, "intake_air_temperature": 19.0,
              "ambient_temperature": 18.0}  # fmt: skip
    assert [f.outcome for f in run(cold_start(parked))] == ["inconclusive"]
    cold = {**parked, "coolant_temperature": 12.0}
    assert [f.outcome for f in run(cold_start(cold))] == ["seen"]
