"""Conformity and differences against published values."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from witnessmark.physics.conformity import (
    conformity_probability,
    conformity_verdict,
    difference,
    from_accuracy_limit,
)


def test_jcgm_106_examples(shared: Path) -> None:
    """Source: JCGM 106:2012 clause 7 (ids C01, C02, C04 of checks.json, from memory there)."""
    checks = {c["id"]: c for c in json.loads((shared / "checks/checks.json").read_text())}
    assert conformity_probability(-5.47, 0.05, high=-5.40) == pytest.approx(
        checks["C01"]["expected"], abs=checks["C01"]["tolerance"]
    )
    assert conformity_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(
        checks["C02"]["expected"], abs=checks["C02"]["tolerance"]
    )
    for probability, z in zip(
        (0.80, 0.90, 0.95, 0.99, 0.999), checks["C04"]["expected"], strict=True
    ):
        assert conformity_probability(z, 1.0, low=0.0) == pytest.approx(probability, abs=0.002)


def test_rectangular_distribution() -> None:
    """Source: JCGM 100:2008, 4.3.7."""
    assert from_accuracy_limit(1.6) == pytest.approx(1.6 / math.sqrt(3))


@given(st.floats(-100, 100), st.floats(0.01, 50), st.floats(-100, 100), st.floats(0, 100))
def test_probability_of_a_band_is_a_probability(
    value: float, u: float, low: float, width: float
) -> None:
    inside = conformity_probability(value, u, low, low + width)
    assert 0.0 <= inside <= 1.0
    assert inside <= conformity_probability(value, u, low, None) + 1e-12
    assert inside <= conformity_probability(value, u, None, low + width) + 1e-12


def test_a_certain_value_is_inside_or_not() -> None:
    assert conformity_probability(70, 0, 69, 79) == 1.0
    assert conformity_probability(68.9, 0, 69, 79) == 0.0
    # A limit belongs to the band (from memory: JCGM 106:2012 takes tolerance limits in).
    assert conformity_probability(69, 0, 69, 79) == conformity_probability(79, 0, 69, 79) == 1.0


@pytest.mark.parametrize(
    ("probability", "verdict"),
    [(0.99, "inside"), (0.67, "inside"), (0.5, "cannot tell"), (0.4, "cannot tell"),
     (0.33, "outside"), (0.0, "outside")],
)  # fmt: skip
def test_two_to_one_is_spoken(probability: float, verdict: str) -> None:
    assert conformity_verdict(probability) == verdict


def test_the_same_gauge_cancels_its_bias() -> None:
    same = difference(78, 95, repeatability=0.5, u_before=2, u_after=2, same_instrument=True)
    other = difference(78, 95, repeatability=0.5, u_before=2, u_after=2, same_instrument=False)
    assert same.value == other.value == 17
    assert other.high - other.low > 2 * (same.high - same.low)
    # 1.96 * sqrt(2) * 0.5
    assert same.high - same.value == pytest.approx(1.3859, abs=1e-3)
    assert same.provable == pytest.approx(2 * math.sqrt(2) * 0.5)
    assert same.shown


def test_a_change_within_repeatability_is_not_shown() -> None:
    assert not difference(78, 79, repeatability=0.5, same_instrument=True).shown
    assert not difference(78, 78, repeatability=0.5, same_instrument=True).shown
