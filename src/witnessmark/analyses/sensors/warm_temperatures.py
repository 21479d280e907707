"""Temperatures of a warm engine held against each other: drift, swapped plugs, steady offsets.

Each temperature is taken apart by load and time (``physics.sensors.temperature_course``). What
remains over the recording is small on a sound truck and goes together where it is real: the oil
follows the coolant, the air in the manifold stands upon the air outside. What one sensor does alone
is its own. Natural changes are those of ``studies/plausibility/cross.md`` (simulation).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.physics.sensors.temperature_course import GRID_S, Course, course

__all__ = ["DRIFTING", "Drifted", "Offset", "Warm", "drifts", "offsets", "swapped", "warm_part"]

AIR, INTAKE = "ambient_temperature", "intake_air_temperature"
COOLANT, OIL, FUEL = "coolant_temperature", "oil_temperature", "fuel_temperature"
#: Quantities looked at, with the change that load and time leave on a sound truck: its middle and
#: how far from it nothing is called [degC].
DRIFTING: Mapping[str, tuple[float, float]] = {
    COOLANT: (0.0, 2.5), OIL: (0.0, 10.5), INTAKE: (0.0, 6.0), FUEL: (3.5, 6.5), AIR: (0.0, 6.0),
}  # fmt: skip
#: Standard errors of the fit that a change must stand clear of as well.
_ERRORS = 3.5
#: An oil that swings widely with the load is explained less well: it must stand clear of this part
#: of its own slow swing, too [-].
_OF_SWING = 0.4
_NAMES = (*DRIFTING, "exhaust_temperature")
_SETTLE_S, _LEAST_S = 600.0, 600.0

#: Level, or height above the air outside, and swing with the load within half a minute and behind
#: minutes: (middle, spread) each [degC]. Wide; judgement.
_SHAPE: Mapping[str, tuple[bool, tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    COOLANT: (False, (88.0, 6.0), (0.0, 1.5), (4.0, 3.5)),
    OIL: (False, (97.0, 9.0), (-2.0, 3.0), (15.0, 7.0)),
    INTAKE: (True, (15.0, 10.0), (15.0, 7.0), (6.0, 5.0)),
    FUEL: (True, (18.0, 12.0), (0.0, 1.5), (0.0, 3.0)),
    AIR: (True, (0.0, 4.0), (0.0, 0.8), (0.0, 1.5)),
    "exhaust_temperature": (False, (270.0, 80.0), (25.0, 40.0), (210.0, 80.0)),
}  # fmt: skip
#: Log likelihood that a swap must win; fuel against the air outside has its own count.
_SWAP, _FUEL_SWAP = 5.0, 3.5


@dataclass(frozen=True, slots=True)
class Warm:
    """The warm part of a recording.

    Attributes:
        start_s: its beginning [s].
        end_s: its end [s].
        values: quantity -> shape (n,), every ten seconds [degC].
        load: shape (n,), engine load [%].
        courses: quantity -> taken apart by load and time.
        above_air: the air in the manifold above the air outside, taken apart, or ``None``.
    """

    start_s: float
    end_s: float
    values: Mapping[str, Floats]
    load: Floats
    courses: Mapping[str, Course]
    above_air: Course | None


@dataclass(frozen=True, slots=True)
class Drifted:
    """What one temperature did beyond load and time.

    Attributes:
        name: quantity.
        change: beyond what it does on a sound truck [degC].
        error: standard deviation [degC].
        kind: ``drift``, ``real``, ``doubt`` or ``none``.
        beside: the other temperature that tells, and what it did [degC].
        least: change from which on it would have been called [degC].
    """

    name: str
    change: float
    error: float
    kind: str
    beside: tuple[str, float] | None = None
    least: float = 0.0


@dataclass(frozen=True, slots=True)
class Offset:
    """A temperature that stands where it cannot.

    Attributes:
        name: quantity.
        off: by at least so much [degC].
        against: what it was held against.
        sure: it is this one of the two; ``False``: one of the two.
    """

    name: str
    off: float
    against: str
    sure: bool = False


def warm_part(recording: Recording) -> Warm | None:
    """Return the warm part of a recording, ``None`` where load or ten settled minutes are missing.

    Args:
        recording: the recording.
    """
    load = recording.channel("engine_load")
    if load is None or np.count_nonzero(load.valid()) < 60:
        return None
    rows = {
        name: channel
        for name in _NAMES
        if (channel := recording.channel(name)) is not None
        and np.count_nonzero(channel.valid()) >= 60
    }
    if not rows:
        return None
    every = [load, *rows.values()]
    start = max(float(c.time_s[c.valid()][0]) for c in every)
    end = min(float(c.time_s[c.valid()][-1]) for c in every)
    if end - start < _SETTLE_S + _LEAST_S:
        return None
    grid = np.arange(start, end - GRID_S, GRID_S)
    values = {n: _on(c, grid) for n, c in rows.items()}
    work = _on(load, grid)
    begin = _settled(values)
    if (grid.size - begin) * GRID_S < _LEAST_S:
        return None
    slow = np.convolve(work[begin:], np.ones(6) / 6, mode="valid")
    if float(np.percentile(slow, 90) - np.percentile(slow, 10)) < 10.0:
        return None
    values = {n: v[begin:] for n, v in values.items()}
    work = work[begin:]
    courses = {n: c for n, v in values.items() if (c := course(v, work)) is not None}
    above = course(values[INTAKE], work, values[AIR]) if {INTAKE, AIR} <= set(values) else None
    return Warm(float(grid[begin]), float(grid[-1]), values, work, courses, above)


def drifts(warm: Warm) -> list[Drifted]:
    """Return what every temperature did that another one can be held against.

    Args:
        warm: the warm part.
    """
    have = warm.courses
    found = []
    if COOLANT in have and OIL in have:
        found += [_against(warm, COOLANT, OIL, 0.5), _against(warm, OIL, COOLANT, 0.25)]
    if warm.above_air is not None:
        found += _air(warm, warm.above_air)
    if FUEL in have and COOLANT in have:
        one = have[FUEL]
        middle, room = DRIFTING[FUEL]
        change = one.change - middle
        least = max(room, _ERRORS * one.error)
        found.append(Drifted(FUEL, change, one.error, "drift" if abs(change) > least else "none",
                             (COOLANT, have[COOLANT].change), least))  # fmt: skip
    return found


def swapped(warm: Warm) -> tuple[str, str, float] | None:
    """Return two quantities whose readings fit each other's place far better, and by how much.

    Args:
        warm: the warm part.
    """
    air = warm.courses[AIR].level if AIR in warm.courses else None
    best: tuple[str, str, float] | None = None
    for one, two in itertools.combinations(warm.courses, 2):
        # A swap with the air outside moves what the others are measured from.
        level = warm.courses[two if one == AIR else one].level if AIR in {one, two} else air
        as_is = _fits(warm, one, one, air) + _fits(warm, two, two, air)
        turned = _fits(warm, one, two, level) + _fits(warm, two, one, level)
        if turned - as_is > max(_SWAP, best[2] if best else 0.0) and turned > -9.0:
            best = one, two, turned - as_is
    if best is None and warm.above_air is not None and FUEL in warm.courses:
        margin = _fuel_for_air(warm)
        if margin > _FUEL_SWAP:
            best = FUEL, AIR, margin
    return best


def offsets(warm: Warm) -> list[Offset]:
    """Return the temperatures that stand where no sound truck has them.

    Args:
        warm: the warm part.
    """
    have, found = warm.courses, []
    if COOLANT in have and OIL in have:
        # A thermostat that stands open lets the coolant follow the load: then nothing is told.
        steady = float(np.ptp(np.percentile(warm.values[COOLANT], [5.0, 95.0]))) <= 10.0
        between = have[OIL].level - have[COOLANT].level
        off = between - (4.0 + 0.2 * max(have[OIL].slow, 0.0))
        if steady and abs(off) > 10.5:
            held = 80.0 <= have[COOLANT].level <= 95.0
            name, other = (OIL, COOLANT) if held else (COOLANT, OIL)
            found.append(Offset(name, off if held else -off, other, sure=True))
    if warm.above_air is not None:
        light = warm.load <= np.percentile(warm.load, 40)
        above = warm.values[INTAKE] - warm.values[AIR]
        low, high = _LIGHT
        at = float(np.median(above[light]))
        off = at - high if at > high else at - low if at < low else 0.0
        if off:
            found.append(Offset(INTAKE, off, AIR))
    if FUEL in have and AIR in have:
        above_air = have[FUEL].level - have[AIR].level
        if above_air < -3.0:
            found.append(Offset(FUEL, above_air, AIR))
    # Fuel and manifold off the same way against the air outside: it is the air's own sensor.
    if {INTAKE, FUEL} <= {f.name for f in found}:
        first = next(f for f in found if f.name == INTAKE)
        found = [f for f in found if f.name not in {INTAKE, FUEL}]
        found.append(Offset(AIR, -first.off, INTAKE, sure=True))
    return found


#: Air in the manifold above the air outside at light load [degC]: lowest and highest, judgement.
_LIGHT = (-2.5, 16.0)


def _fuel_for_air(warm: Warm) -> float:
    """Log likelihood that fuel and outside air stand in each other's place, over any one fault.

    Neither answers the load. What tells is a third and time: at light load the air in the manifold
    stands a little above the air outside, the fuel well above both, and the fuel goes on warming
    while the air outside stays. The rivals are two sound sensors, and one of the two that is off or
    drifts. Figures [degC]: wide, judgement; tried in ``studies/plausibility/cross.md``.
    """
    light = warm.load <= np.percentile(warm.load, 40)
    air, fuel, intake = (warm.values[n] for n in (AIR, FUEL, INTAKE))
    above = float(np.median(fuel - air))
    over_air = float(np.median((intake - air)[light]))
    over_fuel = float(np.median((intake - fuel)[light]))
    went = {n: warm.courses[n].change for n in (AIR, FUEL)}
    anywhere, drifting = _forgiving(0.0, 0.0, 12.0) - 2.0, _forgiving(0.0, 0.0, 5.0)

    def stays(name: str) -> float:
        return _forgiving(went[name], 0.0, 1.5)

    def warms(name: str) -> float:
        return _forgiving(went[name], 3.5, 2.5)

    upon_air, upon_fuel = (_forgiving(x, 6.5, 4.0) for x in (over_air, over_fuel))
    below_fuel = _forgiving(over_fuel, -8.5, 7.0)
    turned = _forgiving(-above, 15.0, 8.0) + upon_fuel + stays(FUEL) + warms(AIR)
    rivals = (
        _forgiving(above, 15.0, 8.0) + upon_air + stays(AIR) + warms(FUEL),
        anywhere + below_fuel + stays(AIR) + warms(FUEL),  # the air's own sensor is off
        anywhere + upon_air + stays(AIR) + warms(FUEL),  # the fuel's
        anywhere + below_fuel + drifting + warms(FUEL),
        anywhere + upon_air + stays(AIR) + drifting,
    )
    return turned - max(rivals)


def _forgiving(value: float, middle: float, spread: float) -> float:
    """Log density of a value about a middle, wild values forgiven: (1 + z^2 / 4)^-2.5."""
    z = (value - middle) / spread
    return -2.5 * math.log1p(z * z / 4.0) - math.log(spread / 5.0)


def _against(warm: Warm, name: str, other: str, follows: float) -> Drifted:
    one, two = warm.courses[name], warm.courses[other]
    middle, room = DRIFTING[name]
    if name == OIL:
        room = max(room, _OF_SWING * one.slow)
    change = one.change - middle
    least = max(room, _ERRORS * one.error)
    if abs(change) <= least:
        return Drifted(name, change, one.error, "none", (other, two.change), least)
    share = two.change / change
    natural = 0.45 * DRIFTING[other][1]
    real = share >= follows and abs(two.change) > 0.5 * natural
    doubt = not real and share >= 0.5 * follows and abs(two.change) > 0.5 * natural
    kind = "real" if real else "doubt" if doubt else "drift"
    return Drifted(name, change, one.error, kind, (other, two.change), least)


def _air(warm: Warm, above: Course) -> list[Drifted]:
    """Manifold against outside: which of the two went."""
    intake, air = warm.courses[INTAKE], warm.courses[AIR]
    least = max(DRIFTING[INTAKE][1], 5.0 * above.error)
    beside_it, beside_air = (AIR, air.change), (INTAKE, intake.change)
    if abs(above.change) <= least:
        return [
            Drifted(INTAKE, above.change, above.error, "none", beside_it, least),
            Drifted(AIR, -above.change, above.error, "none", beside_air, least),
        ]
    mine = abs(air.change) < 0.4 * abs(above.change)
    outside = abs(intake.change) < 0.4 * abs(above.change)
    if mine == outside:
        return [Drifted(INTAKE, above.change, above.error, "doubt", beside_it, least)]
    if mine:
        return [Drifted(INTAKE, above.change, above.error, "drift", beside_it, least)]
    return [Drifted(AIR, -above.change, above.error, "drift", beside_air, least)]


def _fits(warm: Warm, values_of: str, place: str, air: float | None) -> float:
    """Log likelihood of one channel's behaviour in a quantity's place, wild values forgiven."""
    over_air, level, quick, slow = _SHAPE[place]
    one = warm.courses[values_of]
    seen = [(one.quick, quick), (one.slow, slow)]
    if over_air and air is not None:
        seen.append((one.level - air, level))
    elif not over_air:
        seen.append((one.level, level))
    return sum(_forgiving(value, middle, spread) for value, (middle, spread) in seen)


def _settled(values: Mapping[str, Floats]) -> int:
    """Where the warm part begins: ten minutes after the coolant, or all of them, stand."""
    lead = values.get(COOLANT)
    rows = [lead] if lead is not None else list(values.values())
    latest = 0
    for row in rows:
        level = float(np.median(row[row.size // 2 :]))
        off = np.flatnonzero(np.abs(row[: row.size // 2] - level) > 18.0)
        latest = max(latest, int(off[-1]) + 1 if off.size else 0)
    return latest + int(_SETTLE_S / GRID_S)


def _on(channel: Channel, grid: Floats) -> Floats:
    """Return a channel as means of the ten seconds after each point of the grid."""
    mask = channel.valid()
    time, values = channel.time_s[mask], channel.values[mask]
    place = np.searchsorted(time, np.append(grid, grid[-1] + GRID_S))
    plain = np.interp(grid, time, values)
    sums = np.concatenate([[0.0], np.cumsum(values)])
    count = np.diff(place)
    mean = (sums[place[1:]] - sums[place[:-1]]) / np.maximum(count, 1)
    return np.where(count > 0, mean, plain)
