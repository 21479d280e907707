"""Counts with a stated blur: the discrete Laplace distribution, drawn exactly.

A count that one customer can move by at most *most* is published with noise Z, where P(Z = z) goes
with exp(-abs(z) * epsilon / most). Then whatever is published is at most exp(epsilon) times as
probable with the customer as without him (Ghosh, Roughgarden and Sundararajan 2012, "Universally
utility-maximizing privacy mechanisms"). The drawing is Algorithm 2 of Canonne, Kamath and Steinke
2020, "The discrete Gaussian for differential privacy": whole numbers only, so that no rounding of
a machine's numbers lets anything through (Mironov 2012). Both sources from memory.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import numpy.typing as npt

__all__ = ["Counts", "blurred", "discrete_laplace", "variance"]

Counts = npt.NDArray[np.int64]
#: Draws a whole number below its argument.
Below = Callable[[int], int]


def discrete_laplace(scale: Fraction, below: Below = secrets.randbelow) -> int:
    """Draw one whole number with P(z) proportional to exp(-abs(z) / scale).

    Args:
        scale: above 0; what one customer can move, over epsilon.
        below: source of chance; the machine's own secure one.

    Raises:
        ValueError: a scale of 0 or less.
    """
    if scale <= 0:
        raise ValueError("the scale of a blur is above 0")
    t, s = scale.numerator, scale.denominator
    while True:
        u = below(t)
        if not _true_in_exp(u, t, below):
            continue
        v = 0
        while _true_in_exp(1, 1, below):
            v += 1
        size = (u + t * v) // s
        if below(2):
            return size
        if size:  # a nought would otherwise come twice as often
            return -size


def blurred(counts: Counts, scale: Fraction, below: Below = secrets.randbelow) -> Counts:
    """Return counts of any shape, each with a noise of its own.

    Every count of the table is blurred, the noughts too: which ones are there would otherwise tell.
    """
    noise = [discrete_laplace(scale, below) for _ in range(counts.size)]
    return counts + np.asarray(noise, np.int64).reshape(counts.shape)


def variance(scale: float) -> float:
    """Return the variance of the noise: 2 q / (1 - q)^2 with q = exp(-1 / scale)."""
    q = float(np.exp(-1.0 / scale))
    return 2.0 * q / (1.0 - q) ** 2


def _true_in_exp(numerator: int, denominator: int, below: Below) -> bool:
    """Return true with probability exp(-numerator / denominator), at most 1 in the exponent."""
    k = 1
    while below(denominator * k) < numerator:
        k += 1
    return k % 2 == 1
