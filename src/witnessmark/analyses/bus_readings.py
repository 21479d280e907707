"""Readings off the bus: the median of a signal while the engine sat on one operating point."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from witnessmark.analyses.steady import steady_points
from witnessmark.model.entries.entry_data import Instrument, Point, ReadingData, TruckData
from witnessmark.model.recording import Channel, Quality, Recording, Steady
from witnessmark.units import QUANTITIES
from witnessmark.words.numbers import percentage

__all__ = ["STRETCH", "bus_readings"]

#: Quantities whose value at a steady point is worth holding against a band or an earlier one.
STEADY_QUANTITIES = (
    "fuel_delivery_pressure",
    "oil_pressure",
    "coolant_temperature",
    "oil_temperature",
    "boost_pressure",
    "crankcase_pressure",
    "intake_air_temperature",
    "battery_voltage",
    "fuel_rate",
)
#: Where such a reading comes from; the name of the stretch (idle, pull ...) follows.
STRETCH = "median over a steady stretch of the recording"
#: Fewer valid samples than this in a stretch are no reading (judgement).
FEWEST = 5


def bus_readings(recording: Recording, truck: TruckData | None) -> Iterator[ReadingData]:
    """Yield one reading a quantity and kind of steady point (idle, no load, pull ...).

    The value is the median of the valid samples of the longest stretch; the sensor on the bus
    counts as an instrument of its own, never the same as a mechanical gauge.
    """
    longest: dict[str, Steady] = {}
    for point in steady_points(recording, truck):
        key = f"{point.name}|{round(point.rpm / 50)}|{point.gear}"
        held = longest.get(key)
        if held is None or point.end_s - point.start_s > held.end_s - held.start_s:
            longest[key] = point
    for point in longest.values():
        for quantity in STEADY_QUANTITIES:
            reading = _reading(recording, quantity, point)
            if reading is not None:
                yield reading


def _reading(recording: Recording, quantity: str, point: Steady) -> ReadingData | None:
    channel = recording.channel(quantity)
    if channel is None:
        return None
    inside = (channel.time_s >= point.start_s) & (channel.time_s <= point.end_s)
    values = channel.values[inside & np.equal(channel.quality, Quality.VALID)]
    if values.size < FEWEST:
        return None
    house = QUANTITIES[quantity].house
    return ReadingData(
        quantity=quantity,
        value=f"{float(np.median(values)):.6g} {house}",
        point=Point(
            rpm=point.rpm,
            load=None if point.load is None else percentage(point.load),
            gear=point.gear,
            warm=point.warm,
        ),
        instrument=Instrument(id=_sender(channel)),
        source=f"{STRETCH}: {point.name}",
    )


def _sender(channel: Channel) -> str:
    on = f" on bus {channel.bus}" if channel.bus else ""
    return f"bus, address {channel.source}{on}"
