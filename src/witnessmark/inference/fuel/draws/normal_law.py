"""The normal and the chi-square distribution where a short answer must not wait for scipy."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

__all__ = ["chi_square_quantile", "share_below"]

Floats = npt.NDArray[np.float64]

#: Steps of the table of the normal law, and its ends; beyond them nothing is left.
_STEP, _END = 1.0 / 64.0, 9.0


def share_below(x: Floats) -> Floats:
    """Return P(a standard normal lies below x), to 1e-9.

    Read off a table with the density as slope: a cubic between two rows is wrong by less than
    step**4 / 384 times the law's fourth derivative, 1e-10.
    """
    inside = np.clip(x, -_END, _END)
    row = np.minimum(((inside + _END) / _STEP).astype(np.intp), len(_table()[0]) - 2)
    below, density = _table()
    t = (inside + _END) / _STEP - row
    a, b = below[row], below[row + 1]
    at, bt = _STEP * density[row], _STEP * density[row + 1]
    rise = b - a
    return np.asarray(a + t * (at + t * (3.0 * rise - 2.0 * at - bt + t * (at + bt - 2.0 * rise))))


@lru_cache(maxsize=256)
def chi_square_quantile(count: int, share: float) -> float:
    """Return what the sum of *count* squared standard normals stays below with chance *share*.

    The survival function has a closed form that climbs by two at a time (Abramowitz and Stegun
    26.4.4 and 26.4.5); it is inverted by halving.
    """
    low, high = 0.0, 10.0 * count + 100.0
    while high - low > 1e-13 * high:
        middle = 0.5 * (low + high)
        if middle in {low, high}:
            break
        low, high = (middle, high) if _beyond(middle, count) > 1.0 - share else (low, middle)
    return 0.5 * (low + high)


def _beyond(x: float, count: int) -> float:
    """Return P(the sum of *count* squared standard normals is above x)."""
    half = 0.5 * x
    odd = count % 2
    tail = math.erfc(math.sqrt(half)) if odd else math.exp(-half)
    for power in np.arange(0.5 if odd else 1.0, 0.5 * count, 1.0).tolist():
        tail += math.exp(power * math.log(half) - half - math.lgamma(power + 1.0))
    return tail


@lru_cache(maxsize=1)
def _table() -> tuple[Floats, Floats]:
    """Return P(below) and the density at every step."""
    x = np.arange(round(2.0 * _END / _STEP) + 1) * _STEP - _END
    below = np.asarray([0.5 * math.erfc(-v / math.sqrt(2.0)) for v in x.tolist()])
    return below, np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
