"""Joint angles as readings; limits as in the pack's test v_angle."""

import pytest

from analyses.vibration_material import bench
from witnessmark.analyses import driveline


def found(*angles, stage=0):
    readings = [(stage, "joint_angle", f"{a} deg", {}) for a in angles]
    return driveline.analyse(bench([], readings=readings))


def test_unequal_angles_point_at_the_driveline():
    (finding,) = found(4.0, 1.0)
    assert finding.outcome == "seen"
    load = next(s for s in finding.support if s.family == "vib_load").log_likelihood
    assert max(load, key=load.get) == "driveline_angle"
    assert finding.details["equivalent_deg"] == pytest.approx(15**0.5, rel=2e-3)
    assert set(finding.details["stands_for"]) == {"v_angle", "s_angle"}


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
