"""Headings of many recorders: each a quantity with its unit, or plainly none."""

from __future__ import annotations

import pytest

from witnessmark.readers.columns.column_names import heading

#: heading -> quantity and unit.
KNOWN = {
    "coolant_temperature degF": [
        "Coolant Temp (F)", "ECT (°F)", "ECT_F", "Eng Cool Tmp (deg F)", "EngCoolTemp degF",
        "Coolant_Temp_DegF", "Coolant temp (Fahrenheit)", "Water Temp (F)", "Coolant temp, deg F",
    ],
    "coolant_temperature degC": [
        "Engine coolant temperature [degC]", "Engine Coolant Temperature(℃)", "ECT [C]",
        "engine_coolant_temperature_c", "Kühlmitteltemperatur [°C]", "Kuehlmitteltemperatur (°C)",
        "Temperatura del refrigerante (°C)", "Coolant Temp [?C]", "Coolant Temp [\ufffdC]",
        "Coolant Temp [Â°C]", "Coolant Temp [Ã\x82Â°C]", "Coolant Temp [øC]",
        "Coolant Temp [&deg;C]", "Coolant Temperature/°C", "ET1.EngCoolantTemp [˚C]",
        "Température liquide de refroidissement (°C)",
    ],
    "engine_speed rpm": [
        "RPM", "Engine RPM (rpm)", "EngSpd", "Eng Spd", "EngineSpeed", "Engine speed [min⁻¹]",
        "Engine speed [min^-1]", "Motordrehzahl (U/min)", "Drehzahl", "Régime moteur (tr/min)",
        "RPM motor", "SPN 190 Engine Speed", "SPN190", "EEC1.EngineSpeed", "Engine Speed / rpm",
        "Engine Speed in rpm",
        "CAN1.EEC1.EngineSpeed (rpm)",
    ],
    "road_speed km/h": [
        "Speed (OBD)(km/h)", "VehSpd_kph", "Wheel-Based Vehicle Speed [km/h]", "Velocidad (km/h)",
        "Geschwindigkeit km/h", "Vitesse véhicule (km/h)", "Vehicle Speed/km/h",
    ],
    "road_speed mph": ["Road Speed mph", "Veh Spd (mph)", "Speed (GPS)(mph)"],
    "road_speed kn": ["GPS Speed (knots)"],
    "oil_pressure psi": [
        "Eng Oil Press (psi)", "EOP (psi)", "Oil Pressure [psig]", "Presión de aceite (psi)",
    ],
    "oil_pressure bar": ["Oil Pres. (bar)", "Öldruck [bar]", "Pression d'huile (bar)"],
    "fuel_delivery_pressure psi": ["Fuel Pressure (psi)", "Fuel Pump Pressure (psi)"],
    "fuel_prefilter_pressure psi": ["Fuel pressure before filter (psi)"],
    "boost_pressure psi": ["Boost_psi", "Turbo Boost & Vacuum Gauge(psi)",
                           "Intake manifold pressure (psig)"],
    "intake_manifold_pressure kPa": [
        "MAP (kPa)", "Intake Manifold Absolute Pressure [kPa]", "Boost Pressure (kPa abs)",
        "Boost absolute (kPa)",
    ],
    "engine_load %": [
        "% Load", "Calculated load value [%]", "Percent Load at Current Speed", "Motorlast [%]",
        "Eng Load pct",
    ],
    "brake_pedal_position %": ["Brake Pedal Position (%)"],
    "pedal_position %": ["APP (%)", "Accelerator Pedal Position 1 (%)", "Fahrpedalstellung [%]"],
    "demand_torque %": ["Driver's Demand Engine - Percent Torque (%)"],
    "reference_torque N·m": ["Engine reference torque (Nm)"],
    "trip_distance mi": ["Trip Odometer (mi)"],
    "battery_voltage V": ["Batteriespannung [V]", "Voltage (Control Module)(V)"],
    "transmission_oil_temperature degF": ["Trans Oil Temp (F)"],
    "turbo_oil_temperature degF": ["Turbo oil temp (F)"],
}  # fmt: skip

#: These are other things, or can be read two ways.
NOT_TAKEN = [
    "ECT", "VSS", "MAP", "Engine speed [Hz]", "Engine speed [rad/s]", "Engine Speed (x1000 rpm)",
    "RPM x1000", "Max Engine Speed (rpm)", "Engine Speed Limit (rpm)", "Average engine rpm",
    "Engine Speed Error (rpm)", "Idle speed (rpm)", "Pump RPM", "Wheel Speed FL (km/h)",
    "Cruise Set Speed (mph)", "Average vehicle speed (km/h)", "Oil Pressure Min (psi)",
    "Oil Pressure Sensor (V)", "Hydraulic oil pressure (bar)", "Rear axle oil temperature (°C)",
    "Fuel Rail Pressure (psi)", "Fuel injection pressure (bar)", "Fuel Tank Pressure (kPa)",
    "Fuel Return Pressure (psi)", "Fuel Filter Differential Pressure (psi)", "Desired Boost (psi)",
    "Intake Manifold Pressure (kPa)", "Oil Pressure (psia)", "DPF soot load (%)", "Axle Load (%)",
    "Absolute load (%)", "CPU load (%)", "Bus load (%)", "Payload (%)", "Clutch Pedal Position (%)",
    "Trip engine hours (h)", "EGR coolant temp (°C)", "Radiator outlet coolant temp (°C)",
    "Coolant temperature 2 (°C)", "Battery coolant temp (°C)", "Engine Torque (Nm)",
    "Engine coolant (psi)", "Steering oil pressure (bar)", "Cylinder head temp (°C)",
]  # fmt: skip


@pytest.mark.parametrize(
    ("meant", "text"), [(meant, text) for meant, texts in KNOWN.items() for text in texts]
)
def test_a_heading_is_told(meant: str, text: str) -> None:
    found = heading(text)
    assert found.unit is not None
    assert f"{found.quantity} {found.unit.symbol}" == meant


@pytest.mark.parametrize("text", NOT_TAKEN)
def test_a_heading_is_not_guessed(text: str) -> None:
    assert heading(text).quantity in {None, "coolant_pressure"}


def test_two_units_that_differ_are_not_chosen_between() -> None:
    assert heading("Coolant Temp (F)", "degC").quantity is None
    assert heading("Coolant Temp (F)", "degF").quantity == "coolant_temperature"


def test_a_word_that_is_left_over_is_named() -> None:
    found = heading("Radiator outlet coolant temp (°C)")
    assert found.wanted == "coolant_temperature"
    assert "radiator outlet" in found.doubt
