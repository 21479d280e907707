"""Which shared part gives way, on a truck whose sensors are not the generic ones."""

from __future__ import annotations

import json

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors.circuit_ratios import INPUTS, PRIOR, Steps, signatures
from witnessmark.analyses.sensors.trace_causes import (
    supports_of_others,
    supports_of_silence,
    supports_of_trace,
)
from witnessmark.analyses.together import sensor_or_real as plausibility
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Channel, Floats, Quality, Recording
from witnessmark.units import QUANTITIES

SECONDS = 900.0
STARTS = (107, 218, 331, 402, 555, 680, 790)


def ntc(values: Floats, d: Floats, fault: str, pull: float = 2200.0) -> Floats:
    """A thermistor of 2250 ohm, B 3450, through the faulty circuit."""
    ohm = 2250.0 * np.exp(3450.0 * (1.0 / (values + 273.15) - 1.0 / 298.15))
    supply = 1.0 - d if fault == "rail" else 1.0
    ground = d if fault == "ground" else 0.0
    q = ground + (supply - ground) * ohm / (pull + ohm)
    q = q / (1.0 - d) if fault == "converter" else q
    back = pull * q / (1.0 - q)
    return np.asarray(1.0 / (1.0 / 298.15 + np.log(back / 2250.0) / 3450.0) - 273.15)


def transducer(values: Floats, d: Floats, fault: str, full: float) -> Floats:
    own = 0.1 + 0.8 * values / full
    supply = 1.0 - d if fault in {"reference", "rail"} else 1.0
    ground = d if fault == "ground" else 0.0
    q = ground + (supply - ground) * own
    q = q / (1.0 - d) if fault == "converter" else q
    return np.asarray((q - 0.1) / 0.8 * full)


def truck(fault: str, depth: float) -> Recording:
    rng = np.random.default_rng(8)
    time = np.arange(0.0, SECONDS)
    load = np.where((time // 70) % 3 == 0, 85.0, 15.0)
    speed = np.where(load > 50.0, 1450.0, 720.0) + rng.normal(0.0, 8.0, time.size)
    d = np.zeros(time.size)
    for start in STARTS:
        d[start : start + 4] = depth
    oil = 180e3 + 140.0 * speed + rng.normal(0.0, 3e3, time.size)
    fuel = 330e3 + 70.0 * speed + rng.normal(0.0, 3e3, time.size)
    volts = 13.9 + rng.normal(0.0, 0.04, time.size)
    volts = volts / (1.0 - d) if fault == "converter" else volts
    rows = {
        "coolant_temperature": np.round(ntc(87.0 + np.sin(time / 90.0), d, fault)),
        "fuel_temperature": np.round(ntc(44.0 + time / 300.0, d, fault)),
        "oil_pressure": transducer(oil, d, fault, 7e5),
        "fuel_delivery_pressure": transducer(fuel, d, fault, 1.4e6),
        "battery_voltage": np.round(volts / 0.05) * 0.05,
        "engine_speed": speed,
        "engine_load": load,
    }
    channels = [
        Channel(n, QUANTITIES[n].house, time.copy(), v, np.zeros(time.size, np.uint8), source=0)
        for n, v in rows.items()
    ]
    return Recording("x.log", "0" * 64, "bus", "test", SECONDS, tuple(channels))


def findings(made: Recording, *families: str) -> dict[str, Finding]:
    at = "2026-01-01T00:00:00Z"
    lines = [
        json.dumps({"kind": "complaint", "id": "e1", "at": at,
                    "data": {"words": "jumps", "families": list(families)}}),
        json.dumps({"kind": "recording", "id": "e2", "at": at, "data": {"path": "x.log"}}),
    ]  # fmt: skip
    case = read_case("x", lines)
    bench = Bench(case, {"e2": made}, load_knowledge(), case.stages())
    return {f.code: f for f in plausibility.analyse(bench)}


@pytest.mark.parametrize(
    ("fault", "depth", "kind", "cause"),
    [
        ("ground", 0.04, "ground", "el_ground"),
        ("reference", 0.14, "reference", "el_ref"),
        ("rail", 0.10, "reference", "el_ref"),
        ("converter", 0.10, "unit", "el_ecu"),
    ],
)
def test_the_part_that_gives_way_is_told_by_the_fixed_ratios(
    fault: str, depth: float, kind: str, cause: str
) -> None:
    found = findings(truck(fault, depth), "electrical", "cool_unstable")["sensors_step_together"]
    assert found.outcome == "seen"
    assert found.details.signature == fault
    assert found.details.kind == kind
    support = next(s for s in found.support if s.family == "electrical").log_likelihood
    assert max(support, key=support.get) == cause


def test_a_healthy_truck_raises_nothing() -> None:
    found = findings(truck("ground", 0.0))
    assert [f.code for f in found.values() if f.outcome == "seen"] == []


def test_the_chances_add_up_and_stay_near_the_start_without_others() -> None:
    lead = Steps("coolant_temperature", np.full(5, 88.0), np.full(5, -7.0), 0.5)
    alone = signatures(lead, [])
    assert sum(alone.values()) == pytest.approx(1.0)
    # A branch of the transducers' 5 V does not reach a thermistor; nothing else is told.
    assert alone["reference"] < 1e-12
    assert alone["own"] / alone["ground"] == pytest.approx(PRIOR["own"] / PRIOR["ground"], rel=0.05)


def test_a_ratio_that_changes_from_jump_to_jump_is_loose() -> None:
    rng = np.random.default_rng(3)
    lead = Steps("coolant_temperature", np.full(9, 88.0), np.full(9, -7.0), 0.5)
    wild = Steps("oil_pressure", np.full(9, 3e5), rng.normal(0.0, 9e4, 9), 3e3)
    fixed = Steps("oil_pressure", np.full(9, 3e5), np.full(9, 3.5e4), 3e3)
    assert max((c := signatures(lead, [wild])), key=lambda k: c[k]) == "loose"
    assert max((c := signatures(lead, [fixed])), key=lambda k: c[k]) == "ground"


def test_every_family_and_cause_that_is_spoken_of_is_in_the_packs() -> None:
    knowledge = load_knowledge()
    spoken = [
        *supports_of_trace(knowledge, "electrical", 900.0),
        *supports_of_silence(knowledge),
        *(s for p in ("ground", "reference", "unit", "shared", "alone")
          for s in supports_of_others(knowledge, p, True)),
    ]  # fmt: skip
    assert {s.family for s in spoken} == {"cool_unstable", "electrical"}
    for support in spoken:
        known = {c.id for c in knowledge.families[support.family].causes}
        assert set(support.log_likelihood) <= known
    bound = {f for f, row in knowledge.families.items() if plausibility.MODEL in row.modelled_by}
    assert bound == {"cool_unstable", "electrical", "overheat"}
    assert set(INPUTS) <= set(QUANTITIES)


def _silent(*, both: bool, running: bool) -> Recording:
    """Units 0 and 11; unit 0 (or both) says nothing from 300 s to 302.5 s."""
    made = []
    for name, source, step in (
        ("engine_speed", 0, 0.02), ("coolant_temperature", 0, 1.0), ("road_speed", 11, 0.1),
    ):  # fmt: skip
        time = np.arange(0.0, 600.0, step)
        values = {"engine_speed": 900.0 if running else 0.0, "road_speed": 5.0}.get(name, 85.0)
        if source == 0 or both:
            time = time[(time < 300.0) | (time > 302.5)]
        made.append(
            Channel(name, QUANTITIES[name].house, time, np.full(time.size, values),
                    np.full(time.size, Quality.VALID, np.uint8), source=source)
        )  # fmt: skip
    return Recording("x.log", "0" * 64, "bus", "test", 600.0, tuple(made))


def test_a_unit_that_falls_silent_alone_is_the_module_or_its_supply() -> None:
    found = findings(_silent(both=False, running=True), "electrical")["control_unit_silent"]
    assert found.details.address == 0
    assert found.details.times_s == [pytest.approx(300.0, abs=0.1)]
    support = next(s for s in found.support if s.family == "electrical").log_likelihood
    assert support["el_ecu"] > support["el_ref"] + 1.0
    # The recorder itself, or a key turned off, looks different.
    assert "control_unit_silent" not in findings(_silent(both=True, running=True))
    assert "control_unit_silent" not in findings(_silent(both=False, running=False))
