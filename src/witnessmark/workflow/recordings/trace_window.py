"""A window on a recording for the screen: the lowest and highest value of every pixel column.

No spike is lost: a column shows the extremes of all valid samples that fall into it, however
many there are. Where the samples are sparser than the columns, the samples themselves are given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.errors import InputRefused
from witnessmark.model.recording import Channel, Flag, Recording, Steady

__all__ = [
    "MOST_CHANNELS",
    "MOST_COLUMNS",
    "Window",
    "WindowTrace",
    "extremes",
    "span_of",
    "window",
]

#: Channels drawn at once.
MOST_CHANNELS = 12
#: Pixel columns given at once.
MOST_COLUMNS = 4000


@dataclass(frozen=True, slots=True)
class WindowTrace:
    """One channel in a window.

    Attributes:
        name: channel name.
        label: the name that stood in the file.
        source: source address, or ``None``.
        unit: unit of the values.
        time_s: middle of each column, or the samples' own time.
        low: lowest valid value of the column; NaN breaks the line.
        high: highest valid value of the column.
        lowest: lowest valid value of the whole window, NaN when there is none.
        highest: highest valid value of the whole window.
        samples: valid samples in the window.
    """

    name: str
    label: str
    source: int | None
    unit: str
    time_s: npt.NDArray[np.float64]
    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    lowest: float
    highest: float
    samples: int


@dataclass(frozen=True, slots=True)
class Window:
    """What is to be drawn."""

    start_s: float
    end_s: float
    traces: tuple[WindowTrace, ...]
    flags: tuple[Flag, ...]
    steady: tuple[Steady, ...]


def span_of(recording: Recording) -> tuple[float, float]:
    """Return the first and last time stamp of a recording [s]."""
    timed = [c for c in recording.channels if c.time_s.size]
    if not timed:
        return 0.0, 1.0
    start = min(float(c.time_s[0]) for c in timed)
    end = max(float(c.time_s[-1]) for c in timed)
    return (start, end) if end > start else (start, start + 1.0)


def window(
    recording: Recording,
    channels: Sequence[int],
    *,
    start_s: float | None = None,
    end_s: float | None = None,
    columns: int = 800,
    steady: Sequence[Steady] = (),
) -> Window:
    """Cut a window out of a recording.

    Args:
        recording: the recording.
        channels: positions in ``recording.channels``.
        start_s: start [s]; the recording's own start when not given.
        end_s: end [s].
        columns: pixel columns to fill.
        steady: steady stretches to mark.

    Raises:
        InputRefused: too many channels, no such channel, or a window that is none.
    """
    if len(channels) > MOST_CHANNELS:
        raise InputRefused(f"At most {MOST_CHANNELS} channels are drawn at once.")
    if any(not 0 <= c < len(recording.channels) for c in channels):
        raise InputRefused("The recording has no such channel.")
    first, last = span_of(recording)
    start = first if start_s is None else start_s
    end = last if end_s is None else end_s
    if not (np.isfinite(start) and np.isfinite(end)) or end <= start:
        raise InputRefused("The window has no length.", do="Give a start before its end.")
    columns = int(min(max(columns, 10), MOST_COLUMNS))
    names = {recording.channels[c].name for c in channels}
    return Window(
        start,
        end,
        tuple(extremes(recording.channels[c], start, end, columns) for c in channels),
        tuple(
            f
            for f in recording.flags
            if f.channel in names and f.end_s >= start and f.start_s <= end
        ),
        tuple(s for s in steady if s.end_s >= start and s.start_s <= end),
    )


def extremes(channel: Channel, start_s: float, end_s: float, columns: int) -> WindowTrace:
    """Return a channel's extremes in *columns* equal columns between two times [s]."""
    # One sample beyond each end, so that the line leaves the window where it should.
    begin = max(int(np.searchsorted(channel.time_s, start_s, side="left")) - 1, 0)
    stop = int(np.searchsorted(channel.time_s, end_s, side="right")) + 1
    times, values = channel.time_s[begin:stop], channel.values[begin:stop]
    valid = channel.quality[begin:stop] == 0
    count = int(np.count_nonzero(valid))
    if values.size <= 2 * columns:
        shown = np.where(valid, values, np.nan)
        return _trace(channel, times, shown, shown, count)
    edges = start_s + (end_s - start_s) * np.arange(columns + 1) / columns
    cuts = np.searchsorted(times, edges[:-1], side="left")
    middle = 0.5 * (edges[:-1] + edges[1:])
    low = _reduce(np.minimum, np.where(valid, values, np.inf), cuts)
    high = _reduce(np.maximum, np.where(valid, values, -np.inf), cuts)
    empty = low > high
    return _trace(
        channel, middle, np.where(empty, np.nan, low), np.where(empty, np.nan, high), count
    )


def _reduce(
    function: np.ufunc, values: npt.NDArray[np.float64], cuts: npt.NDArray[np.intp]
) -> npt.NDArray[np.float64]:
    inside = np.minimum(cuts, values.size - 1)
    reduced: npt.NDArray[np.float64] = function.reduceat(values, inside)
    # reduceat gives the single value at the cut for an empty column: say "nothing" instead.
    follows = np.append(cuts[1:], values.size)
    nothing = np.inf if function is np.minimum else -np.inf
    return np.where(follows > cuts, reduced, nothing)


def _trace(
    channel: Channel,
    times: npt.NDArray[np.float64],
    low: npt.NDArray[np.float64],
    high: npt.NDArray[np.float64],
    samples: int,
) -> WindowTrace:
    some = bool(np.isfinite(low).any())
    return WindowTrace(
        channel.name,
        (channel.label or channel.name) + (f" (bus {channel.bus})" if channel.bus else ""),
        channel.source,
        channel.unit,
        times,
        low,
        high,
        float(np.nanmin(low)) if some else float("nan"),
        float(np.nanmax(high)) if some else float("nan"),
        samples,
    )
