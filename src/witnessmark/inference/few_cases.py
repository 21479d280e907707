"""Bands and quantiles of figures that rest on few cases."""

from __future__ import annotations

import math
from collections.abc import Sequence

__all__ = ["beta_band", "median_ranks", "quantile"]


def beta_band(a: float, b: float) -> tuple[float, float]:
    """Return the 90 % band of a share with *a* cases for and *b* against."""
    from scipy.special import betaincinv  # noqa: PLC0415  (heavy; only the history needs it)

    a, b = max(a, 1e-3), max(b, 1e-3)
    return float(betaincinv(a, b, 0.05)), float(betaincinv(a, b, 0.95))


def quantile(values: Sequence[float], weights: Sequence[float], share: float) -> float:
    """Return a weighted quantile of sorted *values*, interpolated between their midpoints."""
    total = sum(weights)
    places, done = [], 0.0
    for weight in weights:
        places.append((done + 0.5 * weight) / total)
        done += weight
    if share <= places[0]:
        return values[0]
    for k in range(1, len(values)):
        if share <= places[k]:
            part = (share - places[k - 1]) / (places[k] - places[k - 1])
            return values[k - 1] + part * (values[k] - values[k - 1])
    return values[-1]


def median_ranks(n: int) -> tuple[int, int]:
    """Return the order statistics (0-based) that hold the median with about 90 %."""
    tail, first = 0.5**n, 0
    while first + 1 < n / 2:
        more = tail + math.comb(n, first + 1) * 0.5**n
        if more > 0.05:
            break
        tail, first = more, first + 1
    return first, n - 1 - first
