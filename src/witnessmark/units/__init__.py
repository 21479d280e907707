"""Units: a strict parser of what people type, and the table of quantities.

Inside the house every quantity has one *house unit* (an SI unit or one accepted with the SI);
conversion happens only at the doors. A value without a unit is refused, and so is everything
that could be read two ways: a silently wrong number is worse than a refusal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from witnessmark.units.quantity_tables import QUANTITIES, UNITS, Quantity, Unit, spoken

if TYPE_CHECKING:
    from witnessmark.units.typed import (
        Range,
        Typed,
        display_unit,
        from_house,
        parse,
        parse_difference,
        parse_quantity,
        parse_range,
        to_house,
        unit,
    )

__all__ = [
    "QUANTITIES",
    "UNITS",
    "Quantity",
    "Range",
    "Typed",
    "Unit",
    "display_unit",
    "from_house",
    "parse",
    "parse_difference",
    "parse_quantity",
    "parse_range",
    "spoken",
    "to_house",
    "unit",
]


def __getattr__(name: str) -> object:
    """Load the parser when something typed is asked for: a log of the bus needs the table only."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from witnessmark.units import typed  # noqa: PLC0415  (slow to load)

    return getattr(typed, name)
