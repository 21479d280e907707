"""What kind of real movement a trace shows, and traces that do not move when they should.

Rules with stated limits, no probabilities: they name what is seen so that the right family of
causes is opened. Limits without another source are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.sensors.one_trace import TraceVerdict
from witnessmark.analyses.sensors.trace_samples import SensorTrace

__all__ = ["Movement", "Stuck", "fan_beside", "movement", "stuck"]

Floats = npt.NDArray[np.float64]

#: Coolant above this for half a minute is hot whatever the sensor says (from memory, 221 degF).
HOT_FROM = 105.0
#: A recording that shows the coolant below this began with a cold engine [degC] (judgement).
_COLD_START = 60.0
_GRID = 2.0
_SHORTEST_CYCLE, _LONGEST_CYCLE = 20.0, 300.0


@dataclass(frozen=True, slots=True)
class Movement:
    """What moved.

    Attributes:
        kind: overheating, thermostat_cycling, gas_pocket, cold_slug, quantisation_only, normal.
        words: the same as a phrase with its numbers.
        size: size of the swing, drop or rise, house unit.
        period_s: period of a cycle [s].
        count: how many cycles, rises or drops.
        start_s: where it begins [s].
        end_s: where it ends [s].
    """

    kind: str
    words: str
    size: float = 0.0
    period_s: float | None = None
    count: int = 0
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class Stuck:
    """A reading that stood still to the digit while the engine's work changed.

    Attributes:
        value: what it stood at, house unit.
        start_s: since when [s].
        end_s: until when [s].
        swings: how often the load went from low to high and back meanwhile.
    """

    value: float
    start_s: float
    end_s: float
    swings: int


def movement(verdict: TraceVerdict) -> Movement:
    """Name the real movement of a coolant trace.

    What the circuit made (the verdict's spans) is bridged first, so that glitches on top of a
    real swing do not hide it.
    """
    trace = verdict.trace
    time, values = _bridged(verdict)
    if time.size < 10:
        return Movement("normal", "too short to name a movement")
    grid = np.arange(time[0], time[-1], _GRID)
    series = np.interp(grid, time, values)
    for rule in (_hot, _cycle, _gas, _slug):
        found = rule(grid, series, trace)
        if found is not None:
            return found
    moves = np.abs(np.diff(trace.values))
    flicker = trace.step > 0.0 and moves.size and float(moves.max()) <= 1.01 * trace.step
    back = np.count_nonzero(np.diff(np.sign(np.diff(values)[np.diff(values) != 0.0])) != 0)
    if flicker and back >= 4 and float(np.ptp(values)) <= 2.01 * trace.step:
        return Movement(
            "quantisation_only",
            "only the last digit flickers, which is the resolution of the reading",
            size=trace.step,
        )
    return Movement("normal", "moves as it should", size=float(np.ptp(values)))


def stuck(time: Floats, values: Floats, load_time: Floats, load: Floats) -> Stuck | None:
    """Return the longest stretch that stood still while the load swung at least five times.

    A through-flow of 450 L/min changes its temperature by about 5 K between light load and full
    load (``physics/coolant.through_flow_rise``); five such swings without a single digit of
    change are not coolant under a thermostat.

    Args:
        time: [s], samples of the reading, valid ones only.
        values: house unit.
        load_time: [s].
        load: engine load [%].
    """
    if time.size < 10 or load.size < 10:
        return None
    changes = np.flatnonzero(np.diff(values) != 0.0) + 1
    edges = np.concatenate([[0], changes, [time.size]])
    lengths = time[edges[1:] - 1] - time[edges[:-1]]
    longest = int(np.argmax(lengths))
    first, last = int(edges[longest]), int(edges[longest + 1] - 1)
    inside = (load_time >= time[first]) & (load_time <= time[last])
    swings = _swings(load_time[inside], load[inside])
    if time[last] - time[first] < 180.0 or swings < 5:
        return None
    return Stuck(float(values[first]), float(time[first]), float(time[last]), swings)


def fan_beside(moved: Movement, time: Floats, fan: Floats) -> str | None:
    """Say what the fan did while the temperature cycled.

    Args:
        moved: the cycling.
        time: samples of the fan [s].
        fan: its speed, share or state; on is above the middle between its lowest and highest.

    Returns:
        ``in step`` when it came on about once a cycle, ``still`` when it hardly ever did,
        ``None`` when it did neither or was not seen long enough.
    """
    if moved.start_s is None or moved.end_s is None or moved.count < 3:
        return None
    inside = fan[(time >= moved.start_s) & (time <= moved.end_s)]
    if inside.size < 10:
        return None
    low, high = np.percentile(inside, [2.0, 98.0])
    if high - low <= 0.1 * max(abs(float(high)), 1e-9):
        return "still"
    on = inside > 0.5 * (low + high)
    starts = int(np.count_nonzero(on[1:] & ~on[:-1]))
    share = starts / moved.count
    return "in step" if 0.6 <= share <= 1.4 else "still" if share < 0.15 else None


def _swings(time: Floats, load: Floats) -> int:
    """Count the changes from below 30 % to above 70 % that each lasted at least ten seconds."""
    state, since, count, last = 0, 0.0, 0, 0
    for t, value in zip(time, load, strict=True):
        now = 1 if value > 70.0 else -1 if value < 30.0 else 0
        if now != state:
            state, since = now, float(t)
        elif state and t - since >= 10.0 and state != last:
            count += 1
            last = state
    return max(count - 1, 0)


def _bridged(verdict: TraceVerdict) -> tuple[Floats, Floats]:
    trace = verdict.trace
    keep = np.ones(trace.time.size, np.bool_)
    if verdict.probability > 0.5:
        for span in verdict.spans:
            keep &= (trace.time < span.start_s) | (trace.time > span.end_s)
    return trace.time[keep], trace.values[keep]


def _hot(grid: Floats, series: Floats, trace: SensorTrace) -> Movement | None:
    del trace
    hot = series > HOT_FROM
    if np.count_nonzero(hot) * _GRID < 30.0:
        return None
    where = np.flatnonzero(hot)
    top = float(series.max())
    return Movement(
        "overheating",
        f"stands above {HOT_FROM:.0f} degC for {where.size * _GRID:.0f} s, up to {top:.0f} degC",
        size=top,
        count=1,
        start_s=float(grid[where[0]]),
        end_s=float(grid[where[-1]]),
    )


def _cycle(grid: Floats, series: Floats, trace: SensorTrace) -> Movement | None:
    # The warm-up is left out: cycling begins where the thermostat works.
    warm = np.flatnonzero(series > np.percentile(series, 80) - 10.0)
    begin = int(warm[0]) if warm.size else 0
    part, when = series[begin:], grid[begin:]
    if part.size * _GRID < 180.0:
        return None
    window = int(_LONGEST_CYCLE / _GRID)
    pad = np.pad(part, window // 2, mode="reflect") if part.size > window else part
    mean = (
        np.convolve(pad, np.ones(window) / window, mode="same")[
            window // 2 : window // 2 + part.size
        ]
        if part.size > window
        else np.full(part.size, part.mean())
    )
    swing = part - mean
    spread = float(np.percentile(swing, 95) - np.percentile(swing, 5))
    if spread < max(3.0, 2.5 * trace.step):
        return None
    power = np.correlate(swing, swing, mode="full")[swing.size - 1 :]
    power = power / np.arange(swing.size, 0, -1) / max(float(np.mean(swing**2)), 1e-12)
    low = int(_SHORTEST_CYCLE / _GRID)
    high = min(int(_LONGEST_CYCLE / _GRID), swing.size // 3)
    if high <= low + 2:
        return None
    down = np.flatnonzero(power[: high + 1] < 0.0)
    if down.size == 0:
        return None
    low = max(low, int(down[0]))
    if high <= low:
        return None
    part_power = power[low : high + 1]
    if part_power.max() <= 0.0:
        return None
    # The first lag that repeats nearly as well as the best one: not a multiple of the period.
    near = np.flatnonzero(part_power >= 0.85 * part_power.max())
    until = int(near[0])
    while until + 1 < part_power.size and part_power[until + 1] >= part_power[until]:
        until += 1
    lag = low + until
    period = lag * _GRID
    cycles = int(part.size * _GRID / period)
    if power[lag] < 0.4 or cycles < 3:
        return None
    return Movement(
        "thermostat_cycling",
        f"swings by {spread:.0f} degC every {period:.0f} s, {cycles} times",
        size=spread,
        period_s=period,
        count=cycles,
        start_s=float(when[0]),
        end_s=float(when[-1]),
    )


def _gas(grid: Floats, series: Floats, trace: SensorTrace) -> Movement | None:
    # Within one lag of the sensor: heat through metal and thermostat is slower (studies: a rule
    # of ten seconds named most of the lively healthy drives).
    rises = _fast(grid, series, +1, max(4.0, 2.0 * trace.step), seconds=4.0)
    back = [r for r in rises if _comes_back(grid, series, r, -1)]
    if len(back) < 2:
        return None
    size = float(np.median([r[2] for r in back]))
    return Movement(
        "gas_pocket",
        f"rises by about {size:.0f} degC within seconds and falls back {len(back)} times, along "
        "the curve of a sensor that follows",
        size=size,
        count=len(back),
        start_s=back[0][0],
        end_s=back[-1][1],
    )


def _slug(grid: Floats, series: Floats, trace: SensorTrace) -> Movement | None:
    drops = _fast(grid, series, -1, max(4.0, 2.0 * trace.step))
    if not 1 <= len(drops) <= 2:
        return None
    first = drops[0]
    # Cold coolant waits behind a thermostat that has not opened yet: only after a cold start.
    if not (series[grid < first[0]] < _COLD_START).any():
        return None
    return Movement(
        "cold_slug",
        f"drops once by {first[2]:.0f} degC in {first[1] - first[0]:.0f} s and recovers slowly, "
        "as when the thermostat first lets cold coolant in",
        size=first[2],
        count=len(drops),
        start_s=first[0],
        end_s=first[1],
    )


def _fast(
    grid: Floats, series: Floats, sign: int, least: float, *, seconds: float = 10.0
) -> list[tuple[float, float, float]]:
    """Return (start, end, size) of changes of at least *least* within some seconds."""
    width = int(seconds / _GRID)
    if series.size <= width:
        return []
    change = sign * (series[width:] - series[:-width])
    found: list[tuple[float, float, float]] = []
    index = 0
    while index < change.size:
        if change[index] < least:
            index += 1
            continue
        end = index
        while end + 1 < change.size and change[end + 1] >= change[end]:
            end += 1
        found.append((float(grid[end]), float(grid[end + width]), float(change[end])))
        index = end + width
    return found


def _comes_back(grid: Floats, series: Floats, rise: tuple[float, float, float], sign: int) -> bool:
    after = (grid >= rise[1]) & (grid <= rise[1] + 90.0)
    if not after.any():
        return False
    peak = float(series[np.searchsorted(grid, rise[1])])
    furthest = float((sign * (series[after] - peak)).max())
    return furthest >= 0.6 * rise[2]
