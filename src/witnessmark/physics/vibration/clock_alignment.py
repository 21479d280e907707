"""Put an accelerometer and the bus on one clock.

Convention: t_bus = t_accelerometer - offset. Coarse: the recording's spectrogram is summed along
the tracks k n(t - offset)/60 of the engine orders, after each frequency's median over time is
taken off (which removes resonances and the road). Fine: the least order-fit residual near it.

Three throttle blips in neutral pin the offset to about 10-20 ms; a steady recording pins nothing,
so it is refused (shared/physics, section A1; checked again in tests and studies/vibration). What
the blips say is then held against the rest of the recording, the pull: an offset that fits the
blips but not the pull, as one blip taken for the next, is refused.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.orders.order_tracking import fit_orders, turns
from witnessmark.words.say import vibration as say

__all__ = ["Alignment", "align", "blips"]

_TRACKS = (0.5, 1.0, 1.5, 3.0, 6.0)

#: By how much the best offset's log likelihood must beat the next one's. Noise alone moves it by
#: about 10 (16 windows of 8 parameters); tests hold it.
_MARGIN = 25.0
#: The pull outside the blips: so long [s], the speed moving by so much [r/min]; an offset further
#: away than this is another one [s].
_PULL_S, _MOVES, _OTHER = 20.0, 150.0, 0.6
#: Offsets beside the one found that are surely wrong [s]: how the pull's misfit scatters there is
#: the measure of what it says (the road is no white noise). The pull agrees from so many of their
#: standard deviations on, says nothing below, and speaks for another offset from there on.
_ASIDE = (-7.3, -5.7, -4.4, -3.1, -2.2, -1.3, 1.3, 2.2, 3.1, 4.4, 5.7, 7.3)
_AGREES, _SILENT, _SPEAKS = 2.5, 1.5, 5.0
#: Offsets so near that blips no longer fit [s]; the part of what they gained that must be gone
#: there, and the part of it by which no other offset may come near (the road is no white noise).
_BESIDE = tuple(round(float(side * d), 2) for side in (-1, 1) for d in np.arange(0.2, 0.81, 0.05))
_SHARP, _ALIKE = 0.4, 0.1
#: A peak of the coarse search stands above what lies within this to both sides [steps of 0.05 s].
_AROUND = 20


@dataclass(frozen=True, slots=True)
class Alignment:
    """Offset between two clocks.

    Attributes:
        offset: t_accelerometer - t_bus of the same instant [s].
        blips: throttle blips found in the speed.
        trusted: enough blips, one offset stands out, and the rest of the recording agrees.
        reason: why it is not trusted, empty otherwise.
        doubt: twice the standard deviation of the offset [s]; infinite where not trusted.
        checked: the pull outside the blips, by itself, speaks for this offset, too.
    """

    offset: float
    blips: int
    trusted: bool
    reason: str = ""
    doubt: float = math.inf
    checked: bool = False


@dataclass(frozen=True, slots=True)
class _Tried:
    """An offset with its misfit over the blips and over the pull."""

    offset: float
    blips: float
    pull: float

    @property
    def total(self) -> float:
        return self.blips + self.pull


def blips(time: Floats, rpm: Floats) -> tuple[float, ...]:
    """Return the times of throttle blips: up by 250 rpm or more and down again within 5 s.

    Args:
        time: shape (n,) [s].
        rpm: shape (n,) [r/min].
    """
    found: list[float] = []
    low_at, low = 0, float(rpm[0])
    high_at, high = 0, float(rpm[0])
    rising = True
    for i, value in enumerate(np.asarray(rpm, dtype=np.float64)):
        if rising:
            if value > high:
                high_at, high = i, float(value)
            if value < low and high - low < 250:
                low_at, low, high, high_at = i, float(value), float(value), i
            if high - low >= 250 and high - value >= 200:
                if time[i] - time[low_at] <= 6.0:
                    found.append(float(time[high_at]))
                rising, low_at, low = False, i, float(value)
        else:
            if value < low:
                low_at, low = i, float(value)
            if value > low + 60:
                rising, high_at, high = True, i, float(value)
    return tuple(found)


def align(
    time: Floats,
    values: Floats,
    bus_time: Floats,
    rpm: Floats,
    *,
    reach: float = 20.0,
    needed: int = 2,
) -> Alignment:
    """Find the offset between an accelerometer and the bus.

    Args:
        time: shape (n,), the accelerometer's clock [s].
        values: shape (n, axes) [any unit].
        bus_time: shape (m,), the bus's clock [s].
        rpm: shape (m,) engine speed [r/min].
        reach: largest offset looked for [s].
        needed: blips needed to trust it.
    """
    peaks = blips(bus_time, rpm)
    if len(peaks) < needed:
        return Alignment(0.0, len(peaks), False, say.no_blips())
    start, end = peaks[0] - 3.0, peaks[min(len(peaks), 4) - 1] + 3.0
    tracks, hertz, frames = _spectrogram(time, values, start - reach, end + reach)
    if frames.size < 8:
        return Alignment(0.0, len(peaks), False, say.no_overlap())
    offsets = np.arange(-reach, reach + 1e-9, 0.05)
    scores = np.array(
        [_score(tracks, hertz, frames, o, bus_time, rpm, start, end) for o in offsets]
    )
    span = (start, end)
    outside = _outside(bus_time, rpm, span)

    def weigh(candidates: Iterable[float]) -> list[_Tried]:
        """Both misfits at each, the blips' the least of three places near it."""
        return [
            _Tried(
                o,
                min(_misfit(time, values, o + d, bus_time, rpm, *span) for d in (-0.04, 0.0, 0.04)),
                _pull(time, values, o, bus_time, rpm, outside),
            )
            for o in candidates
        ]

    pulls = _pull_offsets(time, values, bus_time, rpm, outside, reach)
    coarse = [float(offsets[i]) for i in _peaks(_stands_out(scores), 8)]
    near = [o + d for o in pulls for d in (-0.24, -0.12, 0.0, 0.12, 0.24)]
    rough = weigh([*coarse, *(o for o in near if all(abs(o - c) > 0.1 for c in coarse))])
    if not rough:
        return Alignment(0.0, len(peaks), False, say.no_overlap())
    # Equally spaced blips fit almost as well one blip off: try those neighbours too.
    gaps = {round(float(b - a), 2) for a in peaks[:4] for b in peaks[:4] if a != b}
    for best in _apart(rough, 2):
        beside = [best.offset + g for g in sorted(gaps) if abs(best.offset + g) <= reach]
        rough += weigh(o for o in beside if all(abs(o - t.offset) > 0.2 for t in rough))
    tried = []
    for one in _apart(rough, 4):
        cost, offset = _refine(time, values, one.offset, bus_time, rpm, span)
        tried.append(_Tried(offset, cost, _pull(time, values, offset, bus_time, rpm, outside)))
    tried.sort(key=lambda t: t.blips)
    close = [t for t in tried if t.blips < tried[0].blips + _MARGIN]
    # The blips decide; where they leave a choice, the pull makes it or it stays open.
    close.sort(key=lambda t: t.pull)
    offset, cost, pull = close[0].offset, close[0].blips, close[0].pull
    if cost > -_MARGIN:
        return Alignment(offset, len(peaks), False, say.blips_unseen())
    # Blips fit one instant: half a second beside it little is left. The road's own modes fit the
    # orders of an idle engine nearly as well there.
    near_by = [_misfit(time, values, offset + d, bus_time, rpm, *span) for d in _BESIDE]
    if float(np.median(near_by)) - cost < _SHARP * -cost:
        return Alignment(offset, len(peaks), False, say.blips_unseen())
    margin = max(_MARGIN, _ALIKE * -cost)
    if min(near_by) < cost + margin:
        return Alignment(offset, len(peaks), False, say.two_offsets())
    others = [t for t in close[1:] if abs(t.offset - offset) > 0.1]
    if any(t.total < cost + pull + margin for t in others):
        return Alignment(offset, len(peaks), False, say.two_offsets())
    wrong = [_pull(time, values, offset + d, bus_time, rpm, outside) for d in _ASIDE]
    middle = float(np.median(wrong))
    # One of them may be the right one: the scatter of the middle half.
    spread = max(1.4826 * float(np.median(np.abs(np.array(wrong) - middle))), 10.0)
    stands = (middle - pull) / spread
    rival = max(
        ((middle - t.pull) / spread for t in rough if abs(t.offset - offset) > _OTHER), default=0.0
    )
    if outside and stands < _SILENT and rival > _SPEAKS:
        reason = say.pull_disagrees()
        return Alignment(offset, len(peaks), False, reason)
    checked = bool(outside) and stands >= _AGREES
    doubt = _doubt(time, values, offset, cost, bus_time, rpm, span)
    return Alignment(offset, len(peaks), True, "", doubt, checked)


def _outside(
    bus_time: Floats, rpm: Floats, span: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    """Return up to two stretches of 20 s outside the blips in which the speed moves most."""
    found: list[tuple[float, float, float]] = []
    for first in np.arange(bus_time[0], bus_time[-1] - _PULL_S, 5.0):
        last = first + _PULL_S
        if first < span[1] and last > span[0]:
            continue
        inside = (bus_time >= first) & (bus_time <= last)
        if np.count_nonzero(inside) < 20 or float(rpm[inside].min()) < 500.0:
            continue
        low, high = np.percentile(rpm[inside], [5.0, 95.0])
        if high - low >= _MOVES:
            found.append((float(high - low), float(first), float(last)))
    kept: list[tuple[float, float]] = []
    for _, first, last in sorted(found, reverse=True):
        if all(last <= a or first >= b for a, b in kept):
            kept.append((first, last))
    return tuple(kept[:2])


def _pull(
    time: Floats, values: Floats, offset: float, bus_time: Floats, rpm: Floats,
    outside: tuple[tuple[float, float], ...],
) -> float:  # fmt: skip
    return sum(_misfit(time, values, offset, bus_time, rpm, a, b) for a, b in outside)


def _pull_offsets(
    time: Floats, values: Floats, bus_time: Floats, rpm: Floats,
    outside: tuple[tuple[float, float], ...], reach: float,
) -> list[float]:  # fmt: skip
    """Return the offsets that the pull by itself speaks for [s]."""
    for a, b in outside[:1]:
        tracks, hertz, frames = _spectrogram(time, values, a - reach, b + reach)
        if frames.size < 8:
            continue
        offsets = np.arange(-reach, reach + 1e-9, 0.1)
        scores = np.array([_score(tracks, hertz, frames, o, bus_time, rpm, a, b) for o in offsets])
        return [float(offsets[i]) for i in _peaks(scores, 2)]
    return []


def _apart(found: list[_Tried], count: int) -> list[_Tried]:
    """Return the best few by the blips, no two of them near each other."""
    kept: list[_Tried] = []
    for one in sorted(found, key=lambda t: t.blips):
        if all(abs(one.offset - k.offset) > 0.2 for k in kept):
            kept.append(one)
    return kept[:count]


def _doubt(
    time: Floats, values: Floats, offset: float, cost: float, bus_time: Floats, rpm: Floats,
    span: tuple[float, float],
) -> float:  # fmt: skip
    """Return twice the standard deviation of an offset from how sharply the misfit bends [s]."""
    step = 0.02
    ends = [_misfit(time, values, offset + d, bus_time, rpm, *span) for d in (-step, step)]
    bend = (sum(ends) - 2.0 * cost) / step**2
    # The bus's own clock and the sampling leave some 10 ms (shared physics notes, A1).
    return max(2.0 / math.sqrt(bend), 0.02) if bend > 0.0 else 0.2


def _stands_out(scores: Floats) -> Floats:
    """Return how far each score stands above the mean of those within a second.

    A loud stretch of road raises the score of every offset that looks at it; blips raise one.
    """
    seen = np.isfinite(scores)
    if not seen.any():
        return scores
    filled = np.where(seen, scores, scores[seen].min())
    kernel = np.full(2 * _AROUND + 1, 1.0 / (2 * _AROUND + 1))
    mean = np.convolve(np.pad(filled, _AROUND, mode="edge"), kernel, mode="valid")
    return np.where(seen, filled - mean, -np.inf)


def _peaks(scores: Floats, count: int) -> list[int]:
    """Return the places of the highest scores, at least 0.3 s (6 steps) apart."""
    left, found = scores.copy(), []
    for _ in range(count):
        best = int(np.argmax(left))
        if not np.isfinite(left[best]):
            break
        found.append(best)
        left[max(0, best - 6) : best + 7] = -np.inf
    return found


def _refine(
    time: Floats,
    values: Floats,
    coarse: float,
    bus_time: Floats,
    rpm: Floats,
    span: tuple[float, float],
) -> tuple[float, float]:
    """Return (negative log likelihood gained over no orders at all, offset) near *coarse*."""
    offset, best = coarse, 0.0
    for half, step in ((0.1, 0.02), (0.016, 0.004)):
        for _ in range(3):
            near = offset + np.arange(-half, half + 1e-9, step)
            cost = np.array([_misfit(time, values, o, bus_time, rpm, *span) for o in near])
            at = int(np.argmin(cost))
            offset, best = _parabola(near, cost, at), float(cost[at])
            if 0 < at < len(near) - 1:
                break
    return best, offset


def _spectrogram(
    time: Floats, values: Floats, start: float, end: float
) -> tuple[Floats, Floats, Floats]:
    rate = 1.0 / float(np.median(np.diff(time)))
    inside = (time >= start) & (time <= end)
    if np.count_nonzero(inside) < rate:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    t = time[inside]
    grid = np.arange(t[0], t[-1], 1.0 / rate)
    x = np.stack([np.interp(grid, t, v) for v in values[inside].T], axis=1)
    size = int(0.64 * rate)
    hop = max(1, int(0.05 * rate))
    starts = np.arange(0, len(grid) - size, hop)
    window = np.hanning(size)[:, None]
    power = np.stack(
        [
            np.sum(np.abs(np.fft.rfft((x[s : s + size] - x[s : s + size].mean(0)) * window, axis=0))
                   ** 2, axis=1)
            for s in starts
        ]
    )  # fmt: skip
    log = np.log(power + 1e-12 * power.max())
    log -= np.median(log, axis=0)
    # A frame that is loud at all frequencies (the road) speaks for no offset.
    log -= log.mean(axis=1, keepdims=True)
    hertz = np.asarray(np.fft.rfftfreq(size, 1 / rate), dtype=np.float64)
    return grid[starts] + size / (2 * rate), hertz, log


def _score(
    tracks: Floats,
    hertz: Floats,
    frames: Floats,
    offset: float,
    bus_time: Floats,
    rpm: Floats,
    start: float,
    end: float,
) -> float:
    at = tracks - offset
    use = (at >= max(start, bus_time[0])) & (at <= min(end, bus_time[-1]))
    if np.count_nonzero(use) < 8:
        return -np.inf
    speed = np.interp(at[use], bus_time, rpm) / 60.0
    total = 0.0
    rows = np.flatnonzero(use)
    top = 2 * hertz[-1]
    for k in _TRACKS:
        # A phone has no filter before its sampling: lines above half its rate show folded.
        line = k * speed % top
        column = np.rint(np.minimum(line, top - line) / hertz[1]).astype(int)
        seen = (column > 1) & (column < len(hertz))
        total += float(np.sum(frames[rows[seen], column[seen]]))
    # Over all frames the blips could fill: an offset that looks at a few of them only is no match.
    return total / max((end - start) / float(np.median(np.diff(tracks))), 1.0)


def _misfit(
    time: Floats,
    values: Floats,
    offset: float,
    bus_time: Floats,
    rpm: Floats,
    start: float,
    end: float,
) -> float:
    total = 0.0
    first, last = max(start, bus_time[0]), min(end, bus_time[-1])
    begin, stop = np.searchsorted(time, (first + offset, last + offset))
    time, values = time[begin:stop], values[begin:stop]
    everywhere = turns(time - offset, bus_time, rpm)
    for left in np.arange(first, last - 0.8, 0.8):
        i, j = np.searchsorted(time, (left + offset, left + offset + 0.8))
        if j - i < 40:
            # What the recorder does not hold speaks for no offset.
            total += 2.0 * 4 * values.shape[1]
            continue
        t, phase = time[i:j], everywhere[i:j]
        good = np.isfinite(phase)
        if np.count_nonzero(good) < 40:
            continue
        cycles = phase[good, None] * np.asarray(_TRACKS[:4])
        x = values[i:j][good]
        fit = fit_orders(t[good], x, cycles)
        model = np.real(np.exp(2j * np.pi * cycles) @ fit)
        u = (t[good] - t[good].mean())[:, None]
        # Noise alone gains half of one for every term fitted: each must earn one (Akaike).
        total += 2.0 * cycles.shape[1] * x.shape[1]
        total += (
            0.5
            * len(u)
            * float(
                np.sum(np.log(_mean_square(x - model, u) / (_mean_square(x, u) + 1e-12) + 1e-12))
            )
        )
    return total


def _mean_square(x: Floats, u: Floats) -> Floats:
    rest = x - x.mean(0) - u * (u * (x - x.mean(0))).sum(0) / (u**2).sum()
    return np.asarray(np.mean(rest**2, axis=0))


def _parabola(x: Floats, y: Floats, at: int) -> float:
    if not 0 < at < len(x) - 1:
        return float(x[at])
    a, b, c = y[at - 1], y[at], y[at + 1]
    bend = a - 2 * b + c
    return float(x[at] + 0.5 * (x[1] - x[0]) * (a - c) / bend) if bend > 0 else float(x[at])
