"""What a table of numbers is: decoded channels, a waveform, or the edges of tooth pickups."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Floats
from witnessmark.readers.column_names import Heading

__all__ = ["edges_of", "is_edges", "is_waveform", "steady_rate"]

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


def is_edges(time: Floats, columns: list[Floats], headings: list[Heading]) -> bool:
    """Say whether the columns are logic levels: only 0 and 1, and no named quantity."""
    if not columns or time.size < 8 or np.isnan(time[0]):
        return False
    if any(h.quantity is not None or h.wanted is not None for h in headings):
        return False
    levels = all(bool(np.isin(c[~np.isnan(c)], (0.0, 1.0)).all()) for c in columns)
    return levels and any(np.count_nonzero(np.diff(c)) >= 4 for c in columns)


def is_waveform(rate: float | None, headings: list[Heading]) -> bool:
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
