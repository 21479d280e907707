"""Orders: what shakes in step with the engine, the shaft or the wheels.

The least-squares fit works on the raw, irregular samples of any accelerometer: no resampling, so
nothing is lost near half the sampling rate. In each window W the samples are

    x(t) = c0 + c1 t + c2 t^2 + sum_k Re( A_k exp(i 2 pi phi_k(t)) ) + noise

with phi_k the turns of line k. The power that pure noise would put into the same projection is
measured beside the line, at +- a small shift in frequency (the local floor), and taken off: low
orders drown in road noise otherwise. Complex amplitudes are kept (phase against the line's own
turns), for balancing later.

Validity: the speed must be known on the accelerometer's clock to a small part of a turn of the
highest line (``clock_alignment``); lines nearer to each other than about 1/W cannot be told apart
in one window.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.model.recording import Floats

if TYPE_CHECKING:
    from scipy import stats
else:
    stats = late("scipy.stats")

__all__ = [
    "Level",
    "Windows",
    "fit_orders",
    "level",
    "order_windows",
    "turns",
]

Complex = npt.NDArray[np.complex128]

#: Shift of the projection that measures the local floor [Hz], for windows of 1 s and of 2 s.
_SHIFT = {1.0: 1.6, 2.0: 1.0}


@dataclass(frozen=True, slots=True)
class Windows:
    """Orders in successive windows.

    Attributes:
        time: shape (w,), middle of each window [s].
        amplitude: shape (w, lines, axes), complex, zero to peak [unit of the samples].
        floor: shape (w, lines, axes), mean square amplitude that noise alone puts there.
        samples: shape (w,), samples used.
        residual: shape (w, axes), mean square of what is left over.
    """

    time: Floats
    amplitude: Complex
    floor: Floats
    samples: npt.NDArray[np.int64]
    residual: Floats

    def power(self) -> Floats:
        """Return |A|^2 minus the floor, summed over the axes, shape (w, lines); may be < 0."""
        return np.asarray(np.sum(np.abs(self.amplitude) ** 2 - self.floor, axis=2))

    def take(self, rows: npt.NDArray[np.bool_]) -> Windows:
        """Return the windows of a mask."""
        return Windows(
            self.time[rows],
            self.amplitude[rows],
            self.floor[rows],
            self.samples[rows],
            self.residual[rows],
        )


@dataclass(frozen=True, slots=True)
class Level:
    """Amplitude of one line over many windows.

    Attributes:
        amplitude: zero to peak, all axes together [unit of the samples], 0 where the floor wins.
        low: lower end of the 95 % interval.
        high: upper end.
        windows: windows used.
        mean_square: mean of |A|^2 minus floor; keeps its sign.
        error: standard error of *mean_square*.
    """

    amplitude: float
    low: float
    high: float
    windows: int
    mean_square: float
    error: float

    def present(self) -> bool:
        """Say whether the interval excludes zero."""
        return self.low > 0.0


def turns(time: Floats, speed_time: Floats, speed: Floats) -> Floats:
    """Integrate a speed into turns at *time*, with the speed straight between its stamps.

    phi(t) = integral n/60 dt; outside the speed's stamps the result is NaN.

    Args:
        time: shape (n,) [s].
        speed_time: shape (m,), rising [s].
        speed: shape (m,) [r/min].

    Returns:
        Turns since the first speed stamp, shape (n,) [turns].
    """
    t = np.asarray(speed_time, dtype=np.float64)
    n = np.asarray(speed, dtype=np.float64) / 60.0
    if t.ndim != 1 or len(t) < 2 or t.shape != n.shape:
        raise ValueError("speed needs two or more stamps")
    step = np.diff(t)
    whole = np.concatenate(([0.0], np.cumsum(step * (n[:-1] + n[1:]) / 2.0)))
    x = np.asarray(time, dtype=np.float64)
    at = np.clip(np.searchsorted(t, x, side="right") - 1, 0, len(t) - 2)
    tau = x - t[at]
    slope = np.divide(np.diff(n), step, out=np.zeros_like(step), where=step > 0)
    out = whole[at] + n[at] * tau + 0.5 * slope[at] * tau**2
    return np.asarray(np.where((x < t[0]) | (x > t[-1]), np.nan, out))


def fit_orders(time: Floats, values: Floats, cycles: Floats, *, trend: int = 2) -> Complex:
    """Fit all lines at once to one stretch of raw samples.

    Args:
        time: shape (n,) [s], irregular allowed.
        values: shape (n,) or (n, axes).
        cycles: shape (n, lines), turns of each line [turns].
        trend: degree of the polynomial taken off.

    Returns:
        Complex zero-to-peak amplitudes, shape (lines,) or (lines, axes): the line is
        Re(A exp(i 2 pi cycles)).
    """
    values = np.asarray(values, dtype=np.float64)
    basis = _basis(time, cycles, trend)
    solution = _solve(basis, values if values.ndim == 2 else values[:, None])
    lines = cycles.shape[1]
    cos, sin = solution[trend + 1 : trend + 1 + lines], solution[trend + 1 + lines :]
    out = cos - 1j * sin
    return np.asarray(out if values.ndim == 2 else out[:, 0])


def order_windows(
    time: Floats,
    values: Floats,
    cycles: Floats,
    *,
    window: float = 2.0,
    hop: float | None = None,
    shift: float | None = None,
) -> Windows:
    """Fit all lines in successive windows, with the local noise floor of each.

    Args:
        time: shape (n,), rising [s].
        values: shape (n, axes).
        cycles: shape (n, lines) [turns], NaN where a line's turns are not known.
        window: length of a window [s].
        hop: from window to window [s]; default *window* (independent windows).
        shift: shift of the floor's projection [Hz]; default by the window.

    Returns:
        The windows that are at least 70 % covered by samples with known turns.
    """
    hop = window if hop is None else hop
    shift = _SHIFT.get(window, 2.0 / window) if shift is None else shift
    t = np.asarray(time, dtype=np.float64)
    known = np.all(np.isfinite(cycles), axis=1) & np.all(np.isfinite(values), axis=1)
    t, x, c = t[known], np.asarray(values, dtype=np.float64)[known], cycles[known]
    lines, axes = c.shape[1], x.shape[1]
    rows: list[tuple[float, Complex, Floats, int, Floats]] = []
    if len(t) >= 2:
        typical = window / max(float(np.median(np.diff(t))), 1e-9)
        starts = np.arange(t[0], t[-1] - 0.7 * window, hop)
        first = np.searchsorted(t, starts)
        last = np.searchsorted(t, starts + window)
        for start, i, j in zip(starts, first, last, strict=True):
            if j - i < max(0.7 * typical, 2.5 * (2 * lines + 3)):
                continue
            rows.append((start + window / 2, *_one(t[i:j], x[i:j], c[i:j], shift)))
    if not rows:
        empty = np.zeros((0, lines, axes))
        return Windows(
            np.zeros(0), empty.astype(complex), empty, np.zeros(0, int), np.zeros((0, axes))
        )
    mid, amplitude, floor, count, left = zip(*rows, strict=True)
    return Windows(
        np.asarray(mid), np.asarray(amplitude), np.asarray(floor), np.asarray(count),
        np.asarray(left),
    )  # fmt: skip


def level(power: Floats, *, coverage: float = 0.95) -> Level:
    """Return the amplitude of one line from its windows' floor-free powers.

    A t interval over the windows' mean squares, then the square root, cut off at zero.

    Args:
        power: shape (w,), |A|^2 minus floor of independent windows.
        coverage: of the interval.
    """
    n = len(power)
    mean = float(np.mean(power)) if n else 0.0
    if n < 2:
        return Level(_root(mean), 0.0, float("inf"), n, mean, float("inf"))
    error = float(np.std(power, ddof=1) / np.sqrt(n))
    half = float(stats.t.ppf(0.5 + coverage / 2, n - 1)) * error
    return Level(_root(mean), _root(mean - half), _root(mean + half), n, mean, error)


def _basis(time: Floats, cycles: Floats, trend: int) -> Floats:
    t = np.asarray(time, dtype=np.float64)
    span = max(float(t[-1] - t[0]), 1e-12)
    u = (2.0 * t - t[0] - t[-1]) / span
    angle = 2.0 * np.pi * np.asarray(cycles, dtype=np.float64)
    poly = np.vander(u, trend + 1, increasing=True)
    return np.hstack([poly, np.cos(angle), np.sin(angle)])


def _solve(basis: Floats, values: Floats) -> Floats:
    gram = basis.T @ basis
    # Two lines that coincide share their amplitude evenly instead of blowing up.
    gram[np.diag_indices_from(gram)] *= 1.0 + 1e-9
    return np.asarray(np.linalg.solve(gram, basis.T @ values))


def _one(t: Floats, x: Floats, c: Floats, shift: float) -> tuple[Complex, Floats, int, Floats]:
    basis = _basis(t, c, 2)
    solution = _solve(basis, x)
    lines = c.shape[1]
    amplitude = solution[3 : 3 + lines] - 1j * solution[3 + lines :]
    left = x - basis @ solution
    beside = np.exp(-2j * np.pi * c)
    turn = np.exp(2j * np.pi * shift * (t - t[0]))[:, None]
    scale = 2.0 / len(t)
    up, down = scale * (beside * turn).T @ left, scale * (beside / turn).T @ left
    floor = 0.5 * (np.abs(up) ** 2 + np.abs(down) ** 2)
    return amplitude, floor, len(t), np.mean(left**2, axis=0)


def _root(square: float) -> float:
    return float(np.sqrt(max(square, 0.0)))
