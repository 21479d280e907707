"""A coolant reading that is steadily off or wanders: thermostat and oil know better."""

from __future__ import annotations

import json

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors import sensor_drift
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.units import QUANTITIES


def findings(coolant: Floats, oil: Floats, load: Floats) -> dict[str, Finding]:
    time = np.arange(0.0, float(coolant.size))
    rows = {"coolant_temperature": np.round(coolant), "oil_temperature": oil, "engine_load": load}
    made = tuple(
        Channel(n, QUANTITIES[n].house, time.copy(), v, np.zeros(time.size, np.uint8), source=0)
        for n, v in rows.items()
    )
    at = "2026-01-01T00:00:00Z"
    case = read_case(
        "x", [json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}})]
    )
    bench = Bench(
        case,
        {"e2": Recording("x.log", "0" * 64, "bus", "test", time[-1], made)},
        load_knowledge(),
        case.stages(),
    )
    return {f.code: f for f in sensor_drift.analyse(bench)}


def drive() -> tuple[Floats, Floats, Floats, Floats]:
    time = np.arange(0.0, 2700.0)
    load = np.where((time // 200) % 2 == 0, 85.0, 12.0)
    coolant = 88.0 + 1.2 * np.sin(time / 60.0)
    return time, load, coolant, 100.0 + 0.5 * np.sin(time / 40.0)


@pytest.mark.parametrize("off", [-20.0, 20.0])
def test_held_where_no_thermostat_is_rated_is_steadily_off(off: float) -> None:
    _, load, coolant, oil = drive()
    found = findings(coolant + off, oil, load)["coolant_temperature_steadily_off"]
    assert found.outcome == "seen"
    assert found.value is not None
    assert np.sign(found.value) == np.sign(off)
    assert ("truly hot" in found.sentence) == (off > 0.0)


def test_a_thermostat_that_stands_open_is_believed() -> None:
    _, load, _, oil = drive()
    smooth = np.convolve(np.pad(load, 90, mode="edge"), np.ones(181) / 181, mode="valid")
    assert findings(50.0 + 0.3 * smooth, oil, load) == {}


def test_a_good_reading_and_a_steady_load_say_nothing() -> None:
    _, load, coolant, oil = drive()
    assert findings(coolant, oil, load) == {}
    assert findings(coolant - 20.0, oil, np.full(load.size, 40.0)) == {}


def test_the_oil_tells_a_drift_from_a_real_change() -> None:
    time, load, coolant, oil = drive()
    slow = -14.0 * time / time[-1]
    drift = findings(coolant + slow, oil, load)["coolant_temperature_drift"]
    assert drift.outcome == "seen"
    assert "the reading drifts" in drift.sentence
    real = findings(coolant + slow, oil + slow, load)["coolant_temperature_drift"]
    assert real.outcome == "not_seen"
    part = findings(coolant + slow, oil + 0.3 * slow, load)["coolant_temperature_drift"]
    assert part.outcome == "inconclusive"
