"""Torsional vibration from the times at which a wheel's marks pass.

In windows of whole engine cycles the times are fitted as a smooth function of the marks' angle
plus orders; a time that comes early by dt is a twist of Omega dt. Because the marks are places in
angle, orders are exact harmonics whatever the speed does in between, and the phase of every order
stays tied to the crank through the whole sweep.

Validity: the speed changes little within a window (2 cycles; a sweep of 10 s or more); highest
order below marks/2.5 (``highest_order``).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.twist.tooth_edges import Marks

__all__ = ["Torsion", "highest_order", "tooth_pattern", "torsion"]

Complex = npt.NDArray[np.complex128]
_CYCLES = 2
_TREND = 3


@dataclass(frozen=True, slots=True)
class Torsion:
    """Orders of the twist, window by window.

    Attributes:
        rpm: shape (w,), mean engine speed of each window [r/min].
        time: shape (w,), middle [s].
        orders: shape (k,), multiples of crank speed [-].
        amplitude: shape (w, k), complex zero to peak [rad]; the twist is
            Re(A exp(i k theta)) with theta the crank angle of the marks.
        error: shape (w,), standard deviation of one component of each amplitude [rad].
        scatter: shape (w,), rms of what no order explains, a mark [rad].
        places: places on the wheel.
    """

    rpm: Floats
    time: Floats
    orders: Floats
    amplitude: Complex
    error: Floats
    scatter: Floats
    places: int

    def order(self, k: float) -> Complex:
        """Return the amplitude of one order in every window, shape (w,) [rad].

        Raises:
            KeyError: that order was not fitted.
        """
        at = np.flatnonzero(np.abs(self.orders - k) < 1e-6)
        if not len(at):
            raise KeyError(k)
        return self.amplitude[:, at[0]]


def highest_order(places: int) -> float:
    """Return the highest order a wheel can show: places / 2.5, down to a half order."""
    return float(np.floor(2.0 * places / 2.5) / 2.0)


def torsion(marks: Marks, *, top: float = 12.0, pattern: Floats | None = None) -> Torsion:
    """Fit the half orders up to *top* in successive windows of two engine cycles.

    Args:
        marks: the marks as they passed.
        top: highest order wanted [-]; cut to what the wheel can show.
        pattern: shape (places,), where the marks really are minus where they should be [rad], as
            from :func:`tooth_pattern`; ``None`` for an even wheel.

    Raises:
        ValueError: less than one window of marks.
    """
    top = min(top, highest_order(marks.places))
    orders = np.arange(1, int(2 * top) + 1) / 2.0
    span = 2 * _CYCLES * marks.places
    start = int(np.ceil(marks.place[0] / (2 * marks.places)) * 2 * marks.places)
    bounds = np.arange(start, marks.place[-1] + 1, span)
    if len(bounds) < 2 or not len(orders):
        raise ValueError("less than two engine cycles of marks")
    edges = np.searchsorted(marks.place, bounds)
    angle = marks.angle()
    if pattern is not None:
        angle = angle + pattern[marks.place % marks.places]
    rows = []
    solver: dict[bytes, tuple[Floats, Floats]] = {}
    for i, j in pairwise(edges):
        if j - i < 0.6 * span:
            continue
        rows.append(_window(marks, angle, int(i), int(j), orders, solver, pattern is None))
    if not rows:
        raise ValueError("too many marks are missing")
    rpm, time, amplitude, error, scatter = (np.asarray(c) for c in zip(*rows, strict=True))
    return Torsion(rpm, time, orders, amplitude, error, scatter, marks.places)


def tooth_pattern(marks: Marks) -> tuple[Floats, Floats]:
    """Return where the marks are on the wheel against even spacing, and how well that is known.

    The mean deviation of every place over all turns, after each turn's smooth speed. Whatever the
    engine itself repeats every turn in the same way (integer orders at one speed) is in it too:
    take it from a slow sweep, or from coasting; half orders are never touched.

    Args:
        marks: marks of a wheel with an index, ten turns or more.

    Returns:
        Deviation, shape (places,) [rad], NaN at gaps, mean zero; and its standard error [rad].
    """
    turns = (marks.place[-1] - marks.place[0]) // marks.places
    if turns < 10:
        raise ValueError("ten turns or more are needed for the pattern of a wheel")
    angle = marks.angle()
    rest = np.full(len(angle), np.nan)
    span = 4 * marks.places
    for left in range(int(marks.place[0]), int(marks.place[-1]), span):
        i, j = np.searchsorted(marks.place, (left, left + span))
        if j - i < 0.5 * span:
            continue
        t, a = marks.time[i:j], angle[i:j]
        u = (a - a.mean()) / np.ptp(a)
        basis = np.vander(u, _TREND + 1)
        fit, *_ = np.linalg.lstsq(basis, t - t.mean(), rcond=None)
        omega = np.ptp(a) / np.ptp(t)
        rest[i:j] = omega * (t - t.mean() - basis @ fit)
    on = marks.place % marks.places
    deviation, error = np.full(marks.places, np.nan), np.full(marks.places, np.nan)
    for place in range(marks.places):
        here = rest[(on == place) & np.isfinite(rest)]
        if len(here) > 2:
            deviation[place] = here.mean()
            error[place] = here.std(ddof=1) / np.sqrt(len(here))
    return deviation - np.nanmean(deviation), error


def _window(
    marks: Marks,
    angle: Floats,
    i: int,
    j: int,
    orders: Floats,
    solver: dict[bytes, tuple[Floats, Floats]],
    share: bool,
) -> tuple[float, float, Complex, float, float]:
    t, a = marks.time[i:j], angle[i:j]
    origin = marks.place[i] // (2 * marks.places) * 4 * np.pi
    local = a - origin
    # Windows with the same marks share one solution.
    key = (marks.place[i:j] % (2 * marks.places)).tobytes() if share else b""
    if key not in solver or not key:
        basis = _basis(local, orders)
        solver[key] = (basis, np.asarray(np.linalg.pinv(basis), dtype=np.float64))
    basis, inverse = solver[key]
    y = t - t[0]
    fit = inverse @ y
    left = y - basis @ fit
    omega = (a[-1] - a[0]) / (t[-1] - t[0])
    k = len(orders)
    cos, sin = fit[_TREND + 1 : _TREND + 1 + k], fit[_TREND + 1 + k :]
    # A mark that comes early (dt < 0) has been twisted forwards.
    amplitude = -omega * (cos - 1j * sin)
    free = max(1, len(t) - basis.shape[1])
    scatter = float(omega * np.sqrt(np.sum(left**2) / free))
    error = scatter * float(np.sqrt(2.0 / len(t)))
    return float(omega * 30 / np.pi), float(t[len(t) // 2]), amplitude, error, scatter


def _basis(angle: Floats, orders: Floats) -> Floats:
    u = (angle - angle.mean()) / (0.5 * float(np.ptp(angle)))
    wave = angle[:, None] * orders
    return np.hstack([np.vander(u, _TREND + 1, increasing=True), np.cos(wave), np.sin(wave)])
