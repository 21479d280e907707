"""Which lines are really in a vibration recording: selection over many windows at once.

In each window every candidate line takes part of the energy. Lines are chosen one by one: the one
whose gain in explained energy, beyond what noise beside it gains, is largest over all windows
together; each gain is taken after the lines already chosen, so a line that coincides with a chosen
one gains nothing. What is left over is searched for a narrow peak
at a fixed frequency by ``fixed_peaks``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats

__all__ = ["Chosen", "Sweep", "choose_lines", "pieces", "rivals", "without_lines"]

_SHIFTS = (-1.5, -1.0, 1.0, 1.5)
#: A line is chosen when its pooled excess stands this many standard errors above the local floor
#: (about 1 in 4000 for one look at pure noise; up to 15 lines are looked at).
_SURE = 3.5
#: Part of its own energy a line must keep beside the lines already chosen to count in a window:
#: nearer than about 0.37 cycles a window, two lines cannot be told apart there.
_APART = 0.35


@dataclass(frozen=True, slots=True)
class Sweep:
    """One drive in one gear.

    Attributes:
        time: shape (n,) [s].
        values: shape (n, axes) [m/s2].
        cycles: shape (n, lines) turns of every candidate line [turns], NaN where not known.
        label: the gear, in words.
    """

    time: Floats
    values: Floats
    cycles: Floats
    label: str = ""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The lines chosen.

    Attributes:
        lines: numbers of the lines, strongest first in order of choice.
        power: shape (w, lines chosen), squared zero-to-peak amplitude without the floor, summed
            over the axes, in each window [(m/s2)^2]; NaN in windows where it cannot be told from a
            line chosen before it.
        sweep: shape (w,), which sweep each window belongs to.
        time: shape (w,), middle of each window [s].
        gain: shape (lines chosen, lines): how much less every other candidate would explain in
            place of a chosen line, as a log likelihood difference.
        noise: mean squared residual over windows and axes [(m/s2)^2].
    """

    lines: tuple[int, ...]
    power: Floats
    sweep: npt.NDArray[np.int64]
    time: Floats
    gain: Floats
    noise: float

    def rms(self) -> Floats:
        """Return the rms level of each chosen line over all windows [m/s2]."""
        if not self.lines:
            return np.zeros(0)
        return np.asarray(np.sqrt(np.maximum(_mean(self.power), 0.0) / 2.0))

    def sure_rms(self) -> Floats:
        """Return each level one standard error (over the windows) lower [m/s2]."""
        if len(self.power) < 2 or not self.lines:
            return np.zeros(len(self.lines))
        mean = _mean(self.power)
        count = np.maximum(np.isfinite(self.power).sum(axis=0), 1)
        spread = np.sqrt(_mean((self.power - mean) ** 2) * count / np.maximum(count - 1, 1))
        lower = mean - np.where(count > 1, spread / np.sqrt(count), mean)
        return np.asarray(np.sqrt(np.maximum(lower, 0.0) / 2.0))


@dataclass(frozen=True, slots=True)
class _Window:
    """Inner products of one window: poly, lines, then the lines at each shift."""

    gram: Floats
    right: Floats
    samples: int
    sweep: int
    time: float
    energy: Floats


def choose_lines(
    sweeps: Sequence[Sweep], *, window: float = 2.0, most: int = 8, least_rms: float = 0.02
) -> Chosen:
    """Choose the lines that are there.

    Args:
        sweeps: the drives; all with the same candidate lines and axes.
        window: [s].
        most: choose at most this many.
        least_rms: smallest rms level worth a line [m/s2].
    """
    windows = [w for i, sweep in enumerate(sweeps) for w in _windows(i, sweep, window)]
    count = sweeps[0].cycles.shape[1] if sweeps else 0
    if not windows:
        empty = np.zeros((0, 0))
        return Chosen((), empty, np.zeros(0, int), np.zeros(0), np.zeros((0, count)), float("nan"))
    chosen: list[int] = []
    while len(chosen) < most:
        gains, floors = _gains(windows, chosen, count)
        axes = windows[0].right.shape[1]
        excess = np.sum(gains - floors, axis=0)
        # Energy of noise in 2 * axes dimensions: sd = mean / sqrt(axes) (before averaging floors).
        error = np.sqrt(np.sum(floors**2, axis=0) / axes * (1.0 + 1.0 / len(_SHIFTS)) + 1e-30)
        samples = sum(w.samples for w in windows)
        rms = np.sqrt(np.maximum(excess, 0.0) / samples)
        score = np.where((excess > _SURE * error) & (rms > least_rms), excess, -np.inf)
        score[chosen] = -np.inf
        best = int(np.argmax(score)) if count else -1
        if best < 0 or not np.isfinite(score[best]):
            break
        chosen.append(best)
    power = _powers(windows, chosen, count)
    gain = np.zeros((len(chosen), count))
    for row, line in enumerate(chosen):
        others = [c for c in chosen if c != line]
        gains, floors = _gains(windows, others, count)
        unit = np.maximum(floors[:, [line]], 1e-30) / windows[0].right.shape[1]
        gain[row] = np.sum((gains[:, [line]] - gains) / (2.0 * unit), axis=0)
    noise = float(np.mean([np.mean(_left(w, chosen, count)) for w in windows]))
    return Chosen(
        tuple(chosen), power, np.asarray([w.sweep for w in windows]),
        np.asarray([w.time for w in windows]), gain, noise,
    )  # fmt: skip


def rivals(chosen: Chosen, families: Sequence[str], *, margin: float = 8.0) -> dict[int, list[int]]:
    """Return, for each chosen line, lines of another family that explain nearly as much.

    Args:
        chosen: the choice.
        families: family of every candidate line.
        margin: log likelihood a rival may lack; 8 is odds of 3000 to 1.
    """
    found: dict[int, list[int]] = {}
    for row, line in enumerate(chosen.lines):
        close = [
            other
            for other in range(chosen.gain.shape[1])
            if families[other] != families[line] and chosen.gain[row, other] < margin
        ]
        found[line] = close
    return found


def without_lines(time: Floats, values: Floats, cycles: Floats) -> Floats:
    """Return what is left of one stretch when the lines are taken off by least squares.

    Args:
        time: shape (n,) [s].
        values: shape (n, axes).
        cycles: shape (n, lines) [turns].
    """
    basis = _columns(time, cycles)
    return np.asarray(values - basis @ _least_squares(basis, values))


def pieces(
    sweep: Sweep, window: float, *, hop: float | None = None
) -> list[tuple[Floats, Floats, Floats]]:
    """Cut a sweep into windows of (time, values, turns), gaps of 30 % or more left out.

    Args:
        sweep: the drive.
        window: length [s].
        hop: from window to window [s]; default *window*.
    """
    known = np.all(np.isfinite(sweep.cycles), axis=1) & np.all(np.isfinite(sweep.values), axis=1)
    t, x, c = sweep.time[known], sweep.values[known], sweep.cycles[known]
    if len(t) < 8:
        return []
    rate = 1.0 / float(np.median(np.diff(t)))
    found = []
    starts = np.arange(t[0], t[-1] - 0.85 * window, window if hop is None else hop)
    for i, j in zip(np.searchsorted(t, starts), np.searchsorted(t, starts + window), strict=True):
        if j - i > max(0.7 * window * rate, 24):
            found.append((t[i:j], x[i:j], c[i:j]))
    return found


def _columns(t: Floats, c: Floats, shifts: Sequence[float] = ()) -> Floats:
    u = (2 * t - t[0] - t[-1]) / max(float(t[-1] - t[0]), 1e-12)
    parts = [np.vander(u, 3, increasing=True)]
    for shift in (0.0, *shifts):
        angle = 2 * np.pi * (c + shift * (t - t[0])[:, None])
        # Interleaved cosines and sines: columns 3 + 2 i and 4 + 2 i of a block.
        parts.append(np.stack([np.cos(angle), np.sin(angle)], axis=2).reshape(len(t), -1))
    return np.hstack(parts)


def _least_squares(basis: Floats, x: Floats) -> Floats:
    gram = basis.T @ basis
    gram[np.diag_indices_from(gram)] *= 1 + 1e-9
    return np.asarray(np.linalg.solve(gram, basis.T @ x))


def _windows(number: int, sweep: Sweep, window: float) -> list[_Window]:
    found = []
    for t, x, c in pieces(sweep, window):
        basis = _columns(t, c, _SHIFTS)
        found.append(
            _Window(basis.T @ basis, basis.T @ x, len(t), number, float(t.mean()), np.sum(x**2, 0))
        )
    return found


def _taken(chosen: Sequence[int]) -> list[int]:
    return [0, 1, 2, *(3 + 2 * c + p for c in chosen for p in (0, 1))]


def _gains(windows: Sequence[_Window], chosen: Sequence[int], count: int) -> tuple[Floats, Floats]:
    """Energy gained by every line, and by noise beside it, after the chosen ones; (w, lines)."""
    gains, floors = np.zeros((len(windows), count)), np.zeros((len(windows), count))
    keep = _taken(chosen)
    blocks = 1 + len(_SHIFTS)
    pairs = 3 + np.arange(blocks * count * 2).reshape(blocks * count, 2)
    for row, w in enumerate(windows):
        inner = w.gram[np.ix_(keep, keep)].copy()
        inner[np.diag_indices_from(inner)] *= 1 + 1e-9
        cross = w.gram[keep][:, 3:]
        solved = np.linalg.solve(inner, np.hstack([cross, w.right[keep]]))
        weights, fit = solved[:, : cross.shape[1]], solved[:, cross.shape[1] :]
        rest = (w.right[3:] - cross.T @ fit).reshape(blocks * count, 2, -1)
        flat = pairs - 3
        a = w.gram[pairs[:, 0], pairs[:, 0]] - np.sum(
            cross[:, flat[:, 0]] * weights[:, flat[:, 0]], 0
        )
        b = w.gram[pairs[:, 1], pairs[:, 1]] - np.sum(
            cross[:, flat[:, 1]] * weights[:, flat[:, 1]], 0
        )
        d = w.gram[pairs[:, 0], pairs[:, 1]] - np.sum(
            cross[:, flat[:, 0]] * weights[:, flat[:, 1]], 0
        )
        # Energy of the best (cos, sin) pair; a pair that the chosen ones already span gains 0.
        det = a * b - d * d
        good = (det > (0.5 * _APART * w.samples) ** 2) & (a > 0) & (b > 0)
        safe = np.where(good, det, 1.0)
        energy = (
            b[:, None] * rest[:, 0] ** 2
            - 2 * d[:, None] * rest[:, 0] * rest[:, 1]
            + a[:, None] * rest[:, 1] ** 2
        ).sum(axis=1) / safe
        energy = np.where(good, energy, 0.0).reshape(blocks, count)
        gains[row] = energy[0]
        usable = good.reshape(blocks, count)
        shifted = np.where(usable[1:], energy[1:], np.nan)
        beside = np.where(np.isfinite(shifted), shifted, 0.0)
        floors[row] = beside.sum(axis=0) / np.maximum(usable[1:].sum(axis=0), 1)
    return gains, floors


def _powers(windows: Sequence[_Window], chosen: Sequence[int], count: int) -> Floats:
    power = np.zeros((len(windows), len(chosen)))
    if not chosen:
        return power
    floors = np.stack(
        [_gains(windows, [c for c in chosen if c != line], count)[1][:, line] for line in chosen],
        axis=1,
    )
    for row, w in enumerate(windows):
        told = _told_apart(w, chosen)
        keep = _taken([chosen[i] for i in told])
        inner = w.gram[np.ix_(keep, keep)].copy()
        inner[np.diag_indices_from(inner)] *= 1 + 1e-9
        fit = np.linalg.solve(inner, w.right[keep])[3:].reshape(len(told), 2, -1)
        power[row] = np.nan
        power[row, told] = np.sum(fit**2, axis=(1, 2)) - 2.0 * floors[row, told] / w.samples
    return power


def _told_apart(w: _Window, chosen: Sequence[int]) -> list[int]:
    """Places in *chosen* of the lines that this window tells from those chosen before them."""
    told: list[int] = []
    for place, line in enumerate(chosen):
        keep, own = _taken([chosen[i] for i in told]), [3 + 2 * line, 4 + 2 * line]
        inner = w.gram[np.ix_(keep, keep)].copy()
        inner[np.diag_indices_from(inner)] *= 1 + 1e-9
        cross = w.gram[np.ix_(keep, own)]
        rest = w.gram[np.ix_(own, own)] - cross.T @ np.linalg.solve(inner, cross)
        if np.linalg.det(rest) > (0.5 * _APART * w.samples) ** 2:
            told.append(place)
    return told


def _mean(power: Floats) -> Floats:
    """Mean over the windows that count, 0 where none does."""
    count = np.isfinite(power).sum(axis=0)
    return np.asarray(np.nansum(power, axis=0) / np.maximum(count, 1))


def _left(w: _Window, chosen: Sequence[int], count: int) -> Floats:
    keep = _taken(chosen)
    inner = w.gram[np.ix_(keep, keep)].copy()
    inner[np.diag_indices_from(inner)] *= 1 + 1e-9
    fit = np.linalg.solve(inner, w.right[keep])
    del count
    return np.asarray((w.energy - np.sum(w.right[keep] * fit, axis=0)) / w.samples)
