"""Temperatures of a warm engine against each other: drift, swaps, offsets, what is missing."""

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

NAMES = ("coolant_temperature", "oil_temperature", "intake_air_temperature", "fuel_temperature",
         "ambient_temperature")  # fmt: skip


def behind(values: Floats, seconds: float) -> Floats:
    out = values.copy()
    keep = np.exp(-1.0 / seconds)
    for k in range(1, out.size):
        out[k] = keep * out[k - 1] + (1.0 - keep) * values[k]
    return out


def truck(seed: int = 1, seconds: int = 2700) -> dict[str, Floats]:
    """A sound warm truck: pulls of one to four minutes."""
    rng = np.random.default_rng(seed)
    load = np.empty(seconds)
    at = 0
    while at < seconds:
        length = int(rng.uniform(60, 240))
        load[at : at + length] = rng.uniform(5, 100)
        at += length
    share = load / 100.0
    air = 18.0 + 0.5 * np.sin(np.arange(seconds) / 600.0)
    return {
        "coolant_temperature": np.round(85.0 + 4.0 * behind(share, 40.0)),
        "oil_temperature": 88.0 + 18.0 * behind(share, 150.0),
        "intake_air_temperature": np.round(air + 4.0 + 20.0 * behind(share, 8.0)),
        "fuel_temperature": np.round(air + 14.0 + 4.0 * np.arange(seconds) / seconds),
        "ambient_temperature": air,
        "engine_load": load,
    }


def ramp(size: float, seconds: int = 2700) -> Floats:
    return size * np.clip((np.arange(seconds) - 900.0) / 900.0, 0.0, 1.0)


def found(rows: dict[str, Floats], families: tuple[str, ...] = ("cool_unstable",)) -> list[Finding]:
    size = next(iter(rows.values())).size
    time = np.arange(size, dtype=float)
    made = tuple(
        Channel(n, QUANTITIES[n].house, time.copy(), v.copy(), np.zeros(size, np.uint8), source=0)
        for n, v in rows.items()
    )
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "gauge wanders", "families": list(families)}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines if families else lines[1:])
    record = Recording("x.log", "0" * 64, "bus", "test", time[-1], made)
    return list(sensor_drift.analyse(Bench(case, {"e2": record}, load_knowledge(), case.stages())))


@pytest.mark.parametrize(
    ("name", "size"),
    [("coolant_temperature", -6.0), ("coolant_temperature", 12.0), ("oil_temperature", 14.0),
     ("intake_air_temperature", -10.0), ("ambient_temperature", 10.0), ("fuel_temperature", -9.0)],
)  # fmt: skip
def test_a_drift_of_one_sensor_is_found(name: str, size: float) -> None:
    """Before: 0 of 14, and 13 said nothing at all."""
    rows = truck()
    rows[name] = rows[name] + ramp(size)
    seen = [f for f in found(rows) if f.outcome == "seen"]
    assert [f.code for f in seen] == [f"{name}_drift"]
    assert seen[0].value == pytest.approx(size, abs=3.5)
    assert "the reading drifts, not the engine" in seen[0].sentence


@pytest.mark.parametrize("seed", range(8))
def test_a_sound_truck_drifts_nowhere_and_says_what_would_have_shown(seed: int) -> None:
    told = found(truck(seed))
    assert [f.outcome for f in told] == ["not_seen"]
    assert told[0].code == "coolant_temperature_drift"
    assert "would have shown" in told[0].sentence


def test_coolant_and_oil_together_really_moved() -> None:
    rows = truck()
    rows["coolant_temperature"] = rows["coolant_temperature"] + ramp(-9.0)
    rows["oil_temperature"] = rows["oil_temperature"] + ramp(-8.0)
    told = {f.code: f for f in found(rows)}
    assert told["coolant_temperature_drift"].outcome == "not_seen"
    assert "it really moved" in told["coolant_temperature_drift"].sentence


@pytest.mark.parametrize(
    ("one", "two"),
    [("coolant_temperature", "oil_temperature"),
     ("intake_air_temperature", "fuel_temperature"),
     ("coolant_temperature", "intake_air_temperature"),
     ("fuel_temperature", "ambient_temperature")],
)  # fmt: skip
def test_a_swapped_pair_is_named(one: str, two: str) -> None:
    """Before: 0 of 6; fuel and the air outside 0 of 60."""
    rows = truck()
    rows[one], rows[two] = rows[two], rows[one]
    told = [f for f in found(rows) if f.outcome == "seen"]
    assert [f.code for f in told] == ["temperatures_swapped"]
    assert set(told[0].details.pair) == {one, two}
    assert "before a sensor is renewed" in told[0].sentence


@pytest.mark.parametrize(
    ("name", "off"), [("oil_temperature", 20.0), ("intake_air_temperature", 18.0)]
)
def test_a_steady_offset_shows_against_the_others(name: str, off: float) -> None:
    rows = truck()
    rows[name] = rows[name] + off
    told = [f for f in found(rows) if f.outcome == "seen"]
    assert [f.code for f in told] == [f"{name}_steadily_off"]


@pytest.mark.parametrize("name", ["ambient_temperature", "fuel_temperature"])
def test_one_that_is_off_is_not_called_swapped(name: str) -> None:
    """Both put the fuel under the air outside, as a swap does."""
    rows = truck()
    rows[name] = rows[name] + (22.0 if name == "ambient_temperature" else -22.0)
    told = [f for f in found(rows) if f.outcome == "seen"]
    assert [f.code for f in told] == [f"{name}_steadily_off"]


@pytest.mark.parametrize(("seed", "swing", "lag"), [(10, 30.0, 400.0), (25, 55.0, 150.0)])
def test_an_oil_that_swings_slowly_or_widely_does_not_drift(
    seed: int, swing: float, lag: float
) -> None:
    """Before: both sound engines' oil was called drifting, by 10 and 13 degC."""
    rows = truck(seed)
    rows["oil_temperature"] = 71.0 + swing * behind(rows["engine_load"] / 100.0, lag)
    assert [f.code for f in found(rows) if f.outcome == "seen"] == []


def test_what_is_missing_is_named_and_nothing_is_silent() -> None:
    rows = truck()
    without_load = {n: v for n, v in rows.items() if n != "engine_load"}
    (told,) = found(without_load)
    assert told.outcome == "not_run"
    assert "engine load" in told.reason
    alone = {n: rows[n] for n in ("coolant_temperature", "engine_load")}
    (told,) = found(alone)
    assert told.outcome == "not_run"
    assert "oil beside coolant" in told.reason
    short = {n: v[:700] for n, v in rows.items()}
    (told,) = found(short)
    assert "twenty warm minutes" in told.reason
    assert found(without_load, families=()) == []
