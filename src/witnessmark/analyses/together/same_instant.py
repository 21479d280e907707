"""Did several channels move at the same instant more often than chance allows?

Chance is made by moving the events along the clock and counting again (a permutation test;
Phipson and Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39 for the +1 in the p-value).
Events that only come under load are moved along loaded time only: two independent faults that
both need load to show must not look shared.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats

__all__ = ["CoStep", "SampleClock", "co_step", "coincidence", "grid_of", "make_clock"]

Mask = npt.NDArray[np.bool_]

#: Two events are the same instant when they are this close [s].
TOGETHER_S = 1.0
#: Engine load above which it counts as loaded [%]; common practice, no source.
LOADED_FROM = 50.0
_LEAST_CLOCK = 60.0
_MOST_SHIFTS = 3000
#: Events are dithered by this much [s], this often.
_DITHER_S, _DITHERS, _DITHER_SEED = 12.0, 800, 12
#: Jumps are tried at this many other instants; those within this time move together [s].
_SCATTERS, _BURST_S = 4000, 10.0
#: A coincidence to the instant weighs this much, one a second apart a unit less.
_CLOSE_WEIGHT = 1.25


@dataclass(frozen=True, slots=True)
class SampleClock:
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
        steps: shape (jumps,), step at every jump [unit], NaN where it had no readings.
        levels: shape (jumps,), its reading just before every jump [unit].
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
    steps: tuple[float, ...] = ()
    levels: tuple[float, ...] = ()


def make_clock(
    start: float, end: float, load: tuple[Floats, Floats] | None, *, step: float = 0.5
) -> SampleClock:
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
        return SampleClock(time, np.ones(time.size, np.bool_), known=False)
    held = _held(time, *load, longest=10.0)
    loaded = np.where(np.isfinite(held), held >= LOADED_FROM, False)
    return SampleClock(time, loaded, known=True)


def coincidence(first: Floats, second: Floats, clock: SampleClock) -> tuple[int, float]:
    """Return how many events of *first* have one of *second* within a second, and its p-value.

    Coincidences are weighed by how close they are. Two kinds of chance are tried, each with
    either channel moved, and the largest p-value counts: one channel moved as a whole (keeps its
    clustering), and every event moved on its own by up to twelve seconds (keeps what comes and
    goes with the work of the engine, also where the load is not on the recording; "dithering",
    Date, Bienenstock and Geman 1998, Brown University technical report). Both stay on the clock's
    grid and within loaded or unloaded time.

    Args:
        first: times of events of one channel [s].
        second: times of events of the other [s].
        clock: the clock.
    """
    if first.size == 0 or second.size == 0:
        return 0, 1.0
    first, second = np.sort(first), np.sort(second)
    seen = _matches(first, second)
    if seen == 0:
        return 0, 1.0
    return seen, max(
        _coincidence_chance(still, moving, clock, shift)
        for still, moving in ((first, second), (second, first))
        for shift in (_shifted, _dithered)
    )


def _coincidence_chance(
    still: Floats,
    moving: Floats,
    clock: SampleClock,
    shift: Callable[[Floats, SampleClock], Floats | None],
) -> float:
    moved = shift(moving, clock)
    if moved is None:
        return 1.0
    scores = _closeness(still, moved)
    seen = float(_closeness(still, moving[None, :])[0])
    return float((1 + np.count_nonzero(scores >= seen - 1e-9)) / (1 + scores.size))


def _closeness(still: Floats, moved: Floats) -> Floats:
    """Return the weight of the coincidences of each row of *moved*."""
    at = np.clip(np.searchsorted(still, moved), 1, max(still.size - 1, 1))
    left = np.abs(moved - still[at - 1])
    right = np.abs(moved - still[np.minimum(at, still.size - 1)])
    away = np.minimum(left, right)
    weight = np.where(away <= TOGETHER_S, _CLOSE_WEIGHT - away / TOGETHER_S, 0.0)
    return np.asarray(weight.sum(axis=1))


def _dithered(events: Floats, clock: SampleClock) -> Floats | None:
    """Return the events moved one by one, shape (tries, events), by steps of the clock."""
    if clock.time.size * clock.step < _LEAST_CLOCK:
        return None
    index = _index(events, clock)
    remainder = events - clock.time[index]
    reach = round(max(_DITHER_S, _DITHER_S * clock.step) / clock.step)
    rng = np.random.default_rng(_DITHER_SEED)
    out = np.empty((_DITHERS, events.size))
    for number, place in enumerate(index):
        near = np.arange(max(place - reach, 0), min(place + reach + 1, clock.time.size))
        same = near[clock.loaded[near] == clock.loaded[place]]
        out[:, number] = clock.time[same[rng.integers(0, same.size, _DITHERS)]] + remainder[number]
    return out


def _index(events: Floats, clock: SampleClock) -> npt.NDArray[np.int64]:
    place = np.rint((events - clock.time[0]) / clock.step).astype(np.int64)
    return np.asarray(np.clip(place, 0, clock.time.size - 1), np.int64)


def co_step(
    starts: Floats,
    ends: Floats,
    changes: Floats,
    channel: Floats,
    clock: SampleClock,
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
    index = _index(starts, clock)
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
        steps=tuple(here.tolist()),
        levels=tuple(_beside(channel, index, clock).tolist()),
    )


def _beside(channel: Floats, index: npt.NDArray[np.int64], clock: SampleClock) -> Floats:
    """Return the channel's reading over the three seconds before each jump."""
    side, gap = max(int(3.0 / clock.step), 1), max(int(1.0 / clock.step), 1)
    rows = index[:, None] - gap - np.arange(side)[None, :]
    found = channel[np.clip(rows, 0, channel.size - 1)]
    counts = np.maximum(np.isfinite(found).sum(axis=1), 1)
    mean = np.nansum(found, axis=1) / counts
    return np.where(np.isfinite(found).any(axis=1), mean, np.nan)


def grid_of(time: Floats, values: Floats, clock: SampleClock) -> Floats:
    """Return a channel on the clock's grid: the last reading, NaN when it is older than 3 s."""
    return _held(clock.time, time, values, longest=max(3.0, 1.5 * clock.step))


def _co_step_chance(
    score: float, starts: Floats, widths: npt.NDArray[np.int64], x: Floats,
    series: dict[int, Floats], limit: float, clock: SampleClock,
) -> float:  # fmt: skip
    moved = _scattered(starts, clock)
    if moved is None:
        return 1.0
    scores = np.zeros(moved.shape[0])
    for event in range(starts.size):
        found = series[int(widths[event])][moved[:, event]]
        scores += x[event] * np.clip(np.nan_to_num(found), -limit, limit)
    return float((1 + np.count_nonzero(np.abs(scores) >= score)) / (1 + scores.size))


def _scattered(events: Floats, clock: SampleClock) -> npt.NDArray[np.int64] | None:
    """Return places on the clock for the events, shape (tries, events), at random.

    Each goes anywhere within loaded or unloaded time, as it was; events that follow each other
    closely stay together, so that a burst does not count as many.
    """
    if clock.time.size * clock.step < _LEAST_CLOCK:
        return None
    index = _index(events, clock)
    rng = np.random.default_rng(_DITHER_SEED)
    out = np.empty((_SCATTERS, events.size), np.int64)
    order = np.argsort(events, kind="stable")
    pools = {state: np.flatnonzero(clock.loaded == state) for state in (True, False)}
    lead = -1
    for number in order:
        state = bool(clock.loaded[index[number]])
        if lead >= 0 and events[number] - events[lead] <= _BURST_S:
            out[:, number] = out[:, lead] + (index[number] - index[lead])
            continue
        lead = int(number)
        pool = pools[state]
        out[:, number] = pool[rng.integers(0, pool.size, _SCATTERS)]
    return np.asarray(out % clock.time.size, np.int64)


def _shifted(events: Floats, clock: SampleClock) -> Floats | None:
    """Return the events moved along the clock, shape (shifts, events)."""
    index = _index(events, clock)
    parts = []
    for mask in (clock.loaded, ~clock.loaded):
        where = np.flatnonzero(mask)
        mine = np.flatnonzero(mask[index])
        if mine.size:
            parts.append((where, mine))
    longest = max((where.size for where, _ in parts), default=0) * clock.step
    if longest < _LEAST_CLOCK:
        return None
    # With two parts every shift of the one meets any of the other.
    count = int(min(longest / TOGETHER_S * (3 if len(parts) > 1 else 1), _MOST_SHIFTS))
    # Steps of the golden ratio spread the shifts evenly and differently for both parts.
    turns = np.arange(1, count + 1) * 0.6180339887498949 % 1.0
    out = np.empty((count, events.size))
    for number, (where, mine) in enumerate(parts):
        rank = np.searchsorted(where, index[mine])
        guard = min(int(2 * TOGETHER_S / clock.step), where.size // 4)
        turn = turns if number == 0 else turns * 1.4142135623730951 % 1.0
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


def _contrast(channel: Floats, width: int, clock: SampleClock) -> Floats:
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
