"""How numbers, times and states are written on a page."""

from __future__ import annotations

import math
from datetime import datetime
from functools import lru_cache

from witnessmark.errors import UnitRefused
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.step import Spread
from witnessmark.units import QUANTITIES, display_unit, from_house, spoken
from witnessmark.words.numbers import chance_words, glued

__all__ = [
    "accessories_text",
    "count_words",
    "gears_text",
    "interval",
    "minutes",
    "number",
    "percent",
    "quantity_short",
    "quantity_words",
    "shafts_text",
    "symbol_words",
    "unit_pair",
    "usd",
    "value",
    "when",
]

#: Outcome of a finding -> the word that says it.
OUTCOMES = {
    "seen": "Seen",
    "not_seen": "Looked for, not seen",
    "inconclusive": "Cannot tell",
    "not_run": "Not run",
}


#: Kind of step -> the word that says it.
KINDS = {"safety": "Safety first", "measure": "Measure", "test": "Test", "repair": "Repair"}
#: Names short enough for a button.
_SHORT = {
    "fuel_gallery_pressure": "gallery pressure",
    "fuel_prefilter_pressure": "before the filter",
    "fuel_suction_vacuum": "suction vacuum",
    "fuel_return_flow": "return flow",
    "fuel_gallery_pressure_return_throttled": "return throttled",
    "gauge_check_difference": "gauge check",
    "coolant_housing_temperature": "housing by probe",
    "damper_thickness_spread": "damper thickness",
}


def number(x: float | None, *, unit: str = "") -> str:
    """Write a number with as many figures as anybody can use."""
    if x is None or not math.isfinite(x):
        return "not known"
    size = abs(x)
    if size >= 1000:
        text = f"{x:,.0f}"
    elif size >= 100:
        text = f"{x:.0f}"
    elif size >= 10:
        text = f"{x:.1f}".removesuffix(".0")
    elif size >= 1:
        text = f"{x:.2f}".rstrip("0").removesuffix(".")
    else:
        text = f"{x:.2g}" if size >= 1e-4 else ("0" if x == 0 else f"{x:.1e}")
    text = text.replace("-", "\u2212")
    return f"{text}\u00a0{unit}" if unit else text


@lru_cache(maxsize=8192)
def value(quantity: str | None, x: float | None, unit: str, *, si: bool = False) -> str:
    """Write a value given in the house unit, in the unit the shop reads."""
    if x is None:
        return "not measured"
    shown, symbol = _shown(quantity, x, unit, si)
    return number(shown, unit=_nice(symbol))


@lru_cache(maxsize=8192)
def interval(
    quantity: str | None, low: float | None, high: float | None, unit: str, *, si: bool = False
) -> str:
    """Write an interval given in the house unit."""
    if low is None or high is None:
        return ""
    (a, symbol), (b, _) = _shown(quantity, low, unit, si), _shown(quantity, high, unit, si)
    return f"{number(min(a, b))} to {number(max(a, b), unit=_nice(symbol))}"


def percent(p: float | None) -> str:
    """Write a probability as it is written everywhere, on one line."""
    return glued(chance_words(p))


def minutes(spread: Spread | float | None) -> str:
    """Write a time; a spread as its typical value with its ends."""
    if spread is None:
        return "not known"
    if not isinstance(spread, Spread):
        return _time(spread)
    if spread.low == spread.high:
        return _time(spread.typical)
    return f"{_time(spread.typical)} ({spread.low:.0f}\u2013{spread.high:.0f})"


def usd(amount: Spread | float | None) -> str:
    """Write an amount of money; a spread as its typical value with its ends."""
    if amount is None:
        return "not known"
    if not isinstance(amount, Spread):
        return (
            f"${amount:,.0f}" if abs(amount) >= 100 or amount == int(amount) else f"${amount:,.2f}"
        )
    if amount.low == amount.high:
        return f"${amount.typical:,.0f}"
    return f"${amount.typical:,.0f} ({amount.low:,.0f}\u2013{amount.high:,.0f})"


@lru_cache(maxsize=8192)
def when(text: str) -> str:
    """Write a point in time for people."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    return f"{moment.day} {moment:%b %Y, %H:%M}"


def quantity_words(name: str | None) -> str:
    """Return what a quantity is, in the trade's words."""
    if name is None:
        return ""
    return QUANTITIES[name].words if name in QUANTITIES else spoken(name)


def quantity_short(name: str) -> str:
    """Return a quantity's name in two or three words, for a button."""
    return _SHORT.get(name, spoken(name))


def symbol_words(symbol: str) -> str:
    """Return a unit as it is written for people."""
    return _nice(symbol)


def unit_pair(symbol: str) -> tuple[str, str]:
    """Return a unit as a choice: what is sent and what is shown."""
    return symbol, _nice(symbol)


def gears_text(truck: TruckData | None) -> str:
    """Return the gears as they are typed."""
    gears = truck.gears if truck else None
    return ", ".join(f"{name}={ratio:g}" for name, ratio in gears.items()) if gears else ""


def accessories_text(truck: TruckData | None) -> str:
    """Return what the engine drives as it is typed."""
    driven = truck.accessories if truck else None
    return ", ".join(f"{name}={ratio:g}" for name, ratio in driven.items()) if driven else ""


def shafts_text(truck: TruckData | None) -> str:
    """Return the propeller shafts as they are typed."""
    shafts = truck.shafts if truck and truck.shafts else ()
    return "; ".join(
        " x ".join(part for part in (s.length, s.outer, s.inner) if part) for s in shafts
    )


def count_words(n: int, one: str, many: str | None = None) -> str:
    """Write a count: 1 reading, 2 readings."""
    return f"{n:,} {one if n == 1 else (many or one + 's')}"


def _time(x: float) -> str:
    if x < 120:
        return f"{x:.0f}\u00a0min"
    return f"{x / 60:.1f}\u00a0h".replace(".0", "")


def _shown(quantity: str | None, x: float, unit: str, si: bool) -> tuple[float, str]:
    if quantity is not None and quantity in QUANTITIES and unit == QUANTITIES[quantity].house:
        symbol = display_unit(quantity, si=si)
        try:
            return from_house(quantity, x, symbol), symbol
        except UnitRefused:
            return x, unit
    return x, unit


def _nice(symbol: str) -> str:
    return {"degF": "°F", "degC": "°C", "m/s2": "m/s²", "m3/s": "m³/s", "ohm": "Ω"}.get(
        symbol, symbol
    )
