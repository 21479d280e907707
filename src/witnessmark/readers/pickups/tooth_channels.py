"""Times of teeth into channels: repaired clock, unit, one channel a pickup."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.timeline import Timeline
from witnessmark.readers.pickups.wheels import wheels

__all__ = ["pickup", "recording_of", "unit_by_size"]

#: Between two teeth of an engine pass no less and no more than this [s]: 60 teeth at 10,000 r/min,
#: 4 teeth at 40 r/min (own arithmetic).
_SHORTEST_S, _LONGEST_S = 1e-4, 0.375
_UNITS = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "ns": 1e-9}


def pickup(name: str, times: Floats) -> Channel:
    """Return a pickup of which only the rising edges are known.

    The level steps from 0 to 1 at each; how long it stays is unknown.
    """
    doubled = np.repeat(np.asarray(times, np.float64), 2)
    levels = np.tile([0.0, 1.0], len(times))
    return Channel(name, "", doubled, levels, np.zeros(levels.size, np.uint8), name)


def unit_by_size(raw: Floats) -> tuple[str, float] | None:
    """Return the only unit of time in which these times can be teeth of an engine.

    Args:
        raw: times in a unit nobody stated.

    Returns:
        Its name and its length [s]; ``None`` where no unit or more than one is possible.
    """
    steps = np.diff(raw)
    steps = steps[steps > 0.0]
    if not steps.size:
        return None
    usual = float(np.median(steps))
    fits = [(u, s) for u, s in _UNITS.items() if _SHORTEST_S <= usual * s <= _LONGEST_S]
    return fits[0] if len(fits) == 1 else None


def recording_of(
    source: FileSource, found: Mapping[str, Floats], facts: dict[str, object], what: str
) -> Recording:
    """Return the recording of pickups: name -> times of their rising edges [s].

    Raises:
        RecordingRefused: there is no edge.
    """
    clocks = {name: times[np.isfinite(times)] for name, times in found.items()}
    clocks = {name: times for name, times in clocks.items() if times.size}
    if not clocks:
        raise RecordingRefused("The list holds no edge.", where=source.name, do="Record it again.")
    repaired = {name: _repaired(source, times) for name, times in clocks.items()}
    start = min(float(times[0]) for times in repaired.values())
    channels = tuple(pickup(name, times - start) for name, times in repaired.items())
    end = max(float(times[-1]) for times in repaired.values())
    return Recording(
        name=source.name,
        sha256=source.sha256,
        kind="tooth_timing",
        format=what,
        duration_s=end - start,
        channels=channels,
        problems=source.trouble.problems(),
        frames=sum(times.size for times in repaired.values()),
        facts=facts | wheels(channels),
    )


def _repaired(source: FileSource, times: Floats) -> Floats:
    timeline = Timeline(source.trouble, what="edges")
    time = timeline.repaired(times)
    if timeline.unordered:
        time = np.sort(time)
    timeline.report()
    return time[np.r_[True, np.diff(time) > 0.0]]
