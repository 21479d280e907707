"""What a column's heading means: the quantity and the unit, or neither rather than a guess."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from witnessmark.errors import UnitRefused
from witnessmark.units import QUANTITIES, UNITS, Unit, unit

__all__ = ["Heading", "heading", "repaired", "unit_of"]

#: Spellings of units found in headings of recorders that are not taken from a person.
_SPELLINGS = {
    "deg c": "degC", "deg. c": "degC", "degree c": "degC", "degrees c": "degC", "° c": "degC",
    "degrees celsius": "degC", "deg f": "degF", "degree f": "degF", "degrees f": "degF",
    "° f": "degF", "u/min": "rpm", "upm": "rpm", "rev/min": "rpm", "revs/min": "rpm",
    "r.p.m.": "rpm", "min-1": "rpm", "1/min": "rpm", "km per h": "km/h", "km/hr": "km/h",
    "kmph": "km/h", "kilometers per hour": "km/h", "miles/h": "mph", "mi/hr": "mph",
    "percent": "%", "pct": "%", "volts": "V", "volt": "V", "litres/h": "L/h", "l/hour": "L/h",
    "gal/hour": "gal/h", "gal/hr": "gal/h", "psig": "psi", "kpag": "kPa", "kpa abs": "kPa",
    "kpa (abs)": "kPa", "grams/sec": "g/s", "g/sec": "g/s", "gm/s": "g/s", "g": "g0", "m/s^2":
    "m/s2", "m/s²": "m/s2", "meters/second": "m/s", "metres/second": "m/s", "m/sec": "m/s",
    "miles per hour": "mph", "degrees": "deg", "pounds/inch²": "psi",
    "sec": "s", "seconds": "s", "msec": "ms", "us": "µs_time",
    "µs": "µs_time", "usec": "µs_time", "ns": "ns_time",
}  # fmt: skip

#: In order; the first that fits wins. ``(pattern of the heading's words, quantity)``.
_RULES: tuple[tuple[str, str], ...] = (
    (r"turbo.*(speed|rpm)", "turbo_speed"),
    (r"(desired|target|requested).*(engine|idle).*(speed|rpm)", "desired_engine_speed"),
    (r"fan.*(speed|rpm)", "fan_speed"),
    (r"output shaft|transmission output|tailshaft", "output_shaft_speed"),
    (r"input shaft|transmission input", "input_shaft_speed"),
    (r"trans\w*( oil| fluid)? temp", "transmission_oil_temperature"),
    (r"trans\w*( oil| fluid)? press", "transmission_oil_pressure"),
    (r"(engine|eng|motor) ?(rpm|speed|revs|revolutions)|^rpm$|motordrehzahl|^drehzahl|"
     r"^n mot\w*$|^engine speed", "engine_speed"),
    (r"housing.*temp", "coolant_housing_temperature"),
    (r"coolant.*temp|water temp|^ect\b|^clt\b|kuhlmittel\w*temp|kuhlwasser", "coolant_temperature"),
    (r"^(engine )?(coolant|water)$", "coolant_temperature"),
    (r"coolant.*press", "coolant_pressure"),
    (r"coolant.*level", "coolant_level"),
    (r"(engine |^)oil.*temp|oltemp", "oil_temperature"),
    (r"(engine |^)oil.*press|oldruck", "oil_pressure"),
    (r"(engine |^)oil.*level", "oil_level"),
    (r"fuel.*gallery.*press|gallery.*fuel.*press", "fuel_gallery_pressure"),
    (r"fuel.*(suction|inlet vac|vacuum)", "fuel_suction_vacuum"),
    (r"fuel(?!.*rail).*(delivery|supply|pump|filter)?.*press|kraftstoffdruck",
     "fuel_delivery_pressure"),
    (r"fuel.*temp", "fuel_temperature"),
    (r"fuel.*level|tank level", "fuel_level"),
    (r"fuel.*(rate|flow|consumption)", "fuel_rate"),
    (r"crankcase.*press|blow ?by", "crankcase_pressure"),
    (r"(exhaust|back) ?.*back ?press|exhaust.*press", "exhaust_back_pressure"),
    (r"exhaust.*temp|^egt\b", "exhaust_temperature"),
    (r"(air filter|inlet|intake).*restriction|filter differential", "air_restriction"),
    (r"boost|ladedruck|charge (air )?press", "boost_pressure"),
    (r"(intake )?manifold.*(absolute )?press|^map\b", "intake_manifold_pressure"),
    (r"(intake|manifold|charge|inlet manifold).*temp|^iat\b", "intake_air_temperature"),
    (r"(ambient|outside|outdoor).*temp|aussentemp", "ambient_temperature"),
    (r"air inlet temp", "air_inlet_temperature"),
    (r"baro\w*( press\w*)?$|atmospheric press|barometric", "barometric_pressure"),
    (r"air flow|mass air|^maf\b|mass flow", "air_mass_flow"),
    (r"(vehicle|road|wheel.*based|gps|ground|truck).*speed|^vss\b|geschwindigkeit|"
     r"^speed( obd| gps| over ground)?$|^v fzg$", "road_speed"),
    (r"(accelerator|pedal|^app\b|gaspedal|fahrpedal)(?!.*switch)", "pedal_position"),
    (r"throttle", "throttle_position"),
    (r"(engine|calculated|percent|absolute)? ?load\b", "engine_load"),
    (r"(battery|system|supply|control module|ecu|module|bordnetz).*(volt|potential)|^vbat\b|"
     r"voltage.*(control module|battery|adapter)", "battery_voltage"),
    (r"(actual|engine).*torque", "engine_torque"),
    (r"(demand|requested).*torque", "demand_torque"),
    (r"(current|engaged) gear|^gear$", "current_gear"),
    (r"hub temp", "hub_temperature"),
    (r"odometer|total distance|mileage", "total_distance"),
    (r"engine hours", "engine_hours"),
    (r"accel(eration)?\b|vibration|^a[xyz]$|^acc [xyz]", "vibration"),
)  # fmt: skip

_BRACKETS = re.compile(r"\s*[\[({<]\s*([^\])}>]{0,24})\s*[\])}>]\s*$")
_TIME_WORDS = re.compile(
    r"^(time|timestamp|time stamp|date ?time|date|clock|epoch|utc|zeit|uhrzeit|datum|elapsed.*|"
    r"time (elapsed|offset|of day|s|sec|ms)|rel(ative)? time|abs(olute)? time|seconds|secs|sec|t|"
    r"s|ms|log time|device time|gps time|local time|x axis|time axis)$"
)


@dataclass(frozen=True, slots=True)
class Heading:
    """A column's heading, taken apart.

    Attributes:
        label: as it stood in the file, repaired.
        quantity: quantity name, or ``None``.
        unit: the unit, or ``None`` where none was stated.
        unit_text: the unit as it stood.
        time: it looks like a time column.
        wanted: the quantity it would be if its unit were known.
    """

    label: str
    quantity: str | None
    unit: Unit | None
    unit_text: str = ""
    time: bool = False
    wanted: str | None = None


def repaired(text: str) -> str:
    """Undo a double encoding (``[Â°C]``) and strip quotes and marks that nobody sees."""
    for _ in range(2):
        if not re.search("[\u00c2\u00c3\u00e2]", text):
            break
        try:
            text = text.encode("cp1252").decode("utf-8")
        except UnicodeError:
            try:
                text = text.encode("latin-1").decode("utf-8")
            except UnicodeError:
                break
    return text.strip().strip("\ufeff\"'").strip()


def heading(text: str, unit_text: str = "") -> Heading:
    """Take a heading apart; *unit_text* is what stood in a row of units."""
    label = repaired(text)
    words = label
    found = _BRACKETS.search(words)
    if found:
        words = words[: found.start()]
        unit_text = unit_text or found.group(1)
    given = unit_of(unit_text) if unit_text else None
    plain = _words(words)
    if given is None and not unit_text:
        plain, given, unit_text = _trailing_unit(plain, words)
    time = bool(_TIME_WORDS.match(plain))
    if words.strip() in QUANTITIES:
        wanted: str | None = words.strip()
    else:
        wanted = next((name for rule, name in _RULES if re.search(rule, plain)), None)
    quantity = wanted
    if quantity is not None:
        kind = QUANTITIES[quantity].kind
        if given is None or given.kind != kind:
            quantity = None
            if given is None and kind in {"speed_of_rotation", "state", "number"}:
                quantity = wanted
                given = UNITS[QUANTITIES[wanted or ""].house]
    return Heading(label, quantity, given, unit_text, time, wanted)


def unit_of(text: str) -> Unit | None:
    """Return the unit a recorder means by *text*, ``None`` where that is not plain."""
    cleaned = repaired(text).strip(" []()")
    lowered = re.sub(r"\s+", " ", cleaned.lower())
    lowered = lowered.replace("º", "°").replace("˚", "°")
    spelled = _SPELLINGS.get(lowered)
    if spelled == "µs_time":
        return Unit("µs", "time", 1e-6)
    if spelled == "ns_time":
        return Unit("ns", "time", 1e-9)
    if spelled is not None:
        return UNITS[spelled]
    try:
        return unit(cleaned.replace("º", "°"))
    except UnitRefused:
        return None


def _words(text: str) -> str:
    split = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)
    flat = unicodedata.normalize("NFKD", split.lower().replace("ß", "ss"))
    flat = "".join(c for c in flat if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9%°/]+", " ", flat).strip()


def _trailing_unit(plain: str, words: str) -> tuple[str, Unit | None, str]:
    """Find a unit at the end, such as ``boost_psi``, ``Coolant Temp, degC``, ``speed km/h``."""
    parts = re.split(r"[\s_,;:]+", words.strip())
    if len(parts) < 2:
        return plain, None, ""
    last = parts[-1]
    aliases = {"kmh": "km/h", "c": "degC", "f": "degF", "pct": "%", "ms2": "m/s2", "kph": "km/h"}
    given = unit_of(aliases.get(last.lower(), last))
    if given is None or (len(last) == 1 and last.lower() not in {"c", "f", "v", "%", "a", "s"}):
        return plain, None, ""
    if given.symbol == "rpm":
        return plain, given, last
    return plain.rsplit(" ", 1)[0], given, last
