"""What a table of numbers is: decoded channels, a waveform, or the edges of tooth pickups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Floats
from witnessmark.readers.columns.column_names import ColumnHeading

__all__ = ["edges_of", "is_edges", "is_waveform", "steady_rate", "times_of_teeth"]

#: From this rate on a table of volts or of unnamed columns is a waveform [Hz].
WAVEFORM_FROM_HZ = 200.0
#: The same for accelerations [Hz].
VIBRATION_FROM_HZ = 20.0


def steady_rate(time: Floats) -> float | None:
    """Return the rate of even time stamps [Hz], ``None`` where they are not even."""
    if time.size < 16 or np.isnan(time[0]) or time[-1] <= time[0]:
        return None
    rate = (time.size - 1) / float(time[-1] - time[0])
    even = time[0] + np.arange(time.size) / rate
    return rate if float(np.abs(time - even).max()) < 0.6 / rate else None


def is_edges(time: Floats, columns: list[Floats], headings: list[ColumnHeading]) -> bool:
    """Say whether the columns are logic levels: two values each, and no named quantity.

    An engine speed that is only 0 and 1 is the level of its sensor.
    """
    if not columns or time.size < 8 or np.isnan(time[0]):
        return False
    for one, column in zip(headings, columns, strict=True):
        sensor = one.quantity == "engine_speed" and not one.unit_text
        if (one.quantity is not None or one.wanted is not None) and not sensor:
            return False
        known = column[~np.isnan(column)]
        low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)
        if not bool(np.isin(known, (low, high)).all()) or (sensor and (low, high) != (0.0, 1.0)):
            return False
        if (low, high) not in {(0.0, 1.0), (0.0, 0.0), (1.0, 1.0)} and (
            one.unit is None or one.unit.kind != "voltage"
        ):
            return False
    return any(np.count_nonzero(np.diff(c)) >= 4 for c in columns)


def times_of_teeth(
    time: Floats, columns: dict[int, Floats], headings: Sequence[ColumnHeading], column: int | None
) -> dict[str, Floats] | None:
    """Return pickup -> times where the table lists when teeth passed, ``None`` for other tables.

    Either every column is a time of its own pickup, or there is one time and a running number.

    Args:
        time: the times found [s].
        columns: the other columns.
        headings: of all columns.
        column: the one the times came from.
    """
    if column is None or time.size < 12 or np.isnan(time).any():
        return None
    if not (np.diff(time) > 0.0).all() or steady_rate(time) is not None:
        return None
    if len(columns) == 1 and _counts(next(iter(columns.values()))):
        return {"pickup": time}
    first = headings[column]
    others = {n: c[~np.isnan(c)] for n, c in columns.items()}
    units = {n: headings[n].unit for n in others}
    if first.time or not others or first.unit is None or first.unit.kind != "time":
        return None
    found = {first.label: time}
    for number, values in others.items():
        given = units[number]
        if given is None or given.kind != "time" or values.size < 4:
            return None
        if not (np.diff(values) > 0.0).all():
            return None
        found[headings[number].label] = values * given.factor
    return found


def _counts(column: Floats) -> bool:
    return bool(column.size > 2 and (np.diff(column) == 1.0).all())


def is_waveform(rate: float | None, headings: list[ColumnHeading]) -> bool:
    """Say whether the columns are samples of a waveform."""
    if rate is None or not headings:
        return False
    quantities = {h.quantity for h in headings if h.quantity is not None}
    if quantities and quantities <= {"vibration"}:
        return rate >= VIBRATION_FROM_HZ
    return not quantities and rate >= WAVEFORM_FROM_HZ


def edges_of(channels: list[Channel]) -> list[Channel]:
    """Keep of every channel the first row and the rows in which its level changed."""
    found = []
    for channel in channels:
        known = ~np.isnan(channel.values)
        time, values = channel.time_s[known], channel.values[known]
        if values.size < 2:
            continue
        keep = np.r_[True, np.diff(values) != 0.0]
        found.append(
            replace(
                channel,
                time_s=time[keep],
                values=values[keep],
                quality=np.zeros(int(keep.sum()), np.uint8),
                rate_hz=None,
            )
        )
    return found
