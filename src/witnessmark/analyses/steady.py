"""Steady operating points of a recording: where on its map the engine sat still, and for how long.

Common practice, no source: engine speed within ±25 r/min and load within ±5 points for at least
5 s; working temperature from 70 degC coolant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel, Floats, Quality, Recording, Steady

if TYPE_CHECKING:  # the entries load a library that a look into a file does not need
    from witnessmark.model.entries.entry_data import TruckData

__all__ = ["Trace", "gear_at", "ratio_of", "steady_points", "trace_of"]

RPM_BAND = 25.0
LOAD_BAND = 0.05
SHORTEST_S = 5.0
WARM_DEGC = 70.0
#: Slower than this is standing still [m/s].
STANDING = 0.6
#: A gear is told when the observed ratio is within this of the gear's own.
GEAR_WITHIN = 0.04
#: Road speed over engine speed changes by less than this (natural log) within one gear.
ONE_GEAR = 0.1
#: Longest pause between two samples that still counts as one stretch [s].
_PAUSE_S = 2.0
_STEP_S = 0.2
#: Part of a cell by which a time stamp may fall short of the edge: clocks are kept to 1 ms.
_EDGE = 0.005
_METRES_PER_MILE = 1609.344


@dataclass(frozen=True, slots=True)
class Trace:
    """A recording on an even grid of time; NaN where nothing is known.

    Attributes:
        time_s: the grid [s].
        rpm: engine speed [r/min].
        load: load on the bus, 0 to 1.
        road_speed: [m/s].
        coolant: [degC].
        pedal: [%].
        gear: gear on the bus.
    """

    time_s: Floats
    rpm: Floats
    load: Floats
    road_speed: Floats
    coolant: Floats
    pedal: Floats
    gear: Floats


def trace_of(recording: Recording) -> Trace | None:
    """Return the recording on an even grid; ``None`` without engine speed or time stamps."""
    speed = recording.channel("engine_speed")
    if speed is None or recording.duration_s is None:
        return None
    time, rpm = _samples(speed)
    if time.size < 3:
        return None
    grid, rpm_grid = _on_grid(time, rpm)
    return Trace(
        grid,
        rpm_grid,
        _at(recording.channel("engine_load"), grid) / 100.0,
        _at(recording.channel("road_speed"), grid),
        _at(recording.channel("coolant_temperature"), grid),
        _at(recording.channel("pedal_position"), grid),
        _at(recording.channel("current_gear"), grid),
    )


def steady_points(recording: Recording, truck: TruckData | None = None) -> tuple[Steady, ...]:
    """Return the stretches over which the engine sat still, in order of time.

    The name says what a stretch is: ``engine off``, ``hot soak``, ``idle``, ``no load`` (standing
    still above idle), ``pull`` (full load on the road), ``road`` (part load), ``coast``. The load
    is the one on the bus, which idling engines report as 10 to 30 %; ``idle`` and ``no load``
    therefore mean no load on the road.

    Args:
        recording: with engine speed; road speed, load, pedal and coolant are used where present.
        truck: for the gear: ratios of gears and axle, tyre revolutions per mile.
    """
    trace = trace_of(recording)
    if trace is None:
        return ()
    found = []
    for start, end in _stretches(trace):
        found.append(_point(truck, trace, slice(start, end)))
    return tuple(_grouped(_joined(found)))


def ratio_of(trace: Trace) -> Floats:
    """Return the log of road speed over engine speed: it jumps when the gear changes.

    0 where the truck stands still; NaN where the road speed is not known.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(trace.road_speed * 1000.0 / np.maximum(trace.rpm, 1.0))
        return np.where(trace.road_speed <= STANDING, 0.0, ratio)


def gear_at(truck: TruckData | None, rpm: float, road_speed: float) -> str | None:
    """Return the gear from engine speed and road speed.

    The ratio of the gear is ``rpm / (road speed * tyre revolutions per distance * axle ratio)``.

    Args:
        truck: with ``gears``, ``axle_ratio`` and ``tyre_rev_per_mile``; otherwise ``None`` is
            returned.
        rpm: engine speed [r/min].
        road_speed: [m/s].
    """
    if truck is None or not truck.gears or not truck.axle_ratio or not truck.tyre_rev_per_mile:
        return None
    if road_speed <= STANDING or rpm <= 0.0:
        return None
    tyre = road_speed * 60.0 / _METRES_PER_MILE * truck.tyre_rev_per_mile
    observed = rpm / (tyre * truck.axle_ratio)
    name, ratio = min(truck.gears.items(), key=lambda g: abs(g[1] / observed - 1.0))
    return name if abs(ratio / observed - 1.0) <= GEAR_WITHIN else None


def _samples(channel: Channel) -> tuple[Floats, Floats]:
    valid = channel.quality == Quality.VALID
    valid |= channel.quality == Quality.REPEATED
    valid &= ~np.isnan(channel.values) & ~np.isnan(channel.time_s)
    return channel.time_s[valid], channel.values[valid]


def _on_grid(time: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return an even grid with the mean of each cell (NaN within pauses)."""
    # A sample on the edge of its cell stays in it: 0.6 s over 0.2 s is a hair less than 3.
    place = (time - time[0]) / _STEP_S + _EDGE
    count = int(min(place[-1] + 1, 5_000_000))
    grid = time[0] + _STEP_S * np.arange(max(count, 1))
    cell = np.minimum(place.astype(np.int64), grid.size - 1)
    sums = np.bincount(cell, values, minlength=grid.size)
    counts = np.bincount(cell, minlength=grid.size)
    filled = np.flatnonzero(counts)
    means = np.interp(grid, grid[filled], sums[filled] / counts[filled])
    index = np.arange(grid.size)
    before = np.maximum.accumulate(np.where(counts > 0, index, -1))
    after = np.minimum.accumulate(np.where(counts > 0, index, grid.size)[::-1])[::-1]
    means[(after - before) * _STEP_S > _PAUSE_S] = np.nan
    return grid, means


def _at(channel: Channel | None, grid: Floats) -> Floats:
    """Return the channel at the grid's times, NaN where there is nothing near."""
    if channel is None:
        return np.full(grid.size, np.nan)
    time, values = _samples(channel)
    if time.size < 2:
        return np.full(grid.size, np.nan)
    at = np.clip(np.searchsorted(time, grid), 1, time.size - 1)
    nearest = at - (grid - time[at - 1] < time[at] - grid)
    found = values[nearest].copy()
    found[np.abs(time[nearest] - grid) > 2 * _PAUSE_S] = np.nan
    return found


def _stretches(trace: Trace) -> list[tuple[int, int]]:
    """Return (start, end) of stretches inside the bands and in one gear, the longest each."""
    least = int(SHORTEST_S / _STEP_S)
    found: list[tuple[int, int]] = []
    if trace.rpm.size <= least:
        return found
    ratio = ratio_of(trace)
    # Only where everything keeps its band for the shortest time can a stretch begin.
    possible = _spread(trace.rpm, least + 1, nothing=False) <= 2 * RPM_BAND
    possible &= _spread(trace.load, least + 1) <= 2 * LOAD_BAND + 1e-9
    possible &= _spread(ratio, least + 1) <= ONE_GEAR
    following = np.append(np.flatnonzero(possible), len(trace.rpm))
    start = 0
    while True:
        start = int(following[np.searchsorted(following, start)])
        if start + least >= trace.rpm.size:
            break
        end = _leaves(trace, ratio, start)
        found.append((start, end))
        start = end
    return found


def _leaves(trace: Trace, ratio: Floats, start: int) -> int:
    """Return where a stretch that begins at *start* leaves one of its bands."""
    size = 64
    while True:
        here = slice(start, start + size)
        inside = _running_spread(trace.rpm[here], nothing=False) <= 2 * RPM_BAND
        inside &= _running_spread(trace.load[here]) <= 2 * LOAD_BAND + 1e-9
        inside &= _running_spread(ratio[here]) <= ONE_GEAR
        if not inside.all():
            return start + int(np.argmin(inside))
        if start + size >= trace.rpm.size:
            return int(trace.rpm.size)
        size *= 4


def _running_spread(values: Floats, *, nothing: bool = True) -> Floats:
    """Return highest less lowest of all values up to each one."""
    low, high = _ends(values, nothing=nothing)
    return np.asarray(np.maximum.accumulate(high) - np.minimum.accumulate(low))


def _spread(values: Floats, width: int, *, nothing: bool = True) -> Floats:
    """Return highest less lowest of each window."""
    low, high = _ends(values, nothing=nothing)
    windows = np.lib.stride_tricks.sliding_window_view
    return np.asarray(windows(high, width).max(axis=1) - windows(low, width).min(axis=1))


def _ends(values: Floats, *, nothing: bool) -> tuple[Floats, Floats]:
    """Return the values for a lowest and a highest; with *nothing*, NaN is no value."""
    if not nothing:
        return values, values
    unknown = np.isnan(values)
    return np.where(unknown, np.inf, values), np.where(unknown, -np.inf, values)


def _point(truck: TruckData | None, trace: Trace, here: slice) -> Steady:
    grid = trace.time_s[here]
    speed = _median(trace.road_speed[here])
    coolant = _median(trace.coolant[here])
    turns = float(np.median(trace.rpm[here]))
    part = _median(trace.load[here])
    warm = None if coolant is None else coolant >= WARM_DEGC
    return Steady(
        start_s=round(float(grid[0]), 3),
        end_s=round(float(grid[-1]), 3),
        rpm=round(turns, 1),
        load=None if part is None else round(part, 3),
        name=_name(turns, speed, part, _median(trace.pedal[here]), warm),
        gear=_gear(truck, _median(trace.gear[here]), turns, speed),
        warm=warm,
        rpm_per_kmh=None
        if speed is None or speed <= STANDING or turns < 400.0
        else round(turns / (speed * 3.6), 2),
    )


def _grouped(points: list[Steady]) -> list[Steady]:
    """Tell the gears of a truck apart by how far it goes in a turn, where no ratio is known.

    Neighbouring gears of trucks are more than 10 % apart, one gear's own ratio moves by a few
    percent with load and tyre (common practice, no source).
    """
    ratios = sorted(p.rpm_per_kmh for p in points if p.rpm_per_kmh is not None and p.gear is None)
    if not ratios:
        return points
    centres: list[list[float]] = [[ratios[0]]]
    for ratio in ratios[1:]:
        if math.log(ratio / centres[-1][-1]) > 0.05:
            centres.append([])
        centres[-1].append(ratio)
    count = len(centres)
    number = {ratio: count - n for n, group in enumerate(centres) for ratio in group}
    return [
        replace(p, group=f"{number[p.rpm_per_kmh]} of {count} by ratio")
        if p.gear is None and p.rpm_per_kmh is not None
        else p
        for p in points
    ]


def _gear(
    truck: TruckData | None, sent: float | None, rpm: float, speed: float | None
) -> str | None:
    if speed is None or speed <= STANDING:
        return None
    from_ratios = gear_at(truck, rpm, speed)
    if from_ratios is not None:
        return from_ratios
    return f"{sent:.0f}" if sent is not None and sent >= 1.0 else None


def _name(
    rpm: float,
    speed: float | None,
    load: float | None,
    pedal: float | None,
    warm: bool | None,
) -> str:
    if rpm < 100.0:
        return "hot soak" if warm else "engine off"
    if speed is not None and speed > STANDING:
        if load is None:
            return "road"
        if load >= 0.9 or (pedal is not None and pedal >= 95.0 and load >= 0.8):
            return "pull"
        return "coast" if load <= 0.05 and (pedal is None or pedal <= 1.0) else "road"
    if speed is None and load is not None and load > 0.4:
        return "pull" if load >= 0.9 else ""
    if rpm < 400.0:
        return "cranking"
    return "idle" if rpm <= 900.0 else "no load"


def _joined(points: list[Steady]) -> list[Steady]:
    """Join neighbours that are the same place: a short disturbance does not make two points."""
    found: list[Steady] = []
    for point in points:
        last = found[-1] if found else None
        if (
            last is not None
            and point.start_s - last.end_s <= 1.0
            and abs(point.rpm - last.rpm) <= RPM_BAND / 2
            and (last.name, last.gear, last.warm) == (point.name, point.gear, point.warm)
            and abs((last.load or 0.0) - (point.load or 0.0)) <= LOAD_BAND / 2
            and _one_gear(last, point)
        ):
            found[-1] = replace(last, end_s=point.end_s)
        else:
            found.append(point)
    return found


def _one_gear(first: Steady, second: Steady) -> bool:
    if first.rpm_per_kmh is None or second.rpm_per_kmh is None:
        return (first.rpm_per_kmh is None) == (second.rpm_per_kmh is None)
    return abs(math.log(first.rpm_per_kmh / second.rpm_per_kmh)) <= 0.05


def _median(values: npt.NDArray[np.float64]) -> float | None:
    good = values[~np.isnan(values)]
    return float(np.median(good)) if good.size >= 0.5 * values.size and good.size else None
