"""The arithmetic of the switching filter: many stretches under many hypotheses, step by step.

A *lane* is one stretch under one hypothesis. All lanes take a step together, so that a step costs
a hundred calls of the array library whatever is judged: several channels, all rival explanations.
Lanes whose stretch has ended drop out; a hypothesis with fewer modes than another is filled up
with modes that never happen.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.late import late
from witnessmark.physics.sensors.filter_modes import Hypothesis, Stretches

if TYPE_CHECKING:
    from scipy import linalg
else:
    linalg = late("scipy.linalg")

__all__ = ["Lanes", "spacing_bin"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Lanes that take their steps together: what they need stays near the processor.
_TOGETHER = 480
#: Width of the bins that sample intervals are rounded into, as a share.
_BIN = 0.03
_SHORTEST, _LONGEST = 0.005, 120.0
#: Wander of the true reading besides its rate [scale / sqrt(s)].
_WALK = 0.02
#: Least weight of what comes from other modes, and least variance.
_NONE, _LEAST = 1e-300, 1e-9
_LOG_2_PI = float(np.log(2.0 * np.pi))

# Planes of the moments: true reading, rate and offset, and their products. The first five are what
# a mode takes over from another one; from the third on four move with the rate.
_T, _TT, _V, _TV, _VV, _VB, _TB, _B, _BB = range(9)


class Lanes:
    """What the filter makes of every lane.

    Args:
        data: the stretches.
        rows: shape (lanes,), row of *data* of each lane.
        which: shape (lanes,), number of its hypothesis.
        hypotheses: those that occur.
        smooth: keep what :meth:`modes` needs.

    Attributes:
        evidence: shape (lanes, steps), log probability of each sample given those before it; zero
            where nothing counts.
        level: shape (lanes, steps), filtered true reading, merged over the modes; zero behind the
            end of a stretch.
    """

    def __init__(
        self, data: Stretches, rows: Ints, which: Ints, hypotheses: Sequence[Hypothesis], *,
        smooth: bool = True,
    ) -> None:  # fmt: skip
        steps = data.values.shape[1]
        self.evidence = np.zeros((rows.size, steps))
        self.level = np.zeros((rows.size, steps))
        self._sizes = [len(hypotheses[n].modes) for n in which.tolist()]
        self._runs: list[_Run] = []
        self._place = np.zeros((rows.size, 2), np.int64)
        ends = steps - np.argmax(data.used[:, ::-1], axis=1)
        ends[~data.used.any(axis=1)] = 1
        levels = _levels(data.interval)
        order = np.argsort(-ends[rows], kind="stable")
        for first in range(0, order.size, _TOGETHER):
            mine = order[first : first + _TOGETHER]
            run = _Run(
                data, levels, rows[mine], ends[rows[mine]], which[mine], hypotheses, smooth=smooth
            )  # fmt: skip
            self.evidence[mine], self.level[mine] = run.evidence.T, run.level.T
            self._place[mine, 0], self._place[mine, 1] = len(self._runs), np.arange(mine.size)
            self._runs.append(run)

    def modes(self, lanes: Sequence[int]) -> list[Floats]:
        """Return the smoothed probability of each mode of some lanes, shape (steps, modes) each.

        Behind the end of its stretch they are zero.
        """
        wanted = np.array(lanes, np.int64)
        found: dict[int, Floats] = {}
        for number, run in enumerate(self._runs):
            mine = wanted[self._place[wanted, 0] == number]
            mine = mine[np.argsort(self._place[mine, 1])]
            if mine.size:
                kept = run.smoothed(self._place[mine, 1])
                for place, lane in enumerate(mine.tolist()):
                    found[lane] = kept[:, : self._sizes[lane], place]
        return [found[lane] for lane in lanes]


def spacing_bin(interval: float) -> float:
    """Return the interval that the filter takes one for [s]."""
    return float(np.exp(float(_levels(np.array(interval))) * _BIN))


def _levels(interval: Floats) -> Ints:
    clipped = np.clip(interval, _SHORTEST, _LONGEST)
    return np.asarray(np.rint(np.log(clipped) / _BIN)).astype(np.int64)


class _Run:
    """Lanes that take their steps together, longest first."""

    def __init__(
        self, data: Stretches, levels: Ints, rows: Ints, ends: Ints, which: Ints,
        hypotheses: Sequence[Hypothesis], *,
        smooth: bool,
    ) -> None:  # fmt: skip
        self._ends = ends
        steps = int(ends[0])
        self._table, self._number = _tables(levels[rows, :steps].T, which, hypotheses)
        fixed = _Fixed(_unmoved_of(hypotheses)[:, :, which])
        self._size = size = fixed.noise.shape[0]
        value = np.ascontiguousarray(data.values[rows, :steps].T)
        variance = np.ascontiguousarray(data.variance[rows, :steps].T)
        used = np.ascontiguousarray(data.used[rows, :steps].T)
        self.evidence = np.zeros((data.values.shape[1], rows.size))
        self.level = np.zeros_like(self.evidence)
        self._kept = np.zeros((steps if smooth else 0, size, rows.size))
        weights = fixed.long_run.copy()
        moments = _start(value[0], fixed)
        model: _Model | None = None
        count = rows.size
        for step in range(steps):
            here = int(np.count_nonzero(ends > step))
            if here < count:
                count, model = here, None
                weights, moments = weights[:, :count].copy(), moments[:, :, :count].copy()
                fixed = fixed.first(count)
            if step:
                model = self._model(step, count, model)
                weights, moments = _mixed(weights, moments, model, fixed)
                _predict(moments, model)
            there = used[step, :count]
            after, moved, found = _updated(
                weights, moments, value[step, :count], variance[step, :count], fixed
            )
            if not there.all():
                after = np.where(there, after, weights)
                moved = np.where(there, moved, moments)
                found = np.where(there, found, 0.0)
            weights, moments = after, moved
            self.evidence[step, :count] = found
            self.level[step, :count] = np.einsum("ml,ml->l", weights, moments[_T])
            if smooth:
                self._kept[step, :, :count] = weights
        self.evidence[~data.counted[rows].T] = 0.0

    def smoothed(self, lanes: Ints) -> Floats:
        """Return the probabilities smoothed backwards, shape (steps, modes, lanes).

        Args:
            lanes: places within this run, rising.
        """
        kept, ends = self._kept[:, :, lanes], self._ends[lanes]
        out = np.zeros((self.evidence.shape[0], self._size, lanes.size))
        later = np.empty((self._size, 0))
        for step in range(int(ends[0]) - 1, -1, -1):
            count = later.shape[1]
            now = kept[step, :, : int(np.count_nonzero(ends > step))].copy()
            if count:
                number = self._number[step + 1, lanes[:count]]
                model = _Model(self._table[:, number], self._size)
                total, _ = _weighed(now[:, :count], now[:, :count] * model.stay, model)
                ratio = later / np.maximum(total / total.sum(axis=0), _NONE)
                back = now[:, :count] * np.einsum("nl,mnl->ml", ratio, model.change)
                now[:, :count] = back / np.maximum(back.sum(axis=0), _NONE)
            later = now
            out[step, :, : now.shape[1]] = now
        return out

    def _model(self, step: int, count: int, before: _Model | None) -> _Model:
        number = self._number[step, :count]
        if before is not None and np.array_equal(number, self._number[step - 1, :count]):
            return before
        return _Model(self._table[:, number], self._size)


class _Model:
    """How the modes change and the state moves over the interval of each lane.

    *change* has the shape (before, after, lanes), everything else (modes, lanes).
    """

    def __init__(self, columns: Floats, size: int) -> None:
        square, lanes = size * size, columns.shape[1]
        self.change = columns[:square].reshape(size, size, lanes)
        rest = columns[square:].reshape(6, size, lanes)
        self.stay, self.phi, self.reach, self.q_tt, self.q_tv, self.q_vv = rest


class _Fixed:
    """What does not depend on the interval, shape (modes, lanes) each.

    Attributes:
        noise: variance of a sample besides the channel's own.
        never: zero; without end for a mode that only fills up, so that no sample speaks for it.
        long_run: how often a mode is met in the long run.
        rate: variance of the rate in a mode that lasts.
        new_rate: variance of the new rate where the mode begins with one.
        new_offset: variance of the new offset, zero where the mode begins with none.
        renewed: the modes that begin with a new rate, as a slice; ``None``: there are none.
        renews: shape (modes of the slice, lanes), whether they do.
    """

    def __init__(self, table: Floats) -> None:
        self._table = table
        self.noise, self.long_run, self.rate, self.new_rate, self.new_offset, flag = table[:6]
        self.never = table[6]
        places = np.flatnonzero(flag.any(axis=1))
        self.renewed = slice(int(places[0]), int(places[-1]) + 1) if places.size else None
        self.renews = flag[self.renewed or slice(0)] > 0.0

    def first(self, count: int) -> _Fixed:
        """Return the same for the first lanes only."""
        return _Fixed(np.ascontiguousarray(self._table[:, :, :count]))


def _mixed(weights: Floats, moments: Floats, model: _Model, fixed: _Fixed) -> tuple[Floats, Floats]:
    """Let the modes change: merge what comes from other modes with what stays."""
    own = weights * model.stay
    total, other = _weighed(weights, own, model)
    share = 1.0 / total
    stays = own * share
    comes = other * share
    merged = np.empty_like(moments)
    np.einsum("kml,mnl->knl", moments[:_VB] * weights, model.change, out=merged[:_VB])
    merged[:_VB] *= share
    new = fixed.renewed
    if new is not None:
        fresh = moments[_V:_VB, new] * stays[new]
        fresh[2] += comes[new] * fixed.new_rate[new]
        np.copyto(merged[_V:_VB, new], fresh, where=fixed.renews)
    # An offset belongs to the mode that it began with; nothing of it is taken over.
    np.multiply(moments[_VB:], stays, out=merged[_VB:])
    merged[_BB] += comes * fixed.new_offset
    return total / total.sum(axis=0), merged


def _weighed(weights: Floats, own: Floats, model: _Model) -> tuple[Floats, Floats]:
    """Return the weights after the change: all, and what came from other modes."""
    other = np.einsum("ml,mnl->nl", weights, model.change)
    other -= own
    np.maximum(other, _NONE, out=other)
    return own + other, other


def _predict(moments: Floats, model: _Model) -> None:
    """Move the state on by one interval, in place."""
    moved = model.reach * moments[_V:_TB]  # of V, TV, VV and VB
    moments[_T] += moved[0]
    moments[_TB] += moved[3]
    moments[_TV] += moved[2]
    moved[1] *= 2.0
    moved[2] *= model.reach
    moments[_TT] += moved[1]
    moments[_TT] += moved[2]
    moments[_TT] += model.q_tt
    moments[_V:_TB] *= model.phi
    moments[_VV] *= model.phi
    moments[_TV] += model.q_tv
    moments[_VV] += model.q_vv


def _updated(
    weights: Floats, moments: Floats, value: Floats, variance: Floats, fixed: _Fixed
) -> tuple[Floats, Floats, Floats]:
    """Return weights, moments and log probability after a sample."""
    out = np.empty_like(moments)
    t, v, b = moments[_T], moments[_V], moments[_B]
    c_tt = np.subtract(moments[_TT], t * t, out=out[_TT])
    np.maximum(c_tt, _LEAST, out=c_tt)
    c_tv = np.subtract(moments[_TV], t * v, out=out[_TV])
    np.maximum(np.subtract(moments[_VV], v * v, out=out[_VV]), _LEAST, out=out[_VV])
    c_tb = np.subtract(moments[_TB], t * b, out=out[_TB])
    c_vb = np.subtract(moments[_VB], v * b, out=out[_VB])
    c_bb = np.maximum(np.subtract(moments[_BB], b * b, out=out[_BB]), 0.0, out=out[_BB])
    h_t, h_v, h_b = c_tt + c_tb, c_tv + c_vb, c_tb + c_bb
    s = h_t + h_b
    s += fixed.noise
    s += variance
    root = np.sqrt(s)
    over = 1.0 / s
    e = value - t
    e -= b
    pull = e * over
    e *= pull
    e += fixed.never
    least = e.min(axis=0)
    e -= least
    e *= -0.5
    scored = np.exp(e, out=e)
    scored /= root
    scored *= weights
    sums = np.maximum(scored.sum(axis=0), _NONE)
    n_t = np.add(t, h_t * pull, out=out[_T])
    n_v = np.add(v, h_v * pull, out=out[_V])
    n_b = np.add(b, h_b * pull, out=out[_B])
    k_t, k_v = h_t * over, h_v * over
    out[_TT] += n_t * n_t - k_t * h_t
    out[_TV] += n_t * n_v - k_t * h_v
    out[_VV] += n_v * n_v - k_v * h_v
    out[_TB] += n_t * n_b - k_t * h_b
    out[_VB] += n_v * n_b - k_v * h_b
    out[_BB] += n_b * n_b - h_b * over * h_b
    scored /= sums
    return scored, out, np.log(sums) - 0.5 * (least + _LOG_2_PI)


def _start(value: Floats, fixed: _Fixed) -> Floats:
    moments = np.zeros((9, *fixed.noise.shape))
    moments[_T] = value
    # The first value is taken for a reading give or take a few units, never for the truth.
    moments[_TT] = moments[_T] ** 2 + 9.0
    moments[_VV] = fixed.rate
    moments[_BB] = fixed.new_offset
    return moments


def _tables(levels: Ints, which: Ints, hypotheses: Sequence[Hypothesis]) -> tuple[Floats, Ints]:
    """Return a column for each hypothesis and interval that occur, and its number everywhere."""
    size = max(len(h.modes) for h in hypotheses)
    lowest = int(levels.min())
    span = int(levels.max()) - lowest + 1
    joint = which * span + (levels - lowest)
    there = np.flatnonzero(np.bincount(joint.ravel(), minlength=span * len(hypotheses)))
    number = np.zeros(span * len(hypotheses), np.int64)
    number[there] = np.arange(there.size)
    columns = [_column(hypotheses[n // span], n % span + lowest, size) for n in there.tolist()]
    return np.stack(columns, axis=1), number[joint]


@lru_cache(maxsize=4096)
def _column(hypothesis: Hypothesis, level: int, size: int) -> Floats:
    """Return the tables of a hypothesis for one interval in a row, modes filled up to *size*."""
    modes = hypothesis.modes
    count = len(modes)
    dt = float(np.exp(level * _BIN))
    change = _change(hypothesis, dt)
    square = np.zeros((size, size))
    square[:count, :count] = change
    rate = np.array([m.rate for m in modes])
    memory = np.array([m.memory for m in modes])
    phi = np.exp(-dt / memory)
    grown = 2 * memory * dt - 3 * memory**2 + 4 * memory**2 * phi - memory**2 * phi**2
    rest = np.zeros((6, size))
    rest[:, :count] = (
        np.diagonal(change),
        phi,
        memory * (1.0 - phi),
        np.maximum(rate**2 * grown, 0.0) + _WALK**2 * dt,
        rate**2 * memory * (1.0 - phi) ** 2,
        rate**2 * (1.0 - phi**2),
    )
    return np.concatenate([square.ravel(), rest.ravel()])


def _unmoved_of(hypotheses: Sequence[Hypothesis]) -> Floats:
    """Return what :class:`_Fixed` holds for each hypothesis, shape (7, modes, hypotheses)."""
    size = max(len(h.modes) for h in hypotheses)
    return np.stack([_unmoved(h, size) for h in hypotheses], axis=2)


@lru_cache(maxsize=1024)
def _unmoved(hypothesis: Hypothesis, size: int) -> Floats:
    """Return it for one hypothesis whose modes are filled up to *size*."""
    out = np.zeros((7, size))
    out[6, len(hypothesis.modes) :] = np.inf
    for n, mode in enumerate(hypothesis.modes):
        rate, offset = mode.entry == "new_rate", mode.entry == "new_offset"
        spread = mode.spread**2
        out[0, n], out[2, n] = mode.noise**2, max(mode.rate, 0.05) ** 2
        out[3, n], out[4, n], out[5, n] = spread * rate, spread * offset, rate
    out[1, : len(hypothesis.modes)] = _long_run(hypothesis)
    return out


@lru_cache(maxsize=4096)
def _change(hypothesis: Hypothesis, interval: float) -> Floats:
    """Return P(mode after | mode before) over an interval."""
    return np.asarray(linalg.expm(hypothesis.generator() * interval))


@lru_cache(maxsize=256)
def _long_run(hypothesis: Hypothesis) -> tuple[float, ...]:
    """Return how often each mode is met in the long run."""
    row = np.linalg.matrix_power(_change(hypothesis, 50.0), 2**10)[0]
    return tuple(float(x) for x in row / row.sum())
