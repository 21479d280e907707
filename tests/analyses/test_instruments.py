"""How far off an instrument may be."""

from __future__ import annotations

import math

import pytest

from witnessmark.analyses.readings.instruments import same_instrument, uncertainty_of
from witnessmark.model.entries.entry_data import Instrument, ReadingData
from witnessmark.units import UNITS

PSI = UNITS["psi"].factor


def reading(value: str = "70 psi", **instrument: str) -> ReadingData:
    return ReadingData(
        quantity="fuel_gallery_pressure",
        value=value,
        instrument=Instrument(**instrument) if instrument else None,
    )


@pytest.mark.parametrize(
    ("instrument", "value", "limit_psi"),
    [
        ({"span": "160 psi", "accuracy": "1 % of span"}, "70 psi", 1.6),
        ({"span": "0-160 psi", "accuracy": "± 1 %  of span"}, "70 psi", 1.6),
        ({"accuracy": "2 % of reading"}, "70 psi", 1.4),
        ({"accuracy": "1.5 psi"}, "70 psi", 1.5),
        ({"accuracy": "±10 kPa"}, "70 psi", 10e3 / PSI),
        # Source: ASME B40.100, grade A is 2-1-2 % of span (id C13 of checks.json, partial).
        ({"span": "160 psi", "accuracy": "grade A"}, "70 psi", 1.6),
        ({"span": "160 psi", "accuracy": "grade A"}, "20 psi", 3.2),
        ({"span": "160 psi", "accuracy": "3-2-3 %"}, "20 psi", 4.8),
        # Source: EN 837-1, class 1.6 is 1.6 % of span (id C14 of checks.json, partial).
        ({"span": "10 bar", "accuracy": "class 1.6"}, "70 psi", 0.16e5 / PSI),
    ],
)
def test_written_accuracy(instrument: dict[str, str], value: str, limit_psi: float) -> None:
    found = uncertainty_of(reading(value, **instrument))
    assert found.accuracy == pytest.approx(limit_psi * PSI / math.sqrt(3), rel=1e-6)
    assert found.u > found.accuracy
    assert "written" in found.source


@pytest.mark.parametrize("accuracy", ["good", "1 % of span", "5 rpm", ""])
def test_unreadable_accuracy_falls_back_on_the_usual_instrument(accuracy: str) -> None:
    assert "usual" in uncertainty_of(reading(accuracy=accuracy)).source


def test_two_unnamed_gauges_are_not_the_same() -> None:
    assert not same_instrument(reading(), reading())
    assert not same_instrument(reading(id="g1"), reading(id="g2"))
    assert same_instrument(reading(id="g1"), reading(id="g1"))
