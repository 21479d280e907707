"""The lumped circuits against handbook formulas; the source stands beside each."""

from __future__ import annotations

import math

import numpy as np
import pytest

from witnessmark.physics.circuits import air_tanks as air
from witnessmark.physics.circuits.start_network import cranking


def test_choked_flow_is_the_textbooks():
    """m = 0.6847 p A / sqrt(R T) for g = 1.4 (F. M. White, Fluid Mechanics, choked flow)."""
    conductance = air.hole_conductance(math.sqrt(4e-4 / math.pi), jet=1.0)
    flow = air.hole_mass_flow(conductance, 1e6, 1e5, 300.0)
    assert flow == pytest.approx(0.6847 * 1e6 * 1e-4 / math.sqrt(287.05 * 300.0), rel=1e-4)


def test_below_the_critical_ratio_the_flow_follows_the_ellipse():
    """ISO 6358: half way between the critical ratio and one it is sqrt(3/4) of the choked flow."""
    half = air.hole_mass_flow(1e-9, 1e6, 1e6 * (0.528 + 1.0) / 2.0)
    choked = air.hole_mass_flow(1e-9, 1e6, 1e5)
    assert half / choked == pytest.approx(math.sqrt(0.75), rel=1e-6)
    assert air.hole_mass_flow(1e-9, 1e5, 1e6) == 0.0


def test_a_millimetre_leaks_what_leak_tables_say():
    """Tables of compressed air give 1.0 to 1.3 L/s for 1 mm at 6 bar gauge (from memory)."""
    litres = air.hole_mass_flow(air.hole_conductance(1e-3, jet=0.97), 7.013e5, 1.013e5) / 1.19e-3
    assert 1.0 <= litres <= 1.3


@pytest.mark.parametrize("adiabatic", [False, True])
def test_a_tank_leaks_down_as_its_balance_says(adiabatic):
    """Mass and energy balance of a tank, integrated step by step: no formula of the module."""
    conductance, volume, seconds, steps = 5e-10, 0.04, 60.0, 20000
    pressure, kelvin = 9.2e5, 293.15
    mass = pressure * volume / (air.GAS * kelvin)
    for _ in range(steps):
        out = air.hole_mass_flow(conductance, pressure, 1e5, kelvin) * seconds / steps
        if adiabatic:  # dU = -h dm  ->  m cv dT = -R T dm
            kelvin *= 1.0 - (air.GAMMA - 1.0) * out / mass
        mass -= out
        pressure = mass * air.GAS * kelvin / volume
    rate = conductance * air.REFERENCE / volume
    told = air.blow_down(9.2e5, rate, seconds, adiabatic=adiabatic)
    assert told == pytest.approx(pressure, rel=2e-4)


def test_filling_a_tank_with_a_steady_flow():
    """Boyle: 110 L from 85 to 100 psi take 110 L x 15 psi of free air; 8 ft3/min bring it in."""
    flow = np.array([8.0 * 0.3048**3 / 60.0])
    time = air.fill_time(np.array([0.110]), 0.0, 15.0 * 6894.757, (flow, flow, flow))
    assert time[0] == pytest.approx(0.110 * 15.0 * 6894.757 / 1e5 / flow[0], rel=1e-9)
    assert time[0] == pytest.approx(30.1, abs=0.1)


def test_what_never_comes_takes_a_quarter_of_an_hour():
    none = np.array([-1e-3])
    assert air.fill_time(np.array([0.1]), 0.0, 1e5, (none, none, none))[0] == pytest.approx(900.0)


def test_a_compressor_without_clearance_gives_what_it_sweeps():
    """Handbooks: eta = 1 + c - c (p2/p1)^(1/n); at c = 5 %, p2/p1 = 8, n = 1.3 it is 0.80."""
    one = np.array([1e-3])
    free = air.compressor_flow(one, np.array([1.0]), np.array([0.0]), np.array([8e5]))
    assert free[0] == pytest.approx(1e-3)
    head = np.array([8.0 * air.ATMOSPHERE])
    held = air.compressor_flow(one, np.array([1.0]), np.array([0.05]), head)
    assert held[0] / 1e-3 == pytest.approx(1.05 - 0.05 * 8.0 ** (1.0 / 1.3), rel=1e-9)
    assert held[0] / 1e-3 == pytest.approx(0.80, abs=0.005)


def test_the_starting_network_keeps_kirchhoffs_laws():
    figures = [np.array([f]) for f in (12.6, 6e-3, 0.8, 0.067, 330.0, 2.2)]
    current, speed = (float(v[0]) for v in cranking(*figures))
    assert 12.6 - current * 6e-3 - 0.8 - 0.067 * speed == pytest.approx(0.0, abs=1e-9)
    assert current == pytest.approx(330.0 + 2.2 * speed)
    figures[1] = np.array([60e-3])
    current, speed = (float(v[0]) for v in cranking(*figures))
    assert speed == 0.0
    assert current == pytest.approx((12.6 - 0.8) / 60e-3)
