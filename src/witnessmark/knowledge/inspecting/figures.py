"""Figures of an inspection: a number with its unit, also in 32nds of an inch."""

from __future__ import annotations

import re
from dataclasses import dataclass

from witnessmark.errors import UnitRefused
from witnessmark.units import parse

__all__ = ["THIRTY_SECONDS", "Figure", "figure"]

#: How a tread gauge's unit is written.
THIRTY_SECONDS = "/32 in"
_32NDS = re.compile(r"(\d{1,3}(?:[.,]\d{1,3})?)\s*/32\s*(?:in|\")", re.ASCII)
_BARE = re.compile(r"(\d{1,6}(?:[.,]\d{1,4})?)\s*-", re.ASCII)
_INCH = 0.0254


@dataclass(frozen=True, slots=True)
class Figure:
    """What was typed: the value in the coherent SI unit of its kind, the kind, and the text."""

    value: float
    kind: str
    text: str


def figure(text: str) -> Figure:
    """Read a number with its unit; ``8.5/32 in`` is 32nds, ``1.6 -`` a plain number.

    Raises:
        UnitRefused: see :func:`witnessmark.units.parse`; also a value below zero.
    """
    said = text.strip() if isinstance(text, str) else ""
    if found := _32NDS.fullmatch(said):
        return Figure(float(found[1].replace(",", ".")) / 32 * _INCH, "length", said)
    if found := _BARE.fullmatch(said):
        return Figure(float(found[1].replace(",", ".")), "number", said)
    typed = parse(text)
    if typed.si < 0:
        raise UnitRefused(f"'{said[:40]}' is below zero.", do="Type what the instrument shows.")
    return Figure(typed.si, typed.unit.kind, said)
