"""Two modes in the band of the crankshaft's twist: which part of the damping is whose.

An accessory drive, or anything else that hangs on the crankshaft with a mode of its own near the
twist mode, splits it in two: the damper's losses are then shared between both, and a single mode
fitted to them reads far too low. Here two modes are fitted to all orders together,

    A_k(n) = sum_m (a_km + b_km s) H_m(f) + c_k / f^2 + e_k,    m = 1, 2

(names as in ``twist_mode``). The damping that is told is that of the less damped of the two: a
branch with losses of its own damps one of them whether the crankshaft's damper works or not, so
their sum says nothing of the damper.

Validity: as ``twist_mode``; the second mode must be worth it (``WORTH``), lie inside the band, 4 %
or more from the first and carry at least a fifth of its part; otherwise there is no pair.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.twist.tooth_timing import Torsion
from witnessmark.physics.vibration.twist.twist_mode import (
    MODEL_ERROR,
    SLOPE,
    TwistMode,
    binned_orders,
    sweep_scale,
)

if TYPE_CHECKING:
    from scipy import optimize, stats
else:
    optimize = late("scipy.optimize")
    stats = late("scipy.stats")

__all__ = ["WORTH", "TwistPair", "fit_twist_pair", "pair_curve"]

Complex = npt.NDArray[np.complex128]

#: Log likelihood that a second mode must add (four parameters common to all orders and four numbers
#: an order: where there is one mode only, 95 % of the fits in the study's truth stay under this).
WORTH = 20.0
_LEAST_PART = 0.2
#: Nearer to each other than this part, two modes are one whose shape the model misses.
_APART = 0.04
_BAND, _DAMPING = (95.0, 340.0), (0.004, 0.27)
#: Where the search for the second mode starts [Hz].
_STARTS = (110.0, 150.0, 200.0, 250.0, 300.0)


@dataclass(frozen=True, slots=True)
class TwistPair:
    """Two modes as fitted.

    Attributes:
        frequency: both [Hz], the one with the larger part first.
        single: damping ratio of each [-].
        damping: the lesser of the two [-].
        damping_low: 5 % point of it.
        damping_high: 95 % point of it.
        gain: log likelihood added over one mode.
        misfit: mean squared misfit per degree of freedom [-].
    """

    frequency: tuple[float, float]
    single: tuple[float, float]
    damping: float
    damping_low: float
    damping_high: float
    gain: float
    misfit: float


@dataclass(frozen=True, slots=True)
class _Orders:
    """What is fitted: orders x speeds."""

    frequency: Floats
    scale: Floats
    amplitude: Complex
    sigma: Floats
    size: Floats


def fit_twist_pair(torsion: Torsion, one: TwistMode) -> TwistPair | None:
    """Fit two modes; ``None`` where a second mode is not worth it or is none of this band.

    Args:
        torsion: orders of the sweep.
        one: the single mode fitted to it.
    """
    data = _gather(torsion, one)
    low = np.array([_BAND[0], np.log(_DAMPING[0])] * 2)
    high = np.array([_BAND[1], np.log(_DAMPING[1])] * 2)
    single = np.array([one.frequency, np.log(np.clip(one.damping, 0.006, 0.25))])
    narrow = np.log(0.015)
    tried = [np.array([*single, f, narrow]) for f in _STARTS]
    tried.append(np.array([200.0, np.log(0.15), *single]))

    def misfit_at(p: Floats) -> Floats:
        return _residual(p, data)[0]

    def search(start: Floats, most: int) -> optimize.OptimizeResult:
        return optimize.least_squares(
            misfit_at, np.clip(start, low + 1e-6, high - 1e-6), bounds=(low, high),
            x_scale=[10.0, 0.3, 10.0, 0.3], max_nfev=most,
        )  # fmt: skip

    # Every start a few steps, the best two to the end.
    first = sorted((search(start, 7) for start in tried), key=lambda fit: float(fit.cost))
    best = min((search(fit.x, 30) for fit in first[:2]), key=lambda fit: float(fit.cost))
    alone = 0.5 * float(np.sum(_residual(single, data)[0] ** 2))
    gain = alone - float(best.cost)
    parts = _residual(best.x, data)[1]
    inside = all(
        np.all(np.abs(best.x[2 * m] - np.array(_BAND)) > 1.0)
        and best.x[2 * m + 1] < np.log(_DAMPING[1]) - 1e-3
        for m in (0, 1)
    )
    if gain < WORTH or not inside or parts.min() < _LEAST_PART * parts.max():
        return None
    if abs(np.log(best.x[0] / best.x[2])) < _APART:
        return None
    damping = np.exp(best.x[[1, 3]])
    misfit = 2.0 * float(best.cost) / max(data.amplitude.size * 2 - 10 * len(data.size) - 4, 1)
    lesser = int(np.argmin(damping))
    spread = _spread(np.asarray(best.jac), max(misfit, 1.0))[lesser]
    least = float(damping[lesser])
    wide = float(np.exp(min(stats.norm.ppf(0.95) * spread, 3.0)))
    a, b = (0, 1) if parts[0] >= parts[1] else (1, 0)
    return TwistPair(
        (float(best.x[2 * a]), float(best.x[2 * b])), (float(damping[a]), float(damping[b])),
        least, least / wide, least * wide, gain, misfit,
    )  # fmt: skip


def pair_curve(torsion: Torsion, one: TwistMode, pair: TwistPair, order: float) -> Floats:
    """Return the amplitude that two modes give one order at the speeds of the sweep [rad].

    Args:
        torsion: orders of the sweep.
        one: the single mode fitted to it (its orders are used).
        pair: the two modes.
        order: the order wanted, one of the mode's [-].
    """
    data = _gather(torsion, one)
    p = np.array([pair.frequency[0], np.log(pair.single[0]),
                  pair.frequency[1], np.log(pair.single[1])])  # fmt: skip
    row = one.orders.index(order)
    basis, fit = _solved(p, data)
    return np.asarray(np.abs(data.sigma[row] * (basis[row] @ fit[row, :, 0])))


def _spread(jacobian: Floats, misfit: float) -> tuple[float, float]:
    """Standard deviation of the logarithm of each damping [-]."""
    inner = jacobian.T @ jacobian
    inner[np.diag_indices_from(inner)] *= 1.0 + 1e-9
    own = np.sqrt(np.maximum(np.diag(np.linalg.pinv(inner) * misfit), 0.0))
    return float(own[1]), float(own[3])


def _gather(torsion: Torsion, one: TwistMode) -> _Orders:
    speed, amplitude, error = binned_orders(torsion)
    columns = [int(np.argmin(np.abs(torsion.orders - k))) for k in one.orders]
    a = amplitude[:, columns].T
    size = np.sqrt(np.mean(np.abs(a) ** 2, axis=1))
    sigma = np.sqrt(error**2 + (MODEL_ERROR * size[:, None]) ** 2 / 2)
    frequency = np.asarray(one.orders)[:, None] * speed / 60.0
    return _Orders(frequency, sweep_scale(speed), a, sigma, size)


def _residual(p: Floats, data: _Orders) -> tuple[Floats, Floats]:
    """Weighted misfit with the pull of the priors, and each mode's part of the whole."""
    whole, right, basis, fit = _system(p, data)
    rest = (right - (whole @ fit)[:, :, 0]).ravel()
    parts = [
        np.linalg.norm(basis[:, :, 2 * m : 2 * m + 2] @ fit[:, 2 * m : 2 * m + 2])
        for m in range(len(p) // 2)
    ]
    return np.concatenate([rest.real, rest.imag]), np.asarray(parts)


def _solved(p: Floats, data: _Orders) -> tuple[Complex, Complex]:
    """Weighted terms of every order and their amplitudes."""
    _, _, basis, fit = _system(p, data)
    return basis, fit


def _system(p: Floats, data: _Orders) -> tuple[Complex, Complex, Complex, Complex]:
    """Terms with their priors, what they should give, the terms alone, and the solution."""
    f, count = data.frequency, len(p) // 2
    columns: list[Complex] = []
    pull: list[Floats] = []
    for m in range(count):
        r = f / p[2 * m]
        h = np.asarray(1.0 / (1.0 - r**2 + 2j * np.exp(p[2 * m + 1]) * r), np.complex128)
        own = data.size / np.sqrt(np.mean(np.abs(h) ** 2, axis=1))
        columns += [h, np.asarray(data.scale * h, np.complex128)]
        pull += [np.zeros_like(own) if m == 0 else 1.0 / (3.0 * own), 1.0 / (SLOPE * own)]
    columns += [
        np.asarray((f.mean(axis=1, keepdims=True) / f) ** 2 + 0j),
        np.ones(f.shape, complex),
    ]
    pull += [1.0 / data.size, 1.0 / data.size]
    basis = np.stack(columns, axis=2) / data.sigma[:, :, None]
    terms = basis.shape[2]
    tie = np.zeros((len(f), terms, terms), complex)
    tie[:, range(terms), range(terms)] = np.stack(pull, axis=1)
    whole = np.concatenate([basis, tie], axis=1)
    right = np.concatenate([data.amplitude / data.sigma, np.zeros((len(f), terms))], axis=1)
    turned = whole.conj().transpose(0, 2, 1)
    gram = turned @ whole
    gram[:, range(terms), range(terms)] *= 1.0 + 1e-12
    fit = np.linalg.solve(gram, turned @ right[:, :, None])
    return whole, right, basis, fit
