"""Joint angles as readings; limits as in the pack's test v_angle."""

import numpy as np
import pytest

from analyses.vibration_material import TRUCK, bench
from witnessmark.analyses.vibration import shaft_joints as driveline


def found(*angles, stage=0):
    readings = [(stage, "joint_angle", f"{a} deg", {}) for a in angles]
    return driveline.analyse(bench([], readings=readings))


def test_unequal_angles_point_at_the_driveline():
    (finding,) = found(4.0, 1.0)
    assert finding.outcome == "seen"
    load = next(s for s in finding.support if s.family == "vib_load").log_likelihood
    assert max(load, key=load.get) == "driveline_angle"
    assert "0.0027" in finding.sentence  # R-uj-lim
    assert finding.details.equivalent_deg == pytest.approx(15**0.5, rel=2e-3)
    assert set(finding.details.stands_for) == {"v_angle", "s_angle"}


def test_even_angles_speak_against_it():
    (finding,) = found(2.1, 1.8)  # the logging truck's angles
    assert finding.outcome == "not_seen"
    load = next(s for s in finding.support if s.family == "vib_load").log_likelihood
    assert load["driveline_angle"] < -1
    assert "65 mph" in finding.sentence


def test_on_the_limit_is_not_decided():
    (finding,) = found(2.0, 3.0)
    assert finding.outcome == "inconclusive"
    assert finding.support == ()


def test_one_joint_is_not_enough():
    (finding,) = found(2.0)
    assert finding.outcome == "not_run"
    assert driveline.analyse(bench([])) == ()


def test_critical_speed_of_a_shaft_entered_with_the_truck():
    shafts = [
        {"length": "110 in", "outer": "4 in", "inner": "3.76 in"},
        {"length": "60 in", "outer": "101.6 mm", "inner": "95.5 mm"},
        {"length": "60 in", "outer": "3 in", "inner": "4 in"},
        {"length": "60", "outer": "3 in"},
    ]
    found = driveline.analyse(bench([], truck=TRUCK | {"shafts": shafts}))
    assert [f.code for f in found] == ["shaft_critical_speed"] * 4
    # 30 pi / L^2 sqrt(E (D^2 + d^2) / (16 rho)): the closed form of a tube on two joints.
    for finding, length in zip(found[:2], (110 * 0.0254, 60 * 0.0254), strict=True):
        square = 0.1016**2 + 0.0955**2
        expected = 30 * np.pi / length**2 * np.sqrt(206e9 * square / (16 * 7850))
        assert finding.value == pytest.approx(expected, rel=2e-3)
    assert [f.outcome for f in found] == ["seen", "not_seen", "not_run", "not_run"]
    assert "1923 rpm" in found[1].sentence  # R-dl: 65 mph, 500 turns a mile, axle 3.55
    assert "unit" in found[3].reason
