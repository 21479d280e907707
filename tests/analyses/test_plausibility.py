"""Sensor or real: traces whose truth is known, and real recordings."""

from __future__ import annotations

import csv
import gzip
import json
import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors.liveliness import PROFILES
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, judge
from witnessmark.analyses.sensors.trace_samples import prepare
from witnessmark.analyses.together import sensor_or_real as plausibility
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Quality, Recording
from witnessmark.report.pictures.judged_trace import plausibility_picture

COOLANT = PROFILES["coolant_temperature"]
CARS = (
    "car_2017-07-26_badheader_hotend.csv.gz",
    "car_2018-02-26_short_coldstart.csv.gz",
    "car_2018-03-23_jam_warmup.csv.gz",
)
COLUMNS = {
    "Engine C": "coolant_temperature",
    "Ambient ": "ambient_temperature",
    "Intake A": "intake_air_temperature",
}


def sensor_reading(medium: Floats, step: float, lag: float) -> Floats:
    """What a first-order lag [s] reads of a medium that is constant within each step [s]."""
    keep = math.exp(-step / lag)
    reading = np.empty_like(medium)
    state = float(medium[0])
    for index, value in enumerate(medium):
        state = float(value) + (state - float(value)) * keep
        reading[index] = state
    return reading


def channel(name: str, time: Floats, values: Floats, unit: str = "degC") -> Channel:
    quality = np.where(np.isfinite(values), Quality.VALID, Quality.NOT_AVAILABLE)
    return Channel(name, unit, time.copy(), values.copy(), quality.astype(np.uint8), source=0)


def recording(*channels: Channel) -> Recording:
    ends = [c.time_s[-1] - c.time_s[0] for c in channels]
    return Recording("x.log", "0" * 64, "bus", "test", max(ends, default=0.0), channels)


def findings(*channels: Channel, families: tuple[str, ...] = ("cool_unstable",)) -> list[Finding]:
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "temperature jumps", "families": list(families)}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines if families else lines[1:])
    recordings = {"e2": recording(*channels)} if channels else {}
    bench = Bench(case, recordings, load_knowledge(), case.stages())
    return list(plausibility.analyse(bench))


def by_code(found: list[Finding]) -> Mapping[str, Finding]:
    return {f.code: f for f in found}


def steady(seconds: float = 1800.0, step: float = 1.0) -> tuple[Floats, Floats]:
    time = np.arange(0.0, seconds, step)
    return time, 88.0 + np.sin(time / 150.0)


def dipped(time: Floats, values: Floats, starts: list[float], size: float, last: float) -> Floats:
    out = values.copy()
    for start in starts:
        out[(time >= start) & (time < start + last)] += size
    return out


def car(path: Path) -> tuple[Floats, dict[str, Floats]]:
    with gzip.open(path, "rt", encoding="utf-8") as text:
        rows = list(csv.reader(text))

    def seconds(cell: str) -> float:
        hours, minutes, rest = cell.split(":")
        return 3600.0 * int(hours) + 60.0 * int(minutes) + float(rest)

    time = np.array([seconds(r[0]) for r in rows[1:]])
    found = {}
    for number, title in enumerate(rows[0]):
        if title[:8] in COLUMNS:
            cells = [r[number] if number < len(r) else "" for r in rows[1:]]
            found[COLUMNS[title[:8]]] = np.array([float(c) if c else np.nan for c in cells])
    return time - time[0], found


@pytest.mark.parametrize("step", [0.1, 1.0, 5.0])
def test_contact_dips_are_seen_at_every_rate(step: float) -> None:
    time, truth = steady(step=step)
    bad = np.round(dipped(time, truth, [300, 520, 900, 1200, 1500], -7.4, 6.0))
    found = by_code(findings(channel("coolant_temperature", time, bad)))
    jumps = found["coolant_temperature_jumps"]
    assert jumps.outcome == "seen"
    assert jumps.value == pytest.approx(-7.4, abs=1.1)
    assert jumps.details.stands_for == ("c_rate", "c_cycle")
    support = next(s for s in jumps.support if s.family == "cool_unstable").log_likelihood
    assert support["ct_connector"] > 3.5
    assert support["ct_connector"] > support["ct_thermostat"] + 3.0


def test_the_sentence_states_the_jump_the_bound_and_the_ohms() -> None:
    time, truth = steady()
    bad = np.round(dipped(time, truth, [300, 900], -7.0, 3.0))
    sentence = by_code(findings(channel("coolant_temperature", time, bad)))[
        "coolant_temperature_jumps"
    ].sentence
    for part in ("would have to jump", "largest credible is about 3 degC/s", "ohm", "and back"):
        assert part in sentence


def test_a_thermostat_that_really_cycles_is_told_apart() -> None:
    time = np.arange(0.0, 1800.0)
    real = np.round(86.0 + 4.0 * np.sin(2 * np.pi * time / 90.0))
    found = by_code(findings(channel("coolant_temperature", time, real)))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    cycling = found["coolant_temperature_thermostat_cycling"]
    assert cycling.details.period_s == pytest.approx(90.0, abs=6.0)
    support = cycling.support[0].log_likelihood
    assert support["ct_thermostat"] > 2.0
    assert support["ct_connector"] < 0.0


@pytest.mark.parametrize(("kind", "size", "hold", "lag"), [("gas_pocket", 7.0, 6.0, 4.0)])
def test_gas_at_the_sensor_follows_the_sensors_lag(
    kind: str, size: float, hold: float, lag: float
) -> None:
    time, truth = steady()
    local = np.where(time % 300.0 < hold, size, 0.0)
    real = np.round(truth + sensor_reading(local, 1.0, lag))
    found = by_code(findings(channel("coolant_temperature", time, real)))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    assert f"coolant_temperature_{kind}" in found


def test_one_cold_slug_is_real_and_named_after_a_cold_start_only() -> None:
    time, truth = steady()
    local = np.where(time > 700.0, -14.0 * np.exp(-(time - 700.0) / 60.0), 0.0)
    cold = 58.0 * np.exp(-time / 150.0)
    real = np.round(truth - cold + sensor_reading(local, 1.0, 4.0))
    found = by_code(findings(channel("coolant_temperature", time, real)))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    assert "coolant_temperature_cold_slug" in found
    assert found["coolant_temperature_cold_slug"].support == ()
    # The same drop in an engine that was warm all along is no first opening of its thermostat.
    warm = np.round(truth + sensor_reading(local, 1.0, 4.0))
    found = by_code(findings(channel("coolant_temperature", time, warm)))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    assert "coolant_temperature_cold_slug" not in found


def test_real_overheating_is_not_blamed_on_the_sensor() -> None:
    time = np.arange(0.0, 1800.0)
    real = np.round(88.0 + 24.0 / (1.0 + np.exp(-(time - 1000.0) / 60.0)))
    found = by_code(findings(channel("coolant_temperature", time, real), families=("overheat",)))
    assert found["coolant_temperature_jumps"].outcome == "not_seen"
    assert found["coolant_temperature_overheating"].value == pytest.approx(112.0, abs=1.0)


def test_a_flickering_last_digit_is_quantisation_only() -> None:
    time = np.arange(0.0, 1800.0)
    rng = np.random.default_rng(5)
    values = 88.5 + np.where(rng.random(time.size) < 0.3, 0.5, -0.5)
    found = findings(channel("coolant_temperature", time, values))
    assert [f.outcome for f in found] == ["not_seen"]
    assert found[0].details.movement == "quantisation_only"


def test_wild_single_samples_and_a_noisy_stretch_are_faults_of_their_kind() -> None:
    time, truth = steady()
    rng = np.random.default_rng(6)
    wild = truth.copy()
    places = rng.choice(np.arange(100, 1700), 25, replace=False)
    wild[places] += rng.choice([-1, 1], 25) * rng.uniform(5, 30, 25)
    spikes = by_code(findings(channel("coolant_temperature", time, np.round(wild))))
    assert spikes["coolant_temperature_jumps"].details.kind == "spikes"
    noisy = truth.copy()
    noisy[600:1200] += rng.normal(0.0, 2.5, 600)
    noise = by_code(findings(channel("coolant_temperature", time, np.round(noisy))))
    assert noise["coolant_temperature_jumps"].details.kind == "noise"


def test_a_reading_that_stands_still_under_changing_load_is_stuck() -> None:
    time = np.arange(0.0, 1800.0)
    load = np.where((time // 60) % 2 == 0, 90.0, 10.0)
    found = by_code(
        findings(
            channel("coolant_temperature", time, np.full(time.size, 82.0)),
            channel("engine_load", time, load, "%"),
        )
    )
    assert found["coolant_temperature_stuck"].value == 82.0


def test_no_evidence_states_the_smallest_glitch_and_a_slow_rate_states_a_larger_one() -> None:
    sizes = []
    for step in (1.0, 5.0):
        time, truth = steady(step=step)
        found = findings(channel("coolant_temperature", time, np.round(truth)))
        assert found[0].outcome == "not_seen"
        assert "does not prove the sensor good" in found[0].sentence
        glitch = found[0].details.smallest_glitch
        assert isinstance(glitch, dict)
        shortest = next(iter(glitch))
        assert float(shortest.split()[0]) == pytest.approx(step, rel=0.05)
        sizes.append(next(iter(glitch.values())))
        # The claim is tried: a dip a little larger than stated is found, one far below is not.
        bigger = np.round(dipped(time, truth, [900.0], -(sizes[-1] + 1.0), step))
        judged = judge(prepare(time, bigger, COOLANT), COOLANT)
        assert judged.log_factor >= SEEN_FROM
    assert sizes[1] >= sizes[0]


def test_samples_that_are_no_readings_are_never_used() -> None:
    time, truth = steady()
    values = np.round(truth)
    values[400:430] = np.nan  # not available: a gap, not a jump
    found = findings(channel("coolant_temperature", time, values))
    assert found[0].outcome == "not_seen"
    # The same samples coded as errors with a number behind them stay unused, too.
    raw = np.round(truth)
    raw[400:430] = 214.0
    quality = np.zeros(time.size, np.uint8)
    quality[400:430] = Quality.ERROR
    coded = Channel("coolant_temperature", "degC", time, raw, quality, source=0)
    assert findings(coded)[0].outcome == "not_seen"


def test_long_gaps_do_not_make_a_jump() -> None:
    time = np.concatenate([np.arange(0.0, 600.0), np.arange(1500.0, 2400.0)])
    values = np.concatenate([np.full(600, 60.0), np.full(900, 88.0)])
    assert findings(channel("coolant_temperature", time, values))[0].outcome == "not_seen"


def test_without_a_recording_it_was_not_run_and_without_the_complaint_it_is_silent() -> None:
    found = findings()
    assert [f.outcome for f in found] == ["not_run"]
    assert "coolant" in found[0].reason
    time, truth = steady()
    assert findings(channel("coolant_temperature", time, np.round(truth)), families=()) == []


@pytest.mark.parametrize("name", CARS)
def test_real_warm_ups_raise_no_alarm_and_show_the_intake_jumps(shared: Path, name: str) -> None:
    # Real recordings, PROVENANCE.md (obd_csv): coolant and ambient are calm, the intake air
    # jumps by tens of degrees within seconds.
    time, columns = car(shared / "data" / "obd_csv" / name)
    for quantity, values in columns.items():
        profile = PROFILES[quantity]
        verdict = judge(prepare(time, values, profile), profile)
        if quantity == "intake_air_temperature":
            assert verdict.log_factor > 100.0
            assert verdict.spans
        else:
            assert verdict.log_factor < SEEN_FROM
            assert verdict.probability < 0.5


@pytest.mark.parametrize("quantity", ["coolant_temperature", "ambient_temperature"])
@pytest.mark.parametrize("name", CARS)
def test_20_of_20_dips_put_into_real_recordings_are_found(
    shared: Path, name: str, quantity: str
) -> None:
    time, columns = car(shared / "data" / "obd_csv" / name)
    rng = np.random.default_rng(20)
    first = time[np.flatnonzero(np.isfinite(columns[quantity]))[0]]
    starts = np.linspace(first + 20.0, time[-1] - 20.0, 20) + rng.uniform(-8.0, 8.0, 20)
    bad = dipped(time, columns[quantity], list(starts), -6.0, 3.0)
    verdict = judge(prepare(time, bad, PROFILES[quantity]), PROFILES[quantity])
    hit = [any(s.start_s - 1.5 <= t + 1.5 <= s.end_s + 2.5 for s in verdict.spans) for t in starts]
    assert sum(hit) == 20
    assert verdict.log_factor > 20 * SEEN_FROM


def test_a_fan_in_step_or_standing_still_tells_fan_and_thermostat_apart() -> None:
    time = np.arange(0.0, 1800.0)
    swing = 86.0 + 4.0 * np.sin(2 * np.pi * time / 90.0)
    coolant = channel("coolant_temperature", time, np.round(swing))
    ratios = {}
    for name, fan in (
        ("in step", np.where(swing > 87.0, 100.0, 15.0)),
        ("still", np.full(time.size, 20.0)),
    ):
        found = by_code(findings(coolant, channel("fan_speed_percent", time, fan, "%")))
        cycling = found["coolant_temperature_thermostat_cycling"]
        assert cycling.details.fan == name
        support = cycling.support[0].log_likelihood
        ratios[name] = support["ct_fan"] - support["ct_thermostat"]
    assert ratios["in step"] > 0.5
    assert ratios["still"] < -2.0


@pytest.mark.parametrize("seed", range(4))
def test_any_material_gives_sentences_and_pictures_and_no_warning(seed: int) -> None:
    rng = np.random.default_rng(seed)
    names = ("coolant_temperature", "oil_temperature", "oil_pressure", "engine_speed",
             "engine_load", "battery_voltage", "fan_speed")  # fmt: skip
    for _ in range(12):
        size = int(rng.choice([1, 2, 9, 10, 12, 60, 300]))
        made = []
        for name in names:
            time = np.sort(rng.uniform(0.0, rng.choice([0.0, 1e-3, 50.0, 3000.0, 1e6]), size))
            values = [
                np.full(size, np.nan),
                np.full(size, 85.0),
                rng.normal(0.0, 1e5, size),
                np.where(rng.random(size) < 0.5, -40.0, 210.0),
                np.where(rng.random(size) < 0.3, np.nan, 85.0),
                np.where(rng.random(size) < 0.02, -40.0, 85.0),
            ][rng.integers(6)]
            made.append(channel(name, time, values))
        for found in findings(*made):
            assert "nan" not in found.sentence
            plausibility_picture(found)
