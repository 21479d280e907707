"""How far a model's curves may be from the machine's: an error in shape, smooth along the curve.

A model that is sharp in its parameters and taken for true gets surer with every reading, also of
what is wrong with itself. So the machine's curve is the model's plus a smooth error with a stated
size: readings near each other share it, readings far apart do not, and it stays the same when a
part is renewed. Many sharp readings then settle the parts, and never the physics. M. C. Kennedy
and A. O'Hagan, Bayesian calibration of computer models, J. R. Stat. Soc. B 63 (2001) 425, is the
usual source (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Place", "shape_covariance"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Place:
    """Where on a model's curves a reading stands.

    Attributes:
        kind: the curve; ``""`` for a reading that is none of the model's.
        size: standard deviation of the error in shape there [unit of the reading].
        at: place along the curve, in lengths over which the error changes [-].
    """

    kind: str
    size: float
    at: tuple[float, ...]


def shape_covariance(places: Sequence[Place], kinship: Callable[[str, str], float]) -> Floats:
    """Return the covariance of the error in shape at *places*, (n, n) [units of the readings].

    Args:
        places: one for each reading.
        kinship: how much two different curves share, 0 to 1. It has to be a correlation itself
            (the matrix over all kinds positive semidefinite), for the result is its product with
            a bell over the places.
    """
    n = len(places)
    found = np.zeros((n, n))
    for i, a in enumerate(places):
        for j, b in enumerate(places[: i + 1]):
            if not a.kind or not b.kind:
                continue
            kin = 1.0 if a.kind == b.kind else kinship(a.kind, b.kind)
            apart = sum((x - y) ** 2 for x, y in zip(a.at, b.at, strict=True))
            found[i, j] = found[j, i] = a.size * b.size * kin * float(np.exp(-0.5 * apart))
    return found
