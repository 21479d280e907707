"""What one channel's trace shows by itself: jumps, a real movement, or no life at all."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from witnessmark.analyses.readings.finding_rows import counted
from witnessmark.analyses.sensors.coolant_sentences import (
    electrical,
    jumps_sentence,
    pressure_sentence,
    quiet_words,
)
from witnessmark.analyses.sensors.drawn_trace import drawn
from witnessmark.analyses.sensors.liveliness import PRESSURES
from witnessmark.analyses.sensors.movement_kinds import Movement, fan_beside, movement, stuck
from witnessmark.analyses.sensors.one_trace import (
    SEEN_FROM,
    TraceSpan,
    TraceVerdict,
    smallest_glitch,
)
from witnessmark.analyses.sensors.trace_causes import supports_of_stuck, supports_of_trace
from witnessmark.analyses.together.judged_channels import (
    Judged,
    valid_samples,
)
from witnessmark.knowledge import Knowledge
from witnessmark.model.details.trace_details import (
    JumpCircuit,
    Jumps,
    NoJumps,
    RealMovement,
    StandsStill,
)
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Quality, Recording
from witnessmark.units import spoken

__all__ = ["METHOD", "of_channel"]

METHOD = "switching_filter/1"
#: What the trace shows, as the packs' finding tables call it.
_TRACE = "coolant_trace"
_FANS = ("fan_speed_percent", "fan_speed", "fan_state")
_CYCLING = {"thermostat_cycling": "cycling", "gas_pocket": "sudden"}


def of_channel(
    judged: Judged,
    recording: Recording,
    entry_id: str,
    stage: int,
    knowledge: Knowledge | None,
    *,
    relevant: bool,
) -> Iterator[Finding]:
    """Yield what one channel's trace shows by itself.

    Args:
        judged: the channel with its verdict.
        recording: the recording.
        entry_id: its entry.
        stage: its stage.
        knowledge: the packs; without them nothing is said of causes.
        relevant: whether a complaint makes "nothing seen" worth saying.
    """
    verdict, coolant = judged.verdict, judged.channel.name == "coolant_temperature"
    moved = movement(verdict) if coolant else None
    seen = verdict.log_factor >= SEEN_FROM and verdict.spans
    if seen:
        yield _jumps(judged, recording, entry_id, stage, moved, knowledge)
    elif coolant and relevant:
        yield _no_jumps(judged, recording, entry_id, stage, moved, knowledge)
    # A step that the circuit is said to have made is not told as a real one in the next line.
    barred = {"normal", "quantisation_only"} | ({"gas_pocket", "cold_slug"} if seen else set())
    if moved is not None and moved.kind not in barred:
        yield _moves(judged, moved, recording, entry_id, stage, knowledge, alone=not seen)
    if coolant:
        yield from _stands_still(judged, recording, entry_id, stage, knowledge)


def _jumps(
    judged: Judged,
    recording: Recording,
    entry_id: str,
    stage: int,
    moved: Movement | None,
    knowledge: Knowledge | None,
) -> Finding:
    verdict, name = judged.verdict, judged.channel.name
    spans = verdict.spans
    change = typical_change(spans)
    kind = _fault_kind(verdict)
    coolant = name == "coolant_temperature"
    outcome_support = (
        supports_of_trace(knowledge, "electrical", _covered(verdict)) if coolant else ()
    )
    circuit = electrical(verdict, change) if judged.profile.thermistor else None
    stands, uses = counted(knowledge, _TRACE) if coolant else (None, None)
    details = Jumps(
        difference=True,
        kind=kind,
        probability=verdict.probability,
        log_bayes_factor=verdict.log_factor,
        kinds={k: float(v) for k, v in verdict.kinds.items()},
        times_s=[s.start_s for s in spans],
        ends_s=[s.end_s for s in spans],
        changes=[s.change for s in spans],
        largest_credible_rate=judged.profile.credible,
        movement=moved.kind if moved else "",
        covered_s=_covered(verdict),
        picture=drawn(verdict, judged.profile),
        stands_for=stands,
        uses_tests=uses,
        circuit=JumpCircuit(
            series_ohm=circuit.series, shunt_ohm=circuit.shunt, ground_lift_v=circuit.lift
        )
        if circuit is not None
        else None,
    )
    changes = np.array([s.change for s in spans])
    return Finding(
        code=f"{name}_jumps",
        sentence=(pressure_sentence if name in PRESSURES else jumps_sentence)(
            name, verdict, judged.profile, change, spans
        ),
        outcome="seen",
        method=METHOD,
        quantity=name,
        value=change,
        unit=judged.channel.unit,
        low=float(np.percentile(changes, 5)),
        high=float(np.percentile(changes, 95)),
        coverage=0.90,
        evidence=_evidence(judged, recording, entry_id, spans[0].start_s, spans[-1].end_s),
        source=judged.profile.source,
        stage=stage,
        support=outcome_support,
        details=details,
    )


def _no_jumps(
    judged: Judged,
    recording: Recording,
    entry_id: str,
    stage: int,
    moved: Movement | None,
    knowledge: Knowledge | None,
) -> Finding:
    verdict, name = judged.verdict, judged.channel.name
    glitch = smallest_glitch(verdict.trace, judged.profile)
    quiet = quiet_words(name, glitch, verdict.trace.interval)
    doubtful = 0.0 < verdict.log_factor < SEEN_FROM and bool(verdict.spans)
    words = spoken(name)
    outcome = _CYCLING.get(moved.kind if moved else "", "nothing")
    stands, uses = (None, None) if doubtful else counted(knowledge, _TRACE)
    details = NoJumps(
        probability=verdict.probability,
        log_bayes_factor=verdict.log_factor,
        kinds={k: float(v) for k, v in verdict.kinds.items()},
        movement=moved.kind if moved else "",
        smallest_glitch={f"{s:.3g} s": size for s, size in glitch.items()},
        covered_s=_covered(verdict),
        picture=drawn(verdict, judged.profile),
        stands_for=stands,
        uses_tests=uses,
    )
    minutes = _covered(verdict) / 60.0
    if doubtful:
        sentence = (
            f"The {words} shows {len(verdict.spans)} step(s) that may be the circuit or the "
            f"quantity; record longer. {quiet}"
        )
    else:
        sentence = (
            f"No jump of the {words} that coolant could not make in {minutes:.0f} min. {quiet}"
        )
    return Finding(
        code=f"{name}_jumps",
        sentence=sentence,
        outcome="inconclusive" if doubtful else "not_seen",
        reason="the evidence is too thin either way" if doubtful else "",
        method=METHOD,
        quantity=name,
        evidence=_evidence(judged, recording, entry_id, None, None),
        source=judged.profile.source,
        stage=stage,
        # A real movement carries its own support below.
        support=supports_of_trace(knowledge, "nothing", _covered(verdict))
        if outcome == "nothing" and not doubtful
        else (),
        details=details,
    )


def _moves(
    judged: Judged, moved: Movement, recording: Recording, entry_id: str, stage: int,
    knowledge: Knowledge | None, *,
    alone: bool,
) -> Finding:  # fmt: skip
    outcome = _CYCLING.get(moved.kind)
    fan_channel = next((c for n in _FANS if (c := recording.channel(n)) is not None), None)
    fan = fan_beside(moved, *valid_samples(fan_channel)) if fan_channel is not None else None
    covered = _covered(judged.verdict)
    support = supports_of_trace(knowledge, outcome, covered, fan) if outcome and alone else ()
    tail = {
        "thermostat_cycling": {
            "in step": "This is real and slow; the fan comes on with every swing.",
            "still": "This is real and slow, and the fan does not take part: the thermostat first.",
        }.get(fan or "", "This is real and slow: thermostat, fan or shutter, not the sensor."),
        "gas_pocket": "This is real at the sensor: air, steam or combustion gas passing it. "
        "Check the cold level; never open a hot cap.",
        "cold_slug": "This is real and once; no fault by itself.",
        "overheating": "The climb is no faster than coolant can move: treat it as truly hot.",
    }[moved.kind]
    hot = moved.kind == "overheating"
    stands, uses = counted(knowledge, _TRACE) if support else (None, None)
    return Finding(
        code=f"{judged.channel.name}_{moved.kind}",
        sentence=f"The coolant temperature {moved.words}. {tail}",
        outcome="seen",
        method="movement_rules/1",
        quantity=judged.channel.name,
        value=moved.size,
        unit=judged.channel.unit,
        evidence=_evidence(judged, recording, entry_id, moved.start_s, moved.end_s),
        source="common practice, no source",
        stage=stage,
        support=support,
        details=RealMovement(
            kind=moved.kind,
            size=moved.size,
            period_s=moved.period_s,
            count=moved.count,
            fan=fan,
            picture=drawn(judged.verdict, judged.profile),
            stands_for=stands,
            uses_tests=uses,
            difference=None if hot else True,
        ),
    )


def _stands_still(
    judged: Judged,
    recording: Recording,
    entry_id: str,
    stage: int,
    knowledge: Knowledge | None,
) -> Iterator[Finding]:
    channel = judged.channel
    load = recording.channel("engine_load")
    marked = channel.quality == Quality.SUBSTITUTED
    found = stuck(*valid_samples(channel), *valid_samples(load)) if load is not None else None
    if found is None and not marked.any():
        return
    if found is not None:
        words = (
            f"stands at {found.value:.0f} degC to the digit for "
            f"{found.end_s - found.start_s:.0f} s while the load swung {found.swings} times"
        )
        start, end, value = found.start_s, found.end_s, found.value
    else:
        start, end = (float(t) for t in channel.time_s[marked][[0, -1]])
        value = math.nan
        words = f"is frozen or replaced by the control unit from {start:.0f} s to {end:.0f} s"
    stands, uses = counted(knowledge, f"{channel.name}_stuck")
    yield Finding(
        code=f"{channel.name}_stuck",
        sentence=f"The coolant temperature {words}: a substituted value or a dead sensor, no "
        "reading. Compare with a probe at the thermostat housing.",
        outcome="seen",
        method="stuck_rule/1",
        quantity=channel.name,
        value=None if math.isnan(value) else value,
        unit=channel.unit,
        evidence=_evidence(judged, recording, entry_id, start, end),
        source="heat balance of the through-flow",
        stage=stage,
        support=supports_of_stuck(knowledge),
        details=StandsStill(kind="stuck", stands_for=stands, uses_tests=uses),
    )


def typical_change(spans: tuple[TraceSpan, ...]) -> float:
    """Return the median change of the spans of the more frequent sign."""
    largest = max(abs(s.change) for s in spans)
    changes = np.array([s.change for s in spans if abs(s.change) > 0.2 * largest or largest == 0.0])
    down, up = changes[changes < 0.0], changes[changes > 0.0]
    chosen = down if down.size >= up.size else up
    return float(np.median(chosen)) if chosen.size else 0.0


def _fault_kind(verdict: TraceVerdict) -> str:
    names = {"contact": "intermittent_contact", "spikes": "spikes", "noise": "noise"}
    faults = {k: p for k, p in verdict.kinds.items() if k in names}
    return names[max(faults, key=lambda k: faults[k])]


def _covered(verdict: TraceVerdict) -> float:
    trace = verdict.trace
    return float(sum(trace.time[b - 1] - trace.time[a] for a, b in trace.pieces))


def _evidence(
    judged: Judged, recording: Recording, entry_id: str, start: float | None, end: float | None
) -> Evidence:
    return Evidence(
        entries=(entry_id,),
        recording=recording.sha256,
        channel=judged.channel.name,
        start_s=start,
        end_s=end,
    )
