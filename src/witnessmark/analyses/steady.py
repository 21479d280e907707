"""Steady operating points of a recording: where on its map the engine sat still, and for how long.

Common practice, no source: engine speed within ±25 r/min and load within ±5 points for at least
5 s; working temperature from 70 degC coolant.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from witnessmark.model.entry_data import TruckData
from witnessmark.model.recording import Channel, Floats, Quality, Recording, Steady

__all__ = ["gear_at", "steady_points"]

RPM_BAND = 25.0
LOAD_BAND = 0.05
SHORTEST_S = 5.0
WARM_DEGC = 70.0
#: Slower than this is standing still [m/s].
STANDING = 0.6
#: A gear is told when the observed ratio is within this of the gear's own.
GEAR_WITHIN = 0.04
#: Longest pause between two samples that still counts as one stretch [s].
_PAUSE_S = 2.0
_STEP_S = 0.2
_METRES_PER_MILE = 1609.344


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
    speed = recording.channel("engine_speed")
    if speed is None or recording.duration_s is None:
        return ()
    time, rpm = _samples(speed)
    if time.size < 3:
        return ()
    grid, rpm_grid = _on_grid(time, rpm)
    load = _at(recording.channel("engine_load"), grid) / 100.0
    found = []
    for start, end in _stretches(grid, rpm_grid, load):
        here = slice(start, end)
        found.append(_point(recording, truck, grid[here], rpm_grid[here], load[here]))
    return tuple(_joined(found))


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
    count = int(min((time[-1] - time[0]) / _STEP_S + 1, 5_000_000))
    grid = time[0] + _STEP_S * np.arange(max(count, 1))
    cell = np.minimum(((time - time[0]) / _STEP_S).astype(np.int64), grid.size - 1)
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


def _stretches(grid: Floats, rpm: Floats, load: Floats) -> list[tuple[int, int]]:
    """Return (start, end) of stretches that stay inside both bands, the longest from each start."""
    least = int(SHORTEST_S / _STEP_S)
    found = []
    start = 0
    values = rpm.tolist()
    loads = load.tolist()
    while start + least < len(values):
        low = high = values[start]
        low_load, high_load = np.inf, -np.inf
        end = start
        while end < len(values):
            value, part = values[end], loads[end]
            low, high = min(low, value), max(high, value)
            if not math.isnan(part):
                low_load, high_load = min(low_load, part), max(high_load, part)
            if not high - low <= 2 * RPM_BAND or high_load - low_load > 2 * LOAD_BAND + 1e-9:
                break
            end += 1
        if end - start > least:
            found.append((start, end))
            start = end
        else:
            start += 1
    return found if grid.size else []


def _point(
    recording: Recording, truck: TruckData | None, grid: Floats, rpm: Floats, load: Floats
) -> Steady:
    speed = _median(_at(recording.channel("road_speed"), grid))
    coolant = _median(_at(recording.channel("coolant_temperature"), grid))
    pedal = _median(_at(recording.channel("pedal_position"), grid))
    turns = float(np.median(rpm))
    part = _median(load)
    warm = None if coolant is None else coolant >= WARM_DEGC
    return Steady(
        start_s=round(float(grid[0]), 3),
        end_s=round(float(grid[-1]), 3),
        rpm=round(turns, 1),
        load=None if part is None else round(part, 3),
        name=_name(turns, speed, part, pedal, warm),
        gear=_gear(recording, truck, grid, turns, speed),
        warm=warm,
    )


def _gear(
    recording: Recording, truck: TruckData | None, grid: Floats, rpm: float, speed: float | None
) -> str | None:
    if speed is None or speed <= STANDING:
        return None
    from_ratios = gear_at(truck, rpm, speed)
    if from_ratios is not None:
        return from_ratios
    sent = _median(_at(recording.channel("current_gear"), grid))
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
        ):
            found[-1] = replace(last, end_s=point.end_s)
        else:
            found.append(point)
    return found


def _median(values: npt.NDArray[np.float64]) -> float | None:
    good = values[~np.isnan(values)]
    return float(np.median(good)) if good.size >= 0.5 * values.size and good.size else None
