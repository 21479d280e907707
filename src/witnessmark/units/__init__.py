"""Units: a strict parser of what people type, and the table of quantities.

Inside the house every quantity has one *house unit* (an SI unit or one accepted with the SI);
conversion happens only at the doors. A value without a unit is refused, and so is everything
that could be read two ways: a silently wrong number is worse than a refusal.
"""

from witnessmark.units.quantity_tables import QUANTITIES, UNITS, Quantity, Unit
from witnessmark.units.typed import (
    Range,
    Typed,
    display_unit,
    from_house,
    parse,
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
    "parse_quantity",
    "parse_range",
    "to_house",
    "unit",
]
