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
    marks_by_turns,
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
        partner: the dead centre is known but for one turn: a once-a-turn mark cannot tell a
            cylinder from its partner.
        told: number of marks that was told and that the teeth contradict, ``None`` otherwise.
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
    partner: bool = False
    told: int | None = None


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
        refused, name, cycle = "", "", True
        try:
            edges, name = _edges(recording)
            marks, cycle = _marks(edges, recording, data)
        except ValueError as error:
            refused = str(error)
        centre, partner = _dead_centre(recording, data, marks)
        told = data.marks if marks is not None and marks.places != data.marks else None
        found.append(
            Timing(
                entry.id, recording.sha256, bench.stage(entry.id), marks, refused,
                data.place or "", _warm(bench, entry.id, data), data.point.fraction(),
                centre, name, partner or (centre is not None and not cycle), told,
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


def _marks(edges: Floats, recording: Recording, data: RecordingData) -> tuple[Marks, bool]:
    """Say which mark each edge is, and whether one turn of a cycle is told from the other.

    By the gaps, by a second pickup that counts the turns, by what was told. A told number that
    the teeth themselves contradict is left aside: it never makes it worse.
    """
    second = _second(recording)
    try:
        marks = find_marks(edges, places=data.marks)
    except ValueError:
        counted = _counted(edges, second, data.marks)
        if counted is not None:
            return counted
        if data.marks is None:
            raise
        marks = find_marks(edges)
    if not marks.indexed:
        return _counted(edges, second, data.marks) or (marks, True)
    if data.marks is not None:
        return marks, True
    cam = cam_of(recording.channels)
    told = sectors_by_cam(marks, _of_channel(cam)) if cam is not None else None
    if told is not None and (told[1] or told[0] > 1):
        return marks.repeated(told[0]), True
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
    return marks, True


def _second(recording: Recording) -> Channel | None:
    """Return the pickup that counts turns or cycles: the camshaft's, or one of far fewer edges."""
    cam = cam_of(recording.channels)
    if cam is not None:
        return cam
    rows = sorted(recording.channels, key=lambda c: c.values.size)
    return rows[0] if len(rows) > 1 and rows[0].values.size <= 0.25 * rows[-1].values.size else None


def _counted(edges: Floats, second: Channel | None, told: int | None) -> tuple[Marks, bool] | None:
    if second is None:
        return None
    known = True if is_cam(second) else None
    return marks_by_turns(edges, _of_channel(second), places=told, cam=known)


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


def _dead_centre(
    recording: Recording, data: RecordingData, marks: Marks | None
) -> tuple[float | None, bool]:
    """Place cylinder 1 on the marks' count: the second pickup's mark plus what was written down.

    The crankshaft's wheel alone cannot tell a cylinder from its partner a turn away; nor can a
    mark that passes once a turn, which is returned as well.
    """
    second = _second(recording) if data.dead_centre is not None and marks is not None else None
    if second is None or marks is None or data.dead_centre is None:
        return None, False
    try:
        typed = parse(data.dead_centre)
    except UnitRefused:
        return None, False
    edges = _of_channel(second)
    edges = edges[(edges >= marks.time[0]) & (edges <= marks.time[-1])]
    if typed.unit.kind != "angle" or len(edges) < 3:
        return None, False
    angle = np.interp(edges, marks.time, marks.angle())
    step = np.diff(angle)
    if not is_cam(second) and float(np.median(np.abs(step - 2 * np.pi))) < 0.3:
        return float(np.angle(np.mean(np.exp(1j * angle)))) + typed.si, True
    # With several marks on the camshaft the reference is the one behind the widest step.
    behind = angle[1:][step > 0.9 * step.max()]
    mean = np.angle(np.mean(np.exp(0.5j * behind)))
    return float(2.0 * mean + typed.si), False
