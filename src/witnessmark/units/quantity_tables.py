"""The tables: units with their factors, and quantities with their units and limits.

Factors: NIST Special Publication 811 (2008), appendix B.8 (conventional inch of mercury and
inch of water), exact where the publication gives an exact factor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from witnessmark.units.bus_quantities import BUS_QUANTITIES
from witnessmark.units.circuit_quantities import CIRCUIT_QUANTITIES

__all__ = ["QUANTITIES", "UNITS", "Quantity", "Unit", "spoken"]

_INCH = 0.0254
_POUND_FORCE = 4.4482216152605
_GALLON = 231 * _INCH**3


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: ``si = value * factor + offset``.

    Attributes:
        symbol: how we write it.
        kind: kind of quantity; only units of one kind convert into each other.
        factor: to the coherent SI unit of the kind (temperature: to degC).
        offset: the same; zero but for temperatures.
    """

    symbol: str
    kind: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the quantity table.

    Attributes:
        name: the name used in entries, channels and findings.
        kind: kind of unit it takes.
        house: symbol of its house unit.
        shop: symbol shown by default.
        si: symbol shown with ``--si``.
        words: what it is, in the trade's words.
        lowest: below this no such reading is possible [house unit].
        highest: above this no such reading is possible [house unit].
    """

    name: str
    kind: str
    house: str
    shop: str
    si: str
    words: str
    lowest: float
    highest: float


def _units() -> dict[str, Unit]:
    # fmt: off
    rows: list[tuple[str, str, float, float, str]] = [
        # symbol, kind, factor, offset, other spellings (already lower case unless case matters)
        ("Pa", "pressure", 1.0, 0.0, "pa"),
        ("hPa", "pressure", 100.0, 0.0, "hpa"),
        ("kPa", "pressure", 1e3, 0.0, "kpa kpag"),
        ("MPa", "pressure", 1e6, 0.0, ""),
        ("mbar", "pressure", 100.0, 0.0, "mbar"),
        ("bar", "pressure", 1e5, 0.0, "bar bars barg"),
        ("psi", "pressure", _POUND_FORCE / _INCH**2, 0.0, "psi psig lbf/in2 lb/in2 lbs/in2"),
        ("inHg", "pressure", 3386.389, 0.0, "inhg in-hg in.hg inchhg"),
        ("inH2O", "pressure", 249.0889, 0.0, "inh2o in-h2o in.h2o inwc inwg"),
        ("mmHg", "pressure", 133.3224, 0.0, "mmhg"),
        ("degC", "temperature", 1.0, 0.0, "degc °c c celsius"),
        ("degF", "temperature", 5 / 9, -160 / 9, "degf °f f fahrenheit"),
        ("K", "temperature", 1.0, -273.15, "k kelvin"),
        ("rpm", "speed_of_rotation", 1.0, 0.0, "rpm r/min rev/min 1/min"),
        ("m/s", "speed", 1.0, 0.0, "m/s"),
        ("km/h", "speed", 1 / 3.6, 0.0, "km/h kph kmh"),
        ("mph", "speed", 1609.344 / 3600, 0.0, "mph mi/h"),
        ("N·m", "torque", 1.0, 0.0, "n·m nm n-m n*m n.m"),
        ("lbf·ft", "torque", _POUND_FORCE * 0.3048, 0.0,
         "lbf·ft lbf-ft lbf*ft lbfft ft-lb ft·lb ftlb ft-lbs ft-lbf lb-ft lb·ft lbft lbs-ft"),
        ("lbf·in", "torque", _POUND_FORCE * _INCH, 0.0,
         "lbf·in lbf-in lbf*in in-lb in·lb inlb in-lbs in-lbf lb-in lb·in lbin lbs-in"),
        ("m3/s", "flow", 1.0, 0.0, "m3/s m³/s"),
        ("L/h", "flow", 1e-3 / 3600, 0.0, "l/h lph l/hr"),
        ("L/min", "flow", 1e-3 / 60, 0.0, "l/min lpm"),
        ("gal/min", "flow", _GALLON / 60, 0.0, "gal/min gpm usgpm us-gal/min"),
        ("gal/h", "flow", _GALLON / 3600, 0.0, "gal/h gph gal/hr us-gal/h"),
        ("m", "length", 1.0, 0.0, "m"),
        ("km", "length", 1e3, 0.0, "km"),
        ("mi", "length", 1609.344, 0.0, "mi mile miles"),
        ("ft", "length", 0.3048, 0.0, "ft foot feet"),
        ("in", "length", _INCH, 0.0, 'in inch inches "'),
        ("mm", "length", 1e-3, 0.0, "mm"),
        ("cm", "length", 1e-2, 0.0, "cm"),
        ("µm", "length", 1e-6, 0.0, "µm um"),
        ("deg", "angle", math.pi / 180, 0.0, "deg ° degree degrees"),
        ("rad", "angle", 1.0, 0.0, "rad"),
        ("s", "time", 1.0, 0.0, "s sec secs second seconds"),
        ("ms", "time", 1e-3, 0.0, "ms"),
        ("min", "time", 60.0, 0.0, "min mins minute minutes"),
        ("h", "time", 3600.0, 0.0, "h hr hrs hour hours"),
        ("V", "voltage", 1.0, 0.0, "v volt volts vdc"),
        ("mV", "voltage", 1e-3, 0.0, "mv"),
        ("A", "current", 1.0, 0.0, "a amp amps"),
        ("mA", "current", 1e-3, 0.0, "ma"),
        ("ohm", "resistance", 1.0, 0.0, "ohm ohms Ω Ω"),
        ("mohm", "resistance", 1e-3, 0.0, "mohm mΩ"),
        ("kohm", "resistance", 1e3, 0.0, "kohm kohms kΩ"),
        ("%", "ratio", 0.01, 0.0, "% percent pct"),
        ("Hz", "frequency", 1.0, 0.0, "hz"),
        ("m/s2", "acceleration", 1.0, 0.0, "m/s2 m/s²"),
        ("g0", "acceleration", 9.80665, 0.0, "g g0"),
        ("mg0", "acceleration", 9.80665e-3, 0.0, "mg mg0"),
        ("L", "volume", 1e-3, 0.0, "l liter liters litre litres"),
        ("qt", "volume", _GALLON / 4, 0.0, "qt quart quarts"),
        ("gal", "volume", _GALLON, 0.0, "gal gallon gallons"),
        ("kW", "power", 1e3, 0.0, "kw"),
        ("hp", "power", 550 * 0.3048 * _POUND_FORCE, 0.0, "hp"),
        ("km/L", "economy", 1e6, 0.0, "km/l"),
        ("mpg", "economy", 1609.344 / _GALLON, 0.0, "mpg mi/gal"),
        ("kg/s", "mass_flow", 1.0, 0.0, "kg/s"),
        ("g/s", "mass_flow", 1e-3, 0.0, "g/s"),
        ("kg/h", "mass_flow", 1 / 3600, 0.0, "kg/h"),
        ("g/h", "mass_flow", 1e-3 / 3600, 0.0, "g/h"),
        ("gram", "mass", 1e-3, 0.0, "gram grams"),
        ("ppm", "fraction", 1.0, 0.0, "ppm"),
        ("µS", "conductance", 1.0, 0.0, "µS uS"),
        ("Pa/s", "pressure_rate", 1.0, 0.0, "pa/s"),
        ("-", "number", 1.0, 0.0, "-"),
        ("state", "state", 1.0, 0.0, "state"),
    ]
    # fmt: on
    table: dict[str, Unit] = {}
    for symbol, kind, factor, offset, spellings in rows:
        row = Unit(symbol, kind, factor, offset)
        for spelling in (symbol, *spellings.split()):
            table[spelling] = row
    return table


#: Every accepted spelling -> unit.
UNITS: Mapping[str, Unit] = _units()


def _quantities() -> dict[str, Quantity]:
    psi, kpa = "psi", "kPa"
    atmosphere = 101325.0
    # fmt: off
    rows = [
        ("fuel_gallery_pressure", "pressure", "Pa", psi, kpa,
         "fuel pressure in the gallery, after the secondary filter", -1e5, 2.0e6),
        ("fuel_prefilter_pressure", "pressure", "Pa", psi, kpa,
         "fuel pressure between the transfer pump and the secondary filter", -1e5, 2.0e6),
        ("fuel_suction_vacuum", "pressure", "Pa", "inHg", kpa,
         "vacuum at the transfer pump's inlet, read positive", -2e5, atmosphere),
        ("fuel_return_flow", "flow", "m3/s", "gal/min", "L/h", "fuel flowing back to the tank",
         0.0, 1500e-3 / 3600),
        ("fuel_gallery_pressure_return_throttled", "pressure", "Pa", psi, kpa,
         "gallery pressure at idle with the return throttled shut for seconds", -1e5, 2.0e6),
        ("fuel_delivery_pressure", "pressure", "Pa", psi, kpa,
         "fuel delivery pressure as broadcast on the bus", -1e5, 2.0e6),
        ("gauge_check_difference", "pressure", "Pa", psi, kpa,
         "gauge under test minus a second, trusted gauge", -1e6, 1e6),
        ("oil_pressure", "pressure", "Pa", psi, kpa, "engine oil pressure", -1e5, 1.5e6),
        ("boost_pressure", "pressure", "Pa", psi, kpa, "intake manifold gauge pressure", -1.1e5,
         1e6),
        ("intake_manifold_pressure", "pressure", "Pa", kpa, kpa,
         "intake manifold absolute pressure", 0.0, 1e6),
        ("crankcase_pressure", "pressure", "Pa", "inH2O", kpa, "crankcase gauge pressure", -5e4,
         5e4),
        ("air_restriction", "pressure", "Pa", "inH2O", kpa, "air filter restriction", 0.0, 5e4),
        ("exhaust_back_pressure", "pressure", "Pa", "inHg", kpa, "exhaust back pressure",
         -1e4, 5e5),
        ("coolant_pressure", "pressure", "Pa", psi, kpa, "cooling system pressure", -1e5, 5e5),
        ("barometric_pressure", "pressure", "Pa", kpa, kpa, "air pressure outside", 4e4, 1.2e5),
        ("transmission_oil_pressure", "pressure", "Pa", psi, kpa, "transmission oil pressure",
         -1e5, 5e6),
        ("coolant_temperature", "temperature", "degC", "degF", "degC", "engine coolant", -60.0,
         250.0),
        ("coolant_housing_temperature", "temperature", "degC", "degF", "degC",
         "thermostat housing by probe or infrared thermometer", -60.0, 250.0),
        ("oil_temperature", "temperature", "degC", "degF", "degC", "engine oil", -60.0, 300.0),
        ("fuel_temperature", "temperature", "degC", "degF", "degC", "fuel", -60.0, 200.0),
        ("intake_air_temperature", "temperature", "degC", "degF", "degC", "intake manifold air",
         -60.0, 300.0),
        ("ambient_temperature", "temperature", "degC", "degF", "degC", "air outside", -60.0, 65.0),
        ("air_inlet_temperature", "temperature", "degC", "degF", "degC",
         "air at the engine's inlet", -60.0, 200.0),
        ("exhaust_temperature", "temperature", "degC", "degF", "degC", "exhaust gas",
         -60.0, 1200.0),
        ("hub_temperature", "temperature", "degC", "degF", "degC", "wheel hub", -60.0, 400.0),
        ("engine_speed", "speed_of_rotation", "rpm", "rpm", "rpm", "engine speed", 0.0, 8031.875),
        ("road_speed", "speed", "m/s", "mph", "km/h", "road speed", -10.0, 70.0),
        ("engine_load", "ratio", "%", "%", "%", "percent load at the current speed", 0.0, 250.0),
        ("pedal_position", "ratio", "%", "%", "%", "accelerator pedal position", 0.0, 100.0),
        ("engine_torque", "ratio", "%", "%", "%", "actual engine torque of the reference torque",
         -125.0, 125.0),
        ("demand_torque", "ratio", "%", "%", "%", "driver's demand engine torque", -125.0, 125.0),
        ("fuel_level", "ratio", "%", "%", "%", "fuel level", 0.0, 100.0),
        ("oil_level", "ratio", "%", "%", "%", "engine oil level", 0.0, 100.0),
        ("coolant_level", "ratio", "%", "%", "%", "coolant level", 0.0, 100.0),
        ("fuel_rate", "flow", "m3/s", "gal/h", "L/h", "fuel burnt", 0.0, 400e-3 / 3600),
        ("battery_voltage", "voltage", "V", "V", "V", "supply voltage", 0.0, 60.0),
        ("ground_drop", "voltage", "V", "mV", "mV", "voltage drop of a ground", -1.0, 60.0),
        ("sensor_resistance", "resistance", "ohm", "ohm", "ohm", "sensor resistance", 0.0, 1e9),
        ("cylinder_contribution", "ratio", "%", "%", "%",
         "one cylinder's contribution against the mean", -100.0, 200.0),
        ("leak_down", "ratio", "%", "%", "%", "cylinder leak-down", 0.0, 100.0),
        ("vibration", "acceleration", "m/s2", "m/s2", "m/s2", "vibration", -2000.0, 2000.0),
        ("torsional_amplitude", "angle", "rad", "deg", "deg", "torsional amplitude of an order",
         0.0, 1.0),
        ("joint_angle", "angle", "rad", "deg", "deg", "joint working angle", -1.0, 1.0),
        ("run_out", "length", "m", "in", "mm", "run-out", 0.0, 0.1),
        ("mount_lift", "length", "m", "in", "mm", "engine mount lift under stall", 0.0, 0.3),
        ("damper_thickness_spread", "length", "m", "in", "mm",
         "spread of the damper case's thickness at four points", 0.0, 0.1),
        ("end_play", "length", "m", "in", "mm", "end play", 0.0, 0.1),
        ("torque", "torque", "N·m", "lbf·ft", "N·m", "tightening torque", 0.0, 2e4),
        ("distance", "length", "m", "mi", "km", "distance driven", 0.0, 1e10),
        ("crank_time", "time", "s", "s", "s", "time from starter to running", 0.0, 600.0),
        ("engine_torque_demand", "ratio", "%", "%", "%",
         "torque the engine control asks for, of the reference torque", -125.0, 125.0),
        ("friction_torque", "ratio", "%", "%", "%", "nominal friction torque", -125.0, 125.0),
        ("reference_torque", "torque", "N·m", "lbf·ft", "N·m", "engine reference torque", 0.0,
         64255.0),
        ("desired_engine_speed", "speed_of_rotation", "rpm", "rpm", "rpm",
         "speed the engine control aims at", 0.0, 8031.875),
        ("turbo_oil_temperature", "temperature", "degC", "degF", "degC", "turbocharger oil",
         -60.0, 300.0),
        ("intercooler_temperature", "temperature", "degC", "degF", "degC", "intercooler",
         -60.0, 300.0),
        ("cab_temperature", "temperature", "degC", "degF", "degC", "air in the cab", -60.0, 100.0),
        ("transmission_oil_temperature", "temperature", "degC", "degF", "degC",
         "transmission oil", -60.0, 250.0),
        ("crankcase_blow_by_pressure", "pressure", "Pa", "inH2O", kpa,
         "crankcase pressure, fine scale", 0.0, 5e4),
        ("particulate_filter_inlet_pressure", "pressure", "Pa", psi, kpa,
         "exhaust before the particulate filter", 0.0, 2e5),
        ("air_inlet_pressure", "pressure", "Pa", kpa, kpa, "engine air inlet, absolute", 0.0, 6e5),
        ("boost_pressure_fine", "pressure", "Pa", psi, kpa, "turbocharger boost, fine scale",
         0.0, 1e6),
        ("brake_primary_pressure", "pressure", "Pa", psi, kpa, "primary brake circuit air", 0.0,
         1.6e6),
        ("fuel_economy", "economy", "km/L", "mpg", "km/L", "fuel economy at the moment", 0.0,
         125.5),
        ("fuel_economy_average", "economy", "km/L", "mpg", "km/L", "average fuel economy", 0.0,
         125.5),
        ("trip_fuel", "volume", "L", "gal", "L", "fuel used on the trip", 0.0, 2.2e9),
        ("total_fuel", "volume", "L", "gal", "L", "fuel used in all", 0.0, 2.2e9),
        ("engine_hours", "time", "h", "h", "h", "engine hours", 0.0, 2.2e8),
        ("idle_hours", "time", "h", "h", "h", "idle hours", 0.0, 2.2e8),
        ("engine_revolutions", "number", "-", "-", "-", "turns of the crankshaft in all", 0.0,
         4.3e12),
        ("trip_distance", "length", "m", "mi", "km", "distance of the trip", 0.0, 6e11),
        ("total_distance", "length", "m", "mi", "km", "distance in all", 0.0, 6e11),
        ("total_distance_fine", "length", "m", "mi", "km", "distance in all, fine scale", 0.0,
         2.2e10),
        ("front_axle_speed", "speed", "m/s", "mph", "km/h", "front axle speed", 0.0, 70.0),
        ("throttle_position", "ratio", "%", "%", "%", "throttle or intake valve position", 0.0,
         100.0),
        ("brake_pedal_position", "ratio", "%", "%", "%", "brake pedal position", 0.0, 100.0),
        ("fan_speed_percent", "ratio", "%", "%", "%", "estimated fan speed of its highest", 0.0,
         100.0),
        ("fan_speed", "speed_of_rotation", "rpm", "rpm", "rpm", "fan speed", 0.0, 8031.875),
        ("turbo_speed", "speed_of_rotation", "rpm", "rpm", "rpm", "turbocharger speed", 0.0,
         257020.0),
        ("output_shaft_speed", "speed_of_rotation", "rpm", "rpm", "rpm",
         "transmission output shaft", 0.0, 8031.875),
        ("input_shaft_speed", "speed_of_rotation", "rpm", "rpm", "rpm",
         "transmission input shaft", 0.0, 8031.875),
        ("battery_current", "current", "A", "A", "A", "net battery current", -125.0, 125.0),
        ("alternator_current", "current", "A", "A", "A", "alternator current", 0.0, 250.0),
        ("charging_voltage", "voltage", "V", "V", "V", "charging system", 0.0, 60.0),
        ("keyswitch_voltage", "voltage", "V", "V", "V", "supply after the key switch", 0.0, 60.0),
        ("air_mass_flow", "mass_flow", "kg/s", "g/s", "g/s", "air mass flow", 0.0, 2.0),
        ("current_gear", "number", "-", "-", "-",
         "gear engaged (0 neutral, below 0 reverse, 126 park)", -125.0, 126.0),
        ("selected_gear", "number", "-", "-", "-",
         "gear selected (0 neutral, below 0 reverse, 126 park)", -125.0, 126.0),
        ("gear_ratio", "number", "-", "-", "-", "actual gear ratio", 0.0, 64.255),
        ("torque_mode", "state", "state", "state", "state", "engine torque mode", 0.0, 15.0),
        ("parking_brake", "state", "state", "state", "state", "parking brake switch", 0.0, 3.0),
        ("brake_switch", "state", "state", "state", "state", "brake switch", 0.0, 3.0),
        ("clutch_switch", "state", "state", "state", "state", "clutch switch", 0.0, 3.0),
        ("cruise_active", "state", "state", "state", "state", "cruise control active", 0.0, 3.0),
        ("fan_state", "state", "state", "state", "state", "fan drive state", 0.0, 15.0),
        ("water_in_fuel", "state", "state", "state", "state", "water in fuel indicator", 0.0, 3.0),
    ]
    # fmt: on
    table = {row[0]: Quantity(*row) for row in rows}
    for name, house, shop, si, words, low, high in (*BUS_QUANTITIES, *CIRCUIT_QUANTITIES):
        table[name] = Quantity(name, UNITS[house].kind, house, shop, si, words, low, high)
    return table


#: Name -> row. The names of readings, channels and findings; docs/quantities.md lists them.
QUANTITIES: Mapping[str, Quantity] = _quantities()


#: Words of a quantity's name that are not written in small letters.
_WRITTEN = {"nox": "NOx"}


def spoken(name: str, *, leading: bool = False) -> str:
    """Return the name of a quantity as words: ``nox_behind_catalyst`` as "NOx behind catalyst".

    Args:
        name: of a quantity or channel.
        leading: it begins a sentence.
    """
    words = " ".join(_WRITTEN.get(word, word) for word in name.split("_"))
    return words[:1].upper() + words[1:] if leading and not words.startswith("NOx") else words
