"""Pictures of vibration and torsion: well-formed, named, no colour coding, and empty when empty."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from analyses.crank_material import sweep_edges
from analyses.test_torsional import WARM, timing
from analyses.vibration_material import bench, drive, recording
from witnessmark.analyses.vibration import torsional
from witnessmark.analyses.vibration import what_it_follows as vibration
from witnessmark.model.details.finding_details import NO_DETAILS
from witnessmark.model.finding import Finding
from witnessmark.report.pictures import shake_spectra as pictures


def file(seed, rms):
    phone, bus = drive(seed, lines=[("engine", 1.0, rms)])
    return recording(f"d{seed}.csv", [*phone, *bus])


@pytest.fixture(scope="module")
def findings():
    shaking = vibration.analyse(bench([("a", 0, file(1, 0.4)), ("b", 1, file(2, 0.05))]))
    edges, cam = sweep_edges(40.0, cam=True)
    made = bench([("s", 0, timing(edges, cam=cam))], extra={"s": WARM | {"dead_centre": "29 deg"}})
    return [*shaking, *torsional.analyse(made)]


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("vibration_family", ["3 firing", "engine order", "darkest"]),
        ("vibration_change", ["before", "after", "engine order 1"]),
        ("damper_twist", ["order 6", "Hz, damping", "twist, degrees"]),
        ("cylinder_balance", ["cylinder", "named from here"]),
    ],
)
def test_each_picture(findings, code, words):
    finding = next(f for f in findings if f.code == code)
    (svg,) = pictures.for_finding(finding)
    root = ET.fromstring(svg)
    text = " ".join(root.itertext())
    for word in words:
        assert word in text
    assert "<script" not in svg
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")
    assert "nan" not in svg.lower().replace("finance", "")


def test_the_darkest_cell_is_the_complaint(findings):
    finding = next(f for f in findings if f.code == "vibration_family")
    assert "Strongest: order 1 " in pictures.order_map(finding)


def test_nothing_to_draw_gives_no_picture(findings):
    empty = Finding("vibration_family", "x", "not_run", "m")
    assert pictures.for_finding(empty) == ()
    for finding in findings:
        assert pictures.for_finding(replace(finding, details=NO_DETAILS)) == ()
    told = next(f for f in findings if f.code == "vibration_family").details
    table = {"orders": [1.0, "x"], "rpm": [900.0, 950.0], "rms": [[1.0], [float("nan")]]}
    odd = replace(told, orders=table)
    assert pictures.for_finding(replace(empty, details=odd)) == ()
