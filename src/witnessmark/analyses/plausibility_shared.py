"""Is it one sensor, or what several sensors share? Ground, reference, loads, codes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.bus_circuit import CIRCUIT_FMI
from witnessmark.analyses.plausibility_causes import supports_of_others
from witnessmark.analyses.plausibility_profiles import PROFILES
from witnessmark.analyses.plausibility_together import (
    Clock,
    CoStep,
    co_step,
    coincidence,
    grid_of,
    make_clock,
)
from witnessmark.analyses.plausibility_trace import Span, Verdict
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Channel, Floats, Recording, TroubleCode
from witnessmark.physics.sensor_circuit import Thermistor, Transducer
from witnessmark.units import QUANTITIES, UNITS, display_unit

__all__ = ["Companion", "codes_together", "companions", "shared_findings"]

METHOD = "circular_shift/1"
#: From this chance on a link is called seen.
P_SEEN = 0.01
#: Channels of three-wire transducers that may share ground and reference with the thermistors,
#: with the pressure that makes their full output (common practice, no source) [Pa].
TRANSDUCERS: dict[str, float] = {
    "oil_pressure": 1.0e6,
    "fuel_delivery_pressure": 1.0e6,
    "coolant_pressure": 3.0e5,
    "boost_pressure": 3.0e5,
    "intake_manifold_pressure": 4.0e5,
    "transmission_oil_pressure": 2.5e6,
    "crankcase_pressure": 2.0e4,
    "exhaust_back_pressure": 4.0e5,
    "brake_primary_pressure": 1.2e6,
}
#: Channels that show an electrical load coming on.
LOADS = ("battery_voltage", "keyswitch_voltage", "charging_voltage", "battery_current",
         "alternator_current")  # fmt: skip
#: A ground lift is believed within this factor of the predicted ratio: the sensors are generic.
RATIO_WITHIN = 2.8


@dataclass(frozen=True, slots=True)
class Companion:
    """Another channel at the instants of the jumps.

    Attributes:
        name: quantity.
        step: what it did there.
        expected: ratio that a lifted ground would make [unit/degC], ``None`` for a load.
        together: (events in common, p) where it has jumps of its own, else ``None``.
    """

    name: str
    step: CoStep
    expected: float | None
    together: tuple[int, float] | None = None

    @property
    def p(self) -> float:
        """Chance of the link by coincidence."""
        return self.step.p if self.together is None else min(self.step.p, self.together[1])

    @property
    def would_show(self) -> bool:
        """Whether a ground lift of the size of the jumps would have stood out of its noise."""
        if self.expected is None:
            return False
        return abs(self.expected) * _SMALL_JUMP > 2.5 * self.step.noise

    @property
    def like_a_lift(self) -> bool:
        """Whether the ratio has the sign and size that a lifted ground makes."""
        if self.expected is None or self.expected * self.step.ratio <= 0.0:
            return False
        return 1.0 / RATIO_WITHIN < self.step.ratio / self.expected < RATIO_WITHIN


_SMALL_JUMP = 4.0


def companions(
    recording: Recording, anchor: Channel, verdict: Verdict, others: dict[str, Verdict]
) -> tuple[list[Companion], list[Companion], Clock]:
    """Return the sensor channels and the load channels at the anchor's jumps, and the clock.

    Args:
        recording: the recording.
        anchor: the channel that jumps.
        verdict: what was made of it.
        others: verdicts on the other slow channels.
    """
    spans = [s for s in verdict.spans if abs(s.change) > 0.0]
    load = recording.channel("engine_load")
    valid_load = _valid(load) if load is not None else None
    clock = make_clock(float(anchor.time_s[0]), float(anchor.time_s[-1]), valid_load)
    explain = [
        grid_of(*_valid(c), clock)
        for c in (recording.channel("engine_speed"), load)
        if c is not None
    ]
    base = float(np.median(verdict.trace.values))
    sensors, loads = [], []
    for name in (*PROFILES, *TRANSDUCERS):
        channel = recording.channel(name)
        if name == anchor.name or channel is None:
            continue
        step = _step(spans, channel, clock, explain)
        if step is None:
            continue
        together = None
        if name in others and others[name].spans:
            mine = np.array([s.start_s for s in spans])
            together = coincidence(mine, np.array([s.start_s for s in others[name].spans]), clock)
        sensors.append(Companion(name, step, _lift_ratio(name, base, channel), together))
    for name in LOADS:
        channel = recording.channel(name)
        step = _step(spans, channel, clock, []) if channel is not None else None
        if step is not None:
            loads.append(Companion(name, step, None))
    return sensors, loads, clock


def shared_findings(
    recording: Recording, entry_id: str, stage: int, anchor: Channel, verdict: Verdict,
    others: dict[str, Verdict],
) -> Iterator[Finding]:  # fmt: skip
    """Yield whether the jumps of the anchor are its own or shared by other circuits."""
    sensors, loads, clock = companions(recording, anchor, verdict, others)
    linked = [c for c in sensors if c.p < P_SEEN / max(len(sensors), 1)]
    # What is shared is there at most of the jumps, not at one or two of many.
    linked = [c for c in linked if c.step.agree * 2 >= c.step.used or c.together]
    with_loads = _with_loads(loads)
    words = anchor.name.replace("_", " ")
    where = "within loaded time" if clock.known else "over the whole time, as the load is not known"
    evidence = Evidence((entry_id,), recording.sha256, anchor.name,
                        verdict.spans[0].start_s, verdict.spans[-1].end_s)  # fmt: skip
    details: dict[str, object] = {
        "channels": [c.name for c in sensors],
        "p": {c.name: c.p for c in sensors},
        "ratio": {c.name: c.step.ratio for c in sensors},
        "expected_ratio": {c.name: c.expected for c in sensors if c.expected is not None},
        "with_loads": with_loads,
        "lanes": {c.name: c.step.times for c in (*linked, *(loads if with_loads else ()))},
    }
    counted = {"stands_for": ("c_multi", "e_multi"), "uses_tests": ("c_multi", "e_multi")}
    tail = _load_words(loads, with_loads)
    if linked:
        pattern = _pattern(linked)
        cause = {
            "ground": "as one lifted sensor ground makes it: a shared ground, or a splice or "
            "added device on it",
            "reference": "as one sagging 5 V reference makes it",
            "shared": "without the fixed ratio of a lifted ground: something they share, a "
            "connector, the harness or the control unit",
        }[pattern]
        yield Finding(
            code="sensors_step_together",
            sentence=f"When the {words} jumps, {_companion_words(linked)} at the same instant "
            f"(chance {max(c.p for c in linked):.2g}, tested {where}), {cause}.{tail} "
            "Next: wiggle test at idle and voltage drop of the sensor ground with all loads on.",
            outcome="seen",
            method=METHOD,
            evidence=evidence,
            source="common practice, no source (generic sensors)",
            stage=stage,
            support=supports_of_others(pattern, with_loads),
            details={**details, **counted, "kind": pattern, "linked": [c.name for c in linked]},
        )
        return
    able = [c for c in sensors if c.would_show]
    if able:
        names = ", ".join(c.name.replace("_", " ") for c in able)
        yield Finding(
            code="sensors_step_together",
            sentence=f"When the {words} jumps, {names} "
            f"{'stays' if len(able) == 1 else 'stay'} quiet although a lifted shared ground would "
            f"have moved {'it' if len(able) == 1 else 'them'}: its own sensor, pin or wire.{tail}",
            outcome="not_seen",
            method=METHOD,
            evidence=evidence,
            stage=stage,
            support=supports_of_others("alone", with_loads),
            details={**details, **counted, "kind": "alone"},
        )
        return
    yield Finding(
        code="sensors_step_together",
        sentence=f"Whether other sensors step when the {words} jumps cannot be told.{tail}",
        outcome="inconclusive" if sensors else "not_run",
        reason="the other channels are too noisy"
        if sensors
        else "no other sensor channel with a shared ground is on the recording",
        method=METHOD,
        evidence=evidence,
        stage=stage,
        details=details,
    )


def codes_together(recording: Recording, entry_id: str, stage: int) -> Iterator[Finding]:
    """Yield trouble codes of several sensor circuits that set in within a second.

    Only codes that came up while their control unit had been heard for ten seconds count: at
    key-on a unit reports all it knows at once. Active codes are sent once a second (SAE J1939-73),
    so "within a second" means within two messages.
    """
    heard: dict[int, float] = {}
    for channel in recording.channels:
        if channel.source is not None and channel.time_s.size:
            first = float(channel.time_s[0])
            heard[channel.source] = min(heard.get(channel.source, first), first)
    late: list[TroubleCode] = [
        c
        for c in recording.trouble_codes
        if c.active
        and c.fmi in CIRCUIT_FMI
        and c.source in heard
        and c.first_s > heard[c.source] + 10.0
    ]
    late.sort(key=lambda c: c.first_s)
    best: list[TroubleCode] = []
    for start in range(len(late)):
        group = [c for c in late[start:] if c.first_s - late[start].first_s <= 1.1]
        if len({c.spn for c in group}) > len({c.spn for c in best}):
            best = group
    spns = sorted({c.spn for c in best})
    if len(spns) < 2:
        return
    listed = ", ".join(f"{c.spn}/{c.fmi}" for c in best)
    yield Finding(
        code="sensor_codes_together",
        sentence=f"Trouble codes of {len(spns)} sensor circuits came up within a second at "
        f"{best[0].first_s:.0f} s ({listed}): look for what they share (5 V reference, ground, "
        "connector, control unit) before any of the sensors. Unplug one at a time, key off and "
        "on as the maker's manual says, and watch the reference come back.",
        outcome="seen",
        method="code_onset/1",
        evidence=Evidence((entry_id,), recording.sha256, None, best[0].first_s, best[-1].first_s),
        source="SAE J1939-73 active trouble codes",
        stage=stage,
        support=supports_of_others("reference", None),
        details={"kind": "reference", "spns": spns, "stands_for": ("c_multi", "e_multi"),
                 "uses_tests": ("c_multi", "e_multi")},
    )  # fmt: skip


def _pattern(linked: Sequence[Companion]) -> str:
    if any(c.like_a_lift for c in linked) and all(
        c.like_a_lift or c.expected is None for c in linked
    ):
        return "ground"
    pressures = [c for c in linked if c.name in TRANSDUCERS]
    thermal = [c for c in linked if c.name in PROFILES]
    down = [c for c in pressures if c.step.typical < 0.0]
    if len(down) >= 2 and len(down) == len(pressures) and not thermal:
        return "reference"
    return "shared"


def _step(
    spans: Sequence[Span], channel: Channel, clock: Clock, explain: Sequence[Floats]
) -> CoStep | None:
    if not spans:
        return None
    starts = np.array([s.start_s for s in spans])
    ends = np.array([s.end_s for s in spans])
    changes = np.array([s.change for s in spans])
    return co_step(starts, ends, changes, grid_of(*_valid(channel), clock), clock, tuple(explain))


def _lift_ratio(name: str, base: float, channel: Channel) -> float | None:
    """Return the step a lifted ground makes for each degC the anchor reads colder or hotter."""
    circuit = Thermistor()
    per_degree = circuit.slope(min(max(base, -20.0), 130.0))
    if name in TRANSDUCERS:
        transducer = Transducer(span=TRANSDUCERS[name])
        return per_degree * transducer.span / (transducer.reference * 0.8)
    if name in PROFILES and PROFILES[name].thermistor:
        values = channel.values[channel.valid()]
        own = float(np.median(values)) if values.size else 25.0
        return per_degree / circuit.slope(min(max(own, -20.0), 130.0))
    return None


def _with_loads(loads: Sequence[Companion]) -> bool | None:
    if not loads:
        return None
    return any(c.p < P_SEEN / len(loads) and c.step.agree * 2 >= c.step.used for c in loads)


def _load_words(loads: Sequence[Companion], with_loads: bool | None) -> str:
    if with_loads:
        best = min(loads, key=lambda c: c.p)
        row = QUANTITIES[best.name]
        return (
            f" The jumps keep time with an electrical load: the {row.words} steps by "
            f"{best.step.typical:+.2g} {row.house}."
        )
    return ""


def _companion_words(linked: Sequence[Companion]) -> str:
    parts = []
    for companion in linked:
        unit = display_unit(companion.name)
        factor = _per_unit(companion.name)
        step = companion.step.typical * factor
        text = (
            f"the {companion.name.replace('_', ' ')} steps by {step:+.1f} {unit} "
            f"({companion.step.agree} of {companion.step.used}; "
            f"{companion.step.ratio * factor:+.2g} {unit}/degC"
        )
        if companion.expected is not None:
            text += f", a lifted ground makes about {companion.expected * factor:+.2g}"
        parts.append(text + ")")
    return " and ".join(parts)


def _per_unit(name: str) -> float:
    return UNITS[QUANTITIES[name].house].factor / UNITS[display_unit(name)].factor


def _valid(channel: Channel) -> tuple[Floats, Floats]:
    mask = channel.valid()
    return channel.time_s[mask], channel.values[mask]
