"""What the warm temperatures say of each other, as findings: drift, offset, swapped plugs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.sensors.cross_checks import soak_of_recording
from witnessmark.analyses.sensors.warm_temperatures import (
    DRIFTING,
    Drifted,
    Warm,
    drifts,
    offsets,
    swapped,
    warm_part,
)
from witnessmark.model.details.trace_details import SensorOff, StepsBeside, Swapped
from witnessmark.model.finding import Evidence, Finding, Outcome
from witnessmark.model.recording import Recording
from witnessmark.units import spoken

__all__ = ["METHOD", "cross_findings"]

METHOD = "warm_temperatures/1"
_SOURCE = (
    "lagged answer to the load; natural changes from simulation (studies/plausibility/cross.md)"
)
_MODEL = "sensors"
_OUTCOME: dict[str, Outcome] = {
    "real": "not_seen", "none": "not_seen", "drift": "seen", "doubt": "inconclusive",
}  # fmt: skip


def cross_findings(
    bench: Bench, recording: Recording, entry_id: str, stage: int
) -> Iterator[Finding]:
    """Yield what the temperatures of one recording say of each other.

    Args:
        bench: the bench.
        recording: the recording.
        entry_id: its entry.
        stage: its stage.
    """
    relevant = bench.asks(_MODEL)
    if recording.duration_s is None or not any(recording.channel(n) for n in DRIFTING):
        return
    warm = warm_part(recording)
    if warm is None:
        if relevant and recording.channel("coolant_temperature") is not None:
            yield _missing(_why_not(recording), stage)
        return
    turned = swapped(warm)
    if turned is not None:
        yield _swap(warm, turned, recording, entry_id, stage)
        return
    found = drifts(warm)
    # One sensor that goes makes the one it is held against look odd as well.
    seen = [d for d in found if d.kind != "none"]
    for one in found:
        told = one.kind != "none" or (one.name == "coolant_temperature" and relevant)
        if told and not (one.kind == "real" and one.name == "oil_temperature" and len(seen) > 1):
            yield _drift(warm, one, recording, entry_id, stage)
    if not found and relevant:
        yield _missing(
            "no second temperature that tells: oil beside coolant, or the air outside beside the "
            "air in the manifold", stage,
        )  # fmt: skip
    # Where all agreed at cold soak none of them is steadily off, whatever the engine is like.
    agreed = any(f.outcome == "not_seen" for f in soak_of_recording(recording, entry_id, stage))
    if not seen and not agreed:
        yield from _offsets(warm, recording, entry_id, stage)


def _why_not(recording: Recording) -> str:
    load = recording.channel("engine_load")
    if load is None or np.count_nonzero(load.valid()) < 60:
        return "the engine load"
    return "twenty warm minutes in which the load changes"


def _missing(what: str, stage: int) -> Finding:
    return not_run(
        "coolant_temperature_drift",
        "Whether a temperature reading drifts was not judged.",
        f"Missing in the recording: {what}.",
        METHOD,
        stage=stage,
    )


def _drift(warm: Warm, one: Drifted, recording: Recording, entry_id: str, stage: int) -> Finding:
    words = spoken(one.name)
    other, moved = one.beside or ("", 0.0)
    beside = spoken(other)
    minutes = (warm.end_s - warm.start_s) / 60.0
    if one.kind == "none":
        sentence = (
            f"Warm, the {words} does nothing in {minutes:.0f} min that load and time do not "
            f"explain; a drift of {_gap(one.least)} would have shown."
        )
    else:
        sentence = f"Warm, the {words} reading went {_gap(one.change, signed=True)} beyond what "
        sentence += f"the load explains in {minutes:.0f} min "
        sentence += {
            "drift": f"while the {beside} went {_gap(moved, signed=True)}: the reading drifts, "
            "not the engine. Read a probe beside it before anything is renewed.",
            "real": f"and the {beside} went with it ({_gap(moved, signed=True)}): it really moved.",
            "doubt": f"and the {beside} {_gap(moved, signed=True)}: a drift of the reading and a "
            "real change cannot be told apart.",
        }[one.kind]
    return Finding(
        code=f"{one.name}_drift",
        sentence=sentence,
        outcome=_OUTCOME[one.kind],
        reason="the other temperature went part of the way" if one.kind == "doubt" else "",
        quantity=one.name,
        value=one.change,
        unit="degC",
        low=one.change - 2.0 * one.error,
        high=one.change + 2.0 * one.error,
        coverage=0.95,
        method=METHOD,
        evidence=Evidence((entry_id,), recording.sha256, one.name, warm.start_s, warm.end_s),
        source=_SOURCE,
        stage=stage,
        details=StepsBeside(difference=True, kind=one.kind, beside=other, beside_change=moved),
    )


def _offsets(warm: Warm, recording: Recording, entry_id: str, stage: int) -> Iterator[Finding]:
    for one in offsets(warm):
        words, other = spoken(one.name), spoken(one.against)
        side = "above" if one.off > 0 else "below"
        which = (
            f"the {words} reading is steadily off"
            if one.sure
            else f"one of the two is steadily off, the {words} or the {other}"
        )
        if {one.name, one.against} == {"fuel_temperature", "ambient_temperature"}:
            which += ", or their plugs are swapped"
        yield Finding(
            code=f"{one.name}_steadily_off",
            sentence=f"Warm, the {words} stands at least {_gap(abs(one.off))} {side} where the "
            f"{other} leaves it on a sound engine: {which}. Compare both with a probe; at cold "
            "soak they must agree.",
            outcome="seen",
            quantity=one.name,
            value=one.off,
            unit="degC",
            method=METHOD,
            evidence=Evidence((entry_id,), recording.sha256, one.name, warm.start_s, warm.end_s),
            source=_SOURCE,
            stage=stage,
            details=SensorOff(difference=True, kind="offset", against=one.against,
                     one_of_two=not one.sure),
        )  # fmt: skip


def _swap(
    warm: Warm, turned: tuple[str, str, float], recording: Recording, entry_id: str, stage: int
) -> Finding:
    one, two = (spoken(n) for n in turned[:2])
    levels = [warm.courses[n] for n in turned[:2]]
    told = " and ".join(
        f"what is called {n} stands at {c.level:.0f} degC and swings {abs(c.quick + c.slow):.0f} "
        "degC with the load"
        for n, c in zip((one, two), levels, strict=True)
    )
    return Finding(
        code="temperatures_swapped",
        sentence=f"The {one} and the {two} look swapped: {told}. Each fits the other's place; "
        "follow both wires from the sensor to the plug before a sensor is renewed.",
        outcome="seen",
        quantity=turned[0],
        method=METHOD,
        evidence=Evidence((entry_id,), recording.sha256, turned[0], warm.start_s, warm.end_s),
        source=_SOURCE,
        stage=stage,
        details=Swapped(kind="swapped", pair=list(turned[:2]), log_odds=turned[2]),
    )


def _gap(value: float, *, signed: bool = False) -> str:
    sign = "+" if signed else ""
    return f"{1.8 * value:{sign}.0f} degF ({value:{sign}.0f} degC)"
