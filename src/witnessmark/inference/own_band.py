"""A truck against itself: the band of what it read when it was well, and whether that drifts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["OwnBand", "Trend", "own_band", "trend_of"]

#: Fewer readings of a truck that was well make no band, fewer readings at all no trend.
_LEAST_BAND, _LEAST_TREND = 3, 4
#: Gauge and point are never hit better than this (judgement): least scatter, of the mean.
_LEAST_SCATTER = 0.01
#: Two-sided 95 % and 90 % points of Student's t by degrees of freedom, from memory; the last ones
#: are those of the normal distribution rounded up.
_T95 = (12.71, 4.30, 3.18, 2.78, 2.57, 2.45, 2.36, 2.31, 2.26, 2.23)
_T90 = (6.31, 2.92, 2.35, 2.13, 2.02, 1.94, 1.89, 1.86, 1.83, 1.81)


@dataclass(frozen=True, slots=True)
class OwnBand:
    """Where the next reading lies in 19 of 20 cases while nothing changes.

    Attributes:
        low: lower end [house unit].
        high: upper end.
        readings: readings behind it.
    """

    low: float
    high: float
    readings: int


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through the readings.

    Attributes:
        per_100_days: slope [house unit in 100 days].
        low: lower end of its 90 % band.
        high: upper end.
    """

    per_100_days: float
    low: float
    high: float

    @property
    def shown(self) -> bool:
        """Whether the readings show a drift at all: the band does not hold nought."""
        return self.low > 0.0 or self.high < 0.0


def own_band(values: Sequence[float], *, gauge: float = 0.0) -> OwnBand | None:
    """Return the prediction interval of the next reading, ``None`` with too few.

    mean +- t s sqrt(1 + 1/n) of a normal scatter (any textbook of statistics); valid while the
    readings were taken at the same point and the truck was well.

    Args:
        values: readings [house unit].
        gauge: standard deviation of one reading by its gauge [house unit]; the scatter is never
            taken as less.
    """
    n = len(values)
    if n < _LEAST_BAND:
        return None
    mean = math.fsum(values) / n
    spread = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1))
    spread = max(spread, gauge, _LEAST_SCATTER * abs(mean))
    half = _T95[min(n - 2, len(_T95) - 1)] * spread * math.sqrt(1.0 + 1.0 / n)
    return OwnBand(mean - half, mean + half, n)


def trend_of(days: Sequence[float], values: Sequence[float]) -> Trend | None:
    """Return the least-squares slope with its 90 % band, ``None`` with too few or all on a day.

    Args:
        days: when each was read [days].
        values: readings [house unit].
    """
    n = len(values)
    if n < _LEAST_TREND:
        return None
    middle, mean = math.fsum(days) / n, math.fsum(values) / n
    wide = math.fsum((d - middle) ** 2 for d in days)
    if wide < 1.0:
        return None
    slope = math.fsum((d - middle) * (v - mean) for d, v in zip(days, values, strict=True)) / wide
    rest = math.fsum(
        (v - mean - slope * (d - middle)) ** 2 for d, v in zip(days, values, strict=True)
    )
    error = math.sqrt(rest / (n - 2) / wide) + _LEAST_SCATTER * abs(mean) / math.sqrt(n * wide)
    half = _T90[min(n - 3, len(_T90) - 1)] * error
    return Trend(100.0 * slope, 100.0 * (slope - half), 100.0 * (slope + half))
