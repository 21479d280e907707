"""What a table of numbers is: decoded channels, a waveform, or the edges of tooth pickups."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Floats
from witnessmark.readers.column_names import Heading

__all__ = ["edges_of", "is_edges", "is_waveform", "rate_above", "steady_rate"]

#: From this rate on a table of volts or of unnamed columns is a waveform [Hz].
WAVEFORM_FROM_HZ = 200.0
#: The same for accelerations [Hz].
VIBRATION_FROM_HZ = 20.0
_RATE = re.compile(r"sampl\w* ?(freq\w*|rate)|^(fs|rate|frequency|samples per second)\b")
_STEP = re.compile(r"delta ?time|sampl\w* ?(interval|period|time)|^(dt|time step|x ?incr\w*)\b")


def rate_above(above: dict[str, list[str]]) -> float | None:
    """Return the sampling rate stated above the data [Hz]."""
    for key, values in above.items():
        number = _first_number(values)
        if number is None or number <= 0.0:
            continue
        unit = " ".join([key, *values[:2]]).lower()
        if _RATE.search(key):
            return number * (1e6 if "mhz" in unit else 1e3 if "khz" in unit else 1.0)
        if _STEP.search(key):
            scale = 1e-6 if re.search(r"\b[uµ]s\b|micro", unit) else (
                1e-3 if re.search(r"\bms\b|milli", unit) else 1.0
            )  # fmt: skip
            return 1.0 / (number * scale)
    return None


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


def _first_number(values: list[str]) -> float | None:
    for value in values:
        found = re.match(r"\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)", value)
        if found:
            return float(found[1].replace(",", "."))
    return None
