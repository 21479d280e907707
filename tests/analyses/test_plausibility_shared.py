"""One sensor or several: coincidence, fixed ratios, loads, codes."""

from __future__ import annotations

import json

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.together import sensor_or_real as plausibility
from witnessmark.analyses.together.same_instant import SampleClock, co_step, coincidence, make_clock
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Quality, Recording, TroubleCode

PSI = 6894.757
SECONDS = 1800.0


def channel(name: str, unit: str, time: Floats, values: Floats) -> Channel:
    quality = np.where(np.isfinite(values), Quality.VALID, Quality.NOT_AVAILABLE)
    return Channel(name, unit, time.copy(), values.copy(), quality.astype(np.uint8), source=0)


def truck(
    *, ground: bool, loads: bool, seed: int = 4, codes: tuple[TroubleCode, ...] = ()
) -> dict[str, Finding]:
    """A truck whose coolant reading dips by 7.4 degC nine times in half an hour."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, SECONDS)
    load = np.where((time // 90) % 3 == 0, 80.0, 15.0)
    speed = np.where(load > 50.0, 1400.0, 700.0) + rng.normal(0.0, 10.0, time.size)
    dip = np.zeros(time.size, np.bool_)
    for start in (300, 505, 640, 777, 911, 1203, 1377, 1500, 1700):
        dip[start : start + 4] = True
    coolant = 88.0 + np.sin(time / 150.0) - 7.4 * dip
    oil = 250e3 + 120e3 * (speed - 700.0) / 700.0 + rng.normal(0.0, 5e3, time.size)
    volts = 13.9 + rng.normal(0.0, 0.05, time.size)
    oil = oil + 7.2 * PSI * dip * ground
    volts = volts - 0.4 * dip * loads
    made = Recording(
        "x.log", "0" * 64, "bus", "test", SECONDS,
        (
            channel("coolant_temperature", "degC", time, np.round(coolant)),
            channel("oil_pressure", "Pa", time, np.round(oil / 4000.0) * 4000.0),
            channel("battery_voltage", "V", time, np.round(volts / 0.05) * 0.05),
            channel("engine_load", "%", time, load),
            channel("engine_speed", "rpm", time, speed),
        ),
        codes,
    )  # fmt: skip
    return _findings(made)


def _findings(made: Recording) -> dict[str, Finding]:
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "jumps", "families": ["cool_unstable", "electrical"]}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines)
    bench = Bench(case, {"e2": made}, load_knowledge(), case.stages())
    return {f.code: f for f in plausibility.analyse(bench)}


def test_a_lifted_ground_moves_temperature_down_and_pressure_up_in_a_fixed_ratio() -> None:
    found = truck(ground=True, loads=True)["sensors_step_together"]
    assert found.outcome == "seen"
    assert found.details.kind == "ground"
    assert found.details.with_loads is True
    assert found.details.stands_for == ("c_multi", "e_multi")
    # The ratio of the invented truck: +7.2 psi for -7.4 degC.
    ratio = found.details.ratio
    assert isinstance(ratio, dict)
    assert ratio["oil_pressure"] / PSI == pytest.approx(-7.2 / 7.4, rel=0.12)
    support = {s.family: s.log_likelihood for s in found.support}
    assert max(support["cool_unstable"], key=support["cool_unstable"].get) == "ct_shared"
    assert max(support["electrical"], key=support["electrical"].get) == "el_ground"
    assert support["cool_unstable"]["ct_shared"] > support["cool_unstable"]["ct_sensor"] + 4.0


def test_a_sensor_that_jumps_alone_is_its_own_circuit() -> None:
    found = truck(ground=False, loads=False)["sensors_step_together"]
    assert found.outcome == "not_seen"
    assert found.details.kind == "alone"
    support = {s.family: s.log_likelihood for s in found.support}["cool_unstable"]
    assert support["ct_shared"] < -1.5
    assert support["ct_connector"] > support["ct_shared"] + 1.5


def test_without_another_channel_it_was_not_run() -> None:
    time = np.arange(0.0, SECONDS)
    values = np.full(time.size, 88.0)
    for start in (300, 600, 900):
        values[start : start + 3] -= 7.0
    made = Recording("x.log", "0" * 64, "bus", "test", SECONDS,
                     (channel("coolant_temperature", "degC", time, values),))  # fmt: skip
    found = _findings(made)["sensors_step_together"]
    assert found.outcome == "not_run"
    assert found.support == ()


def test_codes_that_come_up_together_point_to_what_is_shared_but_not_at_key_on() -> None:
    def codes(at: float) -> tuple[TroubleCode, ...]:
        return tuple(TroubleCode(s, 4, 1, 0, at + 0.2 * k, 1700.0)
                     for k, s in enumerate((100, 110, 102)))  # fmt: skip

    late = truck(ground=False, loads=False, codes=codes(700.0))["sensor_codes_together"]
    assert late.details.spns == [100, 102, 110]
    assert "sensor_codes_together" not in truck(ground=False, loads=False, codes=codes(1.0))
    spread = tuple(TroubleCode(s, 4, 1, 0, 600.0 + 90.0 * k, 1700.0)
                   for k, s in enumerate((100, 110)))  # fmt: skip
    assert "sensor_codes_together" not in truck(ground=False, loads=False, codes=spread)


def _loaded_clock(rng: np.random.Generator) -> SampleClock:
    time = np.arange(0.0, 600.0, 1.0)
    load = np.where((time + rng.uniform(0, 100)) % 100.0 < 30.0, 90.0, 10.0)
    return make_clock(0.0, 600.0, (time, load))


def _under_load(clock: SampleClock, count: int, rng: np.random.Generator) -> Floats:
    return np.sort(rng.choice(clock.time[clock.loaded], count, replace=False))


def test_independent_faults_that_both_need_load_do_not_look_shared() -> None:
    rng = np.random.default_rng(11)
    false = 0
    for _ in range(300):
        clock = _loaded_clock(rng)
        first, second = _under_load(clock, 8, rng), _under_load(clock, 8, rng)
        false += coincidence(first, second, clock)[1] < 0.01
    # 1 % of 300, and the 99 % point of that binomial count.
    assert false <= 8


def test_shared_events_are_found_with_three_of_them() -> None:
    rng = np.random.default_rng(12)
    found = 0
    for _ in range(200):
        clock = _loaded_clock(rng)
        shared = _under_load(clock, 3, rng)
        first = np.append(shared + rng.uniform(-0.5, 0.5, 3), rng.uniform(0, 600, 1))
        second = np.append(shared + rng.uniform(-0.5, 0.5, 3), rng.uniform(0, 600, 1))
        found += coincidence(first, second, clock)[1] < 0.01
    assert found >= 160


def test_a_pressure_that_follows_gear_changes_is_not_a_shared_ground() -> None:
    # Contact faults that come at gear changes meet the dip of the oil pressure there: what the
    # engine speed explains must be taken out before anything is called shared.
    rng = np.random.default_rng(13)
    false = 0
    for _ in range(40):
        clock = make_clock(0.0, 1200.0, None)
        speed = np.full(clock.time.size, 1400.0)
        shifts = np.sort(rng.uniform(20.0, 1180.0, 40))
        for at in shifts:
            speed[(clock.time >= at) & (clock.time < at + 2.0)] -= 400.0
        oil = 300e3 + 150.0 * (speed - 1400.0) + rng.normal(0.0, 4e3, clock.time.size)
        speed = speed + rng.normal(0.0, 5.0, clock.time.size)
        starts = rng.choice(shifts, 8, replace=False)
        step = co_step(starts, starts + 1.5, np.full(8, -6.0), oil, clock, (speed,))
        assert step is not None
        false += step.p < 0.01
    assert false <= 3


def test_p_values_of_unrelated_channels_are_not_too_small() -> None:
    rng = np.random.default_rng(14)
    chances = []
    for _ in range(150):
        clock = make_clock(0.0, 900.0, None)
        noise = rng.normal(0.0, 1.0, clock.time.size)
        wandering = np.convolve(noise, np.ones(6), mode="same")
        starts = np.sort(rng.uniform(10.0, 890.0, 6))
        step = co_step(starts, starts + 2.0, rng.uniform(-9.0, -4.0, 6), wandering, clock)
        assert step is not None
        chances.append(step.p)
    # Uniform up to the scatter of 150 draws.
    assert np.mean(np.array(chances) < 0.05) <= 0.11
    assert 0.4 < np.mean(chances) < 0.6
