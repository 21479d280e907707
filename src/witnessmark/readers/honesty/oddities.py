"""Samples that look like readings and are none: start-up defaults, substituted values, counters.

Every rule is conservative, marks the samples' quality and leaves a :class:`Flag` with its span;
nothing is dropped. The limits are common practice, no source, unless they say otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Flag, Floats, Quality
from witnessmark.readers.bus.j1939_signals import SIGNALS
from witnessmark.readers.bus.senders import (
    Pace,
    Paces,
    report_disagreement,
    report_dropped,
    report_errors,
    report_unvouched,
)
from witnessmark.readers.files.keep import Keeper, let_go
from witnessmark.readers.honesty.stuck import (
    codes_as_numbers,
    frozen_speed,
    impossible_jumps,
    no_pressure_yet,
    wild_values,
)
from witnessmark.readers.told import Trouble
from witnessmark.units import QUANTITIES, display_unit, from_house

__all__ = ["checked"]

#: A default is sent for at most this long before the first real value [s].
START_UP_S = 30.0
#: Steps no real quantity makes between two samples at most 2 s apart, by kind (house units).
_STEP = {"temperature": 15.0}
#: Highest growth of running totals per second (house units).
_GROWTH = {
    "total_distance": 60.0,
    "total_distance_fine": 60.0,
    "trip_distance": 60.0,
    "engine_hours": 1.2 / 3600,
    "idle_hours": 1.2 / 3600,
    "total_fuel": 400.0 / 3600,
    "trip_fuel": 400.0 / 3600,
    "engine_revolutions": 8000.0 / 60,
}
#: Coarsest resolution of running totals (house units), which they may leap at once.
_GRAIN = {"total_distance": 125.0, "trip_distance": 125.0, "engine_revolutions": 1000.0,
          "total_fuel": 0.5, "trip_fuel": 0.5, "engine_hours": 0.05, "idle_hours": 0.05,
          "total_distance_fine": 5.0}  # fmt: skip
#: The value of raw zero where that is far from any real reading.
_RAW_ZERO = {s.name: s.offset for s in SIGNALS if s.offset < 0.0}
#: A pressure that vanishes by this much in one step with the engine at rest [Pa].
_KEY_ON_STEP = 5e4
_TORQUES = ("engine_torque", "demand_torque", "engine_torque_demand", "friction_torque")
#: Pressures that must move when the engine speed moves.
_LIVELY = ("oil_pressure", "fuel_delivery_pressure", "boost_pressure")


def checked(
    channels: Iterable[Channel], trouble: Trouble, keeper: Keeper | None = None
) -> tuple[list[Channel], list[Flag]]:
    """Return the channels with doubtful samples marked, and the spans that were marked.

    Args:
        channels: as decoded.
        trouble: collects what was found.
        keeper: keeps the arrays of a long recording out of memory.
    """
    found: list[Channel] = []
    flags: list[Flag] = []
    given = list(channels)
    paces = Paces()
    speed, road = _best(given, "engine_speed"), _best(given, "road_speed")
    speeds = {n: s for n, s in (("engine_speed", speed), ("road_speed", road)) if s is not None}
    for channel in given:
        marked = channel
        pace = paces.of(channel)
        for rule in (_start_up_then_nothing, _start_up_then_real, _no_torque):
            marked = rule(marked, pace, flags, trouble)
        marked = _pressure_at_key_on(marked, pace, speed, flags, trouble)
        marked = no_pressure_yet(marked, speed, flags, trouble)
        marked = codes_as_numbers(marked, flags, trouble)
        marked = wild_values(marked)
        marked = frozen_speed(marked, speeds, flags, trouble)
        marked = _totals(marked, flags, trouble)
        marked = _substituted(marked, speed, flags, trouble)
        impossible_jumps(marked, flags, trouble)
        flags += _impossible(marked, trouble)
        flags += _silences(marked, pace)
        found.append(keeper.channel(marked) if keeper is not None else marked)
        let_go(found[-1])
    report_errors(found, trouble)
    report_unvouched(found, trouble)
    report_dropped(found, paces, trouble)
    report_disagreement(found, trouble)
    return found, flags


def _marked(
    channel: Channel, start: int, end: int, quality: Quality, note: str, flags: list[Flag]
) -> Channel:
    """Return the channel with samples *start* to *end* (exclusive) marked, and note the span."""
    here = np.zeros(channel.time_s.shape, np.bool_)
    here[start:end] = channel.valid()[start:end]
    values, codes = channel.values.copy(), channel.quality.copy()
    values[here] = np.nan
    codes[here] = quality
    first, last = float(channel.time_s[start]), float(channel.time_s[end - 1])
    flags.append(Flag(channel.name, quality, first, last, note, channel.source))
    return replace(channel, values=values, quality=codes)


def _start_up_then_nothing(
    channel: Channel, pace: Pace, flags: list[Flag], trouble: Trouble
) -> Channel:
    """A few values, then error or not available for good: they were never measured."""
    for start, stop in pace.stretches:
        valid = channel.valid()[start:stop]
        total = int(valid.sum())
        if total in {0, valid.size}:
            continue
        first = int(np.argmax(valid))
        ends = np.flatnonzero(~valid[first:])
        if not ends.size:
            continue
        end = first + int(ends[0])
        rest = valid.size - end
        if rest < max(3, 2 * (end - first)) or total - (end - first) > 0.02 * rest:
            continue
        lead = channel.values[start + first : start + end]
        lasts = float(channel.time_s[start + end - 1] - channel.time_s[start + first])
        if end - first > 3 and not (np.ptp(lead) == 0.0 and lasts <= START_UP_S):
            continue
        note = (
            f"{end - first} samples from {_words(channel, float(lead[0]))} on, then the sender "
            f"says '{_code_words(channel, start + end)}': a default from before the sensor was "
            "read."
        )
        _report_start_up(channel, trouble)
        channel = _marked(channel, start + first, start + end, Quality.START_UP, note, flags)
    return channel


def _start_up_then_real(
    channel: Channel, pace: Pace, flags: list[Flag], trouble: Trouble
) -> Channel:
    """A short constant run at the beginning that no real quantity could leave in one step."""
    row = QUANTITIES.get(channel.name)
    if row is None or channel.name in _GROWTH:
        return channel
    for start, stop in pace.stretches:
        valid = channel.valid()[start:stop]
        whole = bool(valid.all())
        values = channel.values[start:stop] if whole else channel.values[start:stop][valid]
        if values.size < 5:
            continue
        changed = values != values[0]
        run = int(np.argmax(changed))
        if not changed[run]:
            continue
        good = start + (np.arange(run + 1) if whole else np.flatnonzero(valid)[: run + 1])
        lasts = float(channel.time_s[good[run - 1]] - channel.time_s[good[0]])
        step = abs(float(values[run] - values[0]))
        pause = float(channel.time_s[good[run]] - channel.time_s[good[run - 1]])
        zero = values[0] == _RAW_ZERO.get(channel.name)
        if zero:
            real = step <= 5.0 or (step <= 30.0 and lasts > START_UP_S)
        else:
            short = run <= values.size // 2 and lasts <= 5.0 and pause <= 2.0
            real = not short or step <= _STEP.get(row.kind, np.inf) or values[0] in values[run:]
        if real:
            continue
        note = (
            f"{run} samples at {_words(channel, float(values[0]))}, then at once "
            f"{_words(channel, float(values[run]))}: a default from before the sensor was read."
        )
        _report_start_up(channel, trouble)
        end = int(good[run - 1]) + 1
        channel = _marked(channel, int(good[0]), end, Quality.START_UP, note, flags)
    return channel


def _pressure_at_key_on(
    channel: Channel,
    pace: Pace,
    speed: tuple[Floats, Floats] | None,
    flags: list[Flag],
    trouble: Trouble,
) -> Channel:
    """One or two samples of pressure with the engine at rest, gone at once: never measured."""
    if speed is None or channel.name not in _LIVELY:
        return channel
    for start, stop in pace.stretches:
        good = start + np.flatnonzero(channel.valid()[start:stop])
        if good.size < 5:
            continue
        values, time = channel.values[good], channel.time_s[good]
        change = np.flatnonzero(values != values[0])
        run = int(change[0]) if change.size else 0
        if run not in {1, 2} or abs(values[0] - values[run]) < _KEY_ON_STEP:
            continue
        around = (speed[0] >= time[0] - 5.0) & (speed[0] <= time[run] + 1.0)
        still = around.any() and not speed[1][around].any()
        if not still or time[run] - time[0] > 3.0 or values[0] in values[run:]:
            continue
        note = (
            f"{run} samples at {_words(channel, float(values[0]))} with the engine at rest, then "
            f"at once {_words(channel, float(values[run]))}: a default from before the sensor was "
            "read."
        )
        _report_start_up(channel, trouble)
        end = int(good[run - 1]) + 1
        channel = _marked(channel, int(good[0]), end, Quality.START_UP, note, flags)
    return channel


def _no_torque(channel: Channel, pace: Pace, flags: list[Flag], trouble: Trouble) -> Channel:
    """Raw zero of a percent torque is -125 %, which no engine gives."""
    if channel.name not in _TORQUES:
        return channel
    at = np.flatnonzero(channel.values == _RAW_ZERO[channel.name])
    if not at.size:
        return channel
    heads = [float(channel.time_s[start]) for start, _ in pace.stretches]
    for run in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)[:100]:
        begins = float(channel.time_s[run[0]])
        early = any(0.0 <= begins - head <= 5.0 for head in heads)
        quality = Quality.START_UP if early else Quality.IMPLAUSIBLE
        if early:
            _report_start_up(channel, trouble)
        note = f"{run.size} samples at -125 %, raw zero: nothing was computed yet."
        channel = _marked(channel, int(run[0]), int(run[-1]) + 1, quality, note, flags)
    return channel


def _report_start_up(channel: Channel, trouble: Trouble) -> None:
    trouble.add(
        "start-up",
        f"Start-up defaults were sent before a sensor was read ({channel.name} first, "
        "{count} in all); they are no readings.",
    )


def _totals(channel: Channel, flags: list[Flag], trouble: Trouble) -> Channel:
    """Running totals never fall and grow only so fast; what stands before a leap was no total."""
    if channel.name not in _GROWTH:
        return channel
    good = np.flatnonzero(channel.valid())
    if good.size < 2:
        return channel
    values, time = channel.values[good], channel.time_s[good]
    steps, pauses = np.diff(values), np.diff(time)
    grain = 2.0 * _GRAIN[channel.name]
    leaps = np.flatnonzero(steps > _GROWTH[channel.name] * np.maximum(pauses, 1.0) * 2 + grain)
    falls = np.flatnonzero(steps < 0.0)
    before = float(values[: leaps[-1] + 1].max()) if leaps.size else 0.0
    if leaps.size and (
        time[leaps[-1]] - time[0] <= START_UP_S
        or leaps[-1] < 5
        or values[leaps[-1] + 1] > 100.0 * max(before, grain)
    ):
        end = int(leaps[-1]) + 1
        note = (
            f"{end} samples from {_words(channel, float(values[0]))} on before the total itself "
            f"({_words(channel, float(values[end]))}) was sent."
        )
        _report_start_up(channel, trouble)
        falls = falls[falls >= end]
        channel = _marked(
            channel, int(good[0]), int(good[end - 1]) + 1, Quality.START_UP, note, flags
        )
    elif leaps.size:
        trouble.add(
            f"total leaps {channel.name}",
            f"The total {channel.name} leaps by more than is possible at {time[leaps[0]]:.1f} s.",
            do="Do not use differences across that place.",
            where=channel.name,
        )
    if falls.size:
        at = int(falls[0])
        trouble.add(
            f"total falls {channel.name}",
            f"The total {channel.name} falls from {_words(channel, float(values[at]))} to "
            f"{_words(channel, float(values[at + 1]))} at {time[at + 1]:.1f} s: the counter "
            "wrapped or was reset.",
            do="Do not use differences across that place.",
            where=channel.name,
        )
    return channel


def _substituted(
    channel: Channel,
    speed: tuple[Floats, Floats] | None,
    flags: list[Flag],
    trouble: Trouble,
) -> Channel:
    """A pressure that does not move at all while the engine speed does was not measured."""
    if speed is None or channel.name not in _LIVELY or channel.source not in {0, None}:
        return channel
    good = np.flatnonzero(channel.valid())
    if good.size < 30:
        return channel
    values, time = channel.values[good], channel.time_s[good]
    cuts = np.flatnonzero(np.diff(values) != 0.0) + 1
    starts, ends = np.r_[0, cuts], np.r_[cuts, good.size]
    long = (time[ends - 1] - time[starts] >= 30.0) & (values[starts] != 0.0)
    for start, end in zip(starts[long], ends[long], strict=True):
        inside = (speed[0] >= time[start]) & (speed[0] <= time[end - 1])
        around = speed[1][inside]
        around = around[around > 300.0]
        if around.size < 10 or np.ptp(np.percentile(around, [5, 95])) < 400.0:
            continue
        note = (
            f"Exactly {_words(channel, float(values[start]))} for "
            f"{time[end - 1] - time[start]:.0f} s while the engine speed changed by "
            f"{np.ptp(around):.0f} rpm: frozen or put in by the control unit."
        )
        trouble.add(
            "substituted",
            f"{channel.name} stays frozen while the engine speed changes; it is no reading "
            "({count} spans).",
            do="Measure it with a gauge.",
        )
        channel = _marked(
            channel, int(good[start]), int(good[end - 1]) + 1, Quality.SUBSTITUTED, note, flags
        )
    return channel


def _impossible(channel: Channel, trouble: Trouble) -> list[Flag]:
    at = np.flatnonzero(channel.quality == Quality.IMPLAUSIBLE)
    if not at.size:
        return []
    trouble.add(
        f"impossible {channel.name}",
        f"{{count}} samples of {channel.name} are outside what is possible, or leap away and back "
        "faster than is possible; they are no readings.",
        where=channel.name,
        count=int(at.size),
    )
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    return [
        Flag(
            channel.name,
            Quality.IMPLAUSIBLE,
            float(channel.time_s[run[0]]),
            float(channel.time_s[run[-1]]),
            "Outside what is possible.",
            channel.source,
        )
        for run in runs[:20]
    ]


def _silences(channel: Channel, pace: Pace) -> list[Flag]:
    """Spans in which a sender that speaks often says nothing."""
    return [
        Flag(
            channel.name,
            Quality.NOT_AVAILABLE,
            start,
            end,
            f"Nothing was sent for {end - start:.1f} s.",
            channel.source,
        )
        for start, end in (pace.silences if channel.rate_hz is None else [])
    ]


def _best(channels: list[Channel], name: str) -> tuple[Floats, Floats] | None:
    found = [c for c in channels if c.name == name and c.count(Quality.VALID) > 10]
    if not found:
        return None
    best = min(found, key=lambda c: (c.source or 0, -c.count(Quality.VALID)))
    valid = best.valid()
    if valid.all():
        return best.time_s, best.values
    return best.time_s[valid], best.values[valid]


def _words(channel: Channel, value: float) -> str:
    if channel.name not in QUANTITIES:
        return f"{value:g} {channel.unit}"
    unit = display_unit(channel.name)
    return f"{from_house(channel.name, value, unit):.4g} {unit}"


def _code_words(channel: Channel, at: int) -> str:
    words = {Quality.ERROR: "error", Quality.NOT_AVAILABLE: "not available"}
    return words.get(Quality(int(channel.quality[at])), "not valid")
