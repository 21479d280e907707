"""Pictures of the fuel model: whole XML, nothing from outside, everything said in words too.

Low and healthy fuel pressures here: common practice, no source.
"""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from witnessmark.model.details.reading_details import ReadingsModel
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.fuel import (
    for_finding,
    gallery_picture,
)

RPM = [600.0, 1000.0, 1500.0, 2000.0]
DATA = {
    "rpm": RPM,
    "healthy_low": [470e3, 560e3, 620e3, 680e3],
    "healthy_high": [530e3, 620e3, 680e3, 760e3],
    "curves": [
        {"name": "relief <valve> & more", "probability": 0.4,
         "pressure": [440e3, 500e3, 560e3, 610e3]},
        {"name": "worn pump", "probability": 0.2, "pressure": [430e3, 505e3, 565e3, 620e3]},
    ],
    "readings": [
        {"rpm": 650.0, "load": 0.0, "pressure": 448e3, "now": True},
        {"rpm": 1500.0, "load": 1.0, "pressure": 520e3, "now": True},
        {"rpm": 1400.0, "load": 0.0, "pressure": 538e3, "now": False},
    ],
}  # fmt: skip


MADE = ReadingsModel(chi_square=1.0, chi_square_limit=9.0, adaptive=False, picture=DATA)


@pytest.mark.parametrize("si", [False, True])
def test_case_picture_is_whole_and_self_contained(si):
    svg = gallery_picture(DATA, si=si)
    root = ET.fromstring(svg)
    text = " ".join(t for t in root.itertext())
    assert "relief <valve> & more" in text
    assert ("kPa" if si else "psi") in text
    assert "65 psi at 650 rpm" in text or si
    assert "under load" in text
    assert "before the work" in text
    for foreign in ("<script", "href", "url(http", "red", "green"):
        assert foreign not in svg.replace("rendered", "")


def test_explanations_differ_in_shape_not_in_colour():
    svg = gallery_picture(DATA)
    dashes = {
        e.get("stroke-dasharray") for e in ET.fromstring(svg).iter() if e.get("stroke-dasharray")
    }
    assert dashes  # the second explanation is dashed, the first is not


def test_a_finding_without_curves_has_no_picture():
    bare = Finding("fuel_supply_model", "nothing", "not_run", "fuel_supply/1")
    assert for_finding(bare) == ""
    assert for_finding(replace(bare, details=replace(MADE, picture=None))) == ""
    drawn = Finding("fuel_supply_model", "x", "seen", "fuel_supply/1", details=MADE)
    assert for_finding(drawn).startswith("<svg")
