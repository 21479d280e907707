"""Frequency and damping of the crankshaft's twist mode, from orders over a slow sweep.

Every order k crosses the same mode at its own speed. Over the sweep its complex amplitude is

    A_k(n) = (a_k + b_k s) H(f) + c_k / f^2 + e_k,   f = k n / 60,
    H(f) = 1 / (1 - (f/f0)^2 + 2 i zeta f/f0)

with s the speed scaled to -1..1. (a + b s) H: the mode, driven by a gas torque that changes
slowly with speed; c/f^2: the rigid part; e: what does not change with speed, the tooth pattern
(integer orders) and the stiffer modes. f0 and zeta are common to all orders; the rest is linear
and is solved for at each (f0, zeta). The plane of (f0, zeta) is then weighed by the misfit, so the
result comes with its uncertainty.

Validity: one mode in 120-340 Hz (six-cylinder truck engines; first mode roughly 150-250 Hz by the
domain notes), linear, the same damping over the sweep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.twist.tooth_timing import Torsion

if TYPE_CHECKING:
    from scipy import interpolate
else:
    interpolate = late("scipy.interpolate")

__all__ = [
    "MODEL_ERROR",
    "SLOPE",
    "TwistMode",
    "binned_orders",
    "fit_twist_mode",
    "mode_curve",
    "sweep_scale",
]

Complex = npt.NDArray[np.complex128]

_FREQUENCIES = np.arange(130.0, 330.1, 4.0)
_DAMPINGS = np.exp(np.linspace(np.log(0.008), np.log(0.4), 36))
#: The model leaves out something; each amplitude is trusted to this part of the order's rms.
MODEL_ERROR = 0.05
#: Spread allowed for the slope b and the other terms, in units of a (judgement: gas harmonics
#: change by a third or less over the sweep at one load).
SLOPE = 0.35


@dataclass(frozen=True, slots=True)
class TwistMode:
    """The mode as fitted.

    Attributes:
        frequency: [Hz], middle of its distribution.
        frequency_low: 5 % point [Hz].
        frequency_high: 95 % point [Hz].
        damping: damping ratio [-], middle of its distribution.
        damping_low: 5 % point.
        damping_high: 95 % point.
        orders: orders used.
        covered: orders whose sweep passes the mode.
        misfit: mean squared misfit per degree of freedom [-], 1 where model and noise agree.
        signal: median over orders of (rms amplitude / noise) [-].
    """

    frequency: float
    frequency_low: float
    frequency_high: float
    damping: float
    damping_low: float
    damping_high: float
    orders: tuple[float, ...]
    covered: tuple[float, ...]
    misfit: float
    signal: float


def fit_twist_mode(
    torsion: Torsion, *, orders: Sequence[float] | None = None, lowest: float = 3.5
) -> TwistMode:
    """Fit the twist mode.

    Args:
        torsion: orders of a sweep.
        orders: orders to use; default every half order from *lowest* that stands out of the noise.
        lowest: lowest order used [-]; below it the orders are rigid rotation and cylinder balance.

    Raises:
        ValueError: fewer than 6 windows, or no order stands out of the noise.
    """
    speed, amplitude, error = binned_orders(torsion)
    if len(speed) < 6:
        raise ValueError("fewer than six speeds in the sweep")
    wanted = set(orders) if orders is not None else None
    used, grids, signals = [], [], []
    freedom = 0
    for column, k in enumerate(torsion.orders):
        if k < lowest or (wanted is not None and float(k) not in wanted):
            continue
        a = amplitude[:, column]
        signal = float(np.sqrt(np.mean(np.abs(a) ** 2)) / (np.sqrt(2) * np.median(error)))
        if signal < 3.0:
            continue
        sigma = np.sqrt(error**2 + (MODEL_ERROR**2) * np.mean(np.abs(a) ** 2) / 2)
        grids.append(_order_cost(k, speed, a, sigma, _FREQUENCIES, _DAMPINGS))
        used.append(float(k))
        signals.append(signal)
        freedom += 2 * len(speed) - 6
    if not used:
        raise ValueError("no order stands out of the noise")
    cost = np.sum(grids, axis=0)
    best = np.unravel_index(int(np.argmin(cost)), cost.shape)
    misfit = float(cost[best]) / max(freedom, 1)
    # A model that misses something must not look sharper than it is.
    cost = (cost - cost[best]) / max(misfit, 1.0)
    fine_f, fine_z, weight = _refine(cost)
    f_mid, f_low, f_high = _quantiles(fine_f, weight.sum(axis=1))
    z_mid, z_low, z_high = _quantiles(fine_z, weight.sum(axis=0))
    reach = [(k * speed.min() / 60, k * speed.max() / 60) for k in used]
    covered = tuple(k for k, (a, b) in zip(used, reach, strict=True) if a < f_mid < b)
    return TwistMode(
        f_mid, f_low, f_high, float(np.exp(z_mid)), float(np.exp(z_low)), float(np.exp(z_high)),
        tuple(used), covered, misfit, float(np.median(signals)),
    )  # fmt: skip


def mode_curve(
    torsion: Torsion, mode: TwistMode, order: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return one order over the sweep and its fit, for the picture.

    Args:
        torsion: orders of the sweep.
        mode: the mode fitted to it.
        order: the order wanted [-].

    Returns:
        Speeds [r/min], measured amplitude, its error (1 sd) and fitted amplitude [rad].
    """
    speed, amplitude, error = binned_orders(torsion)
    column = int(np.argmin(np.abs(torsion.orders - order)))
    a = amplitude[:, column]
    sigma = np.sqrt(error**2 + (MODEL_ERROR**2) * np.mean(np.abs(a) ** 2) / 2)
    basis = _basis(order, speed, np.array([[mode.frequency]]), np.array([[mode.damping]]))[0]
    prior = _prior(basis, a, sigma)
    scaled = basis / sigma[:, None]
    gram = scaled.conj().T @ scaled + np.diag(prior)
    fit = np.linalg.solve(gram, scaled.conj().T @ (a / sigma))
    return speed, np.abs(a), error, np.abs(basis @ fit)


def binned_orders(torsion: Torsion) -> tuple[Floats, Complex, Floats]:
    """Average the windows that fall into the same 25 r/min, so that long sweeps stay quick.

    Args:
        torsion: orders of the sweep.

    Returns:
        Speeds [r/min], complex amplitudes (speeds, orders) and their error a component [rad].
    """
    place = np.rint(torsion.rpm / 25.0).astype(int)
    values = np.unique(place)
    speed, amplitude, error = [], [], []
    for value in values:
        here = place == value
        weight = 1.0 / np.maximum(torsion.error[here], 1e-12) ** 2
        weight /= weight.sum()
        speed.append(float(weight @ torsion.rpm[here]))
        amplitude.append(weight @ torsion.amplitude[here])
        error.append(float(np.sqrt(np.sum((weight * torsion.error[here]) ** 2))))
    return np.asarray(speed), np.asarray(amplitude), np.asarray(error)


def sweep_scale(speed: Floats) -> Floats:
    """Return the speeds scaled to -1..1 over the sweep.

    Args:
        speed: [r/min].
    """
    return np.asarray((2 * speed - speed.max() - speed.min()) / max(float(np.ptp(speed)), 1e-9))


def _basis(order: float, speed: Floats, f0: Floats, zeta: Floats) -> Complex:
    """The linear terms at every (f0, zeta), shape (grid, speeds, 4)."""
    f = order * speed / 60.0
    s = sweep_scale(speed)
    r = f / f0.reshape(-1, 1)
    h = 1.0 / (1.0 - r**2 + 2j * zeta.reshape(-1, 1) * r)
    rigid = np.broadcast_to((f.mean() / f) ** 2, h.shape)
    flat = np.ones_like(h)
    return np.stack([h, s * h, rigid, flat], axis=2)


def _prior(basis: Complex, a: Complex, sigma: Floats) -> Floats:
    """Weak pull of the terms towards zero, against the size of the order itself.

    The slope may be a third of the mode's own term; the other two may each be as large as the
    order. Without it the terms can mimic a mode of any damping.
    """
    del sigma
    size = float(np.sqrt(np.mean(np.abs(a) ** 2)))
    mode = size / float(np.sqrt(np.mean(np.abs(basis[..., 0]) ** 2)))
    return np.array([0.0, 1 / (SLOPE * mode) ** 2, 1 / size**2, 1 / size**2])


def _order_cost(
    order: float, speed: Floats, a: Complex, sigma: Floats, frequencies: Floats, dampings: Floats
) -> Floats:
    """Misfit of one order at every (f0, zeta), shape (frequencies, dampings)."""
    f0, zeta = (x.ravel() for x in np.meshgrid(frequencies, dampings, indexing="ij"))
    f = order * speed / 60.0
    s = sweep_scale(speed)
    rigid = (f.mean() / f) ** 2
    r = f / f0[:, None]
    h = 1.0 / (1.0 - r**2 + 2j * zeta[:, None] * r)
    w = 1.0 / sigma**2
    # Every entry of the normal equations is a sum over speeds of |h|^2, of h, or of neither.
    square = np.real(h * h.conj())
    own = square @ np.stack([w, w * s, w * s * s], axis=1)
    mixed = h.conj() @ np.stack([w * rigid, w, w * s * rigid, w * s, w * a, w * s * a], axis=1)
    size = float(np.mean(np.abs(a) ** 2))
    gram = np.empty((len(f0), 4, 4), complex)
    gram[:, 0, 0] = own[:, 0]
    gram[:, 0, 1] = gram[:, 1, 0] = own[:, 1]
    gram[:, 1, 1] = own[:, 2] + square.mean(axis=1) / (SLOPE**2 * size)
    gram[:, 0, 2], gram[:, 0, 3] = mixed[:, 0], mixed[:, 1]
    gram[:, 1, 2], gram[:, 1, 3] = mixed[:, 2], mixed[:, 3]
    gram[:, 2:, :2] = gram[:, :2, 2:].conj().transpose(0, 2, 1)
    gram[:, 2, 2] = np.sum(w * rigid**2) + 1.0 / size
    gram[:, 2, 3] = gram[:, 3, 2] = np.sum(w * rigid)
    gram[:, 3, 3] = np.sum(w) + 1.0 / size
    gram[:, range(4), range(4)] *= 1.0 + 1e-12
    right = np.empty((len(f0), 4), complex)
    right[:, :2] = mixed[:, 4:]
    right[:, 2], right[:, 3] = np.sum(w * rigid * a), np.sum(w * a)
    solved = np.linalg.solve(gram, right[:, :, None])[:, :, 0]
    explained = np.real(np.sum(right.conj() * solved, axis=1))
    rest = np.asarray(float(np.sum(w * np.abs(a) ** 2)) - explained)
    return rest.reshape(len(frequencies), len(dampings))


def _refine(cost: Floats) -> tuple[Floats, Floats, Floats]:
    """Weights exp(-cost/2) on a finer grid of frequency and log damping."""
    log_z = np.log(_DAMPINGS)
    spline = interpolate.RectBivariateSpline(_FREQUENCIES, log_z, cost, kx=3, ky=3)
    f = np.linspace(_FREQUENCIES[0], _FREQUENCIES[-1], 801)
    z = np.linspace(log_z[0], log_z[-1], 401)
    fine = spline(f, z)
    return f, z, np.exp(-0.5 * (fine - fine.min()))


def _quantiles(x: Floats, weight: Floats) -> tuple[float, float, float]:
    total = np.cumsum(weight)
    total = total / total[-1]
    mid, low, high = (float(np.interp(q, total, x)) for q in (0.5, 0.05, 0.95))
    return mid, low, high
