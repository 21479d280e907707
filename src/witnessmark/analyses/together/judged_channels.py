"""Every channel of a recording with what was made of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from witnessmark.analyses.sensors.engine_work import explained, prepare_explained
from witnessmark.analyses.sensors.liveliness import PRESSURES, PROFILES, Profile
from witnessmark.analyses.sensors.one_trace import TraceVerdict, judge_all
from witnessmark.analyses.sensors.trace_samples import SensorTrace, prepare
from witnessmark.model.recording import Channel, Floats, Recording

__all__ = ["Judged", "has_coolant", "judged_recordings", "valid_samples"]

#: A step of a pressure smaller than this share of its largest one is left to the fit's own error.
_CLEAR = 0.3


@dataclass(frozen=True, slots=True)
class Judged:
    """A channel with its verdict.

    Attributes:
        channel: the channel.
        profile: what it may do.
        verdict: what was made of it.
    """

    channel: Channel
    profile: Profile
    verdict: TraceVerdict


def judged_recordings(
    recordings: Sequence[Recording],
) -> list[tuple[list[Judged], dict[str, tuple[Floats, Floats]]]]:
    """Return every channel with its verdict, recording by recording, worked out side by side.

    Slow channels always have a verdict, pressures only where they step. With each recording
    comes what its pressures are without the engine's work, as (time, values).
    """
    found: list[tuple[list[Judged], dict[str, tuple[Floats, Floats]]]] = [
        ([], {}) for _ in recordings
    ]
    rows: list[tuple[int, Channel]] = []
    asked: list[tuple[SensorTrace, Profile]] = []
    for name, profile in (PROFILES | PRESSURES).items():
        for number, recording in enumerate(recordings):
            channel = recording.channel(name)
            if channel is None or recording.duration_s is None:
                continue
            if name in PROFILES:
                trace = prepare(*valid_samples(channel), profile)
            else:
                known = explained(recording, channel)
                if known is None:
                    continue
                found[number][1][name] = (known.time, known.values - known.work)
                trace = prepare_explained(known, profile)
            if trace is not None:
                rows.append((number, channel))
                asked.append((trace, profile))
    for (number, channel), (_, profile), verdict in zip(rows, asked, judge_all(asked), strict=True):
        clear = verdict if channel.name in PROFILES else _clear(verdict)
        found[number][0].append(Judged(channel, profile, clear))
    return found


def _clear(verdict: TraceVerdict) -> TraceVerdict:
    """Leave of a pressure's steps those that come back and are not the fit's own error."""
    largest = max((abs(s.change) for s in verdict.spans), default=0.0)
    kept = tuple(s for s in verdict.spans if s.returned and abs(s.change) >= _CLEAR * largest)
    return replace(verdict, spans=kept)


def has_coolant(recording: Recording) -> bool:
    """Say whether there are coolant readings enough to judge."""
    channel = recording.channel("coolant_temperature")
    if channel is None or recording.duration_s is None:
        return False
    return prepare(*valid_samples(channel), PROFILES[channel.name]) is not None


def valid_samples(channel: Channel) -> tuple[Floats, Floats]:
    """Return time and values of the samples that are readings."""
    mask = channel.valid()
    return channel.time_s[mask], channel.values[mask]
