"""Measurement uncertainty and conformity to a band.

Sources: JCGM 100:2008 (Guide to the expression of uncertainty in measurement), 4.3.7 for the
rectangular distribution of an accuracy limit; JCGM 106:2012, clause 7 for the probability of
conformity with a normal distribution of what the measurand may be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

__all__ = [
    "Difference",
    "conformity_probability",
    "conformity_verdict",
    "difference",
    "from_accuracy_limit",
    "smallest_provable_change",
]

#: Two to one: from these odds on a verdict is spoken (common practice, no source).
SPOKEN_FROM = 2 / 3
_STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class Difference:
    """After minus before with its interval and the smallest change that could be proven.

    All in the unit of the readings.
    """

    value: float
    low: float
    high: float
    provable: float

    @property
    def shown(self) -> bool:
        """A change is shown: larger than provable, with an interval that excludes zero."""
        return abs(self.value) > self.provable and (self.low > 0 or self.high < 0)


def from_accuracy_limit(limit: float) -> float:
    """Return the standard uncertainty of an instrument that is right within ±*limit*.

    Rectangular distribution: u = limit / sqrt(3) (JCGM 100:2008, 4.3.7).

    Args:
        limit: half width of the accuracy band [unit of the reading], >= 0.
    """
    if limit < 0 or not math.isfinite(limit):
        raise ValueError("an accuracy limit is a finite number, not below zero")
    return limit / math.sqrt(3.0)


def conformity_probability(
    value: float, u: float, low: float | None = None, high: float | None = None
) -> float:
    """Return the probability that the true value lies in the band (JCGM 106:2012, 7.2-7.4).

    p = Phi((high - value)/u) - Phi((low - value)/u); an end that is ``None`` is open.

    Args:
        value: measured value [unit].
        u: standard uncertainty [unit], > 0; 0 gives 0 or 1.
        low: lower limit [unit] or ``None``.
        high: upper limit [unit] or ``None``.
    """
    if low is not None and high is not None and low > high:
        raise ValueError("the band's lower end lies above its upper end")
    if u < 0 or not math.isfinite(u) or not math.isfinite(value):
        raise ValueError("value and uncertainty are finite, the uncertainty not below zero")
    if u == 0.0:
        inside = (low is None or value >= low) and (high is None or value <= high)
        return 1.0 if inside else 0.0
    above = 0.0 if low is None else _below((low - value) / u)
    below = 1.0 if high is None else _below((high - value) / u)
    return max(0.0, below - above)


def conformity_verdict(probability: float) -> Literal["inside", "outside", "cannot tell"]:
    """Return the verdict spoken at this probability of conformity: two to one either way."""
    if probability >= SPOKEN_FROM:
        return "inside"
    return "outside" if probability <= 1 - SPOKEN_FROM else "cannot tell"


def difference(
    before: float,
    after: float,
    *,
    repeatability: float,
    u_before: float = 0.0,
    u_after: float = 0.0,
    same_instrument: bool,
    coverage: float = 0.95,
) -> Difference:
    """Return after - before with its interval.

    With the same instrument at the same port its bias cancels and only the repeatability of the
    two readings counts; with two instruments the accuracy of both is added (JCGM 100:2008, 5.2:
    correlated input quantities).

    Args:
        before: value before [unit].
        after: value after [unit].
        repeatability: standard deviation of one reading under repeat [unit], > 0.
        u_before: standard uncertainty of the first instrument's accuracy [unit].
        u_after: the same of the second.
        same_instrument: whether both were read off the same instrument.
        coverage: probability that the interval holds the true difference.
    """
    if repeatability <= 0:
        raise ValueError("no instrument repeats without any spread")
    variance = 2 * repeatability**2
    if not same_instrument:
        variance += u_before**2 + u_after**2
    half = _STANDARD.inv_cdf(0.5 + coverage / 2) * math.sqrt(variance)
    value = after - before
    provable = smallest_provable_change(math.sqrt(variance))
    return Difference(value, value - half, value + half, provable)


def smallest_provable_change(u_difference: float) -> float:
    """Return 2 u of a difference: below that a change is not shown (common practice, no source).

    Args:
        u_difference: standard uncertainty of the difference [unit].
    """
    return 2.0 * u_difference


def _below(z: float) -> float:
    """Return P(a standard normal is below z), exact in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
