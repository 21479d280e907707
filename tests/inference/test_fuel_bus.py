"""What the bus sensor read at steady points, as fuel readings."""

import json

import numpy as np
import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.demo.machines.demo_circuit import FuelFaults, gallery_curve
from witnessmark.demo.machines.demo_recordings import fuel_recording
from witnessmark.inference.fuel.fuel_groups import FAMILY
from witnessmark.inference.fuel.fuel_observations import DELIVERY, GALLERY
from witnessmark.inference.fuel.fuel_readings import collect
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.physics.fuel.supply_circuit import PSI
from witnessmark.readers import read_recording
from witnessmark.workflow.dossier.assess_case import assess


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bus")
    made = {}
    for name, faults in (("low", FuelFaults(slip=10)), ("sound", FuelFaults())):
        path = folder / f"{name}.candump.log.gz"
        path.write_bytes(fuel_recording(5, faults))
        made[name] = read_recording(path)
    return made


def case_of(*entries):
    rows = [("truck", {"label": "unit 7", "engine": {"fuel_supply": "gallery"}}),
            ("complaint", {"words": "low fuel", "families": [FAMILY]}), *entries]  # fmt: skip
    lines = [json.dumps({"kind": k, "id": f"e{i}", "at": "2026-03-02T08:00:00Z", "data": d})
             for i, (k, d) in enumerate(rows)]  # fmt: skip
    case = read_case("x", lines)
    assert not case.problems
    return case


RECORDING = ("recording", {"path": "pull.candump.log.gz", "holds": "bus"})


def collected(case, recordings):
    bench = Bench(case, recordings, load_knowledge(), case.stages())
    return collect(case, tuple(bench.readings(DELIVERY))).observations


def test_steady_points_become_readings_with_the_sensors_own_error(recordings):
    case = case_of(RECORDING)
    found = collected(case, {"e2": recordings["low"]})
    points = {(o.key.rpm, o.key.load): o for o in found}
    assert {(700.0, 0.0), (1000.0, 0.0), (1550.0, 0.0), (1800.0, 0.0), (1550.0, 1.0)} <= set(points)
    for (rpm, load), o in points.items():
        # the sensor of the invented truck reads 4 psi low; the simulator knows the true pressure
        true = float(gallery_curve(np.array([rpm]), np.array([load]), FuelFaults(slip=10))[0])
        assert o.value / PSI == pytest.approx(true - 4.0, abs=2.0)
        assert o.gauge == "bus sensor"
        assert o.main
        assert o.gauge_sd > 2.0 * PSI  # 5 psi limit, common practice, no source
        assert o.entry == "e2"


def test_a_recording_alone_feeds_the_model(recordings):
    low = assess(case_of(RECORDING), {"e2": recordings["low"]})
    model = next(f for f in low.findings if f.code == "fuel_supply_model")
    assert model.outcome == "seen"
    assert model.evidence.entries == ("e2",)
    odds = next(o for o in low.odds if o.family == FAMILY)
    assert odds.zones[0][0] in {"supply", "gauge"}  # slip x10: 60/66/76/81, of an unknown type
    assert not odds.decided
    sound = assess(case_of(RECORDING), {"e2": recordings["sound"]})
    healthy = next(f for f in sound.findings if f.code == "fuel_supply_model")
    likelihood = healthy.joint.log_likelihood
    assert likelihood[frozenset()] > max(v for k, v in likelihood.items() if len(k) == 1) - 1.5


def test_a_gauge_at_the_port_is_believed_before_the_sensor(recordings):
    read = ("reading", {"quantity": GALLERY, "value": "60 psi",
                        "point": {"rpm": 700, "load": "none"}})  # fmt: skip
    case = case_of(RECORDING, read)
    assert {o.quantity for o in collected(case, {"e2": recordings["low"]})} == {GALLERY}
    later = case_of(read, ("work", {"cause": "pump_relief", "did": "renewed"}), RECORDING)
    found = collected(later, {"e4": recordings["sound"]})
    assert {(o.quantity, o.stage) for o in found} == {(GALLERY, 0), (DELIVERY, 1)}


def test_without_the_file_there_is_nothing():
    assert collected(case_of(RECORDING), {}) == ()
