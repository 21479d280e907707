"""What a column's heading means: the quantity and the unit, or neither rather than a guess."""

from __future__ import annotations

import html
import re
from dataclasses import dataclass, replace

from witnessmark.errors import UnitRefused
from witnessmark.readers.columns.column_vocabulary import Meaning, meaning, words_of
from witnessmark.units import QUANTITIES, UNITS, Unit, unit

__all__ = ["ColumnHeading", "heading", "repaired", "unit_of"]

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
    "sec": "s", "seconds": "s", "msec": "ms", "milliseconds": "ms", "tr/min": "rpm",
    "min^-1": "rpm", "min⁻¹": "rpm", "revolutions per minute": "rpm", "rev per min": "rpm",
    "fahrenheit": "degF", "celsius": "degC", "degrees fahrenheit": "degF", "deg.c": "degC",
    "deg.f": "degF", "grad c": "degC", "°celsius": "degC", "°fahrenheit": "degF", "mb": "mbar",
    "pounds per square inch": "psi", "kilopascal": "kPa", "kilopascals": "kPa", "in hg": "inHg",
    "inches hg": "inHg", "in h2o": "inH2O", "\"h2o": "inH2O", "\"hg": "inHg",
    "kilometers/hour": "km/h", "litres per hour": "L/h", "liters per hour": "L/h",
    "gallons per hour": "gal/h", "meters per second": "m/s", "°": "deg",
}  # fmt: skip
#: Units as they stand at the end of names written with underscores.
_ALIASES = {"kmh": "km/h", "c": "degC", "f": "degF", "pct": "%", "ms2": "m/s2", "kph": "km/h",
            "lph": "L/h", "gph": "gal/h", "us": "µs", "ns": "ns"}  # fmt: skip

_BRACKETS = re.compile(r"\s*[\[({<]\s*([^\])}>]{0,24})\s*[\])}>]\s*$")
_TIME_WORDS = re.compile(
    r"^(time|times|timestamp|time stamp|date ?time|date|clock|epoch|utc|zeit|uhrzeit|datum|hora|"
    r"zeitstempel|tiempo|temps|fecha|elapsed.*|(time|seconds|secs) since .*|"
    r"time (elapsed|offset|of day|s|sec|ms|utc|ticks?)|rel(ative)? time|abs(olute)? time|seconds|"
    r"secs|sec|t|ts|s|ms|log time|device time|gps time|local time|utc time|x axis|time axis|"
    r"date and time|edge time)$"
)
_DEGREE = re.compile("[\u00ba\u02da\u00f8\u00a1?\ufffd\u00b0]\\s*(?=[CF]\\b)")
#: Ends of units that say against what a pressure is measured.
_AGAINST = re.compile(
    r"(?i)^(psi|kpa|bar|mbar|inhg|in hg|kg/cm2)\s*[\[(]?\s*"
    r"(a|abs|absolute|g|gauge|gage)\s*[\])]?$"
)
#: Units of recorders that nobody types.
_OWN_UNITS = {
    "µs": Unit("µs", "time", 1e-6), "us": Unit("µs", "time", 1e-6),
    "usec": Unit("µs", "time", 1e-6), "microseconds": Unit("µs", "time", 1e-6),
    "microsecond": Unit("µs", "time", 1e-6), "ns": Unit("ns", "time", 1e-9),
    "nanoseconds": Unit("ns", "time", 1e-9), "nsec": Unit("ns", "time", 1e-9),
    "days": Unit("d", "time", 86400.0), "d": Unit("d", "time", 86400.0),
    # exact: one nautical mile, 1852 m, an hour; kilogram-force 9.80665 N (NIST SP 811)
    "kn": Unit("kn", "speed", 1852 / 3600), "knots": Unit("kn", "speed", 1852 / 3600),
    "knot": Unit("kn", "speed", 1852 / 3600), "kt": Unit("kn", "speed", 1852 / 3600),
    "kts": Unit("kn", "speed", 1852 / 3600), "ft/s": Unit("ft/s", "speed", 0.3048),
    "kg/cm2": Unit("kg/cm2", "pressure", 98066.5), "kgf/cm2": Unit("kg/cm2", "pressure", 98066.5),
    "cc/min": Unit("cc/min", "flow", 1e-6 / 60), "kg/h": Unit("kg/h", "mass_flow", 1 / 3600),
    "kg/hr": Unit("kg/h", "mass_flow", 1 / 3600), "lb/min": Unit("lb/min", "mass_flow",
                                                               0.45359237 / 60),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class ColumnHeading:
    """A column's heading, taken apart.

    Attributes:
        label: as it stood in the file, repaired.
        quantity: quantity name, or ``None``.
        unit: the unit, or ``None`` where none was stated.
        unit_text: the unit as it stood.
        time: it looks like a time column.
        wanted: the quantity it would be if its unit were known, or all its words.
        doubt: why it is not taken for *wanted* although its unit would fit; empty otherwise.
    """

    label: str
    quantity: str | None
    unit: Unit | None
    unit_text: str = ""
    time: bool = False
    wanted: str | None = None
    doubt: str = ""


def repaired(text: str) -> str:
    """Undo a double encoding (``[Â°C]``) and strip quotes and marks that nobody sees."""
    for _ in range(3):
        if not re.search("[\u00c2\u00c3\u00e2]", text):
            break
        try:
            text = text.encode("cp1252").decode("utf-8")
        except UnicodeError:
            try:
                text = text.encode("latin-1").decode("utf-8")
            except UnicodeError:
                break
    if "&" in text:
        text = html.unescape(text)
    text = text.replace("\u2103", "°C").replace("\u2109", "°F")
    return text.strip().strip("\ufeff\"'").strip()


def heading(text: str, unit_text: str = "") -> ColumnHeading:
    """Take a heading apart; *unit_text* is what stood in a row of units."""
    label = repaired(text)
    exact = _exact(label, unit_text)
    if exact is not None:
        return exact
    words, stated = _without_unit(label)
    clash = bool(stated and unit_text) and _differ(stated, unit_text)
    unit_text = unit_text or stated
    against = _AGAINST.match(unit_text.strip())
    given = None if clash else unit_of(unit_text) if unit_text else None
    found = _meant(words_of(words), unit_text)
    if given is None and not unit_text and found.percent:
        given, unit_text = UNITS["%"], "%"
    time = bool(_TIME_WORDS.match(_plain(words)))
    wanted, doubt = found.quantity, ""
    if wanted is None:
        return ColumnHeading(label, None, given, unit_text, time)
    kind = QUANTITIES[wanted].kind
    if against is not None and kind == "pressure":
        wanted, doubt = _gauge_or_absolute(wanted, absolute=against[2].lower().startswith("a"))
    elif found.two_ways:
        doubt = "does not say whether it is absolute"
    if found.left_over:
        doubt = f"also says '{' '.join(found.left_over)}'"
        if given is not None and given.kind != kind:
            return ColumnHeading(label, None, given, unit_text, time)
    one = ColumnHeading(label, wanted, given, unit_text, time, wanted, doubt)
    if given is None and not unit_text and kind in {"speed_of_rotation", "state", "number"}:
        one = replace(one, unit=UNITS[QUANTITIES[wanted].house])
    elif given is None or given.kind != kind:
        return replace(one, quantity=None, doubt="")
    return replace(one, quantity=None) if doubt else one


def unit_of(text: str) -> Unit | None:
    """Return the unit a recorder means by *text*, ``None`` where that is not plain."""
    cleaned = _DEGREE.sub("°", repaired(text).strip(" []()"))
    lowered = re.sub(r"\s+", " ", cleaned.lower()).replace("µ", "µ").replace("μ", "µ")
    if lowered in _OWN_UNITS:
        return _OWN_UNITS[lowered]
    against = _AGAINST.match(cleaned)
    if against:
        lowered = cleaned = against[1].lower()
    spelled = _SPELLINGS.get(lowered)
    if spelled is not None:
        return UNITS[spelled]
    try:
        return unit(cleaned.replace("⁻¹", "-1"))
    except UnitRefused:
        return None


def _exact(label: str, unit_text: str) -> ColumnHeading | None:
    """Recognise the names of the quantity table, as they are written there."""
    found = re.fullmatch(r"([a-z_0-9]+)(?:\s*[\[(]([^\])]*)[\])])?", label)
    if found is None or found[1] not in QUANTITIES:
        return None
    text = found[2] or unit_text
    given, kind = unit_of(text) if text else None, QUANTITIES[found[1]].kind
    if given is None and not text and kind in {"speed_of_rotation", "state", "number"}:
        given = UNITS[QUANTITIES[found[1]].house]
    fits = given is not None and given.kind == kind
    return ColumnHeading(label, found[1] if fits else None, given, text, wanted=found[1])


def _meant(words: list[str], unit_text: str) -> Meaning:
    """Look at the words; an absolute or gauge unit is one of them."""
    against = _AGAINST.match(unit_text.strip())
    if against and "manifold" in words and "absolute" not in words:
        gauge = against[2].lower().startswith("g")
        return meaning([*words, "boost"] if gauge else [*words, "absolute"])
    return meaning(words)


def _gauge_or_absolute(wanted: str, *, absolute: bool) -> tuple[str, str]:
    if absolute and wanted == "boost_pressure":
        return "intake_manifold_pressure", ""
    counted_absolute = wanted in {"intake_manifold_pressure", "barometric_pressure",
                                  "air_inlet_pressure"}  # fmt: skip
    if absolute != counted_absolute:
        return wanted, f"is {'an absolute' if absolute else 'a gauge'} pressure"
    return wanted, ""


def _differ(first: str, second: str) -> bool:
    one, other = unit_of(first), unit_of(second)
    return one is not None and other is not None and one != other


def _plain(words: str) -> str:
    split = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", words)
    return re.sub(r"[^a-z0-9]+", " ", split.lower()).strip()


def _without_unit(label: str) -> tuple[str, str]:
    """Return a heading without its unit, and the unit: in brackets, behind a slash, at the end."""
    found = _BRACKETS.search(label)
    if found and (unit_of(found[1]) is not None or not re.search(r"[A-Za-z]{6}", found[1])):
        return label[: found.start()], found[1]
    for at in (m.start() for m in re.finditer("/", label)):
        if at and unit_of(label[at + 1 :]) is not None and unit_of(label) is None:
            before = label[:at].strip()
            last = re.split(r"[\s_,;:]+", before)[-1]
            if len(before) > 1 and unit_of(last + label[at:]) is None:
                return before, label[at + 1 :].strip()
    parts = re.split(r"[\s_,;:]+", _DEGREE.sub("°", label.strip()))
    for count in (3, 2, 1):
        if len(parts) > count:
            last = " ".join(parts[-count:])
            if unit_of(_ALIASES.get(last.lower(), last)) is not None and (
                len(last) > 1 or last.lower() in {"c", "f", "v", "%", "a", "s"}
            ):
                text = _ALIASES.get(last.lower(), last)
                kept = parts[:-count]
                kept = kept[:-1] if len(kept) > 1 and kept[-1].lower() == "in" else kept
                if text.lower() == "rpm":
                    kept = [*kept, "rpm"]
                return " ".join(kept), text
    if parts and parts[0] == "%" and len(parts) > 1:
        return " ".join(parts[1:]), "%"
    return label, ""
