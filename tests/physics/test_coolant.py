"""Coolant properties, rates and lag against outside values."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from witnessmark.physics.sensors.coolant_rates import (
    bulk_rate,
    glycol_density,
    glycol_heat_capacity,
    largest_credible_rate,
    medium_step_needed,
)


def _check(shared: Path, identity: str) -> dict[str, object]:
    found = json.loads((shared / "checks" / "checks.json").read_text(encoding="utf-8"))
    items = found["checks"] if isinstance(found, dict) else found
    return next(item for item in items if item["id"] == identity)


@pytest.mark.parametrize(("basis", "fluid"), [("mass", "MEG"), ("volume", "AEG")])
def test_glycol_coolprop_8_incompressible_melinder_and_ashrae(basis: str, fluid: str) -> None:
    for temperature in np.linspace(-30.0, 99.5, 60):
        state = ("T", temperature + 273.15, "P", 3e5, f"INCOMP::{fluid}[0.5]")
        assert glycol_density(temperature, basis) == pytest.approx(PropsSI("D", *state), rel=1e-7)
        assert glycol_heat_capacity(temperature, basis) == pytest.approx(
            PropsSI("C", *state), rel=1e-7
        )


@pytest.mark.parametrize(
    ("fahrenheit", "pounds_per_cubic_foot"),
    [(100, 66.55), (200, 64.27), (220, 63.70), (240, 63.10), (250, 62.78)],
)
def test_density_beyond_the_reference_ashrae_fundamentals_table_by_volume(
    fahrenheit: float, pounds_per_cubic_foot: float
) -> None:
    # ASHRAE Fundamentals, density of ethylene glycol solutions, 50 % by volume, as reprinted in
    # table 5-16 of a heating design manual; the fit is extrapolated above 212 F.
    kelvin = (fahrenheit - 32) / 1.8
    expected = pounds_per_cubic_foot * 0.45359237 / 0.3048**3
    assert glycol_density(kelvin, "volume") == pytest.approx(expected, rel=1.5e-3)


def test_extrapolated_heat_capacity_stays_between_its_trend_and_water() -> None:
    # No printed value was found above 100 degC: the slope must stay positive and the value below
    # that of water at the same temperature (CoolProp 8.0.0, IAPWS-95), in both formulations.
    for basis in ("mass", "volume"):
        values = [glycol_heat_capacity(t, basis) for t in np.arange(90.0, 125.1, 2.5)]
        assert np.all(np.diff(values) > 0)
        assert values[-1] < PropsSI("C", "T", 398.15, "P", 3e5, "Water")
    assert glycol_heat_capacity(125.0, "mass") == pytest.approx(
        glycol_heat_capacity(125.0, "volume"), rel=0.02
    )


def test_outside_the_range_is_refused() -> None:
    for temperature in (-31.0, 126.0, math.inf):
        with pytest.raises(ValueError, match="glycol fit"):
            glycol_density(temperature)


def test_published_checks_of_glycol_and_slew(shared: Path) -> None:
    glycol = _check(shared, "L-egcp")["expected"]
    for k, temperature in enumerate((20.0, 60.0, 90.0)):
        assert glycol_density(temperature) == pytest.approx(glycol[2 * k], abs=0.01)
        assert glycol_heat_capacity(temperature) == pytest.approx(glycol[2 * k + 1], abs=0.05)
    volume = _check(shared, "L-eg")
    for fahrenheit, expected in zip((100, 140, 180, 200), volume["expected"], strict=True):
        found = glycol_density((fahrenheit - 32) / 1.8, "volume")
        assert found == pytest.approx(expected, abs=volume["tolerance"])
    alone, with_iron = _check(shared, "L-slew")["expected"]
    assert bulk_rate(200e3, 0.045) == pytest.approx(alone, abs=0.002)
    assert bulk_rate(200e3, 0.045, metal_mass=1100.0) == pytest.approx(with_iron, abs=0.001)


def test_step_needed_closed_form_of_first_order_lag() -> None:
    # Closed form checked by hand: 5.6 K in 2 s needs 14 K at 4 s, 20 K at 6 s, 31 K at 10 s.
    found = [round(medium_step_needed(5.6, 2.0, lag)) for lag in (4.0, 6.0, 10.0)]
    assert found == [14, 20, 31]


def test_largest_credible_rate_is_about_three_degrees_a_second() -> None:
    rate, why = largest_credible_rate()
    assert 2.4 < rate < 4.0
    assert why
