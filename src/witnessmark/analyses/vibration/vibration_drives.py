"""Vibration recordings made ready: one clock, one gear a sweep, turns of every candidate line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from witnessmark.analyses.an_analysis import Bench
from witnessmark.late import late
from witnessmark.model.entries.entry_data import RecordingData, TruckData
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.physics.vibration.clock_alignment import Alignment, align
from witnessmark.physics.vibration.orders.line_selection import Sweep
from witnessmark.physics.vibration.orders.order_lines import Line, expected_lines, same_turning
from witnessmark.physics.vibration.orders.order_tracking import turns
from witnessmark.units import to_house

if TYPE_CHECKING:
    from scipy import signal
else:
    signal = late("scipy.signal")

__all__ = [
    "DriveSpan",
    "Gathered",
    "VibrationDrive",
    "gather",
    "lines_for",
    "shared_by",
    "sweeps_of",
    "vibration_channels",
]

_AXES = ("ax", "ay", "az")
#: Above this rate the choice of lines works on a thinned copy; order 6 at 2200 rpm is 220 Hz.
_THINNED_HZ = 500.0
_ENGINE = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 4.5, 6.0)


@dataclass(frozen=True, slots=True)
class DriveSpan:
    """A stretch in one gear, or in neutral.

    Attributes:
        start: [s] on the bus's clock.
        end: [s].
        gear: name of the gear, ``neutral``, or a letter where the truck's gears are not known.
        ratio: engine turns per shaft turn, ``None`` where not known.
    """

    start: float
    end: float
    gear: str
    ratio: float | None


@dataclass(frozen=True, slots=True)
class VibrationDrive:
    """One vibration recording on the bus's clock.

    Attributes:
        entry: id of the recording entry.
        sha256: digest of the vibration recording.
        stage: number of work entries before it.
        time: shape (n,) [s], on the bus's clock.
        values: shape (n, axes) [m/s2].
        axes: names of the axes.
        rate: median sampling rate [Hz].
        even: samples are evenly spaced.
        speed: (time [s], engine speed [r/min]).
        road: (time [s], road speed [m/s]), empty where not on the bus.
        load: (time [s], load 0..1), empty where not on the bus.
        spans: gears.
        offset: offset taken off the accelerometer's clock [s].
        unit: ``assumed`` where the columns name none.
        clock: how the two clocks were put together, ``None`` where it is one clock.
    """

    entry: str
    sha256: str
    stage: int
    time: Floats
    values: Floats
    axes: tuple[str, ...]
    rate: float
    even: bool
    speed: tuple[Floats, Floats]
    road: tuple[Floats, Floats]
    load: tuple[Floats, Floats]
    spans: tuple[DriveSpan, ...]
    offset: float = 0.0
    unit: Literal["written", "assumed"] = "written"
    clock: Alignment | None = None


@dataclass(frozen=True, slots=True)
class Gathered:
    """All vibration drives of a case, and what kept recordings from being used.

    Attributes:
        drives: usable drives in the order of the case.
        refused: entry id -> why that recording could not be used.
    """

    drives: tuple[VibrationDrive, ...] = ()
    refused: Mapping[str, str] = field(default_factory=dict)


def vibration_channels(recording: Recording) -> tuple[Channel, ...]:
    """Return the accelerometer's channels: ax, ay, az, or any of the quantity ``vibration``."""
    named = [
        c
        for c in recording.channels
        if c.name in _AXES or c.name.split(".")[0] == "vibration" or c.label in _AXES
    ]
    return tuple(named)


def gather(bench: Bench) -> Gathered:
    """Find the vibration recordings of a case and bring each onto a bus clock.

    A file that holds both is on one clock. A file of a phone or a logger of its own is paired
    with the nearest recording of the same stage that has the engine speed, and needs three
    throttle blips to be aligned.
    """
    truck = bench.case.truck()
    order = list(bench.recordings)
    meant = {e.id for e, d in bench.case.of(RecordingData) if d.holds == "vibration"}
    drives: list[VibrationDrive] = []
    refused: dict[str, str] = {}
    for place, entry in enumerate(order):
        recording = bench.recordings[entry]
        channels = vibration_channels(recording)
        if not channels:
            if entry in meant:
                refused[entry] = (
                    "no column of it is known to be an acceleration; name the columns once, such "
                    "as ax [m/s2], ay [m/s2], az [m/s2]"
                )
            continue
        made = _samples(channels)
        if made is None:
            refused[entry] = "the vibration channels hold too few samples"
            continue
        time, values, names = made
        partner, offset, clock = recording, 0.0, None
        if recording.channel("engine_speed") is None:
            nearest = sorted(
                (abs(i - place), e)
                for i, e in enumerate(order)
                if bench.stage(e) == bench.stage(entry)
                and bench.recordings[e].channel("engine_speed") is not None
            )
            if not nearest:
                refused[entry] = "no recording of the same visit holds the engine speed"
                continue
            partner = bench.recordings[nearest[0][1]]
        speed = _series(partner, "engine_speed")
        if len(speed[0]) < 10:
            refused[entry] = "the engine speed has too few readings"
            continue
        if partner is not recording:
            found = align(time, values, *speed)
            if not found.trusted:
                refused[entry] = (
                    f"its clock could not be matched to the engine speed: {found.reason}; "
                    "give three throttle blips in neutral at the start of every recording"
                )
                continue
            offset, clock = found.offset, found
        road, load = _series(partner, "road_speed"), _series(partner, "engine_load")
        step = np.diff(time)
        rate = 1.0 / float(np.median(step))
        drives.append(
            VibrationDrive(
                entry, recording.sha256, bench.stage(entry), time - offset, values, names, rate,
                bool(np.max(np.abs(step * rate - 1.0)) < 0.01), speed, road,
                (load[0], load[1] / 100.0), _spans(speed, road, truck), offset,
                "written" if all(c.unit for c in channels) else "assumed", clock,
            )
        )  # fmt: skip
    return Gathered(tuple(drives), refused)


def lines_for(truck: TruckData | None, drives: Sequence[VibrationDrive]) -> tuple[Line, ...]:
    """Return the candidate lines: the road's only where the truck's ratios make them known."""
    gears = bool(drives) and all(
        s.ratio is not None for d in drives for s in d.spans if s.gear != "neutral"
    )
    road = truck is not None and truck.axle_ratio is not None and gears
    highest = max((float(np.max(d.speed[1])) for d in drives if len(d.speed[1])), default=2000.0)
    rate = min((d.rate for d in drives), default=100.0)
    orders = tuple(k for k in _ENGINE if k * highest / 60.0 < 0.95 * rate)
    driven = truck.accessories if truck is not None else None
    driven = {n: r for n, r in (driven or {}).items() if r * highest / 60.0 < 0.95 * rate}
    lines = expected_lines(orders=orders, accessories=driven, road=road)
    same = same_turning(lines)
    return tuple(line for line in lines if line.name not in same)


def shared_by(truck: TruckData | None, line: str) -> tuple[str, ...]:
    """Return the accessories that turn with an engine order, so that no fit parts them."""
    if truck is None or not truck.accessories:
        return ()
    same = same_turning(expected_lines(orders=_ENGINE, accessories=truck.accessories))
    return tuple(name for name, order in same.items() if order == line)


def sweeps_of(
    drive: VibrationDrive, lines: Sequence[Line], truck: TruckData | None, *, neutral: bool = False
) -> tuple[Sweep, ...]:
    """Cut a drive into sweeps of one gear with the turns of every line.

    Args:
        drive: the drive.
        lines: candidate lines.
        truck: the truck, for its axle ratio.
        neutral: return the stretches in neutral instead of those in gear.
    """
    time, values = _thinned(drive)
    engine = turns(time, *drive.speed)
    axle = truck.axle_ratio if truck is not None and truck.axle_ratio else None
    found = []
    for span in drive.spans:
        if (span.gear == "neutral") != neutral:
            continue
        inside = (time >= span.start) & (time <= span.end)
        if np.count_nonzero(inside) < 24:
            continue
        cycles = np.full((int(np.count_nonzero(inside)), len(lines)), np.nan)
        for i, line in enumerate(lines):
            per = _per_engine(line, span.ratio, axle)
            if per is not None:
                cycles[:, i] = engine[inside] * line.multiple * per
            elif neutral:
                cycles[:, i] = 0.0
        found.append(Sweep(time[inside], values[inside], cycles, span.gear))
    return tuple(found)


def _per_engine(line: Line, ratio: float | None, axle: float | None) -> float | None:
    if line.carrier == "engine":
        return 1.0
    if ratio is None:
        return None
    if line.carrier == "shaft":
        return 1.0 / ratio
    return None if axle is None else 1.0 / (ratio * axle)


def _thinned(drive: VibrationDrive) -> tuple[Floats, Floats]:
    step = int(drive.rate // _THINNED_HZ)
    if step < 2 or not drive.even:
        return drive.time, drive.values
    # A linear-phase filter whose delay is taken off; only the samples that are kept are computed.
    thin = signal.resample_poly(drive.values, 1, step, axis=0)
    return drive.time[::step][: len(thin)], np.asarray(thin, dtype=np.float64)


def _samples(channels: Sequence[Channel]) -> tuple[Floats, Floats, tuple[str, ...]] | None:
    first = max(channels, key=lambda c: len(c.time_s))
    assumed = _unit_by_gravity(channels)
    valid = first.valid()
    time = first.time_s[valid]
    if len(time) < 100:
        return None
    keep = np.concatenate(([True], np.diff(time) > 0))
    time = time[keep]
    columns = []
    for channel in channels:
        scale = assumed
        if channel.unit not in {"", "m/s2"}:
            scale = to_house("vibration", 1.0, channel.unit)
        elif channel.unit:
            scale = 1.0
        good = channel.valid()
        if channel.time_s is first.time_s or np.array_equal(
            channel.time_s[good], first.time_s[valid]
        ):
            columns.append(channel.values[valid][keep] * scale)
        elif np.count_nonzero(good) > 2:
            columns.append(np.interp(time, channel.time_s[good], channel.values[good]) * scale)
    names = tuple(c.name if c.name in _AXES else c.label or c.name for c in channels)
    return time, np.stack(columns, axis=1), names[: len(columns)]


def _unit_by_gravity(channels: Sequence[Channel]) -> float:
    """Factor to m/s2 of columns without a unit: what lies still shows 1 g, in whatever unit.

    Without gravity in them (a phone's "linear acceleration") they are taken as m/s2, which is what
    phones record; the finding says so.
    """
    bare = [c for c in channels if not c.unit]
    if not bare:
        return 1.0
    still = sum(float(np.median(c.values[c.valid()])) ** 2 for c in bare if np.any(c.valid()))
    return 9.80665 if 0.9 < still**0.5 < 1.1 else 1.0


def _series(recording: Recording, name: str) -> tuple[Floats, Floats]:
    channel = recording.channel(name)
    if channel is None:
        return np.zeros(0), np.zeros(0)
    good = channel.valid()
    time, values = channel.time_s[good], channel.values[good]
    rising = np.concatenate(([True], np.diff(time) > 0)) if len(time) else np.zeros(0, bool)
    return time[rising], values[rising]


def _spans(
    speed: tuple[Floats, Floats], road: tuple[Floats, Floats], truck: TruckData | None
) -> tuple[DriveSpan, ...]:
    grid = np.arange(speed[0][0], speed[0][-1], 0.1)
    rpm = np.interp(grid, *speed)
    if len(road[0]) < 10:
        # Without a road speed nothing says which gear it was: one stretch, gear unknown.
        return (DriveSpan(float(grid[0]), float(grid[-1]), "not known", None),)
    v = np.interp(grid, *road)
    moving = (v > 2.0) & (rpm > 500)
    quotient = np.where(moving, rpm / 60.0 / np.maximum(v, 0.1), np.nan)
    spans: list[DriveSpan] = []
    known = _known_quotients(truck)
    letters: list[float] = []
    for first, last in _stretches(quotient):
        middle = float(np.median(quotient[first:last]))
        name, ratio = _gear(middle, known)
        if ratio is None:
            near = [i for i, q in enumerate(letters) if abs(q / middle - 1) < 0.05]
            if not near:
                letters.append(middle)
            name = chr(ord("A") + (near[0] if near else len(letters) - 1) % 26)
        spans.append(DriveSpan(float(grid[first]), float(grid[last - 1]), name, ratio))
    still = (v < 1.0) & (rpm > 400)
    for first, last in _runs(still, 50):
        if np.ptp(rpm[first:last]) > 300:
            spans.append(DriveSpan(float(grid[first]), float(grid[last - 1]), "neutral", None))
    return tuple(sorted(spans, key=lambda s: s.start))


def _known_quotients(truck: TruckData | None) -> dict[str, tuple[float, float]]:
    if truck is None or not (truck.gears and truck.axle_ratio and truck.tyre_rev_per_mile):
        return {}
    per_metre = truck.tyre_rev_per_mile / 1609.344 * truck.axle_ratio
    return {name: (ratio * per_metre, ratio) for name, ratio in truck.gears.items()}


def _gear(quotient: float, known: Mapping[str, tuple[float, float]]) -> tuple[str, float | None]:
    best = min(known.items(), key=lambda g: abs(g[1][0] / quotient - 1), default=None)
    if best is None or abs(best[1][0] / quotient - 1) > 0.05:
        return "", None
    return best[0], best[1][1]


def _runs(mask: np.ndarray[tuple[int], np.dtype[np.bool_]], least: int) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [
        (int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least
    ]


def _stretches(quotient: Floats) -> list[tuple[int, int]]:
    """Stretches of 4 s or more over which engine and road keep one ratio (within 2 %)."""
    found: list[tuple[int, int]] = []
    start: int | None = None
    for i, q in enumerate(np.append(quotient, np.nan)):
        if start is not None:
            middle = float(np.median(quotient[max(start, i - 20) : i]))
            if not np.isfinite(q) or abs(q / middle - 1) > 0.02:
                if i - start >= 40:
                    found.append((start, i))
                start = None
        if start is None and np.isfinite(q):
            start = i
    return found
