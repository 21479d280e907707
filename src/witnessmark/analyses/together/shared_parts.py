"""Is it one sensor, or what several sensors share? Ground, 5 V, the unit, loads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from witnessmark.analyses.readings.finding_rows import counted
from witnessmark.analyses.sensors.one_trace import TraceVerdict
from witnessmark.analyses.sensors.trace_causes import supports_of_others
from witnessmark.analyses.together.beside import Beside, Companion, beside, main_fault
from witnessmark.knowledge import Knowledge
from witnessmark.model.details.trace_details import StepsTogether
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.units import QUANTITIES, UNITS, display_unit, spoken

__all__ = ["NAMED_FROM", "shared_findings"]

METHOD = "fixed_ratio/1"
#: From this chance on among the shared explanations one of them is named.
NAMED_FROM = 0.8
_REFERENCE = 5.0
#: Channels that a sentence with figures spells out, and the first sentence of a ground that lifts.
_SPOKEN, _MOVED = 3, 2
#: Explanation -> what it is, and what to do next.
_WORDS: dict[str, tuple[str, str]] = {
    "ground": (
        "as one lifted sensor ground makes it (temperatures read lower and pressures higher in a "
        "fixed ratio): a shared ground, or a splice or added device on it",
        "wiggle test at idle and voltage drop of the sensor ground with all loads on",
    ),
    "reference": (
        "as one sagging 5 V supply of the pressure sensors makes it beyond its splice (each of "
        "them falls by the same share of its signal, the thermistors stay)",
        "watch the 5 V at one of them with a meter while unplugging the others one at a time, "
        "key off and on as the maker's manual says; then the splice",
    ),
    "rail": (
        "as the whole 5 V rail makes it when it sags at the control unit (pressures read lower "
        "and temperatures higher by the same share of their signals)",
        "watch the 5 V at the unit while unplugging one sensor at a time; if it still sags with "
        "all of them off, the control unit or its supply",
    ),
    "converter": (
        "as the control unit's own converter makes it (what no sensor wire shares, such as the "
        "supply voltage or the barometer inside, reads higher by the same share): the module or "
        "its supply and ground, not the sensors",
        "prove powers and grounds of the control unit under load before the unit is blamed",
    ),
    "loose": (
        "without the fixed ratio of a lifted ground or a sagging reference: something they "
        "share, a connector, the harness or the control unit, which cannot be told apart here",
        "wiggle test at idle and voltage drop of the sensor ground with all loads on",
    ),
}
#: Pressures that really dip when what sucks the fluid draws air, and what that is.
_SUCKED = {
    "oil_pressure": "oil that really fails to arrive (a pickup that draws air, a low level)",
    "fuel_delivery_pressure": "fuel that really fails to arrive (a suction that draws air)",
}
#: The same in one short sentence.
_PLAIN = {
    "ground": "One sensor ground that lifts does that, not the sensors",
    "reference": "One 5 V branch that sags does that, not the sensors",
    "rail": "The 5 V of the control unit sags, not the sensors",
    "converter": "The control unit misreads, or its own supply and ground, not the sensors",
    "loose": "Something they share does that: connector, harness or control unit",
}
#: Explanation -> the pattern under which it enters the odds.
_PATTERN = {"ground": "ground", "reference": "reference", "rail": "reference",
            "converter": "unit", "loose": "shared"}  # fmt: skip
_SHORT = {"ground": "a lifted ground", "reference": "a sagging 5 V branch",
          "rail": "a sagging 5 V rail", "converter": "the control unit's converter",
          "loose": "no fixed ratio"}  # fmt: skip


def shared_findings(
    recording: Recording, entry_id: str, stage: int, anchor: Channel, verdict: TraceVerdict,
    others: Mapping[str, TraceVerdict], plain: Mapping[str, tuple[Floats, Floats]] | None = None,
    knowledge: Knowledge | None = None,
) -> Iterator[Finding]:  # fmt: skip
    """Yield whether the jumps of the anchor are its own or shared by other circuits."""
    seen = beside(recording, anchor, verdict, others, plain or {})
    linked, words = seen.linked, spoken(anchor.name)
    where = (
        "within loaded time"
        if seen.clock.known
        else "over the whole time, as the load is not known"
    )
    evidence = Evidence((entry_id,), recording.sha256, anchor.name,
                        verdict.spans[0].start_s, verdict.spans[-1].end_s)  # fmt: skip
    loads = seen.loads if seen.with_loads else ()
    details = StepsTogether(
        anchor=anchor.name,
        channels=[c.name for c in seen.sensors],
        p={c.name: c.p for c in seen.sensors},
        ratio={c.name: c.step.ratio for c in seen.sensors},
        expected_ratio={c.name: c.main for c in seen.sensors if c.main is not None},
        signatures={k: float(v) for k, v in seen.chances.items()},
        with_loads=seen.with_loads,
        lanes={c.name: c.step.times for c in (*linked, *loads)},
        starts=[span.start_s for span in verdict.spans],
        ways={anchor.name: seen.typical}
        | {c.name: c.step.typical for c in (*seen.sensors, *seen.loads)},
        quiet=[c.name for c in seen.witnesses if c not in linked],
    )
    stands, uses = counted(knowledge, "sensors_step_together")
    tail = _load_words(loads)
    if linked:
        kind, chance, rival = _named(seen)
        what, do = _WORDS[kind]
        depth = seen.depth.get(kind)
        volts = f", about {1e3 * _REFERENCE * depth:.0f} mV deep" if depth else ""
        numbers = (
            f"{_companion_words(linked, kind, anchor.name)} (chance "
            f"{max(c.p for c in linked):.2g}, tested {where}), {what}{volts}.{tail}"
        )
        doubt = f" or {_SHORT[rival]}, which look alike here" if rival else ""
        timed = ", in time with an electrical load" if loads else ""
        yield Finding(
            code="sensors_step_together",
            sentence=f"When the {words} {_way(seen.typical)}, {_moved(linked)} at the same "
            f"instant{timed}. {_PLAIN[kind]}{doubt}. Next: {do}.",
            outcome="seen",
            method=METHOD,
            evidence=evidence,
            source="voltage divider and ratiometric converter; generic sensors, common practice, "
            "no source",
            stage=stage,
            support=supports_of_others(knowledge, _PATTERN[kind], seen.with_loads),
            details=replace(
                details, stands_for=stands, uses_tests=uses, kind=_PATTERN[kind], signature=kind,
                chance=chance, linked=[c.name for c in linked], numbers=numbers,
            ),
        )  # fmt: skip
        return
    if seen.quiet:
        names = ", ".join(spoken(c.name) for c in seen.witnesses)
        one = len(seen.witnesses) == 1
        fault = main_fault(anchor.name, seen.typical)
        shared = {
            "ground": "a lifted shared ground",
            "reference": "a sagging shared 5 V supply",
        }.get(fault, "a sagging 5 V rail")
        if anchor.name in _SUCKED and seen.typical < 0.0:
            yield Finding(
                code="sensors_step_together",
                sentence=f"When the {words} drops, {names} {'stays' if one else 'stay'} quiet: no "
                f"{shared.split(' ', 1)[1]}. Its own sensor, pin or wire would do it, and so would "
                f"{_SUCKED[anchor.name]}: a mechanical gauge at the same instant settles it.{tail}",
                outcome="inconclusive",
                reason="a real dip of the pressure and a bad pin look the same on a recording",
                method=METHOD,
                evidence=evidence,
                stage=stage,
                details=replace(details, kind="own_or_air"),
            )
            return
        yield Finding(
            code="sensors_step_together",
            sentence=f"When the {words} jumps, {names} {'stays' if one else 'stay'} quiet "
            f"although {shared} would have moved {'it' if one else 'them'}: its own sensor, pin "
            f"or wire.{tail}",
            outcome="not_seen",
            method=METHOD,
            evidence=evidence,
            stage=stage,
            support=supports_of_others(knowledge, "alone", seen.with_loads),
            details=replace(details, stands_for=stands, uses_tests=uses, kind="alone"),
        )
        return
    yield Finding(
        code="sensors_step_together",
        sentence=f"Whether other sensors step when the {words} jumps cannot be told.{tail}",
        outcome="inconclusive" if seen.sensors else "not_run",
        reason=(
            "the others are sent too slowly to have been read during the jumps: record at the "
            "bus's own rate"
            if seen.able and not seen.witnesses and not any(c.own_alarm for c in seen.able)
            else "some move with it, but not beyond chance: record longer"
            if seen.able
            else "the other channels are too noisy, or nothing shared would have moved them"
        )
        if seen.sensors
        else "no other sensor channel with a shared ground is on the recording",
        method=METHOD,
        evidence=evidence,
        stage=stage,
        details=details,
    )


def _way(change: float) -> str:
    return "drops" if change < 0.0 else "jumps up"


def _moved(linked: Sequence[Companion]) -> str:
    """Say which way the others went, the pressures first: they say most; two are named."""
    rows = sorted(linked, key=lambda c: not c.name.endswith("pressure"))[:_MOVED]
    parts = [
        f"the {c.name.replace('_', ' ')} {'drops' if c.step.typical < 0.0 else 'rises'}"
        f" ({c.step.agree} of {c.step.used} times)"
        for c in rows
    ]
    more = len(linked) - len(rows)
    if more > 0:
        parts.append(f"{more} more")
    return " and ".join(parts)


def _named(seen: Beside) -> tuple[str, float, str]:
    """Return the shared explanation, its chance among the shared ones, and a rival in doubt."""
    shared = {k: v for k, v in seen.chances.items() if k != "own"}
    total = sum(shared.values())
    if total <= 0.0:
        return "loose", 1.0, ""
    order = sorted(shared, key=lambda k: -shared[k])
    best = shared[order[0]] / total
    return (order[0], best, "") if best >= NAMED_FROM else (order[0], best, order[1])


def _load_words(loads: Sequence[Companion]) -> str:
    if not loads:
        return ""
    best = min(loads, key=lambda c: c.p)
    row = QUANTITIES[best.name]
    return (
        f" The jumps keep time with an electrical load: the {row.words} steps by "
        f"{best.step.typical:+.2g} {row.house}."
    )


def _companion_words(linked: Sequence[Companion], kind: str, anchor: str) -> str:
    parts = []
    base, per = _unit(anchor)
    # What moves the other way than a temperature says most: pressures first.
    linked = sorted(linked, key=lambda c: not c.name.endswith("pressure"))
    for companion in linked[:_SPOKEN]:
        unit, factor = _unit(companion.name)
        text = (
            f"the {companion.name.replace('_', ' ')} steps by "
            f"{companion.step.typical * factor:+.1f} {unit} "
            f"({companion.step.agree} of {companion.step.used}; "
            f"{companion.step.ratio * factor / per:+.2g} {unit}/{base}"
        )
        if kind in companion.expected:
            made = companion.expected[kind] * factor / per
            text += f", {_SHORT[kind]} makes about {made:+.2g}"
        parts.append(text + ")")
    more = len(linked) - _SPOKEN
    if more > 0:
        names = ", ".join(spoken(c.name) for c in linked[_SPOKEN:])
        parts.append(f"{more} more ({names})")
    return " and ".join(parts)


def _unit(name: str) -> tuple[str, float]:
    """Return the unit a step is shown in and the factor from the house unit."""
    if QUANTITIES[name].kind == "temperature":
        return "degF", 1.8
    unit = display_unit(name)
    return unit, UNITS[QUANTITIES[name].house].factor / UNITS[unit].factor
