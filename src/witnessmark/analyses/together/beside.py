"""What the other channels did at the instants at which one channel jumps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from witnessmark.analyses.sensors.circuit_ratios import (
    INPUTS,
    Steps,
    depths,
    expected_step,
    signatures,
)
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, TraceSpan, TraceVerdict
from witnessmark.analyses.together.same_instant import (
    CoStep,
    SampleClock,
    co_step,
    coincidence,
    grid_of,
    make_clock,
)
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.physics.sensors.shared_circuit import FAULTS, Fault

__all__ = ["LOADS", "P_SEEN", "Beside", "Companion", "beside", "main_fault"]

#: From this chance on a link is called seen.
P_SEEN = 0.01
#: Channels that show an electrical load coming on.
LOADS = ("battery_voltage", "keyswitch_voltage", "charging_voltage", "battery_current",
         "alternator_current")  # fmt: skip
#: From this chance of "own" on nothing is called shared, and from the other on it is called alone.
_OWN_UNTIL, _OWN_FROM = 0.05, 0.75
#: A silent channel must have been read during this share of the jumps.
_READ_AT = 0.6
#: Two readings nearer than this are of the same instant [s].
_SAME_S = 0.25
#: At most this many channels lead a comparison in one recording.
_LEADS = 3.0
_INSIDE = {"supply", "inside"}
#: Quantities that show whether the engine works, and the share of their range that counts as load.
_WORK = ("engine_load", "engine_torque", "pedal_position", "throttle_position")


@dataclass(frozen=True, slots=True)
class Companion:
    """Another channel at the instants of the jumps.

    Attributes:
        name: quantity.
        step: what it did there.
        main: ratio that the shared fault which the way of the jumps points to would make
            [unit/unit of the jumping channel], ``None`` where it has none.
        expected: the same for every shared fault that reaches both.
        together: (events in common, p) where it has jumps of its own, else ``None``.
        fresh: share of the jumps during which it was read itself; a channel that is sent every
            few seconds sleeps through a short jump.
        own_alarm: its own jumps were called.
    """

    name: str
    step: CoStep
    main: float | None = None
    expected: Mapping[str, float] = field(default_factory=dict)
    together: tuple[int, float] | None = None
    fresh: float = 1.0
    own_alarm: bool = False

    @property
    def p(self) -> float:
        """Chance of the link by coincidence; twice the smaller where two tests were tried."""
        if self.together is None:
            return self.step.p
        return min(1.0, 2.0 * min(self.step.p, self.together[1]))


@dataclass(frozen=True, slots=True)
class Beside:
    """All channels at the instants of the jumps.

    Attributes:
        sensors: channels of sensors and of what the control unit measures inside.
        loads: channels that show electrical loads.
        clock: the time grid.
        typical: typical jump of the leading channel, house unit.
        chances: probability of every explanation (``plausibility_ratio``); empty where the
            leading channel's circuit is not known.
        depth: how deep the likeliest fault was, as a share of the reference.
    """

    sensors: tuple[Companion, ...]
    loads: tuple[Companion, ...]
    clock: SampleClock
    typical: float
    chances: Mapping[str, float]
    depth: Mapping[str, float]

    @property
    def linked(self) -> tuple[Companion, ...]:
        """The sensor channels that step at most of the jumps, beyond chance.

        Among many channels by Simes' rule (Benjamini and Hochberg 1995, J. R. Stat. Soc. B
        57:289), at a level that stays at 1 % for up to three leading channels; the channels that
        the shared fault reaches are asked first, then all; and only where the steps themselves
        speak against "its own".
        """
        if self.chances.get("own", 0.0) > _OWN_UNTIL:
            return ()
        first = _beyond_chance(self.able, P_SEEN / _LEADS)
        everything = _beyond_chance(self.sensors, P_SEEN / (2.0 * _LEADS))
        found = {c.name: c for c in (*first, *everything)}
        return tuple(c for c in found.values() if c.step.agree * 2 >= c.step.used or c.together)

    @property
    def able(self) -> tuple[Companion, ...]:
        """The channels that the shared fault would have moved out of their noise."""
        return tuple(
            c
            for c in self.sensors
            if c.main is not None and abs(c.main * self.typical) > 2.5 * c.step.noise
        )

    @property
    def witnesses(self) -> tuple[Companion, ...]:
        """The channels whose silence counts: able, read during the jumps, without own jumps."""
        return tuple(c for c in self.able if c.fresh >= _READ_AT and not c.own_alarm)

    @property
    def quiet(self) -> bool:
        """Whether every channel that would have moved really stayed where it was."""
        able = self.witnesses
        return (
            bool(able)
            and self.chances.get("own", 0.0) >= _OWN_FROM
            and all(c.p > P_SEEN / len(able) for c in able)
        )

    @property
    def with_loads(self) -> bool | None:
        """Whether the jumps keep time with an electrical load; ``None``: cannot be told."""
        if not self.loads:
            return None
        limit = P_SEEN / len(self.loads)
        return any(
            c.p < limit
            and c.step.agree * 2 >= c.step.used
            # A load pulls the voltage down; what raises it is not a load coming on.
            and (c.step.typical < 0.0 or not c.name.endswith("voltage"))
            for c in self.loads
        )


def _beyond_chance(channels: Sequence[Companion], level: float) -> list[Companion]:
    ordered = sorted(channels, key=lambda c: c.p)
    most = [k for k, c in enumerate(ordered, 1) if c.p <= level * k / len(ordered)]
    return ordered[: max(most, default=0)]


def main_fault(name: str, change: float) -> Fault:
    """Return the shared fault that the way of a jump points to.

    A lifted ground raises every share: thermistors read colder, transducers higher. Downwards it
    is the 5 V of the transducers beyond the splice, or the unit's rail for a thermistor.
    """
    thermistor = INPUTS[name].kind == "thermistor"
    rises = change < 0.0 if thermistor else change > 0.0
    return "ground" if rises else "rail" if thermistor else "reference"


def beside(
    recording: Recording,
    anchor: Channel,
    verdict: TraceVerdict,
    others: Mapping[str, TraceVerdict],
    plain: Mapping[str, tuple[Floats, Floats]],
) -> Beside:
    """Look at every other channel at the jumps of one.

    Args:
        recording: the recording.
        anchor: the channel that jumps.
        verdict: what was made of it.
        others: verdicts on the other channels that jump.
        plain: channels less what the engine's work explains, as (time, values).
    """
    spans = [s for s in verdict.spans if abs(s.change) > 0.0]
    clock = _clock(recording, anchor, verdict)
    explain = [
        grid_of(*_valid(c), clock)
        for n in ("engine_speed", "engine_load")
        if (c := recording.channel(n)) is not None
    ]
    starts = np.array([s.start_s for s in spans])
    changes = np.array([s.change for s in spans])
    trace = verdict.trace
    levels = np.array([_level(trace.time, trace.values, s.start_s) for s in spans])
    lead = Steps(anchor.name, levels, changes, max(trace.noise, trace.step))
    typical = float(np.median(changes)) if changes.size else 0.0
    known = anchor.name in INPUTS
    fault = main_fault(anchor.name, typical) if known else None
    sensors, rows = [], []
    for name, circuit in INPUTS.items():
        channel = recording.channel(name)
        if name == anchor.name or channel is None:
            continue
        other = others.get(name)
        series = plain.get(name) or _valid(channel)
        step = _step(spans, series, clock, [] if circuit.kind == "supply" else explain)
        if step is None:
            continue
        row = Steps(name, np.array(step.levels), np.array(step.steps), step.noise)
        rows.append(row)
        if circuit.kind == "supply":
            continue
        together = None
        if other is not None and other.spans and other.log_factor > 0.0:
            together = coincidence(starts, np.array([s.start_s for s in other.spans]), clock)
        ratios = {str(f): r for f in FAULTS if known and (r := _ratio(lead, row, f)) is not None}
        main = ratios.get(str(fault)) if circuit.kind not in _INSIDE else None
        alarm = other is not None and other.log_factor >= SEEN_FROM and bool(other.spans)
        fresh = _read_during(channel, spans)
        sensors.append(Companion(name, step, main, ratios, together, fresh, alarm))
    loads = []
    for name in LOADS:
        channel = recording.channel(name)
        step = _step(spans, _valid(channel), clock, []) if channel is not None else None
        if step is not None:
            loads.append(Companion(name, step))
    chances = signatures(lead, rows) if known and spans else {}
    deep = {
        str(f): float(np.median(np.abs(depths(lead, f))))
        for f in FAULTS
        if chances.get(f, 0.0) > 0.0
    }
    return Beside(tuple(sensors), tuple(loads), clock, typical, chances, deep)


def _read_during(channel: Channel, spans: Sequence[TraceSpan]) -> float:
    """Return the share of the jumps during which a channel was read itself."""
    time = channel.time_s[channel.valid()]
    if not spans or not time.size:
        return 0.0
    first = np.searchsorted(time, [s.start_s - _SAME_S for s in spans])
    last = np.searchsorted(time, [s.end_s + _SAME_S for s in spans], side="right")
    return float(np.mean(last > first))


def _ratio(lead: Steps, row: Steps, fault: Fault) -> float | None:
    good = np.isfinite(row.level) & np.isfinite(row.step)
    if not good.any():
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.median((expected_step(lead, row, fault) / lead.step)[good])
    return float(ratio) if np.isfinite(ratio) and ratio != 0.0 else None


def _clock(recording: Recording, anchor: Channel, verdict: TraceVerdict) -> SampleClock:
    start, end = float(anchor.time_s[0]), float(anchor.time_s[-1])
    step = min(max(0.5, verdict.trace.interval), 10.0)
    for name in _WORK:
        channel = recording.channel(name)
        if channel is None or np.count_nonzero(channel.valid()) < 30:
            continue
        time, values = _valid(channel)
        if float(np.ptp(values)) < 20.0:
            continue
        return make_clock(start, end, (time, values), step=step)
    return make_clock(start, end, None, step=step)


def _step(
    spans: Sequence[TraceSpan],
    series: tuple[Floats, Floats],
    clock: SampleClock,
    explain: Sequence[Floats],
) -> CoStep | None:
    if not spans or not series[0].size:
        return None
    starts = np.array([s.start_s for s in spans])
    ends = np.array([s.end_s for s in spans])
    changes = np.array([s.change for s in spans])
    return co_step(starts, ends, changes, grid_of(*series, clock), clock, tuple(explain))


def _level(time: Floats, values: Floats, at: float) -> float:
    before = values[(time < at) & (time >= at - 8.0)]
    if before.size == 0:
        before = values[(time < at)][-3:] if (time < at).any() else values[:3]
    return float(np.median(before))


def _valid(channel: Channel) -> tuple[Floats, Floats]:
    mask = channel.valid()
    return channel.time_s[mask], channel.values[mask]
