"""Trouble codes of several sensors at once, and a control unit that falls silent."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from witnessmark.analyses.readings.finding_rows import counted
from witnessmark.analyses.sensors.trace_causes import supports_of_others, supports_of_silence
from witnessmark.analyses.together.bus_circuit import CIRCUIT_FMI
from witnessmark.knowledge import Knowledge
from witnessmark.model.details.trace_details import SilentUnit, TogetherCodes
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Floats, Recording, TroubleCode

__all__ = ["codes_together", "silent_units"]

#: Bus and source address.
_Sender = tuple[str, int]
#: A code counts when its unit had been heard for this long before [s].
_HEARD_S = 10.0
#: Codes within a second: of messages sent once a second (SAE J1939-73).
_TOGETHER_S = 1.1
#: A silence begins at this many usual pauses, and at least this long [s]; a longer one is a
#: key turned off.
_PAUSES, _SHORTEST_S, _LONGEST_S = 12.0, 0.7, 15.0
_RUNNING = 300.0


def codes_together(
    recording: Recording, entry_id: str, stage: int, knowledge: Knowledge | None = None
) -> Iterator[Finding]:
    """Yield trouble codes of several sensor circuits that set in within a second.

    Only codes that came up while their control unit had been heard for ten seconds count: at
    key-on a unit reports all it knows at once. Active codes are sent once a second (SAE J1939-73),
    so "within a second" means within two messages.

    An open sensor ground takes every input on it high (a pull-up and a transducer without ground
    both float to 5 V); a lost 5 V takes every one low.
    """
    heard: dict[_Sender, float] = {}
    for channel in recording.channels:
        if channel.source is not None and channel.time_s.size:
            first, sender = float(channel.time_s[0]), (channel.bus, channel.source)
            heard[sender] = min(heard.get(sender, first), first)
    late: list[TroubleCode] = [
        c
        for c in recording.trouble_codes
        if c.active
        and c.fmi in CIRCUIT_FMI
        and (c.bus, c.source) in heard
        and c.first_s > heard[c.bus, c.source] + _HEARD_S
    ]
    late.sort(key=lambda c: c.first_s)
    best: list[TroubleCode] = []
    for start in range(len(late)):
        group = [c for c in late[start:] if c.first_s - late[start].first_s <= _TOGETHER_S]
        if len({c.spn for c in group}) > len({c.spn for c in best}):
            best = group
    spns = sorted({c.spn for c in best})
    if len(spns) < 2:
        return
    listed = ", ".join(f"{c.spn}/{c.fmi}" for c in best)
    modes = {c.fmi for c in best}
    if modes <= {3, 5}:
        kind = "ground"
        what = "all of them high or open, as an open sensor ground makes it"
        do = "voltage drop of the sensor ground at the connector, wiggle at idle"
    elif modes <= {4, 6}:
        kind = "reference"
        what = "all of them low, as a lost or shorted 5 V makes it"
        do = (
            "unplug one sensor at a time, key off and on as the maker's manual says, and watch "
            "the reference come back"
        )
    else:
        kind = "shared"
        what = "high and low mixed"
        do = "connector and harness they share, then powers and grounds of the control unit"
    stands, uses = counted(knowledge, "sensors_step_together")
    yield Finding(
        code="sensor_codes_together",
        sentence=f"Trouble codes of {len(spns)} sensor circuits came up within a second at "
        f"{best[0].first_s:.0f} s ({listed}; {what}): look for what they share (5 V reference, "
        f"ground, connector, control unit) before any of the sensors. Next: {do}.",
        outcome="seen",
        method="code_onset/2",
        evidence=Evidence((entry_id,), recording.sha256, None, best[0].first_s, best[-1].first_s),
        source="SAE J1939-73 active trouble codes",
        stage=stage,
        support=supports_of_others(knowledge, kind, None),
        details=TogetherCodes(kind=kind, spns=spns, stands_for=stands, uses_tests=uses),
    )  # fmt: skip


def silent_units(
    recording: Recording, entry_id: str, stage: int, knowledge: Knowledge | None = None
) -> Iterator[Finding]:
    """Yield control units that fell silent for seconds while others kept sending.

    All messages of one address stop at once, whatever sensor, ground or reference stands behind
    them, and come back: the unit restarted or lost its supply, ground or bus connection. Only
    with the engine running before and after, so that a key turned off does not count.
    """
    if recording.kind != "bus" or recording.duration_s is None:
        return
    sent = _sent(recording)
    running = _running(recording)
    for sender, times in sent.items():
        bus, source = sender
        if times.size < 50:
            continue
        found = [
            (a, b)
            for a, b in _silences(times)
            if running is not None and _ran(running, a, b) and _others_sent(sent, sender, a, b)
        ]
        if not found:
            continue
        first, last = found[0][0], found[-1][1]
        longest = max(b - a for a, b in found)
        many = f"{len(found)} time{'s' if len(found) != 1 else ''}"
        yield Finding(
            code="control_unit_silent",
            sentence=f"All messages of the control unit at address {source}"
            f"{f' on bus {bus}' if bus else ''} stopped {many} for "
            f"up to {longest:.1f} s with the engine running while other units kept sending "
            f"(first at {first:.0f} s): the module restarted or lost its power, its ground or the "
            "bus; no sensor does that. A recording does not tell these apart. Next: voltage drop "
            "of its powers and grounds with all loads on, and a wiggle of its connector.",
            outcome="seen",
            method="silence/1",
            evidence=Evidence((entry_id,), recording.sha256, None, first, last),
            source="all messages of one address stop at once; common practice, no source",
            stage=stage,
            support=supports_of_silence(knowledge),
            details=SilentUnit(kind="unit", address=source, bus=bus, count=len(found),
                     times_s=[a for a, _ in found], ends_s=[b for _, b in found]),
        )  # fmt: skip


def _sent(recording: Recording) -> dict[_Sender, Floats]:
    """Return when each address of each bus sent anything that was decoded."""
    by_source: dict[_Sender, dict[int, Floats]] = {}
    for channel in recording.channels:
        if channel.source is not None and channel.time_s.size:
            # The signals of one message share their time stamps.
            times = by_source.setdefault((channel.bus, channel.source), {})
            times[id(channel.time_s)] = channel.time_s
    return {s: np.unique(np.concatenate([*parts.values()])) for s, parts in by_source.items()}


def _silences(times: Floats) -> list[tuple[float, float]]:
    pauses = np.diff(times)
    # A bus sends in bunches: what counts is the longest pause that is usual.
    usual = float(np.percentile(pauses, 99.0))
    least = max(_SHORTEST_S, min(_PAUSES * float(np.median(pauses)), 3.0), 3.0 * usual)
    where = np.flatnonzero((pauses > least) & (pauses < _LONGEST_S))
    return [(float(times[k]), float(times[k + 1])) for k in where]


def _running(recording: Recording) -> tuple[Floats, Floats] | None:
    speed = recording.channel("engine_speed")
    if speed is None or not speed.valid().any():
        return None
    return speed.time_s[speed.valid()], speed.values[speed.valid()]


def _ran(running: tuple[Floats, Floats], start: float, end: float) -> bool:
    """Say whether the engine ran before a silence and, within seconds, after it."""
    time, speed = running
    before = speed[(time > start - 3.0) & (time <= start)]
    after = speed[(time >= end) & (time < end + 3.0)]
    return bool(
        before.size and after.size
        and np.median(before) > _RUNNING and np.percentile(after, 90.0) > _RUNNING
    )  # fmt: skip


def _others_sent(sent: dict[_Sender, Floats], source: _Sender, start: float, end: float) -> bool:
    """Say whether another address kept its beat through a silence."""
    for other, times in sent.items():
        if other == source or times.size < 50:
            continue
        near = times[(times >= start - 0.2) & (times <= end + 0.2)]
        if near.size < 3:
            continue
        usual = float(np.percentile(np.diff(times), 99.0))
        if float(np.diff(near).max()) <= max(2.0 * usual, 0.5 * (end - start)):
            return True
    return False
