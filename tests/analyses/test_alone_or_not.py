"""When a channel may be said to jump alone, and what one finding leaves to the next."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import numpy as np
import pytest

from analyses.test_plausibility_shared import PSI, _findings, channel, truck
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Floats, Recording
from witnessmark.report.pictures.stepped_together import together_picture
from witnessmark.words.plain import short_sentences

SECONDS = 1800.0
STARTS = (300, 505, 640, 777, 911, 1203, 1377, 1500, 1700)


def made(rows: dict[str, tuple[str, Floats, Floats]]) -> dict[str, Finding]:
    channels = tuple(channel(n, unit, t, v) for n, (unit, t, v) in rows.items())
    return _findings(Recording("x.log", "0" * 64, "bus", "test", SECONDS, channels))


def engine(seed: int = 4) -> tuple[Floats, dict[str, tuple[str, Floats, Floats]]]:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, SECONDS)
    load = np.where((time // 90) % 3 == 0, 80.0, 15.0)
    speed = np.where(load > 50.0, 1400.0, 700.0) + rng.normal(0.0, 10.0, time.size)
    oil = 250e3 + 120e3 * (speed - 700.0) / 700.0 + rng.normal(0.0, 4e3, time.size)
    fuel = 330e3 + 70.0 * speed + rng.normal(0.0, 4e3, time.size)
    return time, {
        "coolant_temperature": ("degC", time, np.round(88.0 + np.sin(time / 150.0))),
        "oil_pressure": ("Pa", time, np.round(oil / 4000.0) * 4000.0),
        "fuel_delivery_pressure": ("Pa", time, np.round(fuel / 4000.0) * 4000.0),
        "engine_load": ("%", time, load),
        "engine_speed": ("rpm", time, speed),
    }


def dips(time: Floats, length: float = 4.0) -> Floats:
    out = np.zeros(time.size)
    for start in STARTS:
        out[(time >= start) & (time < start + length)] = 1.0
    return out


@pytest.mark.parametrize("name", ["oil_pressure", "fuel_delivery_pressure"])
def test_a_pickup_that_draws_air_is_not_called_its_own_sensor(name: str) -> None:
    """Before: 6 of 6 were called its own sensor, pin or wire."""
    time, rows = engine()
    unit, at, values = rows[name]
    rows[name] = unit, at, values - 1.1e5 * dips(time)
    found = made(rows)
    assert found[f"{name}_jumps"].outcome == "seen"
    beside = found["sensors_step_together"]
    assert beside.outcome == "inconclusive"
    assert "draws air" in beside.sentence
    assert "mechanical gauge" in beside.sentence
    assert beside.support == ()


def test_channels_that_are_sent_too_slowly_are_no_witnesses() -> None:
    """A rail that sags for two seconds; the pressures are sent every five: not alone, not told."""
    time, rows = engine()
    gone = dips(time, 2.0)
    unit, at, values = rows["coolant_temperature"]
    rows["coolant_temperature"] = unit, at, np.round(values + 8.0 * gone)
    slow = slice(4, None, 5)
    for name in ("oil_pressure", "fuel_delivery_pressure"):
        unit, at, values = rows[name]
        sagged = values * (1.0 - 0.25 * gone)
        rows[name] = unit, at[slow] + 0.45, sagged[slow]
    beside = made(rows)["sensors_step_together"]
    assert beside.details.kind != "alone"
    assert beside.outcome == "inconclusive"
    assert beside.support == ()


def test_what_has_an_alarm_of_its_own_is_not_listed_as_quiet() -> None:
    time, rows = engine()
    unit, at, values = rows["coolant_temperature"]
    rows["coolant_temperature"] = unit, at, np.round(values - 7.4 * dips(time))
    unit, at, values = rows["fuel_delivery_pressure"]
    own = np.zeros(time.size)
    for start in (60, 222, 451, 1010, 1111, 1290):
        own[start : start + 3] = 1.0
    rows["fuel_delivery_pressure"] = unit, at, values + 1.5e5 * own
    found = made(rows)
    assert found["fuel_delivery_pressure_jumps"].outcome == "seen"
    beside = found["sensors_step_together"]
    assert "fuel delivery pressure" not in beside.sentence.split("stay")[0].split("jumps,")[-1]


def test_a_step_of_the_circuit_is_not_told_as_a_real_one_in_the_next_line() -> None:
    _, rows = engine()
    rng = np.random.default_rng(3)
    unit, at, values = rows["coolant_temperature"]
    bad = values.astype(float)
    for start in STARTS:
        bad[start : start + int(rng.integers(8, 30))] += 9.0
    rows["coolant_temperature"] = unit, at, np.round(bad)
    found = made(rows)
    assert found["coolant_temperature_jumps"].outcome == "seen"
    assert not {"coolant_temperature_gas_pocket", "coolant_temperature_cold_slug"} & set(found)


def test_the_shared_ground_is_three_short_sentences_and_one_picture() -> None:
    found = truck(ground=True, loads=False)["sensors_step_together"]
    parts = [p for p in found.sentence.split(". ") if p]
    assert len(parts) == 3
    assert all(len(p) < 125 for p in parts)
    assert parts[0].startswith("When the coolant temperature drops, the oil pressure rises")
    assert "ground that lifts" in parts[1]
    assert parts[2].startswith("Next: wiggle test")
    # The figures are kept for whoever asks.
    assert "psi" in str(found.details.numbers)
    svg = together_picture(found)
    text = " ".join(ET.fromstring(svg).itertext())
    assert "coolant temp." in text
    assert "oil pressure" in text
    assert PSI > 0


def test_the_shared_ground_stays_short_where_many_channels_move() -> None:
    """Before: all named with their counts, over what a paper's sentence holds."""
    time, rows = engine()
    gone = dips(time)
    unit, at, oil = rows["oil_pressure"]
    rows["oil_pressure"] = unit, at, np.round((oil + 4.7e4 * gone) / 4000.0) * 4000.0
    slow = np.sin(time / 170.0)
    for name, level in (
        ("coolant_temperature", 88.0),
        ("oil_temperature", 95.0),
        ("intake_air_temperature", 40.0),
    ):
        rows[name] = "degC", time, np.round(level + slow - 7.4 * gone)
    found = made(rows)["sensors_step_together"]
    first = found.sentence.split(". ")[0]
    assert "1 more at the same instant" in first
    assert "1 more at the same instant" in short_sentences(found.sentence).split(". ")[0]
