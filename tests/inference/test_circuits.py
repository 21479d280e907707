"""Circuits decided by readings: which side of the air leaks, which joint takes the volts."""

from __future__ import annotations

import json

import numpy as np
import pytest

from witnessmark.demo.stories.story import read_story
from witnessmark.inference.circuits import circuit_weights as cw
from witnessmark.inference.circuits.circuit_evidence import group_sets
from witnessmark.inference.circuits.circuit_forecast import repair_forecasts
from witnessmark.inference.circuits.circuit_readings import observation, state_of
from witnessmark.inference.circuits.kinds.air_circuit import CIRCUIT as AIR
from witnessmark.inference.circuits.kinds.bus_line_circuit import CIRCUIT as BUS
from witnessmark.inference.circuits.kinds.charge_circuit import CIRCUIT as CHARGE
from witnessmark.inference.circuits.kinds.cooling_circuit import CIRCUIT as COOLING
from witnessmark.inference.circuits.kinds.rest_circuit import CIRCUIT as REST
from witnessmark.inference.circuits.kinds.start_circuit import CIRCUIT as START
from witnessmark.inference.circuits.kinds.stroke_circuit import CIRCUIT as STROKE
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_lists import load_inspection
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import OperatingPoint
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()
PSI = 6894.757
CIRCUITS = {"air": AIR, "start": START, "bus_line": BUS, "charge": CHARGE, "rest": REST,
            "cooling": COOLING, "stroke": STROKE}  # fmt: skip


def of(circuit, **values):
    rpm = {"build": 1900.0, **dict.fromkeys(("posts", "output"), 1500.0)}
    if circuit is COOLING:
        rpm = dict.fromkeys(values, 1500.0)
    found = []
    for key, value in values.items():
        channel = next(c for c in circuit.channels if c.key == key)
        found.append(observation(circuit, channel, value, 0.0, rpm.get(key), ""))
    return found


def chances(circuit, **values):
    weights = cw.weigh_circuit(circuit, of(circuit, **values))
    share = dict.fromkeys(range(len(circuit.groups)), 1.0)
    prior = cw.log_prior_of(circuit, share, 0.2, 0.1, 0.5)
    chance = cw.set_chances(weights, prior)
    each = cw.marginals(weights.sets, chance, len(circuit.spots))
    told = {s.key: float(p) for s, p in zip(circuit.spots, each, strict=True)}
    return {**told, "nothing": float(chance[0])}, weights


def assessed(family, readings):
    at = "2026-01-01T00:00:00Z"
    lines = [{"kind": "complaint", "id": "c", "at": at,
              "data": {"words": "it does it", "families": [family]}}]  # fmt: skip
    for n, (quantity, value, point) in enumerate(readings):
        data = {"quantity": quantity, "value": value, "point": point}
        lines.append({"kind": "reading", "id": f"r{n}", "at": at, "data": data})
    case = read_case("x", [json.dumps(line) for line in lines])
    return assess(case, {}, knowledge=KNOWLEDGE)


def model_finding(assessment):
    return next(
        f for f in assessment.findings if f.code.endswith(("_system_model", "_circuit_model"))
    )


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"primary_released": 9 * PSI, "secondary_released": 0.5 * PSI}, "primary"),
        ({"primary_released": 0.5 * PSI, "secondary_released": 0.5 * PSI,
          "primary_applied": 1 * PSI, "secondary_applied": 10 * PSI}, "secondary_pedal"),
        ({"primary_released": 0.5 * PSI, "secondary_released": 0.5 * PSI,
          "hooked": 9 * PSI}, "trailer"),
        ({"primary_released": 0.5 * PSI, "secondary_released": 0.5 * PSI,
          "wet_empty": 30 * PSI}, "service_check"),
        ({"cut_out": 92 * PSI, "gauge": 0.0}, "governor"),
        ({"cut_out": 108 * PSI, "gauge": -17 * PSI}, "gauge"),
    ],
)  # fmt: skip
def test_each_side_of_the_air_leaves_its_mark(readings, place):
    told, _ = chances(AIR, **readings)
    assert max(told, key=lambda k: told[k]) == place
    assert told[place] > 0.7


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"cranking": 11.2, "positive": 3.0, "ground": 0.15}, "positive"),
        ({"cranking": 11.2, "positive": 0.15, "ground_engine": 3.0}, "ground_engine"),
        ({"cranking": 11.2, "positive": 0.15, "ground_battery": 3.0}, "ground_battery"),
        ({"cranking": 11.3, "positive": 0.15, "ground": 0.12, "solenoid": 2.5}, "solenoid"),
        ({"rested": 11.9, "cranking": 9.3}, "flat_battery"),
        ({"rested": 12.6, "cranking": 7.0, "current": 450.0}, "worn_battery"),
        ({"rested": 12.6, "cranking": 8.3, "current": 1900.0}, "hard"),
        ({"rested": 12.6, "cranking": 12.6, "positive": 0.0, "ground": 0.0}, "no_command"),
    ],
)
def test_each_joint_of_the_start_leaves_its_mark(readings, place):
    told, _ = chances(START, **readings)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"pair": 59.9}, "elsewhere"),
        ({"pair": 118.0}, "one_open"),
        ({"pair": 41.0}, "third"),
        ({"pair": 3.0}, "short_pair"),
        ({"pair": 82.0}, "corroded"),
        ({"pair": 3400.0}, "both_open"),
        ({"pair": 60.5, "high_volts": 0.05, "low_volts": 0.2}, "high_ground"),
        ({"pair": 60.5, "high_ground": 64.0, "low_ground": 3.0}, "low_ground"),
    ],
)
def test_what_a_meter_shows_of_the_bus(readings, place):
    """60, 120 and 40 ohm: two, one and three terminators of 120 ohm (SAE J1939-11)."""
    told, _ = chances(BUS, **readings)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"posts": 12.6, "output": 55.0, "drop_positive": 0.04, "excite": 12.1, "slip": 0.0,
          "ripple": 0.1}, "alternator"),
        ({"posts": 12.5, "output": 30.0, "slip": 55.0}, "belt"),
        ({"posts": 12.3, "output": 0.0, "excite": 0.6}, "excite"),
        ({"posts": 13.4, "output": 95.0, "drop_positive": 0.9, "drop_ground": 0.05}, "positive"),
        ({"posts": 13.4, "output": 95.0, "drop_positive": 0.08, "drop_ground": 0.8}, "ground"),
        ({"posts": 13.6, "output": 90.0, "ripple": 0.9, "back": 0.3}, "diode"),
        ({"posts": 15.9, "output": 120.0, "sense": 0.0}, "over"),
        ({"posts": 14.0, "gauge": -1.4}, "gauge"),
    ],
)  # fmt: skip
def test_each_part_of_the_charging_leaves_its_mark(readings, place):
    told, _ = chances(CHARGE, **readings)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"total": 3.1, "added_off": 0.05}, "added_big"),
        ({"total": 0.3, "added_off": 0.05}, "added_small"),
        ({"total": 1.5, "added_off": 1.5, "cab_fuse": 0.011, "module_fuse": 0.0001}, "cab"),
        ({"total": 1.5, "added_off": 1.5, "cab_fuse": 0.0, "module_fuse": 0.008}, "module"),
        ({"total": 0.6, "added_off": 0.6, "alternator": 0.55}, "alternator"),
        ({"total": 0.04, "added_off": 0.04, "self_loss": 0.3, "running_volts": 13.9}, "battery"),
        ({"total": 0.04, "added_off": 0.04, "running_volts": 12.9}, "charge"),
        ({"total": 0.04, "added_off": 0.04, "case": 2.5, "running_volts": 13.9}, "film"),
        ({"total": 0.17, "added_off": 0.17, "behind_switch": 12.5}, "switch"),
    ],
)
def test_each_branch_at_rest_leaves_its_mark(readings, place):
    told, _ = chances(REST, **readings)
    assert max(told, key=lambda k: told[k]) == place


PULL = {"outside_air": 28.0, "fuel": 2.0e-5, "road": 14.0}


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"display": 99.0, "top": 99.0, "bottom": 94.0, "fan": 500.0}, "fan"),
        (
            {
                "display": 99.0,
                "top": 99.0,
                "bottom": 93.0,
                "fan": 1650.0,
                "behind": 80.0,
                "charge_out": 52.0,
            },
            "outside",
        ),
        (
            {
                "display": 99.0,
                "top": 99.0,
                "bottom": 93.0,
                "fan": 1650.0,
                "behind": 56.0,
                "charge_out": 31.0,
            },
            "inside",
        ),
        (
            {
                "display": 99.0,
                "top": 99.0,
                "bottom": 66.0,
                "fan": 1650.0,
                "behind": 58.0,
                "charge_out": 31.0,
            },
            "flow",
        ),
        ({"display": 108.0, "top": 87.0, "bottom": 70.0, "fan": 1650.0}, "display"),
    ],
)
def test_each_side_of_the_heat_balance_leaves_its_mark(readings, place):
    told, _ = chances(COOLING, **PULL, **readings)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"free": 1.2, "set": 1.6}, "misadjusted"),
        ({"free": 1.2, "set": 2.2}, "adjuster"),
        ({"free": 0.5, "set": 2.3}, "foundation"),
        ({"free": 1.2, "set": 1.6, "arrives": 90.0}, "misadjusted"),
    ],
)
def test_why_a_stroke_is_long(readings, place):
    """What the law's limit does not say: an inch and a half is right, 2 1/4 is long, both sides."""
    scale = {"arrives": PSI}
    held = {k: v * scale.get(k, 0.0254) for k, v in readings.items()}
    told, _ = chances(STROKE, applied=2.25 * 0.0254, mate=1.56 * 0.0254, **held)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("readings", "place"),
    [
        ({"free": 0.06, "arrives": 90.0}, "seized"),
        ({"free": 0.5, "arrives": 45.0}, "pressure"),
        ({"free": 0.5, "ring": -1.7, "arrives": 90.0}, "chamber"),
    ],
)
def test_why_a_stroke_is_short(readings, place):
    scale = {"arrives": PSI}
    held = {k: v * scale.get(k, 0.0254) for k, v in readings.items()}
    told, _ = chances(STROKE, applied=1.0 * 0.0254, mate=1.56 * 0.0254, **held)
    assert max(told, key=lambda k: told[k]) == place


@pytest.mark.parametrize(
    ("circuit", "readings", "alike"),
    [
        (REST, {"total": 1.5}, ("added_big", "cab", "module")),
        (CHARGE, {"posts": 12.3, "output": 0.0}, ("alternator", "belt", "excite")),
        (COOLING, {"display": 99.0, "top": 99.0}, ("outside", "fan", "inside", "flow")),
        (STROKE, {"applied": 2.3 * 0.0254, "mate": 1.5 * 0.0254}, ("misadjusted", "adjuster")),
    ],
)
def test_what_the_first_reading_cannot_part_is_not_named_alone(circuit, readings, alike):
    told, _ = chances(circuit, **readings)
    assert max(told[k] for k in alike) < 0.8
    assert sum(told[k] > 0.08 for k in alike) >= 2


def test_worse_needle_alone_leaves_the_side_open():
    """What readings cannot part is not named: the worse needle says nothing of which side."""
    told, _ = chances(AIR, released=9 * PSI)
    assert told["primary"] == pytest.approx(told["secondary"], rel=0.25)
    found = model_finding(assessed("air_supply", [("air_loss_released", "9 psi", {})]))
    assert "cannot part" in found.sentence or "not decided" in found.sentence


def test_drawn_likelihood_agrees_with_a_plain_sample():
    """The weighted draws give the mean likelihood that 60,000 plain draws of the prior give."""
    read = of(START, cranking=11.0, positive=0.45)
    weights = cw.weigh_circuit(START, read)
    rng = np.random.default_rng(8)
    z = rng.standard_normal((60_000, START.dimensions))
    for places in (frozenset(), frozenset({2}), frozenset({2, 5})):
        bad = np.zeros((len(z), len(START.spots)), dtype=bool)
        bad[:, list(places)] = True
        left = np.array([o.value for o in read]) - START.predict(z, bad, read)
        sd2 = np.array([o.sd**2 + (o.channel.shape * o.value) ** 2 for o in read])
        log = -0.5 * (left**2 / sd2 + np.log(2 * np.pi * sd2)).sum(axis=1)
        plain = np.log(np.exp(log).mean())
        told = weights.log_likelihood[weights.sets.index(places)]
        assert told == pytest.approx(plain, abs=0.25), places


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_place_is_shown_by_a_group_and_every_cause_is_in_the_pack(name):
    circuit = CIRCUITS[name]
    family = next(f for f in KNOWLEDGE.families.values() if name in f.modelled_by)
    held = {c for g in circuit.groups for c in g.causes}
    assert held == {c.id for c in family.causes}
    shown = {k for g in circuit.groups for k in g.shows}
    assert shown == {s.key for s in circuit.spots}
    sums = group_sets(circuit).shows.sum(axis=1)
    assert set(np.round(sums, 9)) == {0.0, 1.0}  # what the model does not hold shows nowhere
    tests = {t.id for t in family.tests}
    assert {t for c in circuit.channels for t in c.uses} <= tests
    assert circuit.first_look in tests
    assert all(set(m.readings[0][:1]) <= circuit.quantities for m in family.measurements)


def test_readings_that_no_circuit_shows_name_nothing():
    read = [("crank_drop_positive", "9 V", {}), ("crank_drop_ground", "9 V", {}),
            ("battery_voltage", "11 V", {"engine": "cranking"})]  # fmt: skip
    found = model_finding(assessed("no_crank", read))
    assert found.outcome == "inconclusive"
    assert set(found.joint.log_likelihood.values()) == {0.0}


def test_a_state_that_is_missing_is_asked_for():
    found = assessed("no_crank", [("battery_voltage", "10 V", {})])
    assert model_finding(found).outcome == "not_run"
    assert any("what the engine did" in p.what for p in found.problems)
    assert state_of(OperatingPoint(rpm=110.0)) == "cranking"
    assert state_of(OperatingPoint()) == ""


@pytest.mark.parametrize(
    ("family", "readings", "asked"),
    [
        ("air_supply", [("air_loss_primary_released", "7 psi", {}),
                        ("air_loss_secondary_released", "0.5 psi", {})], "air_needles_released"),
        ("charging", [("battery_voltage", "12.5 V", {"rpm": 1500}),
                      ("battery_voltage", "12.3 V", {"rpm": 680})], "charge_posts"),
        ("battery_drain", [("rest_current", "1.6 A", {}),
                           ("rest_current_added_off", "1.6 A", {})], "rest_clamp"),
        ("overheat", [("pull_top_hose_temperature", "212 degF", {"rpm": 1500}),
                      ("pull_bottom_hose_temperature", "201 degF", {"rpm": 1500}),
                      ("pull_display_temperature", "212 degF", {"rpm": 1500})], "pull_hoses"),
        ("brakes", [("stroke_applied", "2 1/4 in", {}),
                    ("stroke_applied_mate", "1 1/2 in", {})], "rod_applied"),
    ],
)  # fmt: skip
def test_forecasts_and_next_readings_come_with_the_case(family, readings, asked):
    found = assessed(family, readings)
    model = next(f for f in found.findings if f.joint is not None)
    assert model.details.assumptions
    measured = [s for s in found.steps if s.kind == "measure"]
    assert measured
    assert all(s.forecast and s.forecast[0].words.startswith("expected") for s in measured)
    assert all(s.cautions for s in measured)
    assert asked not in {s.step for s in found.steps}


def test_readings_as_they_are_typed_name_the_alternator():
    """A slip is typed in percent, volts and amps as they are: the case and the circuit agree."""
    at = {"rpm": 1500}
    found = assessed("charging", [
        ("battery_voltage", "12.5 V", at), ("charge_current", "50 A", at),
        ("charge_drop_positive", "50 mV", at), ("charge_belt_slip", "1 %", at),
        ("charge_excite_voltage", "12 V", at), ("charge_ripple", "0.1 V", at)])  # fmt: skip
    assert "points to the alternator giving too little" in model_finding(found).sentence


def test_the_stop_of_a_stroke_begins_over_the_largest_limit_of_the_laws_table():
    point = load_inspection().point("stroke")
    assert point is not None
    assert point.reading is not None
    largest = max(figure(row.most).value for row in point.reading.limits if row.most)
    for value, stands in ((largest, False), (largest + 0.0005, True)):
        found = assessed("brakes", [("stroke_applied", f"{1e3 * value:.3f} mm", {})])
        stops = {s.step for s in found.steps if s.kind == "safety"}
        assert ("stop_br_stroke" in stops) == stands


@pytest.mark.parametrize(
    ("circuit", "readings", "cause", "quantity", "low", "high"),
    [
        (CHARGE, {"posts": 13.4, "output": 95.0, "drop_positive": 0.9, "drop_ground": 0.05},
         "ch_pos", "charge_drop_positive", 0.02, 0.2),
        (REST, {"total": 1.5, "added_off": 1.5, "cab_fuse": 0.011, "module_fuse": 0.0001},
         "bd_lamp", "rest_current", 0.0, 0.12),
        (COOLING, {"display": 99.0, "top": 99.0, "bottom": 94.0, "fan": 500.0, "fuel": 2.0e-5,
                   "outside_air": 28.0}, "oh_fan", "pull_fan_speed", 1300.0, 1900.0),
        (STROKE, {"applied": 2.25 * 0.0254, "mate": 1.56 * 0.0254, "free": 1.2 * 0.0254,
                  "set": 1.6 * 0.0254}, "br_adj", "stroke_applied", 1.2 * 0.0254, 1.9 * 0.0254),
    ],
)  # fmt: skip
def test_what_a_repair_would_read(circuit, readings, cause, quantity, low, high):
    family = next(f for f in KNOWLEDGE.families.values() if circuit.id in f.modelled_by)
    weights = cw.weigh_circuit(circuit, of(circuit, **readings))
    share = dict.fromkeys(range(len(circuit.groups)), 1.0)
    chance = cw.set_chances(weights, cw.log_prior_of(circuit, share, 0.2, 0.1, 0.5))
    told = repair_forecasts(weights, chance, KNOWLEDGE, family)[cause]
    after = next(f for f in told if f.quantity == quantity)
    assert "would read" in after.words
    assert low <= after.value <= high


@pytest.mark.parametrize(
    ("story", "until", "family", "words", "cause"),
    [
        ("mulch-16", "e19", "air_supply", "primary side", "as_chamber"),
        ("laundry-8", "e20", "no_crank", "the ground between", "nc_ground"),
    ],
)
def test_the_demos_trucks_are_decided_by_readings(story, until, family, words, cause):
    lines = list(read_story(story).lines)
    end = next(n for n, line in enumerate(lines) if json.loads(line)["id"] == until)
    found = assess(read_case(story, lines[:end]), {}, knowledge=KNOWLEDGE)
    finding = model_finding(found)
    assert "points to" in finding.sentence
    assert words in finding.sentence
    odds = next(o for o in found.odds if o.family == family)
    assert odds.causes[0].cause == cause
    step = next(s for s in found.steps if s.kind == "repair")
    assert step.step == cause
    assert any("would read" in f.words for f in step.forecast)
    whole = assess(read_case(story, lines), {}, knowledge=KNOWLEDGE)
    assert whole.proofs[0].verdict == "proven"
    last = [f for f in whole.findings if f.code == finding.code and f.stage == 1]
    assert "points to" not in last[0].sentence
