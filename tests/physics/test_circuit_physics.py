"""The lumped circuits against handbook formulas; the source stands beside each."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from witnessmark.physics.circuits import air_tanks as air
from witnessmark.physics.circuits import heat_exchange as cool
from witnessmark.physics.circuits import push_rod, rest_current
from witnessmark.physics.circuits.charging_network import output_at, settle
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


def one(*values):
    return [np.array([float(v)]) for v in values]


def test_the_charging_network_keeps_kirchhoffs_laws():
    for most in (20.0, 60.0, 300.0):
        volts, current, battery = (
            float(v[0]) for v in settle(*one(most, 14.2, 5e-3, 1.0, 1e-3, 80.0, 12.6, 0.1, 6e-3))
        )
        assert current == pytest.approx(80.0 * volts / 13.0 + battery)
        inner = 0.1 if battery >= 0.0 else 6e-3
        assert volts - 12.6 == pytest.approx(battery * inner)
        if most == 300.0:  # it holds its volts at its own posts, less its droop
            assert volts + current * (5e-3 + 1e-3) == pytest.approx(14.2)
        else:
            assert current == pytest.approx(most)


def test_an_alternator_gives_nothing_under_its_cut_in_speed_and_all_of_it_far_above():
    """Makers' curves (from memory): about half at idle's 1,900 r/min, nearly all at 6,000."""
    shape = [float(output_at(*one(160.0, n, 1150.0, 850.0))[0]) for n in (1000.0, 1900.0, 6000.0)]
    assert shape[0] == 0.0
    assert 0.5 < shape[1] / 160.0 < 0.65
    assert shape[2] / 160.0 > 0.99


@pytest.mark.parametrize(
    ("charge", "volts"), [(1.0, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0.0, 11.89)]
)
def test_rested_volts_are_the_trades_table(charge, volts):
    """12.65, 12.45, 12.24, 12.06, 11.89 V (common practice, no source)."""
    assert rest_current.rested_volts(one(charge)[0])[0] == pytest.approx(volts, abs=0.035)


def test_what_a_draw_takes_overnight_and_over_a_month():
    """Charge is current times time: 0.5 A for 60 h of 200 Ah; 50 mA for 30 days are 36 Ah."""
    assert rest_current.charge_left(*one(1.0, 0.5, 60.0, 200.0))[0] == pytest.approx(0.85)
    assert rest_current.charge_left(*one(1.0, 0.05, 720.0, 100.0))[0] == pytest.approx(0.64)
    assert rest_current.charge_left(*one(0.1, 5.0, 100.0, 200.0))[0] == 0.0


def test_peukert_at_the_rated_current_is_the_rating():
    """W. Peukert 1897: t = H (C / (I H))^k; ten times the current lasts less than a tenth."""
    assert rest_current.peukert_hours(100.0, 20.0, 5.0, 1.25) == pytest.approx(20.0)
    assert rest_current.peukert_hours(100.0, 20.0, 50.0, 1.25) == pytest.approx(20.0 * 0.1**1.25)


@pytest.mark.parametrize(("rating", "low", "high"), [(10.0, 7e-3, 8e-3), (20.0, 3e-3, 4.1e-3)])
def test_blade_fuses_have_the_milliohms_of_their_tables(rating, low, high):
    """Cold resistance of blade fuses (makers' tables, from memory)."""
    assert low <= rest_current.fuse_ohms(one(rating)[0])[0] <= high


@pytest.mark.parametrize(
    ("ntu", "ratio", "told"),
    [(1.0, 0.0, 0.632), (2.0, 0.0, 0.865), (1.0, 1.0, 0.476), (2.0, 1.0, 0.614), (3.0, 0.5, 0.835)],
)
def test_cross_flow_is_kays_and_londons(ntu, ratio, told):
    """Tables of cross flow, both unmixed (Kays and London, Compact Heat Exchangers; memory)."""
    assert cool.effectiveness(*one(ntu, ratio))[0] == pytest.approx(told, abs=0.015)


def test_a_litre_of_fuel_an_hour_is_about_ten_kilowatts():
    """35.9 MJ a litre (handbooks: 35.8 to 36): 1 L/h is 9.97 kW."""
    assert cool.fuel_power(one(1e-3 / 3600.0)[0])[0] / 1e3 == pytest.approx(9.97, abs=0.01)


def test_the_radiator_takes_what_is_put_in():
    """Q = m c dT of the coolant where it is fully open; throttled it stays near the opening."""
    hot, back = (float(v[0]) for v in cool.balance(*one(260e3, 30, 5, 6, 6000, 1, 82)))
    assert (hot - back) * 6.0 * cool.COOLANT == pytest.approx(260e3, rel=2e-3)
    assert hot > 92.0
    cold, _ = (float(v[0]) for v in cool.balance(*one(60e3, 20, 6, 6, 6000, 1, 82)))
    assert 82.0 <= cold < 92.0
    dirty, _ = (float(v[0]) for v in cool.balance(*one(260e3, 30, 2.5, 6, 3500, 1, 82)))
    assert dirty > hot + 10.0


def test_fan_and_wind_add_as_pressures():
    """Pressure goes with the square of the flow (fan laws): 3 and 4 kg/s together move 5."""
    assert cool.air_flow(*one(3.0, 4.0))[0] == pytest.approx(5.0)


@pytest.mark.parametrize(("ring", "area"), [(8.09375, 30.0), (6.375, 16.0), (5.6875, 12.0)])
def test_a_chambers_type_is_its_area(ring, area):
    """Clamp rings of 8 3/32, 6 3/8 and 5 11/16 in are types 30, 16 and 12 (49 CFR 393.47(e))."""
    told = push_rod.effective_area(one(ring * 0.0254)[0])[0] / 0.0254**2
    assert told == pytest.approx(area, rel=0.045)


def test_a_stroke_is_clearance_and_what_gives():
    inch, full = 0.0254, push_rod.FULL

    def way(pressure, arm=1.0, area=1.0):
        told = push_rod.stroke_at(*one(pressure, 0.5 * inch, inch, 0.5, area, arm))
        return float(told[0]) / inch

    assert way(0.0) == pytest.approx(0.5)
    assert way(full) == pytest.approx(1.5)
    assert way(full / 4.0) == pytest.approx(1.0)
    assert way(full, area=0.25) == pytest.approx(way(full / 4.0))
    assert way(full, arm=1.1) > 1.1 * way(full)
    # ten degrees off square costs a sixtieth of the force
    assert push_rod.arm_share(10.0) == pytest.approx(0.985, abs=5e-4)


def test_the_outside_checks_of_chambers_and_refrigerant(shared: Path):
    """W04 to W06, W80 of the outside check values; skipped where they are not there."""
    rows = json.loads((shared / "checks" / "checks_week.json").read_text(encoding="utf-8"))
    checks = {row["id"]: row for row in rows["checks"]}
    for name, ring, kind in (("W04", "5 11/16", 12), ("W05", "6 3/8", 16), ("W06", "8 3/32", 30)):
        assert ring in checks[name]["applies"]
        whole, part = ring.split()
        over, under = part.split("/")
        across = (int(whole) + int(over) / int(under)) * 0.0254
        area = push_rod.effective_area(one(across)[0])[0] / 0.0254**2
        assert area == pytest.approx(kind, rel=0.045)
    assert checks["W80"]["value"] == "both"
