"""Resistances side by side: the two ends of a data bus and what hangs on it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["parallel"]

Floats = npt.NDArray[np.float64]


def parallel(*ohms: Floats) -> Floats:
    """Return the resistance of resistances side by side [ohm]: 1/R is the sum of 1/R of each."""
    return np.asarray(1.0 / sum(1.0 / r for r in ohms))
