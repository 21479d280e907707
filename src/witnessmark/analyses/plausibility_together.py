"""Did several channels move at the same instant more often than chance allows?

Chance is made by circular shift: one channel's events are moved along the clock, all by the same
amount, and the coincidences counted again (a permutation test that keeps the clustering of the
events; Phipson and Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39 for the +1 in the p-value).
Events that only come under load are moved along loaded time only: two independent faults that
both need load to show must not look shared.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats

__all__ = ["Clock", "CoStep", "co_step", "coincidence", "grid_of", "make_clock"]

Mask = npt.NDArray[np.bool_]

#: Two events are the same instant when they are this close [s].
TOGETHER_S = 1.0
#: Engine load above which it counts as loaded [%]; common practice, no source.
LOADED_FROM = 50.0
_LEAST_CLOCK = 60.0
_MOST_SHIFTS = 1500


@dataclass(frozen=True, slots=True)
class Clock:
    """A time grid with its loaded and unloaded parts.

    Attributes:
        time: shape (n,), even grid [s].
        loaded: shape (n,), whether the engine worked; all true where the load is not known.
        known: whether the load is known.
    """

    time: Floats
    loaded: Mask
    known: bool

    @property
    def step(self) -> float:
        """Spacing of the grid [s]."""
        return float(self.time[1] - self.time[0])


@dataclass(frozen=True, slots=True)
class CoStep:
    """How a channel steps at the instants at which another one jumps.

    Attributes:
        ratio: its step for each unit of the other's jump [unit/unit].
        low: lower end of the ratio's 90 % interval.
        high: upper end.
        typical: median step at the jumps [unit].
        p: chance of so close a link by coincidence.
        noise: spread of the channel's own steps over as long a time [unit].
        used: jumps at which the channel had readings.
        agree: jumps at which it stepped the way of the ratio, by more than its own spread.
        times: begin of those jumps [s].
    """

    ratio: float
    low: float
    high: float
    typical: float
    p: float
    noise: float
    used: int
    agree: int
    times: tuple[float, ...] = ()


def make_clock(
    start: float, end: float, load: tuple[Floats, Floats] | None, *, step: float = 0.5
) -> Clock:
    """Return the clock of a recording.

    Args:
        start: [s].
        end: [s].
        load: times [s] and values [%] of the engine load, or ``None``.
        step: spacing [s]; widened so that the grid stays below 20 000 points.
    """
    step = max(step, (end - start) / 20_000.0)
    time = np.arange(start, max(end, start + 2 * step), step)
    if load is None or load[0].size < 2:
        return Clock(time, np.ones(time.size, np.bool_), known=False)
    held = _held(time, *load, longest=10.0)
    loaded = np.where(np.isfinite(held), held >= LOADED_FROM, False)
    return Clock(time, loaded, known=True)


def coincidence(first: Floats, second: Floats, clock: Clock) -> tuple[int, float]:
    """Return how many events of *first* have one of *second* within a second, and its p-value.

    Args:
        first: times of events of one channel [s].
        second: times of events of the other [s].
        clock: the clock; *second* is shifted along its loaded and unloaded parts.
    """
    if first.size == 0 or second.size == 0:
        return 0, 1.0
    seen = _matches(first, second)
    if seen == 0:
        return 0, 1.0
    shifted = _shifted(second, clock)
    if shifted is None:
        return seen, 1.0
    near = np.sort(first)
    # Distance of every shifted event to the nearest one of the first channel.
    at = np.clip(np.searchsorted(near, shifted), 1, max(near.size - 1, 1))
    left = np.abs(shifted - near[at - 1])
    right = np.abs(shifted - near[np.minimum(at, near.size - 1)])
    close = np.minimum(left, right) <= TOGETHER_S
    counts = np.minimum(close.sum(axis=1), first.size)
    return seen, float((1 + np.count_nonzero(counts >= seen)) / (1 + counts.size))


def co_step(
    starts: Floats,
    ends: Floats,
    changes: Floats,
    channel: Floats,
    clock: Clock,
    others: tuple[Floats, ...] = (),
) -> CoStep | None:
    """Return how a channel steps with the jumps of another; ``None`` where it has no readings.

    The step is the mean just inside a jump less the mean over three seconds before it and after
    it. What
    the engine's speed and load explain of it is taken out first (linear regression over the
    whole recording), so that a pressure that follows a gear change is not taken for a fault.

    Args:
        starts: begin of the jumps [s].
        ends: end of the jumps [s].
        changes: size of the jumps.
        channel: shape (n,), the channel on the clock's grid, NaN where it has no reading.
        clock: the clock.
        others: channels on the grid that explain real steps (engine speed, load).
    """
    widths = np.clip(np.rint((ends - starts) / clock.step) + 1, 1, clock.time.size // 4).astype(int)
    series: dict[int, Floats] = {}
    for width in np.unique(widths):
        series[int(width)] = _explained(
            _contrast(channel, int(width), clock), [_contrast(o, int(width), clock) for o in others]
        )
    pool = np.concatenate([s[np.isfinite(s)] for s in series.values()])
    if pool.size < 30:
        return None
    noise = 1.4826 * float(np.median(np.abs(pool - np.median(pool))))
    noise = max(noise, 0.25 * float(np.std(pool)), 1e-9)
    limit = 4.0 * noise
    index = np.clip(
        np.rint((starts - clock.time[0]) / clock.step).astype(int), 0, clock.time.size - 1
    )
    here = np.array([series[int(w)][i] for w, i in zip(widths, index, strict=True)])
    good = np.isfinite(here)
    if np.count_nonzero(good) < 1:
        return None
    x, y = changes[good], here[good]
    weight = float((x**2).sum())
    if weight <= 0.0:
        return None
    ratio = float((x * y).sum()) / weight
    error = 1.645 * max(noise, float(np.std(y - ratio * x))) / math.sqrt(weight)
    score = abs(float((x * np.clip(y, -limit, limit)).sum()))
    chance = _co_step_chance(score, starts[good], widths[good], x, series, limit, clock)
    strong = np.abs(y) > 2.0 * noise
    agreeing = strong & (np.sign(y) == np.sign(ratio * x)) & (ratio != 0.0)
    return CoStep(
        ratio=ratio,
        low=ratio - error,
        high=ratio + error,
        typical=float(np.median(y)),
        p=chance,
        noise=noise,
        used=int(x.size),
        agree=int(np.count_nonzero(agreeing)),
        times=tuple(float(t) for t in starts[good][agreeing]),
    )


def grid_of(time: Floats, values: Floats, clock: Clock) -> Floats:
    """Return a channel on the clock's grid: the last reading, NaN when it is older than 3 s."""
    return _held(clock.time, time, values, longest=3.0)


def _co_step_chance(
    score: float, starts: Floats, widths: npt.NDArray[np.int64], x: Floats,
    series: dict[int, Floats], limit: float, clock: Clock,
) -> float:  # fmt: skip
    shifted = _shifted(starts, clock)
    if shifted is None:
        return 1.0
    index = np.clip(
        np.rint((shifted - clock.time[0]) / clock.step).astype(int), 0, clock.time.size - 1
    )
    scores = np.zeros(shifted.shape[0])
    for event in range(starts.size):
        found = series[int(widths[event])][index[:, event]]
        scores += x[event] * np.clip(np.nan_to_num(found), -limit, limit)
    return float((1 + np.count_nonzero(np.abs(scores) >= score)) / (1 + scores.size))


def _shifted(events: Floats, clock: Clock) -> Floats | None:
    """Return the events moved along the clock, shape (shifts, events)."""
    index = np.clip(
        np.rint((events - clock.time[0]) / clock.step).astype(int), 0, clock.time.size - 1
    )
    parts = []
    for mask in (clock.loaded, ~clock.loaded):
        where = np.flatnonzero(mask)
        mine = np.flatnonzero(mask[index])
        if mine.size:
            parts.append((where, mine))
    longest = max((where.size for where, _ in parts), default=0) * clock.step
    if longest < _LEAST_CLOCK:
        return None
    count = int(min(longest / TOGETHER_S, _MOST_SHIFTS))
    # Steps of the golden ratio spread the shifts evenly and differently for both parts.
    turns = np.arange(1, count + 1) * 0.6180339887498949 % 1.0
    out = np.empty((count, events.size))
    for number, (where, mine) in enumerate(parts):
        rank = np.searchsorted(where, index[mine])
        guard = min(int(2 * TOGETHER_S / clock.step), where.size // 4)
        turn = turns if number == 0 else turns[::-1]
        shift = guard + (turn * max(where.size - 2 * guard, 1)).astype(int)
        moved = where[(rank[None, :] + shift[:, None]) % where.size]
        remainder = events[mine] - clock.time[index[mine]]
        out[:, mine] = clock.time[moved] + remainder
    return out


def _matches(first: Floats, second: Floats) -> int:
    gaps = np.abs(first[:, None] - second[None, :])
    return min(
        int((gaps.min(axis=1) <= TOGETHER_S).sum()), int((gaps.min(axis=0) <= TOGETHER_S).sum())
    )


def _contrast(channel: Floats, width: int, clock: Clock) -> Floats:
    """Return the step into and out of a jump of *width* points, for a jump at every point.

    Half of (just inside less three seconds before) and half of (just inside less three seconds
    after). The edges themselves belong to no side.
    """
    side = max(int(3.0 / clock.step), 1)
    gap = max(int(1.0 / clock.step), 1)
    inner = min(width, side)
    good = np.isfinite(channel)
    sums = np.concatenate([[0.0], np.cumsum(np.where(good, channel, 0.0))])
    counts = np.concatenate([[0], np.cumsum(good)])
    at = np.arange(channel.size)

    def mean(first: npt.NDArray[np.int64], end: npt.NDArray[np.int64]) -> Floats:
        first, end = np.clip(first, 0, channel.size), np.clip(end, 0, channel.size)
        number = (counts[end] - counts[first]).astype(np.float64)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(number > 0, (sums[end] - sums[first]) / number, np.nan)

    into = mean(at, at + inner) - mean(at - gap - side, at - gap)
    last = at + width
    out = mean(last - inner, last) - mean(last + gap, last + gap + side)
    return np.asarray(0.5 * (into + out))


def _explained(step: Floats, others: list[Floats]) -> Floats:
    """Return the step less what the other channels' steps explain of it."""
    usable = [o for o in others if np.isfinite(o).sum() > 30 and np.nanstd(o) > 0.0]
    if not usable:
        return step
    table = np.column_stack(usable)
    good = np.isfinite(step) & np.isfinite(table).all(axis=1)
    if good.sum() < 30:
        return step
    factors, *_ = np.linalg.lstsq(table[good], step[good], rcond=None)
    return np.asarray(step - np.nan_to_num(table) @ factors)


def _held(grid: Floats, time: Floats, values: Floats, *, longest: float) -> Floats:
    if time.size == 0:
        return np.full(grid.size, np.nan)
    at = np.searchsorted(time, grid + 1e-9, side="right") - 1
    inside = at >= 0
    at = np.maximum(at, 0)
    fresh = inside & (grid - time[at] <= longest)
    return np.where(fresh, values[at], np.nan)
