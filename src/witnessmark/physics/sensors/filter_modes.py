"""What the switching filter is asked: modes, hypotheses, and stretches of series side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

__all__ = ["FilterMode", "Hypothesis", "Stretches", "as_stretches"]

Floats = npt.NDArray[np.float64]
Entry = Literal["keep", "new_rate", "new_offset"]

#: How often one sudden real change is followed by the next [1/s].
_BACK = 0.1


@dataclass(frozen=True, slots=True)
class FilterMode:
    """How the reading behaves while this mode lasts.

    Attributes:
        name: in words.
        rate: standard deviation of v [scale/s].
        memory: time over which v forgets [s].
        entry: what is new when the mode begins: nothing, the rate, or the offset.
        spread: standard deviation of what is new.
        noise: standard deviation of the sample besides the channel's own [scale].
        begins: how often it begins while the quantity is calm [1/s].
        ends: how often it ends [1/s].
    """

    name: str
    rate: float
    memory: float
    entry: Entry = "keep"
    spread: float = 0.0
    noise: float = 0.0
    begins: float = 0.0
    ends: float = 0.0


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A set of modes; the first is the calm one that every other begins from and ends in."""

    name: str
    modes: tuple[FilterMode, ...]

    def generator(self) -> Floats:
        """Return the rates of change between the modes, shape (m, m) [1/s]."""
        size = len(self.modes)
        rates = np.zeros((size, size))
        for number, mode in enumerate(self.modes[1:], start=1):
            rates[0, number] = mode.begins
            rates[number, 0] = mode.ends
            # A fault may set in or stop while the quantity moves, too.
            for other, beside in enumerate(self.modes[1:], start=1):
                if other != number and mode.entry == beside.entry == "new_rate":
                    rates[number, other] = _BACK
                is_fault = beside.entry == "new_offset" or beside.noise > 0.0
                if other != number and is_fault:
                    rates[number, other] = beside.begins
        rates[np.diag_indices(size)] = -rates.sum(axis=1)
        return rates

    def onset(self) -> float:
        """Return how often a fault of any kind begins [1/s]."""
        return sum(m.begins for m in self.modes if m.entry == "new_offset" or m.noise > 0.0)


@dataclass(frozen=True, slots=True)
class Stretches:
    """Pieces of series, side by side, padded to one length.

    Attributes:
        values: shape (rows, steps), in scale units, finite where *used*.
        interval: shape (rows, steps), time since the sample before [s].
        used: shape (rows, steps), whether there is a sample.
        variance: shape (rows, steps), variance of each sample [scale^2].
        counted: shape (rows, steps), whether the sample counts for the evidence (the first ones
            of a stretch only warm the filter up).
    """

    values: Floats
    interval: Floats
    used: npt.NDArray[np.bool_]
    variance: Floats
    counted: npt.NDArray[np.bool_]


def as_stretches(
    pieces: Sequence[tuple[Floats, Floats, Floats | float]], *, length: int, warm_up: int
) -> tuple[Stretches, list[tuple[int, int]]]:
    """Cut series into stretches of one length that overlap by the warm-up.

    Args:
        pieces: (time [s], values in scale units, variance of each sample or of all) without gaps.
        length: samples that count in a stretch.
        warm_up: samples before them that only warm the filter up.

    Returns:
        The stretches, and for each row (number of its piece, index of its first sample).
    """
    rows = [
        (number, _begin(series, first - warm_up), min(first + length, time.size))
        for number, (time, series, _) in enumerate(pieces)
        for first in range(0, max(time.size, 1), length)
    ]
    steps = max((end - begin for _, begin, end in rows), default=1)
    shape = (len(rows), steps)
    values, interval = np.zeros(shape), np.ones(shape)
    used, counted = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    variance = np.ones(shape)
    for row, (number, begin, end) in enumerate(rows):
        time, series, noise = pieces[number]
        count = end - begin
        values[row, :count] = series[begin:end]
        interval[row, 1:count] = np.diff(time[begin:end])
        used[row, :count] = True
        # The very first sample of a piece has nothing before it to be judged by.
        own = (end - 1) // length * length
        skip = max(own - begin, 1)
        counted[row, skip:count] = True
        variance[row, :count] = np.broadcast_to(noise, time.shape)[begin:end]
    return Stretches(values, interval, used, variance, counted), [(n, b) for n, b, _ in rows]


def _begin(series: Floats, wanted: int) -> int:
    """Return where to begin near *wanted*: at a sample that is like those around it.

    A stretch that began within a glitch would take the glitch for the truth.
    """
    if wanted <= 0:
        return 0
    first = max(wanted - 12, 0)
    around = series[first : wanted + 13]
    off = np.abs(series[first : wanted + 1] - np.median(around))
    return first + int(off.size - 1 - np.argmin(off[::-1]))
