"""How far off an instrument may be: from what the technician wrote, else from common practice."""

from __future__ import annotations

import re
from dataclasses import dataclass

from witnessmark.errors import UnitRefused
from witnessmark.model.entries.entry_data import Instrument, ReadingData
from witnessmark.physics.conformity import from_accuracy_limit
from witnessmark.units import QUANTITIES, UNITS, parse, to_house

__all__ = ["Uncertainty", "same_instrument", "uncertainty_of"]

_COMMON = "common practice, no source"

#: Quantity -> (accuracy limit, repeatability, unit) of the usual instrument. Common practice,
#: no source; used only where the technician did not say what it was measured with.
USUAL: dict[str, tuple[float, float, str]] = {
    "fuel_gallery_pressure": (2.4, 1.0, "psi"),
    "fuel_prefilter_pressure": (2.4, 1.0, "psi"),
    "fuel_gallery_pressure_return_throttled": (2.4, 1.8, "psi"),
    "fuel_delivery_pressure": (5.0, 1.0, "psi"),
    "gauge_check_difference": (1.0, 0.8, "psi"),
    "oil_pressure": (2.4, 1.0, "psi"),
    "boost_pressure": (1.0, 0.5, "psi"),
    "coolant_pressure": (1.0, 0.5, "psi"),
    "fuel_suction_vacuum": (0.5, 0.3, "inHg"),
    "exhaust_back_pressure": (0.5, 0.2, "inHg"),
    "crankcase_pressure": (0.3, 0.2, "inH2O"),
    "air_restriction": (0.5, 0.3, "inH2O"),
    "coolant_temperature": (2.0, 1.0, "degC"),
    "coolant_housing_temperature": (2.0, 1.0, "degC"),
    "engine_speed": (10.0, 5.0, "rpm"),
    "battery_voltage": (0.1, 0.03, "V"),
    "ground_drop": (5.0, 3.0, "mV"),
    "cylinder_contribution": (5.0, 2.0, "%"),
    "leak_down": (3.0, 2.0, "%"),
    "joint_angle": (0.2, 0.1, "deg"),
    "run_out": (0.001, 0.0005, "in"),
    "end_play": (0.001, 0.0005, "in"),
    "mount_lift": (0.1, 0.05, "in"),
    "damper_thickness_spread": (0.001, 0.0005, "in"),
}
#: Gauge grade of ASME B40.100 -> percent of span in the middle half, and in the end quarters.
GRADES: dict[str, tuple[float, float]] = {
    "4a": (0.1, 0.1),
    "3a": (0.25, 0.25),
    "2a": (0.5, 0.5),
    "1a": (1.0, 1.0),
    "a": (1.0, 2.0),
    "b": (2.0, 3.0),
    "c": (3.0, 4.0),
    "d": (5.0, 5.0),
}
#: The same as a share of the reading, for everything else.
USUAL_SHARE = (0.04, 0.02)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties of one reading, in the quantity's house unit.

    Attributes:
        u: of the value against the truth (accuracy and repeatability together).
        accuracy: of the instrument's accuracy alone.
        repeatability: of one reading under repeat.
        source: where the figures come from.
    """

    u: float
    accuracy: float
    repeatability: float
    source: str


def uncertainty_of(reading: ReadingData) -> Uncertainty:
    """Return the standard uncertainty of a reading.

    The accuracy is taken as a limit (rectangular distribution). Accepted are a share of the
    span ("1 % of span", with the span given), a share of the reading ("2 % of reading", "2 %")
    and a value with a unit ("1.5 psi"). Half of a range that was read counts as repeatability.
    """
    value = reading.house_value()
    usual_limit, usual_repeat = _usual(reading.quantity, value)
    limit, source = usual_limit, f"usual instrument, {_COMMON}"
    written = _written(reading.instrument, reading.quantity, value)
    if written is not None:
        limit, source = written, "accuracy as written with the reading"
    repeat = usual_repeat
    if reading.instrument is not None and reading.instrument.repeatability is not None:
        own = _amount(reading.instrument.repeatability, reading.instrument, reading.quantity, value)
        repeat = own if own is not None else repeat
    # A pointer that stood between two ends may have stood anywhere there (rectangular).
    repeatability = max((repeat**2 + from_accuracy_limit(reading.house_half()) ** 2) ** 0.5, 1e-9)
    accuracy = from_accuracy_limit(limit)
    return Uncertainty((accuracy**2 + repeatability**2) ** 0.5, accuracy, repeatability, source)


def same_instrument(first: ReadingData, second: ReadingData) -> bool:
    """Say whether two readings name the same instrument. Two unnamed ones do not."""
    one, two = first.instrument, second.instrument
    return one is not None and two is not None and one.id is not None and one.id == two.id


def _usual(quantity: str, value: float) -> tuple[float, float]:
    if quantity in USUAL:
        limit, repeat, symbol = USUAL[quantity]
        scale = _scale(quantity, symbol)
        return limit * scale, repeat * scale
    return USUAL_SHARE[0] * abs(value), USUAL_SHARE[1] * abs(value)


def _written(instrument: Instrument | None, quantity: str, value: float) -> float | None:
    if instrument is None or instrument.accuracy is None:
        return None
    return _amount(instrument.accuracy, instrument, quantity, value)


def _amount(text: str, instrument: Instrument, quantity: str, value: float) -> float | None:
    cleaned = re.sub(r"^\s*(±|\+/-|\+-)\s*", "", text.strip())
    graded = _graded(cleaned, instrument, quantity, value)
    if graded is not None:
        return graded
    share = re.fullmatch(r"([\d.,]+)\s*(?:%|percent)\s*(.*)", cleaned)
    try:
        if share is None:
            typed = parse(cleaned)
            return abs(typed.number) * _scale(quantity, typed.unit.symbol)
        fraction = float(share[1].replace(",", ".")) / 100
        what = share[2].strip().lower()
        if what in {"", "of reading", "reading", "of rdg", "rdg"}:
            return fraction * abs(value)
        if instrument.span is None:
            return None
        return fraction * abs(_span(instrument.span, quantity))
    except (UnitRefused, ValueError):
        return None


def _graded(text: str, instrument: Instrument, quantity: str, value: float) -> float | None:
    """Read "grade B" (ASME B40.100), "class 1.6" (EN 837-1) or "3-2-3 %"."""
    if instrument.span is None:
        return None
    grade = re.fullmatch(r"(?:asme\s+)?grade\s+([1-4]?[a-d])", text.lower())
    spread = re.fullmatch(r"([\d.]+)-([\d.]+)-\1\s*%(?:\s*of\s+span)?", text.lower())
    one_class = re.fullmatch(r"(?:cl(?:ass)?\.?|kl\.?)\s*([\d.]+)", text.lower())
    if grade is not None and grade[1] in GRADES:
        middle, ends = GRADES[grade[1]]
    elif spread is not None:
        middle, ends = float(spread[2]), float(spread[1])
    elif one_class is not None:
        middle = ends = float(one_class[1])
    else:
        return None
    try:
        span = abs(_span(instrument.span, quantity))
    except (UnitRefused, ValueError):
        return None
    return (middle if 0.25 * span <= abs(value) <= 0.75 * span else ends) / 100 * span


def _span(text: str, quantity: str) -> float:
    ends = re.fullmatch(r"\s*([\d.,]+)\s*(?:-|to|\.\.)\s*([\d.,]+\s*\S.*)", text)
    typed = parse(ends[2] if ends is not None else text)
    low = float(ends[1].replace(",", ".")) if ends is not None else 0.0
    return (typed.number - low) * _scale(quantity, typed.unit.symbol)


def _scale(quantity: str, symbol: str) -> float:
    """Return house units per *symbol* for a span or a difference (offsets drop out)."""
    house = UNITS[QUANTITIES[quantity].house]
    to_house(quantity, 0.0, symbol)  # refuses a unit of another kind
    return UNITS[symbol].factor / house.factor
