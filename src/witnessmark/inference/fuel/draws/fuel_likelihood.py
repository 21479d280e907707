"""How likely readings are under every draw: the small errors and the error in shape taken out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    VACUUM,
    Observation,
    covariance,
    shape_error,
)
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI

__all__ = ["SHAPES", "log_likelihood", "over_shapes", "something_else"]

Floats = npt.NDArray[np.float64]

#: Factors on the error in shape of the model's curves, and their weights: how far a type is from
#: the model nobody knows before it is read. Judgement, settled as the error itself.
SHAPES = ((0.7, 0.5), (1.5, 0.5))


def log_likelihood(predictions: Floats, observations: Sequence[Observation]) -> Floats:
    """Return the log likelihood of every draw, the small errors integrated out."""
    return over_shapes(predictions, observations)[0]


def over_shapes(
    predictions: Floats, observations: Sequence[Observation]
) -> tuple[Floats, Floats, Floats]:
    """Return the log likelihood over the sizes of the error in shape, chi square, and a root.

    Chi square is that of the smallest size, which explains engines of other equations well
    enough; the root is of the covariance at the middle size.
    """
    shape = shape_error(observations)
    small = covariance(observations) - shape
    terms = []
    square = np.zeros(len(predictions))
    for number, (factor, weight) in enumerate(SHAPES):
        lower = _lower(small + factor**2 * shape)
        _, log_like, left = _gauss(predictions, observations, lower)
        terms.append(np.log(weight) + log_like)
        if not number:
            square = left
    found = terms[0]
    for term in terms[1:]:
        found = np.logaddexp(found, term)
    return found, square, _lower(small + shape)


def _gauss(
    predictions: Floats, observations: Sequence[Observation], root: Floats
) -> tuple[Floats, Floats, Floats]:
    value = np.array([o.value for o in observations])
    white = np.linalg.inv(root) @ (value - predictions).T
    square = np.einsum("ij,ij->j", white, white)
    norm = float(np.log(np.diag(root)).sum() + 0.5 * len(value) * np.log(2 * np.pi))
    return white, -0.5 * square - norm, square


def something_else(predictions: Floats, obs: Sequence[Observation]) -> Floats:
    """Return the likelihood under "something the model does not hold".

    The readings lie anywhere around a healthy engine's, pressures rather lower: common shift
    of -8 +- 10 psi, 5 psi of their own; flow and vacuum off by a third and 2 inHg. Judgement.
    """
    cov = covariance(obs)
    shift = np.zeros(len(obs))
    for i, a in enumerate(obs):
        pressure_a = a.quantity not in {FLOW, VACUUM, CHECK}
        if pressure_a:
            shift[i] = -8.0 * PSI
            cov[i, i] += (5.0 * PSI) ** 2
        elif a.quantity == FLOW:
            cov[i, i] += (0.33 * max(abs(a.value), 60.0 * L_PER_H)) ** 2
        elif a.quantity == VACUUM:
            cov[i, i] += (2.0 * 3386.389) ** 2
        for j, b in enumerate(obs):
            if pressure_a and b.quantity not in {FLOW, VACUUM, CHECK}:
                cov[i, j] += (10.0 * PSI) ** 2
    root = _lower(cov)
    return _gauss(predictions + shift, obs, root)[1]


def _lower(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
