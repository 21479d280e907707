"""The shop's own healthy readings of an engine type: what moves a type from unknown to known."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.model.finding import OperatingPoint

__all__ = ["BaselineReading", "FuelBaseline"]


@dataclass(frozen=True, slots=True)
class BaselineReading:
    """One reading of a healthy engine.

    Attributes:
        quantity: name in the quantity table.
        point: operating point.
        value: house unit.
        truck: which truck it was, so that two of one truck are not taken for two trucks.
    """

    quantity: str
    point: OperatingPoint
    value: float
    truck: str = ""


@dataclass(frozen=True, slots=True)
class FuelBaseline:
    """Healthy readings of one engine type.

    Attributes:
        engine_type: the shop's own type name.
        readings: readings of healthy engines, such as the proof readings of finished jobs.
    """

    engine_type: str
    readings: tuple[BaselineReading, ...]
