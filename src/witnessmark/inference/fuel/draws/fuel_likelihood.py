"""How likely readings are under every draw: the small errors and the error in shape taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.fuel_groups import SUCTION
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    VACUUM,
    Observation,
    covariance,
    shape_error,
)
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI

__all__ = ["SHAPES", "ErrorLaw", "log_likelihood", "log_unsteady", "unsteady_stages"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: A needle swings when it goes so far to either side; how often it does without a reason, before a
#: restriction that lets the fuel boil, and with much air; and the air with which it does half as
#: often again between these. Judgement, no source.
_SWINGS = 2.0 * PSI
_BEATS, _BOILS, _FOAMS, _FOAM = 0.06, 0.20, 0.85, 0.04

#: Factors on the error in shape of the model's curves, and their weights: how far a type is from
#: the model nobody knows before it is read. Judgement, settled as the error itself.
SHAPES = ((0.7, 0.5), (1.5, 0.5))
_HALF = 0.5 * float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class ErrorLaw:
    """The law of the errors of m readings, worked out once for all draws and rounds.

    The covariance is one of small errors plus a factor squared on one of the error in shape. One
    change of coordinates makes the first the unit matrix and the second diagonal, so every factor
    of ``SHAPES`` costs a sum and no matrix.

    Attributes:
        value: the readings, shape (m,).
        whitens: makes the small errors independent and of unit size, shape (m, m).
        spread: variance of the error in shape at factor 1 in those coordinates, shape (m,).
        log_scale: half the log determinant of the small errors' covariance.
        root: lower root of the covariance at factor 1, shape (m, m).
        other_shift: what "something else" adds to the predictions, shape (m,).
        other_root: lower root of its covariance, shape (m, m).
    """

    value: Floats
    whitens: Floats
    spread: Floats
    log_scale: float
    root: Floats
    other_shift: Floats
    other_root: Floats

    @classmethod
    def of(cls, observations: Sequence[Observation]) -> ErrorLaw:
        """Return the law of some readings."""
        shape = shape_error(observations)
        whole = covariance(observations)
        lower = _lower(whole - shape)
        inverse = np.linalg.inv(lower)
        spread, turned = np.linalg.eigh(inverse @ shape @ inverse.T)
        shift, other = _something_else(observations, whole)
        return cls(
            value=np.array([o.value for o in observations]),
            whitens=np.asarray(turned.T @ inverse, dtype=np.float64),
            spread=np.maximum(spread, 0.0),
            log_scale=float(np.log(np.diag(lower)).sum()),
            root=_lower(whole),
            other_shift=shift,
            other_root=_lower(other),
        )

    def over_shapes(self, predictions: Floats) -> tuple[Floats, Floats]:
        """Return the log likelihood over the sizes of the error in shape, and chi square.

        Chi square is that of the smallest size, which explains engines of other equations well
        enough.

        Args:
            predictions: shape (n, m).
        """
        left = np.square(self.whitens @ (self.value - predictions).T)  # (m, n)
        terms, squares = [], []
        for factor, weight in SHAPES:
            variance = 1.0 + factor**2 * self.spread
            squares.append(np.asarray((1.0 / variance) @ left, dtype=np.float64))
            norm = self.log_scale + 0.5 * float(np.log(variance).sum()) + len(variance) * _HALF
            terms.append(np.log(weight) - norm - 0.5 * squares[-1])
        found = terms[0]
        for term in terms[1:]:
            found = np.logaddexp(found, term)
        return np.asarray(found, dtype=np.float64), squares[0]

    def something_else(self, predictions: Floats) -> Floats:
        """Return the log likelihood under "something the model does not hold", shape (n,).

        Args:
            predictions: of healthy engines, shape (n, m).
        """
        left = self.value - self.other_shift - predictions
        square = np.square(np.linalg.inv(self.other_root) @ left.T).sum(axis=0)
        norm = float(np.log(np.diag(self.other_root)).sum()) + len(self.value) * _HALF
        return np.asarray(-0.5 * square - norm, dtype=np.float64)


def log_likelihood(predictions: Floats, observations: Sequence[Observation]) -> Floats:
    """Return the log likelihood of every draw, the small errors integrated out."""
    return ErrorLaw.of(observations).over_shapes(predictions)[0]


def _something_else(obs: Sequence[Observation], whole: Floats) -> tuple[Floats, Floats]:
    """Return shift and covariance of readings under "something the model does not hold".

    The readings lie anywhere around a healthy engine's, pressures rather lower: common shift
    of -8 +- 10 psi, 5 psi of their own; flow and vacuum off by a third and 2 inHg. Judgement.
    """
    cov = whole.copy()
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
    return shift, cov


def unsteady_stages(observations: Sequence[Observation]) -> tuple[int, ...]:
    """Return the stages in which a pressure was read off a needle that swung."""
    pressures = (o for o in observations if o.quantity not in {FLOW, VACUUM, CHECK})
    return tuple(sorted({o.stage for o in pressures if o.swing >= _SWINGS}))


def log_unsteady(air: Floats, labels: Ints) -> Floats:
    """Return log P(the needle swings) of every draw; a steady one says nothing here.

    Args:
        air: share of the pump's volume that is air, (n,).
        labels: set of groups at fault, as bits, (n,).
    """
    calm = np.where((labels >> SUCTION) & 1 == 1, _BOILS, _BEATS)
    foam = 1.0 - np.exp2(-np.maximum(air - 0.004, 0.0) / _FOAM)
    return np.asarray(np.log(calm + (_FOAMS - calm) * foam))


def _lower(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
