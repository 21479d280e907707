"""Columns that name themselves, as channels: quantity, house unit, what is impossible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from witnessmark.errors import UnitRefused
from witnessmark.model.recording import Channel, Floats, Quality
from witnessmark.readers.columns.column_names import ColumnHeading, unit_of
from witnessmark.units import QUANTITIES

__all__ = ["channel_of", "renamed"]


def renamed(one: ColumnHeading, number: int, taken: set[str]) -> ColumnHeading:
    """Give a quantity once; a second column for it keeps its own heading."""
    if one.quantity is not None and one.quantity != "vibration":
        if one.quantity in taken:
            one = replace(one, quantity=None, wanted=None)
        else:
            taken.add(str(one.quantity))
    return one if one.label else replace(one, label=f"column {number + 1}")


def channel_of(one: ColumnHeading, column: Floats, time: Floats, rate: float | None) -> Channel:
    """Return a column as a channel in the house unit; what is impossible is marked."""
    quality = np.isnan(column).astype(np.uint8) * np.uint8(Quality.NOT_AVAILABLE)
    values = column
    unit = one.unit.symbol if one.unit is not None else one.unit_text
    if one.quantity is not None and one.unit is not None:
        row = QUANTITIES[one.quantity]
        house = unit_of(row.house)
        if house is None:
            raise UnitRefused(f"{row.house} is not a unit.", do="")
        factor = one.unit.factor / house.factor
        shift = (one.unit.offset - house.offset) / house.factor
        if factor != 1.0 or shift != 0.0:
            values = values * factor + shift
        unit = row.house
        beyond = (values < row.lowest) | (values > row.highest)
        if beyond.any():
            quality[beyond] = Quality.IMPLAUSIBLE
            values = np.where(beyond, np.nan, values)
    infinite = np.isinf(values)
    if infinite.any():
        quality[infinite] = Quality.IMPLAUSIBLE
        values = np.where(infinite, np.nan, values)
    return Channel(
        name=one.quantity or one.label,
        unit=unit,
        time_s=time,
        values=np.ascontiguousarray(values),
        quality=quality,
        label=one.label,
        rate_hz=rate,
    )
