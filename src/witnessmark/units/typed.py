"""The strict parser of what people type, and conversion at the doors."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction

from witnessmark.errors import UnitRefused
from witnessmark.units.quantity_tables import QUANTITIES, UNITS, Quantity, Unit, spoken

__all__ = [
    "MAX_LENGTH",
    "Range",
    "Typed",
    "display_unit",
    "from_house",
    "parse",
    "parse_difference",
    "parse_quantity",
    "parse_range",
    "to_house",
    "unit",
]

#: Nothing a person types for one value is longer than this.
MAX_LENGTH = 64

_SPACES = "\u00a0\u2007\u2009\u202f\u2008"
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)"
    r"(?P<body>\d[\d ,.']*\d|\d|\.\d+)"
    r"(?P<exp>[eE][+-]?\d{1,2})?",
    re.ASCII,
)
_FRACTION = re.compile(
    r"(?P<sign>[+-]?)(?:(?P<whole>\d{1,4})[ -])?(?P<num>\d{1,3})/(?P<den>\d{1,3})", re.ASCII
)
#: Two figures, with the word that says what the pointer did; and a figure that is about right.
_RANGE = re.compile(
    r"(?:(?P<word>swings|swinging|jumps|jumping|about)\s+)?(?:between\s+|from\s+)?"
    r"(?P<low>[+-]?\d[\d.,]*)\s*"
    r"(?P<first>(?!to\b|and\b|[eE][+-]?\d)[A-Za-z%\u00b0][A-Za-z0-9%\u00b0]*)?"
    r"(?:\s*[-\u2013]\s*|\s+(?:to|and)\s+)(?P<high>[+-]?\d[\d.,]*)(?P<unit>\s*[^\d\s/.,].*)"
)
_ABOUT = re.compile(r"about\s+(?P<figure>[^\s].*)")
#: A pointer that would not stand still, told behind the figure or without one; and a bound alone.
_SWUNG = re.compile(r"(?P<figure>.*\d.*?)[\s,]+(?:swings|swinging|jumps|jumping|unsteady)\.?", re.I)
_SWINGS = re.compile(r"(?:it\s+)?(?:swings|swinging|jumps|jumping|unsteady)\.?", re.I)
_BOUND = re.compile(
    r"(?:above|over|more than|at least|below|under|less than|at most|[<>]=?)\s*(?P<figure>\d.*)",
    re.I,
)
#: How far "about" may be off, as a share of the figure (judgement).
ABOUT = 0.05
_GROUPED = re.compile(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?")
_US_GROUPED = re.compile(r"\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:,\d{3}){2,}")
_EU_GROUPED = re.compile(r"\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:\.\d{3}){2,}")
_PLAIN = re.compile(r"\d*(?:[.,]\d+)?")
_AMBIGUOUS = re.compile(r"[1-9]\d{0,2},\d{3}")


@dataclass(frozen=True, slots=True)
class Typed:
    """What a person typed: the number in that unit, the unit, and the text itself."""

    number: float
    unit: Unit
    text: str

    @property
    def si(self) -> float:
        """The value in the coherent SI unit of its kind (temperatures: degC)."""
        return self.number * self.unit.factor + self.unit.offset


@dataclass(frozen=True, slots=True)
class Range:
    """What a pointer showed: one figure, or the ends between which it stood, in the house unit.

    Attributes:
        middle: the figure, or the middle of the ends.
        half: half the distance of the ends; 0.0 for one figure.
        symbol: the unit in which it was written.
        swings: the pointer was seen to swing between them.
        about: the figure was called no more than about right.
    """

    middle: float
    half: float
    symbol: str
    swings: bool = False
    about: bool = False


def unit(symbol: str) -> Unit:
    """Return the unit written as *symbol*.

    Raises:
        UnitRefused: no such unit.
    """
    text = re.sub(r"\s+", "", symbol)
    if text in UNITS:
        return UNITS[text]
    # Case carries meaning only between milli and mega; no unit here is told apart otherwise.
    lowered = text.lower()
    mega = text[0:1] == "M" and lowered in {"m", "mohm", "mω", "mv", "ma", "mg", "mg0", "ms"}
    if lowered in UNITS and not mega:
        return UNITS[lowered]
    raise UnitRefused(
        f"'{_short(symbol)}' is not a unit known here.",
        do="Write one of psi, kPa, bar, inHg, inH2O, degF, degC, rpm, mph, km/h, lbf·ft, N·m, "
        "gal/min, gal/h, L/h, L/min, in, mm, deg, s, min, V, ohm, %.",
    )


def parse(text: str) -> Typed:
    """Read a number with its unit as a person types it.

    A decimal comma is read as such ("7,5 bar"); spaces and apostrophes group thousands
    ("1 500 kPa"); "1,500 rpm" is refused because it is 1500 in one country and 1.5 in another.

    Args:
        text: such as ``74 psi``, ``7,5 bar``, ``1 1/2 in``.

    Raises:
        UnitRefused: no number, no unit, an unknown unit, or two possible meanings.
    """
    if not isinstance(text, str):
        raise UnitRefused(
            f"{text!r:.40} is a bare number.", do='Write the unit too, as text, such as "74 psi".'
        )
    if len(text) > MAX_LENGTH:
        raise UnitRefused(
            f"A value has at most {MAX_LENGTH} characters; this has {len(text)}.",
            do="Write one number and its unit, such as 74 psi.",
        )
    cleaned = text.strip().replace("\u2212", "-")
    for space in _SPACES:
        cleaned = cleaned.replace(space, " ")
    if not cleaned:
        raise UnitRefused("The value is empty.", do="Write a number and its unit, such as 74 psi.")
    number, rest = _number(cleaned)
    rest = rest.strip()
    if not rest:
        raise UnitRefused(
            f"'{_short(text)}' is a bare number.", do="Write the unit too, such as 74 psi."
        )
    if re.fullmatch(r"(?i)psi ?a|bar ?a|kpa ?a|psi abs|bar abs|kpa abs", rest):
        raise UnitRefused(
            f"'{_short(text)}' is an absolute pressure; gauges here read against the air outside.",
            do="Subtract the air pressure and write psi, kPa or bar.",
        )
    if re.fullmatch(r"[A-Za-zµΩΩ°%\"/·*.²³0-9 -]+", rest) is None or re.match(r"\d|[-./*]", rest):
        raise _not_one_value(text)
    return Typed(number, unit(rest), text)


def parse_quantity(name: str, text: str) -> float:
    """Read *text* as a value of the quantity *name*, in its house unit.

    Raises:
        UnitRefused: see :func:`parse`; also the wrong kind of unit, an unknown quantity, or a
            value that no such reading can have.
    """
    row = _row(name)
    typed = _counted(text) if row.kind == "number" else parse(text)
    if typed.unit.kind != row.kind:
        raise UnitRefused(
            f"{name} is a {row.kind.replace('_', ' ')}; "
            f"'{typed.unit.symbol}' is a unit of {typed.unit.kind.replace('_', ' ')}.",
            do=f"Write it in {row.shop} or {row.si}.",
        )
    value = (typed.si - UNITS[row.house].offset) / UNITS[row.house].factor
    if not row.lowest <= value <= row.highest:
        low, high = (from_house(name, end, typed.unit.symbol) for end in (row.lowest, row.highest))
        raise UnitRefused(
            f"'{_short(text)}' cannot be a {spoken(name)}: "
            f"possible is {low:.4g} to {high:.4g} {typed.unit.symbol}.",
            do="Check the number and the unit.",
        )
    return value


def parse_difference(name: str, text: str) -> float:
    """Read *text* as how far two values of the quantity *name* lie apart, in its house unit.

    A difference has no zero of its own: 18 degF apart is 10 degC apart.

    Raises:
        UnitRefused: see :func:`parse_quantity`.
    """
    parse_quantity(name, text.strip().lstrip("-"))  # either way round
    typed = parse(text)
    return typed.number * typed.unit.factor / UNITS[_row(name).house].factor


def _counted(text: str) -> Typed:
    """Read a plain number, such as a gear ratio: it has no unit, and a dash may stand for one."""
    bare = text.strip().removesuffix("-").strip() if isinstance(text, str) else ""
    number, rest = _number(bare) if bare and len(bare) <= MAX_LENGTH else (0.0, "?")
    if rest.strip():
        raise UnitRefused(f"'{_short(str(text))}' is not one number.", do="Write it plain: 3.58.")
    return Typed(number, UNITS["-"], text)


def parse_range(name: str, text: str) -> Range:
    """Read *text* as one figure or a range of the quantity *name*, in its house unit.

    A range is ``60-75 psi``, ``60 to 75 psi`` or ``swings 60 to 75 psi``; ``about 70 psi`` is taken
    as within :data:`ABOUT` of it, and so is ``70 psi, swings``. A bound alone (``> 130 psi``) is no
    figure and is refused with the question that settles it.

    Raises:
        UnitRefused: see :func:`parse_quantity`; also ends that are not in order.
    """
    swung = _SWUNG.fullmatch(text.strip()) if isinstance(text, str) else None
    if swung is not None:
        found = parse_range(name, swung["figure"])
        return replace(found, half=found.half or ABOUT * abs(found.middle), swings=True)
    said = _RANGE.fullmatch(text.strip())
    if said is None:
        _figure_missing(text)
        about = _ABOUT.fullmatch(text.strip())
        figure = about["figure"] if about else text
        middle = parse_quantity(name, figure)
        half = ABOUT * abs(middle) if about else 0.0
        return Range(middle, half, parse(figure).unit.symbol, about=about is not None)
    swings = said["word"] not in {None, "about"}
    low = parse_quantity(name, f"{said['low']} {said['first'] or said['unit'].strip()}")
    high = parse_quantity(name, said["high"] + said["unit"])
    if not low < high:
        raise UnitRefused(
            f"'{_short(text)}' is no range from low to high.", do="Write the lower end first."
        )
    symbol = unit(said["unit"]).symbol
    return Range((low + high) / 2, (high - low) / 2, symbol, swings, said["word"] == "about")


def _figure_missing(text: str) -> None:
    """Ask for the figure behind a swing or a bound that was told without one."""
    if _SWINGS.fullmatch(text.strip()):
        raise UnitRefused(
            f"'{_short(text)}' has no figures.",
            do="Between which did the pointer swing? Write both ends: swings 60 to 75 psi.",
        )
    bound = _BOUND.fullmatch(text.strip())
    if bound is not None:
        raise UnitRefused(
            f"'{_short(text)}' is a limit and no figure.",
            do="Where did the pointer stand last? Write that: about 130 psi; why you stopped goes "
            "into a note.",
        )


def to_house(name: str, value: float, symbol: str) -> float:
    """Convert *value* in the unit *symbol* to the house unit of the quantity *name*."""
    house, given = UNITS[_row(name).house], unit(symbol)
    if given.kind != house.kind:
        raise UnitRefused(f"{symbol} is not a unit of {name}.", do=f"Use {house.symbol}.")
    return (value * given.factor + given.offset - house.offset) / house.factor


def from_house(name: str, value: float, symbol: str) -> float:
    """Convert *value* in the house unit of the quantity *name* to the unit *symbol*."""
    house, wanted = UNITS[_row(name).house], unit(symbol)
    if wanted.kind != house.kind:
        raise UnitRefused(f"{symbol} is not a unit of {name}.", do=f"Use {house.symbol}.")
    return (value * house.factor + house.offset - wanted.offset) / wanted.factor


def display_unit(name: str, *, si: bool = False) -> str:
    """Return the symbol the quantity is shown in: the shop's own unit, or SI."""
    row = _row(name)
    return row.si if si else row.shop


def _row(name: str) -> Quantity:
    if name not in QUANTITIES:
        raise UnitRefused(
            f"'{_short(name)}' is not a quantity known here.",
            do="See docs/quantities.md for the names.",
        )
    return QUANTITIES[name]


def _number(text: str) -> tuple[float, str]:
    fraction = _FRACTION.match(text)
    if fraction is not None and int(fraction["den"]) > 0:
        part = Fraction(int(fraction["num"]), int(fraction["den"])) + int(fraction["whole"] or 0)
        return float(-part if fraction["sign"] == "-" else part), text[fraction.end() :]
    match = _NUMBER.match(text)
    if match is None:
        raise UnitRefused(
            f"'{_short(text)}' does not begin with a number.",
            do="Write a number and its unit, such as 74 psi.",
        )
    value = float(_plain_digits(match["body"], text) + (match["exp"] or ""))
    if not math.isfinite(value):
        raise _not_one_value(text)
    return (-value if match["sign"] == "-" else value), text[match.end() :]


def _plain_digits(body: str, text: str) -> str:
    if _AMBIGUOUS.fullmatch(body):
        whole, part = body.split(",")
        raise UnitRefused(
            f"'{_short(text)}' can be read as {whole}{part} or as {whole}.{part}.",
            do=f"Write {whole}{part} or {whole}.{part}.",
        )
    if _US_GROUPED.fullmatch(body):
        return body.replace(",", "")
    if _EU_GROUPED.fullmatch(body):
        return body.replace(".", "").replace(",", ".")
    if _GROUPED.fullmatch(body):
        return body.replace(" ", "").replace("'", "").replace(",", ".")
    if _PLAIN.fullmatch(body):
        return body.replace(",", ".")
    raise _not_one_value(text)


def _not_one_value(text: str) -> UnitRefused:
    return UnitRefused(
        f"'{_short(text)}' is not one number with one unit.",
        do="Write one value, such as 74 psi; further values go into entries of their own.",
    )


def _short(text: str) -> str:
    printable = "".join(c if c.isprintable() else "?" for c in str(text))
    return printable if len(printable) <= 40 else printable[:37] + "..."
