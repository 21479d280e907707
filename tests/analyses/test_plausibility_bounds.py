"""Fast quantities: steps that the machine cannot make; and real recordings on the bus."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors import cross_checks as sensor_cross_checks
from witnessmark.analyses.sensors.fast_bounds import too_fast
from witnessmark.analyses.sensors.liveliness import BOUNDS, PROFILES
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, judge
from witnessmark.analyses.sensors.trace_samples import prepare
from witnessmark.analyses.together import sensor_or_real as plausibility
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Quality, Recording
from witnessmark.readers import read_recording


def channel(name: str, time: Floats, values: Floats) -> Channel:
    return Channel(name, "", time, values, np.full(time.size, Quality.VALID, np.uint8), source=0)


def analysed(recording: Recording) -> dict[str, Finding]:
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "jumps", "families": ["cool_unstable", "electrical"]}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines)
    bench = Bench(case, {"e2": recording}, load_knowledge(), case.stages())
    found = (*plausibility.analyse(bench), *sensor_cross_checks.analyse(bench))
    return {f.code: f for f in found}


def test_a_pressure_that_jumps_and_comes_back_in_one_sample_is_too_fast() -> None:
    time = np.arange(0.0, 300.0, 0.1)
    values = 300e3 + 1e4 * np.sin(time)
    values[(time > 100.0) & (time < 100.35)] += 4e5
    found = too_fast(channel("oil_pressure", time, values), BOUNDS["oil_pressure"])
    assert [round(f.start_s) for f in found] == [100]
    assert found[0].step == pytest.approx(4e5, rel=0.05)


def test_a_step_that_stays_and_a_step_over_a_pause_are_left_alone() -> None:
    time = np.concatenate([np.arange(0.0, 100.0), np.arange(200.0, 300.0)])
    level = np.where(time < 50.0, 0.0, 12.0)
    assert too_fast(channel("battery_voltage", time, level), BOUNDS["battery_voltage"]) == []
    apart = np.where(time < 150.0, 400e3, 50e3)
    assert too_fast(channel("oil_pressure", time, apart), BOUNDS["oil_pressure"]) == []


def test_throttle_blips_and_hard_braking_are_within_the_bounds() -> None:
    time = np.arange(0.0, 60.0, 0.02)
    blips = 700.0 + 1200.0 * np.clip(np.sin(2 * np.pi * time / 3.0), 0.0, None) ** 2
    assert too_fast(channel("engine_speed", time, blips), BOUNDS["engine_speed"]) == []
    braking = np.clip(25.0 - 8.0 * np.clip(time - 20.0, 0.0, None), 0.0, None)
    assert too_fast(channel("road_speed", time, braking), BOUNDS["road_speed"]) == []


@pytest.mark.parametrize(
    "name",
    [
        "j1939/ride_A.candump.log.gz",
        "obd_csv/car_2017-07-26_badheader_hotend.csv.gz",
        "obd_csv/car_2018-02-26_short_coldstart.csv.gz",
        "obd_csv/car_2018-03-23_jam_warmup.csv.gz",
    ],
)
def test_real_recordings_through_the_readers(shared: Path, name: str) -> None:
    # PROVENANCE.md: coolant and ambient are calm in all of them; the cars' intake air jumps.
    found = analysed(read_recording(shared / "data" / name))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    seen = {code for code, f in found.items() if f.outcome == "seen"}
    cars = {"intake_air_temperature_jumps"} if "obd_csv" in name else set()
    assert seen - {"coolant_temperature_cold_slug"} == cars


@pytest.mark.parametrize(
    "name", ["bench_keyon_faults.candump.log.gz", "hd_24V_keyon_faults.mf4", "parked_401s.mf4"]
)
def test_dead_sensors_are_not_judged_and_codes_at_key_on_are_no_coincidence(
    shared: Path, name: str
) -> None:
    # PROVENANCE.md: the coolant channel holds error codes (0xFE) or nothing; no reading at all.
    found = analysed(read_recording(shared / "data" / "j1939" / name))
    assert found["coolant_temperature_jumps"].outcome == "not_run"
    assert not any(f.outcome == "seen" for f in found.values())


def test_20_of_20_dips_in_the_real_ride_are_found(shared: Path) -> None:
    # One dip of 6 K for 3 s at a time, 20 times over, in 214 s of a warm-up (SPN 110).
    recording = read_recording(shared / "data" / "j1939" / "ride_A.candump.log.gz")
    coolant = recording.channel("coolant_temperature")
    assert coolant is not None
    time, values = coolant.time_s[coolant.valid()], coolant.values[coolant.valid()]
    profile = PROFILES["coolant_temperature"]
    found = 0
    for start in np.linspace(time[0] + 8.0, time[-1] - 8.0, 20):
        bad = values.copy()
        bad[(time >= start) & (time < start + 3.0)] -= 6.0
        trace = prepare(time, bad, profile)
        assert trace is not None
        verdict = judge(trace, profile)
        hit = any(s.start_s - 1.5 <= start + 1.5 <= s.end_s + 2.5 for s in verdict.spans)
        found += verdict.log_factor >= SEEN_FROM and hit
    assert found == 20


def _work(seed: int) -> tuple[Floats, Floats, Floats, np.random.Generator]:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 900.0)
    load = np.where((time // 45) % 3 == 0, 90.0, 12.0)
    speed = np.where(load > 50.0, 1500.0, 700.0) + rng.normal(0.0, 10.0, time.size)
    return time, load, speed, rng


def _recorded(**rows: Floats) -> Recording:
    time = np.arange(0.0, 900.0)
    made = tuple(channel(n, time.copy(), v.astype(float)) for n, v in rows.items())
    return Recording("x.csv", "0" * 64, "table", "test", 900.0, made)


@pytest.mark.parametrize(
    ("name", "step"),
    [("oil_pressure", -1.2e5), ("oil_pressure", 7e4), ("fuel_delivery_pressure", -1.2e5)],
)
def test_a_pressure_that_glitches_alone_is_found_beyond_what_the_speed_explains(
    name: str, step: float
) -> None:
    time, load, speed, rng = _work(5)
    pressure = 200e3 + 120.0 * speed + rng.normal(0.0, 3e3, time.size)
    good = analysed(_recorded(engine_speed=speed, engine_load=load, **{name: pressure}))
    assert f"{name}_jumps" not in good
    for at in (120, 333, 520, 777):
        pressure[at : at + 2] += step
    found = analysed(_recorded(engine_speed=speed, engine_load=load, **{name: pressure}))
    jumps = found[f"{name}_jumps"]
    assert jumps.outcome == "seen"
    assert jumps.value == pytest.approx(step, rel=0.2)
    assert "the largest credible is about" in jumps.sentence
    # Not judged where the speed that it follows is missing.
    assert f"{name}_jumps" not in analysed(_recorded(**{name: pressure}))


def test_an_engine_cannot_stand_for_a_second_and_run_on() -> None:
    _, load, speed, _ = _work(6)
    speed[400] = 0.0
    found = analysed(_recorded(engine_speed=speed, engine_load=load))
    assert found["engine_speed_too_fast"].evidence.start_s == 400.0
    # Stopped and cranked again it is real.
    speed[500:520] = 0.0
    assert analysed(_recorded(engine_speed=speed))["engine_speed_too_fast"].details.count == 1


def test_a_trace_that_only_trends_is_named_without_failing() -> None:
    # A swing without any repetition once ended in an error.
    time = np.arange(0.0, 900.0)
    for size in (1.0, 3.0, 6.0):
        drift = 85.0 + size * np.cumsum(np.sin(time / 170.0)) / 60.0
        found = analysed(_recorded(coolant_temperature=np.round(drift)))
        assert found["coolant_temperature_jumps"].outcome == "not_seen"
