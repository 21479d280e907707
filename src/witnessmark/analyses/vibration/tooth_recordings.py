"""Tooth-timing recordings made ready: which channel, which wheel, warm or cold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.an_analysis import Bench
from witnessmark.errors import UnitRefused
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.physics.vibration.twist.cam_row import cam_of, is_cam
from witnessmark.physics.vibration.twist.tooth_edges import (
    Marks,
    edges_of_levels,
    edges_of_waveform,
    find_marks,
    other_wheels,
    sectors_by_cam,
)
from witnessmark.units import parse

__all__ = ["Timing", "gather_timings"]

#: Coolant above this is a warm engine, so a warm damper [degC] (judgement).
_WARM = 70.0


@dataclass(frozen=True, slots=True)
class Timing:
    """One recording of a crankshaft wheel.

    Attributes:
        entry: id of the recording entry.
        sha256: digest of the file.
        stage: number of work entries before it.
        marks: the marks, ``None`` when they could not be read.
        refused: why not.
        place: ``nose``, ``flywheel`` or ``""``.
        warm: engine at working temperature, ``None`` when nothing says so.
        load: 0..1 or ``None``.
        dead_centre: cylinder 1's firing dead centre on the marks' own count over 720 degrees
            [rad], or ``None``.
        channel: name of the channel.
    """

    entry: str
    sha256: str
    stage: int
    marks: Marks | None
    refused: str
    place: str
    warm: bool | None
    load: float | None
    dead_centre: float | None
    channel: str


def gather_timings(bench: Bench) -> tuple[Timing, ...]:
    """Return every tooth-timing recording of a case, read or refused with the reason."""
    found = []
    for entry, data in bench.case.of(RecordingData):
        recording = bench.recordings.get(entry.id)
        if recording is None:
            continue
        wanted = recording.kind == "tooth_timing" or (
            recording.kind == "waveform" and data.holds == "tooth_timing"
        )
        if not wanted:
            continue
        marks: Marks | None = None
        refused, name = "", ""
        try:
            edges, name = _edges(recording)
            marks = _marks(edges, recording, data)
        except ValueError as error:
            refused = str(error)
        found.append(
            Timing(
                entry.id, recording.sha256, bench.stage(entry.id), marks, refused,
                data.place or "", _warm(bench, entry.id, data), data.point.fraction(),
                _dead_centre(recording, data, marks), name,
            )
        )  # fmt: skip
    return tuple(found)


def _edges(recording: Recording) -> tuple[Floats, str]:
    """Return the edges of the crankshaft channel: not the camshaft's, the one with most edges."""
    tried: list[tuple[int, Floats, str]] = []
    for channel in recording.channels:
        if is_cam(channel):
            continue
        edges = _of_channel(channel)
        tried.append((len(edges), edges, channel.label or channel.name))
    if not tried:
        raise ValueError("it holds no channel of a crankshaft pickup")
    best = max(tried, key=lambda item: item[0])
    return best[1], best[2]


def _marks(edges: Floats, recording: Recording, data: RecordingData) -> Marks:
    """Say which mark each edge is, by what was told, by the cam row, or by the teeth alone."""
    marks = find_marks(edges, places=data.marks)
    if data.marks is not None:
        return marks
    cam = cam_of(recording.channels)
    told = sectors_by_cam(marks, _of_channel(cam)) if cam is not None else None
    if told is not None and (told[1] or told[0] > 1):
        return marks.repeated(told[0])
    others = other_wheels(marks)
    if others:
        ways = " or ".join(
            f"{one.places} places at {float(np.median(one.turn_speeds())):,.0f} r/min"
            for one in (marks, *others)
            if one.turn_speeds().size
        )
        raise ValueError(
            f"the teeth alone fit a wheel of {ways}: say its places ('marks'), or record the cam"
        )
    return marks


def _of_channel(channel: Channel) -> Floats:
    good = channel.valid()
    time, values = channel.time_s[good], channel.values[good]
    if len(time) < 6:
        return np.zeros(0)
    if channel.rate_hz is not None and channel.rate_hz > 0:
        return edges_of_waveform(values, channel.rate_hz, start=float(time[0]))
    levels = np.unique(values)
    if len(levels) == 1:
        return np.asarray(time)
    if len(levels) <= 3:
        return edges_of_levels(time, values)
    step = float(np.median(np.diff(time)))
    return edges_of_waveform(values, 1.0 / step, start=float(time[0]))


def _warm(bench: Bench, entry: str, data: RecordingData) -> bool | None:
    if data.point.warm is not None:
        return data.point.warm
    stage = bench.stage(entry)
    known = [r.value for r in bench.readings("coolant_temperature") if r.stage == stage]
    known += [
        float(np.median(channel.values[channel.valid()]))
        for other, recording in bench.recordings.items()
        if bench.stage(other) == stage and (channel := recording.channel("coolant_temperature"))
        and np.any(channel.valid())
    ]  # fmt: skip
    return max(known) >= _WARM if known else None


def _dead_centre(recording: Recording, data: RecordingData, marks: Marks | None) -> float | None:
    """Place cylinder 1 on the marks' count: the camshaft's mark plus what was written down.

    The crankshaft's wheel alone cannot tell a cylinder from its partner a turn away, so without a
    camshaft channel there is no reference.
    """
    if data.dead_centre is None or marks is None:
        return None
    cam = next((c for c in recording.channels if is_cam(c)), None)
    if cam is None:
        return None
    try:
        typed = parse(data.dead_centre)
    except UnitRefused:
        return None
    edges = _of_channel(cam)
    edges = edges[(edges >= marks.time[0]) & (edges <= marks.time[-1])]
    if typed.unit.kind != "angle" or len(edges) < 3:
        return None
    angle = np.interp(edges, marks.time, marks.angle())
    step = np.diff(angle)
    # With several marks on the camshaft the reference is the one behind the widest step.
    behind = angle[1:][step > 0.9 * step.max()]
    mean = np.angle(np.mean(np.exp(0.5j * behind)))
    return float(2.0 * mean + typed.si)
