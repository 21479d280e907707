"""Shares with Wilson's 95 % interval (Wilson 1927, J. Am. Stat. Assoc. 22:209), for the tables."""

from __future__ import annotations

import math


def wilson(count: int, of: int, z: float = 1.959964) -> tuple[float, float]:
    """Return the interval of a share."""
    if of == 0:
        return 0.0, 1.0
    p = count / of
    middle = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return max(middle - half, 0.0), min(middle + half, 1.0)


def share(count: int, of: int) -> str:
    """Return the share in words: count of n, per cent, interval."""
    if of == 0:
        return "none"
    low, high = wilson(count, of)
    return f"{count} of {of}: {100 * count / of:.0f} % ({100 * low:.0f} to {100 * high:.0f})"
