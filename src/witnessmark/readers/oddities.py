"""Samples that look like readings and are none: start-up defaults, substituted values, counters.

Every rule is conservative, marks the samples' quality and leaves a :class:`Flag` with its span;
nothing is dropped. The limits are common practice, no source, unless they say otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Channel, Flag, Floats, Quality
from witnessmark.readers.contract import Trouble
from witnessmark.readers.j1939_signals import SIGNALS
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
_TORQUES = ("engine_torque", "demand_torque", "engine_torque_demand", "friction_torque")
#: Pressures that must move when the engine speed moves.
_LIVELY = ("oil_pressure", "fuel_delivery_pressure", "boost_pressure")
#: Differences between two senders that are reported, by kind (house units).
_APART = {"speed_of_rotation": 30.0, "speed": 0.6, "temperature": 5.0, "pressure": 2e4,
          "ratio": 5.0, "voltage": 0.7}  # fmt: skip


def checked(channels: Iterable[Channel], trouble: Trouble) -> tuple[list[Channel], list[Flag]]:
    """Return the channels with doubtful samples marked, and the spans that were marked."""
    found: list[Channel] = []
    flags: list[Flag] = []
    given = list(channels)
    paces = _Paces()
    speed = _engine_speed(given)
    for channel in given:
        marked = channel
        pace = paces.of(channel)
        for rule in (_start_up_then_nothing, _start_up_then_real, _no_torque):
            marked = rule(marked, pace, flags, trouble)
        marked = _totals(marked, flags, trouble)
        marked = _substituted(marked, speed, flags, trouble)
        flags += _impossible(marked, trouble)
        flags += _silences(marked, pace)
        found.append(marked)
    _report_errors(found, trouble)
    _report_dropped(found, paces, trouble)
    _report_disagreement(found, trouble)
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


class _Pace:
    """How often a sender speaks, worked out once for all signals of a message.

    Attributes:
        usual: typical step between two samples [s]; NaN where it is not known.
        stretches: (first, end) between silences: a control unit may start again.
        silences: places of steps of more than 2 s that are no usual ones.
        missing: messages that seem to be missing from an even beat, and in how many places.
    """

    def __init__(self, time: Floats) -> None:
        size = time.size
        self.usual = float("nan")
        self.stretches = [(0, size)]
        self.silences: list[tuple[float, float]] = []
        self.missing = (0, 0)
        if size < 10 or np.isnan(time[0]):
            return
        steps = np.diff(time)
        some = steps[:: max(1, steps.size // 5000)]
        low, self.usual, high = (float(q) for q in np.percentile(some, [5, 50, 95]))
        odd = np.flatnonzero(steps > max(1.8 * self.usual, 1e-9))
        wide = steps[odd]
        pauses = odd[wide > max(1.0, 10.0 * self.usual)]
        cuts = (pauses + 1).tolist()[:20]
        self.stretches = list(zip([0, *cuts], [*cuts, size], strict=True))
        silent = odd[wide > max(2.0, 10.0 * self.usual)][:20]
        self.silences = [(float(time[i]), float(time[i + 1])) for i in silent]
        if size >= 100 and self.usual > 0.0 and high - low <= 0.6 * self.usual:
            short = wide[wide < 2.0]
            self.missing = (int(np.round(short / self.usual - 1.0).sum()), int(short.size))


class _Paces:
    def __init__(self) -> None:
        self._known: dict[int, tuple[Floats, _Pace]] = {}

    def of(self, channel: Channel) -> _Pace:
        key = id(channel.time_s)
        if key not in self._known:
            self._known[key] = (channel.time_s, _Pace(channel.time_s))
        return self._known[key][1]


def _start_up_then_nothing(
    channel: Channel, pace: _Pace, flags: list[Flag], trouble: Trouble
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
    channel: Channel, pace: _Pace, flags: list[Flag], trouble: Trouble
) -> Channel:
    """A short constant run at the beginning that no real quantity could leave in one step."""
    row = QUANTITIES.get(channel.name)
    if row is None or channel.name in _GROWTH:
        return channel
    for start, stop in pace.stretches:
        good = start + np.flatnonzero(channel.valid()[start:stop])
        if good.size < 5:
            continue
        values = channel.values[good]
        change = np.flatnonzero(values != values[0])
        if not change.size:
            continue
        run = int(change[0])
        lasts = float(channel.time_s[good[run - 1]] - channel.time_s[good[0]])
        step = abs(float(values[run] - values[0]))
        pause = float(channel.time_s[good[run]] - channel.time_s[good[run - 1]])
        zero = values[0] == _RAW_ZERO.get(channel.name)
        if zero:
            real = step <= 5.0 or (step <= 30.0 and lasts > START_UP_S)
        else:
            short = run <= good.size // 2 and lasts <= 5.0 and pause <= 2.0
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


def _no_torque(channel: Channel, pace: _Pace, flags: list[Flag], trouble: Trouble) -> Channel:
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
    for start, end in zip(starts, ends, strict=True):
        if not time[end - 1] - time[start] >= 30.0 or values[start] == 0.0:
            continue
        inside = (speed[0] >= time[start]) & (speed[0] <= time[end - 1])
        around = speed[1][inside]
        around = around[around > 300.0]
        if around.size < 10 or np.ptp(np.percentile(around, [10, 90])) < 400.0:
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
        f"{{count}} samples of {channel.name} are outside what is possible; they are no readings.",
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


def _silences(channel: Channel, pace: _Pace) -> list[Flag]:
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


def _report_errors(channels: list[Channel], trouble: Trouble) -> None:
    by_sender: dict[int | None, list[str]] = {}
    for channel in channels:
        errors = channel.count(Quality.ERROR)
        if errors and errors >= 0.9 * channel.quality.size:
            by_sender.setdefault(channel.source, []).append(channel.name)
    for source, names in by_sender.items():
        trouble.add(
            f"errors {source}",
            f"Control unit {source} reports a faulted sensor circuit instead of a value for "
            f"{', '.join(names)}.",
            do="These are no readings and no zeros; look at the trouble codes and the wiring.",
            where=names[0],
        )


def _report_dropped(channels: list[Channel], paces: _Paces, trouble: Trouble) -> None:
    """Messages that come like a clock and are missing here and there."""
    worst: tuple[float, str, int, int] | None = None
    for channel in channels:
        missing, places = paces.of(channel).missing
        share = missing / (channel.time_s.size + missing) if missing else 0.0
        if channel.source is not None and share > max(0.002, worst[0] if worst else 0.0):
            worst = (share, channel.name, missing, places)
    if worst is not None:
        trouble.add(
            "dropped",
            f"Frames were dropped: about {worst[2]:,} messages with {worst[1]} are missing in "
            f"{worst[3]:,} places ({100 * worst[0]:.1f} %).",
            do="Check the recorder if fast changes matter.",
        )


def _report_disagreement(channels: list[Channel], trouble: Trouble) -> None:
    by_name: dict[str, list[Channel]] = {}
    for channel in channels:
        if channel.source is not None and channel.count(Quality.VALID) >= 10:
            by_name.setdefault(channel.name, []).append(channel)
    for name, found in by_name.items():
        row = QUANTITIES.get(name)
        if len(found) < 2 or row is None or row.kind not in _APART:
            continue
        found.sort(key=lambda c: c.source or 0)
        first = found[0]
        for other in found[1:]:
            apart = _apart(first, other)
            if apart is not None and apart > _APART[row.kind]:
                unit = display_unit(name)
                shown = from_house(name, apart, unit) - from_house(name, 0.0, unit)
                trouble.add(
                    f"disagree {name} {other.source}",
                    f"Control units {first.source} and {other.source} disagree about {name}: "
                    f"typically {shown:.3g} {unit} apart.",
                    do=f"The one of control unit {first.source} is used.",
                    where=name,
                )


def _apart(first: Channel, other: Channel) -> float | None:
    """Return the typical difference at common times."""
    a, b = first.valid(), other.valid()
    start = max(first.time_s[a][0], other.time_s[b][0])
    end = min(first.time_s[a][-1], other.time_s[b][-1])
    if not end > start:
        return None
    grid = np.linspace(start, end, 500)
    return float(
        np.median(
            np.abs(
                np.interp(grid, first.time_s[a], first.values[a])
                - np.interp(grid, other.time_s[b], other.values[b])
            )
        )
    )


def _engine_speed(channels: list[Channel]) -> tuple[Floats, Floats] | None:
    found = [c for c in channels if c.name == "engine_speed" and c.count(Quality.VALID) > 10]
    if not found:
        return None
    best = min(found, key=lambda c: (c.source or 0, -c.count(Quality.VALID)))
    valid = best.valid()
    return best.time_s[valid], best.values[valid]


def _words(channel: Channel, value: float) -> str:
    if channel.name not in QUANTITIES:
        return f"{value:g} {channel.unit}"
    unit = display_unit(channel.name)
    return f"{from_house(channel.name, value, unit):.4g} {unit}"


def _code_words(channel: Channel, at: int) -> str:
    words = {Quality.ERROR: "error", Quality.NOT_AVAILABLE: "not available"}
    return words.get(Quality(int(channel.quality[at])), "not valid")
