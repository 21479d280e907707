"""Orders of the engine that nobody listed: anything a belt or a gear turns at a ratio of its own.

What the known lines leave over is looked at along every order of a fine grid. In each window,

    A(k) = 2 / sum(h) sum_i h_i x_i exp(-2 pi i k phi_i),   phi: engine turns, h: Hann,

and the power beside it, 1.25 to 3 Hz away, is taken off as noise. An order is found where the mean
excess over all windows stands clear of its scatter, in every gear that was driven.

Validity: engine speed swept, so that an order is no fixed frequency; orders nearer to each other
than about 0.5 Hz at the engine's speed are one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.orders.line_selection import Sweep, pieces, without_lines

__all__ = ["FoundOrder", "unlisted_orders"]

_STEP = 0.01
_LOWEST, _HIGHEST = 0.40, 8.5
#: Noise is taken from this far to this far beside a line [Hz].
_BESIDE = (1.25, 3.0)
#: Found from so many standard errors on (some 800 orders are looked at), and from this level
#: [m/s2 rms]; in every gear at least this part of the mean power.
_SURE, _LEAST, _EVERYWHERE = 6.0, 0.04, 0.15
#: Nearer than this to a known order it is that order [-].
_SAME = 0.012


@dataclass(frozen=True, slots=True)
class FoundOrder:
    """An order that stands out.

    Attributes:
        order: cycles an engine turn [-], good to about 0.01.
        rms: level over all axes [m/s2].
        sure: standard errors above the noise beside it.
    """

    order: float
    rms: float
    sure: float


def unlisted_orders(
    sweeps: Sequence[Sweep], engine: tuple[int, float], taken: Sequence[int],
    known: Sequence[float], *, rate: float, most: int = 2,
) -> tuple[FoundOrder, ...]:  # fmt: skip
    """Search what the lines leave over for further orders of the engine.

    Args:
        sweeps: the drives, all with the same lines.
        engine: number of a line that turns with the engine, and its multiple.
        taken: numbers of the lines that are taken off first.
        known: multiples of the engine's known lines; they are not found again.
        rate: sampling rate [Hz]; up to nearly twice it a line shows folded, with its own turns.
        most: orders returned.

    Returns:
        The orders found, the strongest first; none where the speed hardly moved.
    """
    rows, floors, labels, speeds = [], [], [], []
    grid = np.zeros(0)
    top = max((_top_speed(s, engine) for s in sweeps), default=0.0)
    if top <= 0.0:
        return ()
    grid = np.arange(_LOWEST, min(_HIGHEST, 1.9 * rate / top), _STEP)
    for sweep in sweeps:
        for t, x, c in pieces(sweep, 2.0):
            left = without_lines(t, x, c[:, list(taken)]) if len(taken) else x - x.mean(0)
            turn = c[:, engine[0]] / engine[1]
            speed = float((turn[-1] - turn[0]) / (t[-1] - t[0]))
            power = _powers(turn, left, grid)
            rows.append(power)
            floors.append(_beside(power, speed))
            labels.append(sweep.label)
            speeds.append(speed)
    if len(rows) < 5 or max(speeds) < 1.08 * min(speeds):
        return ()
    return _found(np.array(rows), np.array(floors), labels, grid, known, most)


def _found(
    power: Floats, floor: Floats, labels: Sequence[str], grid: Floats, known: Sequence[float],
    most: int,
) -> tuple[FoundOrder, ...]:  # fmt: skip
    excess = power - floor
    mean = excess.mean(axis=0)
    # Two estimates of the scatter of the mean; the larger one counts.
    scatter = np.maximum(
        excess.std(axis=0, ddof=1), np.sqrt((floor**2).mean(axis=0))
    ) / np.sqrt(len(power))  # fmt: skip
    quiet = np.sqrt((floor**2).mean(axis=0) / len(power))
    sure = mean / np.maximum(quiet, 1e-12)
    good = (sure > _SURE) & (mean > 2.5 * scatter) & (mean > _LEAST**2)
    groups = {label: np.array([x == label for x in labels]) for label in set(labels)}
    for inside in groups.values():
        if np.count_nonzero(inside) >= 4:
            good &= excess[inside].mean(axis=0) > _EVERYWHERE * mean
    for order in known:
        good &= np.abs(grid - order) > _SAME
    found: list[FoundOrder] = []
    score = np.where(good, mean, 0.0)
    while len(found) < most and score.max() > 0.0:
        at = int(np.argmax(score))
        near = slice(max(at - 2, 0), at + 3)
        weight = np.maximum(mean[near], 0.0)
        # A line beside the search's own edge belongs to a known one.
        middle = float(weight @ grid[near] / weight.sum())
        if at in {0, len(grid) - 1} or mean[at] >= mean[max(at - 3, 0) : at + 4].max():
            found.append(FoundOrder(middle, float(np.sqrt(mean[at])), float(sure[at])))
        score[max(at - 8, 0) : at + 9] = 0.0
    return tuple(found)


def _powers(turn: Floats, left: Floats, grid: Floats) -> Floats:
    """Mean square of the best cosine at every order, all axes together [(m/s2)^2]."""
    taper = np.hanning(len(turn) + 2)[1:-1]
    step = np.exp(-2j * np.pi * _STEP * turn)
    wave = np.empty((len(grid), len(turn)), complex)
    wave[0] = taper * np.exp(-2j * np.pi * grid[0] * turn)
    for row in range(1, len(grid)):
        np.multiply(wave[row - 1], step, out=wave[row])
    amplitude = 2.0 / taper.sum() * (wave @ left)
    return np.asarray(0.5 * np.sum(np.abs(amplitude) ** 2, axis=1))


def _beside(power: Floats, speed: float) -> Floats:
    """Mean power 1.25 to 3 Hz to both sides of every order."""
    first, last = (max(round(h / speed / _STEP), 1) for h in _BESIDE)
    padded = np.pad(power, last, mode="reflect")
    kernel = np.zeros(2 * last + 1)
    kernel[: last - first + 1] = 1.0
    kernel[last + first :] = 1.0
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def _top_speed(sweep: Sweep, engine: tuple[int, float]) -> float:
    turn = sweep.cycles[:, engine[0]] / engine[1]
    good = np.isfinite(turn)
    if np.count_nonzero(good) < 50:
        return 0.0
    t, turn = sweep.time[good], turn[good]
    stride = max(len(t) // 50, 1)
    return float(np.max(np.diff(turn[::stride]) / np.diff(t[::stride])))
