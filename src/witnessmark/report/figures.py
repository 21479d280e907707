"""Numbers as a customer and a technician read them: in the unit shown, rounded to what is known."""

from __future__ import annotations

import math
from decimal import Decimal

from witnessmark.model.finding import OperatingPoint
from witnessmark.units import QUANTITIES, UNITS, display_unit, from_house, spoken

__all__ = [
    "exact_money",
    "figure",
    "interval_words",
    "money",
    "plain_number",
    "point_words",
    "quantity_words",
    "shown",
    "step",
    "unit_of",
]

_SYMBOLS = {"degF": "°F", "degC": "°C", "m/s2": "m/s²", "deg": "°"}


def shown(quantity: str, value: float, *, si: bool = False) -> float:
    """Return a house value in the unit that is shown."""
    if quantity not in QUANTITIES:
        return value
    return from_house(quantity, value, display_unit(quantity, si=si))


def step(quantity: str, value: float, *, si: bool = False) -> float:
    """Return a difference of house values in the unit that is shown."""
    if quantity not in QUANTITIES:
        return value
    unit = UNITS[display_unit(quantity, si=si)]
    return value * UNITS[QUANTITIES[quantity].house].factor / unit.factor


def unit_of(quantity: str, house: str = "", *, si: bool = False) -> str:
    """Return the symbol of the unit shown; the house unit of a quantity not in the table."""
    symbol = display_unit(quantity, si=si) if quantity in QUANTITIES else house
    return _SYMBOLS.get(symbol, symbol)


def figure(quantity: str, value: float | None, house: str = "", *, si: bool = False) -> str:
    """Return a house value with its unit; a value that was not measured says so."""
    if value is None or not math.isfinite(value):
        return "not measured"
    symbol = unit_of(quantity, house, si=si)
    gap = "" if symbol == "°" else "\u00a0"
    return f"{plain_number(shown(quantity, value, si=si))}{gap}{symbol}"


def interval_words(
    quantity: str, low: float | None, high: float | None, *, si: bool = False
) -> str:
    """Return a band in words: ``69 to 79 psi``, ``at least 90 psi``; empty without one."""
    symbol = unit_of(quantity, si=si)
    if low is not None and high is not None:
        ends = (plain_number(shown(quantity, x, si=si)) for x in (low, high))
        return f"{' to '.join(ends)}\u00a0{symbol}"
    if low is not None:
        return f"at least {plain_number(shown(quantity, low, si=si))}\u00a0{symbol}"
    if high is not None:
        return f"at most {plain_number(shown(quantity, high, si=si))}\u00a0{symbol}"
    return ""


def quantity_words(quantity: str) -> str:
    """Return the quantity's name in words, such as ``Fuel gallery pressure``."""
    return spoken(quantity, leading=True)


def point_words(point: OperatingPoint | None) -> str:
    """Return an operating point in words; a dash for a reading that has none."""
    return "\u2013" if point is None or point == OperatingPoint() else point.words()


def plain_number(value: float) -> str:
    """Return a number with three figures, without a needless tail or exponent."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "not a number"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(digits, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def money(usd: float) -> str:
    """Return US dollars, whole above a hundred."""
    sign = "\u2212" if usd < 0 else ""
    size = abs(usd)
    return f"{sign}${size:,.0f}" if size >= 100 or size == round(size) else f"{sign}${size:,.2f}"


def exact_money(usd: Decimal | float) -> str:
    """Return US dollars to the cent, as a bill shows them."""
    value = usd if isinstance(usd, Decimal) else Decimal(repr(usd))
    sign = "\u2212" if value < 0 else ""
    return f"{sign}${abs(value):,.2f}"
