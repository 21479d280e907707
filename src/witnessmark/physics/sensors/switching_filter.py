"""A switching Kalman filter for one slow quantity, many stretches of it at once.

State of a stretch: true reading T, its rate v (an Ornstein-Uhlenbeck process: a rate that wanders
about zero) and an offset b that the circuit adds. A *mode* says how lively v is, whether b is
there, and how noisy the sample is; a *hypothesis* is a set of modes and how often they change.
Modes are merged after every sample (interacting multiple model: Blom and Bar-Shalom 1988, IEEE
Trans. Automatic Control 33:780); mode probabilities are smoothed backwards by Kim's rule (Kim
1994, J. Econometrics 60:1). The log evidence of two hypotheses on the same data gives their Bayes
factor.

All amounts are in units of the quantity's own scale (1 degC for coolant), times in seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

from witnessmark.late import late

if TYPE_CHECKING:
    from scipy import linalg
else:
    linalg = late("scipy.linalg")

__all__ = ["FilterMode", "Hypothesis", "Stretches", "Track", "as_stretches", "filter_stretches"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Entry = Literal["keep", "new_rate", "new_offset"]

#: Width of the bins that sample intervals are rounded into, as a share.
_BIN = 0.03
_SHORTEST, _LONGEST = 0.005, 120.0
#: How often one sudden real change is followed by the next [1/s].
_BACK = 0.1
#: Wander of the true reading besides its rate [scale / sqrt(s)].
_WALK = 0.02


@dataclass(frozen=True, slots=True)
class FilterMode:
    """How the reading behaves while this mode lasts.

    Attributes:
        name: in words.
        rate: standard deviation of v [scale/s].
        memory: time over which v forgets [s].
        entry: what is new when the mode begins: nothing, the rate, or the offset.
        spread: standard deviation of what is new.
        noise: standard deviation of the sample besides the channel's own [scale].
        begins: how often it begins while the quantity is calm [1/s].
        ends: how often it ends [1/s].
    """

    name: str
    rate: float
    memory: float
    entry: Entry = "keep"
    spread: float = 0.0
    noise: float = 0.0
    begins: float = 0.0
    ends: float = 0.0


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A set of modes; the first is the calm one that every other begins from and ends in."""

    name: str
    modes: tuple[FilterMode, ...]

    def generator(self) -> Floats:
        """Return the rates of change between the modes, shape (m, m) [1/s]."""
        size = len(self.modes)
        rates = np.zeros((size, size))
        for number, mode in enumerate(self.modes[1:], start=1):
            rates[0, number] = mode.begins
            rates[number, 0] = mode.ends
            # A fault may set in or stop while the quantity moves, too.
            for other, beside in enumerate(self.modes[1:], start=1):
                if other != number and mode.entry == beside.entry == "new_rate":
                    rates[number, other] = _BACK
                is_fault = beside.entry == "new_offset" or beside.noise > 0.0
                if other != number and is_fault:
                    rates[number, other] = beside.begins
        rates[np.diag_indices(size)] = -rates.sum(axis=1)
        return rates

    def onset(self) -> float:
        """Return how often a fault of any kind begins [1/s]."""
        return sum(m.begins for m in self.modes if m.entry == "new_offset" or m.noise > 0.0)


@dataclass(frozen=True, slots=True)
class Stretches:
    """Pieces of series, side by side, padded to one length.

    Attributes:
        values: shape (rows, steps), in scale units, finite where *used*.
        interval: shape (rows, steps), time since the sample before [s].
        used: shape (rows, steps), whether there is a sample.
        variance: shape (rows, steps), variance of each sample [scale^2].
        counted: shape (rows, steps), whether the sample counts for the evidence (the first ones
            of a stretch only warm the filter up).
    """

    values: Floats
    interval: Floats
    used: npt.NDArray[np.bool_]
    variance: Floats
    counted: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Track:
    """What a filter makes of the stretches under one hypothesis.

    Attributes:
        evidence: shape (rows, steps), log probability of each sample given those before it;
            zero where nothing counts.
        modes: shape (rows, steps, m), smoothed probability of each mode; ``None`` when not
            asked for.
        level: shape (rows, steps), filtered true reading, merged over the modes.
    """

    evidence: Floats
    modes: Floats | None
    level: Floats


# Rows of the moments: T, v, b, TT, Tv, vv, Tb, vb, bb.
_T, _V, _B, _TT, _TV, _VV, _TB, _VB, _BB = range(9)


def filter_stretches(data: Stretches, hypothesis: Hypothesis, *, smooth: bool = True) -> Track:
    """Run the filter of one hypothesis over all stretches.

    Args:
        data: the stretches.
        hypothesis: the modes.
        smooth: also work out the smoothed mode probabilities.
    """
    rows, steps = data.values.shape
    bins, number = _bins(data.interval)
    model = _Model(hypothesis, bins)
    size = len(hypothesis.modes)
    weights = np.tile(model.long_run, (rows, 1))
    moments = _start(data, hypothesis)
    evidence = np.zeros((rows, steps))
    kept = np.empty((steps if smooth else 0, rows, size))
    ahead = np.empty_like(kept)
    level = np.empty((rows, steps))
    own = np.array([m.noise**2 for m in hypothesis.modes])
    for step in range(steps):
        if step:
            weights, moments = model.mix(weights, moments, number[:, step])
            moments = model.predict(moments, number[:, step])
        if smooth:
            ahead[step] = weights
        weights, moments, found = _update(
            weights,
            moments,
            data.values[:, step],
            own + data.variance[:, step, None],
            data.used[:, step],
        )
        evidence[:, step] = np.where(data.counted[:, step], found, 0.0)
        if smooth:
            kept[step] = weights
        level[:, step] = (weights * moments[:, _T]).sum(axis=1)
    modes = _smoothed(kept, ahead, model, number) if smooth else None
    return Track(evidence, modes, level)


class _Model:
    """The tables of a hypothesis, one for every bin of sample intervals."""

    def __init__(self, hypothesis: Hypothesis, bins: Floats) -> None:
        modes = hypothesis.modes
        self.change = np.stack([_change(hypothesis, float(dt)) for dt in bins])
        self.stay = np.diagonal(self.change, axis1=1, axis2=2).copy()
        self.long_run = np.asarray(_long_run(hypothesis))
        rate = np.array([m.rate for m in modes])
        memory = np.array([m.memory for m in modes])
        dt = bins[:, None]
        phi = np.exp(-dt / memory)
        self.phi, self.reach = phi, memory * (1.0 - phi)
        self.q_vv = rate**2 * (1.0 - phi**2)
        self.q_tv = rate**2 * memory * (1.0 - phi) ** 2
        grown = 2 * memory * dt - 3 * memory**2 + 4 * memory**2 * phi - memory**2 * phi**2
        self.q_tt = np.maximum(rate**2 * grown, 0.0) + _WALK**2 * dt
        self.new_rate = np.array([m.entry == "new_rate" for m in modes])
        self.offset = np.array([m.entry == "new_offset" for m in modes])
        self.spread = np.array([m.spread**2 for m in modes])

    def mix(self, weights: Floats, moments: Floats, number: Ints) -> tuple[Floats, Floats]:
        """Let the modes change: merge what comes from other modes with what stays."""
        one = bool((number == number[0]).all())
        change = self.change[number[0]] if one else self.change[number]
        stay = self.stay[number]
        mass = moments * weights[:, None, :]
        whole = weights @ change if one else np.einsum("rm,rmn->rn", weights, change)
        own_mass = weights * stay
        other = np.maximum(whole - own_mass, 1e-300)
        own = mass * stay[:, None, :]
        come = np.matmul(mass, change) - own
        if self.new_rate.any():
            come[:, _V, self.new_rate] = 0.0
            come[:, _TV, self.new_rate] = 0.0
            come[:, _VV, self.new_rate] = (other * self.spread)[:, self.new_rate]
        come[:, [_B, _TB, _VB, _BB], :] = 0.0
        if self.offset.any():
            come[:, _BB, self.offset] = (other * self.spread)[:, self.offset]
        total = own_mass + other
        merged = (own + come) / total[:, None, :]
        return total / total.sum(axis=1, keepdims=True), merged

    def predict(self, moments: Floats, number: Ints) -> Floats:
        """Move the state on by one interval."""
        phi, reach = self.phi[number], self.reach[number]
        out = np.empty_like(moments)
        t, v, b = moments[:, _T], moments[:, _V], moments[:, _B]
        tt, tv, vv = moments[:, _TT], moments[:, _TV], moments[:, _VV]
        out[:, _T] = t + reach * v
        out[:, _V] = phi * v
        out[:, _B] = b
        out[:, _TT] = tt + 2.0 * reach * tv + reach**2 * vv + self.q_tt[number]
        out[:, _TV] = phi * (tv + reach * vv) + self.q_tv[number]
        out[:, _VV] = phi**2 * vv + self.q_vv[number]
        out[:, _TB] = moments[:, _TB] + reach * moments[:, _VB]
        out[:, _VB] = phi * moments[:, _VB]
        out[:, _BB] = moments[:, _BB]
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


def _update(
    weights: Floats, moments: Floats, value: Floats, noise: Floats, used: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats]:
    t, v, b = moments[:, _T], moments[:, _V], moments[:, _B]
    c_tt = np.maximum(moments[:, _TT] - t * t, 1e-9)
    c_tv = moments[:, _TV] - t * v
    c_vv = np.maximum(moments[:, _VV] - v * v, 1e-9)
    c_tb = moments[:, _TB] - t * b
    c_vb = moments[:, _VB] - v * b
    c_bb = np.maximum(moments[:, _BB] - b * b, 0.0)
    h_t, h_v, h_b = c_tt + c_tb, c_tv + c_vb, c_tb + c_bb
    s = h_t + h_b + noise
    e = value[:, None] - t - b
    loglik = -0.5 * (np.log(2.0 * np.pi * s) + e * e / s)
    top = loglik.max(axis=1, keepdims=True)
    scored = weights * np.exp(loglik - top)
    sums = scored.sum(axis=1)
    found = top[:, 0] + np.log(np.maximum(sums, 1e-300))
    k_t, k_v, k_b = h_t / s, h_v / s, h_b / s
    n_t, n_v, n_b = t + k_t * e, v + k_v * e, b + k_b * e
    out = np.empty_like(moments)
    out[:, _T], out[:, _V], out[:, _B] = n_t, n_v, n_b
    out[:, _TT] = c_tt - k_t * h_t + n_t * n_t
    out[:, _TV] = c_tv - k_t * h_v + n_t * n_v
    out[:, _VV] = c_vv - k_v * h_v + n_v * n_v
    out[:, _TB] = c_tb - k_t * h_b + n_t * n_b
    out[:, _VB] = c_vb - k_v * h_b + n_v * n_b
    out[:, _BB] = c_bb - k_b * h_b + n_b * n_b
    if used.all():
        return scored / sums[:, None], out, found
    here = used[:, None]
    new_weights = np.where(here, scored / np.maximum(sums, 1e-300)[:, None], weights)
    return new_weights, np.where(here[:, None, :], out, moments), np.where(used, found, 0.0)


def _start(data: Stretches, hypothesis: Hypothesis) -> Floats:
    rows, size = data.values.shape[0], len(hypothesis.modes)
    moments = np.zeros((rows, 9, size))
    moments[:, _T] = data.values[:, :1]
    # The first value is taken for a reading give or take a few units, never for the truth.
    moments[:, _TT] = moments[:, _T] ** 2 + 9.0
    moments[:, _VV] = np.array([max(m.rate, 0.05) ** 2 for m in hypothesis.modes])
    moments[:, _BB] = np.array(
        [m.spread**2 if m.entry == "new_offset" else 0.0 for m in hypothesis.modes]
    )
    return moments


def _smoothed(kept: Floats, ahead: Floats, model: _Model, number: Ints) -> Floats:
    steps, rows, size = kept.shape
    out = np.empty((rows, steps, size))
    later = kept[-1]
    out[:, -1] = later
    for step in range(steps - 2, -1, -1):
        ratio = later / np.maximum(ahead[step + 1], 1e-300)
        bins = number[:, step + 1]
        if (bins == bins[0]).all():
            back = ratio @ model.change[bins[0]].T
        else:
            back = np.einsum("rn,rmn->rm", ratio, model.change[bins])
        later = kept[step] * back
        later = later / np.maximum(later.sum(axis=1, keepdims=True), 1e-300)
        out[:, step] = later
    return out


def _begin(series: Floats, wanted: int) -> int:
    """Return where to begin near *wanted*: at a sample that is like those around it.

    A stretch that began within a glitch would take the glitch for the truth.
    """
    if wanted <= 0:
        return 0
    first = max(wanted - 12, 0)
    around = series[first : wanted + 13]
    off = np.abs(series[first : wanted + 1] - np.median(around))
    return first + int(off.size - 1 - np.argmin(off[::-1]))


def _bins(interval: Floats) -> tuple[Floats, Ints]:
    clipped = np.clip(interval, _SHORTEST, _LONGEST)
    number = np.rint(np.log(clipped) / _BIN).astype(np.int64)
    levels, index = np.unique(number, return_inverse=True)
    return np.exp(levels * _BIN), index.reshape(interval.shape).astype(np.int64)


def as_stretches(
    pieces: Sequence[tuple[Floats, Floats, Floats | float]], *, length: int, warm_up: int
) -> tuple[Stretches, list[tuple[int, int]]]:
    """Cut series into stretches of one length that overlap by the warm-up.

    Args:
        pieces: (time [s], values in scale units, variance of each sample or of all) without gaps.
        length: samples that count in a stretch.
        warm_up: samples before them that only warm the filter up.

    Returns:
        The stretches, and for each row (number of its piece, index of its first sample).
    """
    rows = [
        (number, _begin(series, first - warm_up), min(first + length, time.size))
        for number, (time, series, _) in enumerate(pieces)
        for first in range(0, max(time.size, 1), length)
    ]
    steps = max((end - begin for _, begin, end in rows), default=1)
    shape = (len(rows), steps)
    values, interval = np.zeros(shape), np.ones(shape)
    used, counted = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    variance = np.ones(shape)
    for row, (number, begin, end) in enumerate(rows):
        time, series, noise = pieces[number]
        count = end - begin
        values[row, :count] = series[begin:end]
        interval[row, 1:count] = np.diff(time[begin:end])
        used[row, :count] = True
        # The very first sample of a piece has nothing before it to be judged by.
        own = (end - 1) // length * length
        skip = max(own - begin, 1)
        counted[row, skip:count] = True
        variance[row, :count] = np.broadcast_to(noise, time.shape)[begin:end]
    return Stretches(values, interval, used, variance, counted), [(n, b) for n, b, _ in rows]
