"""Sensor circuits against hand-worked figures of the trade and closed forms."""

from __future__ import annotations

import math

import pytest

from physics.faulty_circuit import reading_with
from witnessmark.physics.sensors.sensor_circuit import (
    Thermistor,
    added_series,
    added_shunt,
    ground_lift_for,
)

GENERIC = Thermistor()


def test_generic_thermistor_at_90_degrees_domain_map_section_6() -> None:
    assert GENERIC.resistance(90.0) == pytest.approx(304.0, abs=1.0)
    assert GENERIC.voltage(90.0) == pytest.approx(1.17, abs=0.01)
    assert GENERIC.slope(90.0) == pytest.approx(-0.025, abs=0.001)


@pytest.mark.parametrize(
    ("fault", "change", "tolerance"),
    [
        ({"series": 10.0}, -1.2, 0.1),
        ({"series": 100.0}, -10.0, 0.4),
        ({"shunt": 10_000.0}, 1.1, 0.1),
        ({"shunt": 1_000.0}, 10.0, 0.6),
        ({"lift": 0.05}, -2.0, 0.1),
        ({"lift": 0.1}, -3.8, 0.1),
        ({"lift": 0.2}, -7.4, 0.15),
        ({"lift": 0.4}, -14.0, 0.4),
    ],
)
def test_faults_at_90_degrees_domain_map_section_6(
    fault: dict[str, float], change: float, tolerance: float
) -> None:
    assert reading_with(GENERIC, 90.0, **fault) - 90.0 == pytest.approx(change, abs=tolerance)


def test_series_and_shunt_of_the_prototype_sensor() -> None:
    # R25 2.5 kohm, B 3500 (signal study, part C): 5.6 / 8.3 K cold = +70 / +100 ohm,
    # hot = 2.8 / 1.8 kohm across, at 73.9 and 79.4/82.2 degC.
    sensor = Thermistor(r25=2500.0, b=3500.0)
    assert added_series(sensor, 79.5, 73.9) == pytest.approx(70.0, rel=0.12)
    assert added_series(sensor, 82.2, 73.9) == pytest.approx(100.0, rel=0.12)
    assert added_shunt(sensor, 73.9, 79.5) == pytest.approx(2800.0, rel=0.12)
    assert added_shunt(sensor, 73.9, 82.2) == pytest.approx(1800.0, rel=0.12)


@pytest.mark.parametrize("temperature", [-20.0, 25.0, 60.0, 90.0, 120.0])
def test_inverses_agree_with_the_forward_circuit(temperature: float) -> None:
    assert GENERIC.read(GENERIC.voltage(temperature)) == pytest.approx(temperature, abs=1e-9)
    cold = reading_with(GENERIC, temperature, series=37.0)
    assert added_series(GENERIC, temperature, cold) == pytest.approx(37.0, rel=1e-6)
    hot = reading_with(GENERIC, temperature, shunt=5000.0)
    assert added_shunt(GENERIC, temperature, hot) == pytest.approx(5000.0, rel=1e-6)
    lifted = reading_with(GENERIC, temperature, lift=0.03)
    assert ground_lift_for(GENERIC, temperature, lifted) == pytest.approx(0.03, rel=1e-6)


def test_the_exact_divider_takes_the_pull_ups_share() -> None:
    # Kirchhoff: with the loop's ground lifted by L, V = L + (5 - L) r/(R + r).
    r = GENERIC.resistance(90.0)
    expected = 0.2 + 4.8 * r / (1000.0 + r)
    found = reading_with(GENERIC, 90.0, lift=0.2, divider=True)
    assert GENERIC.voltage(found) == pytest.approx(expected, rel=1e-9)


def test_open_and_short_are_no_reading() -> None:
    assert math.isnan(reading_with(GENERIC, 90.0, lift=4.5))
    assert reading_with(GENERIC, 90.0, shunt=1.0) > 250.0
