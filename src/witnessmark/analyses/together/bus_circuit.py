"""Sensor circuits that the control unit itself calls faulted: no reading, not zero."""

from __future__ import annotations

from collections.abc import Iterable

from witnessmark.analyses.an_analysis import Bench
from witnessmark.model.details.trace_details import CircuitFault
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Channel, Quality, Recording, TroubleCode
from witnessmark.units import QUANTITIES, spoken

__all__ = ["NEEDS", "analyse"]

NEEDS = ("a bus recording",)
METHOD = "bus_circuit/1"

#: Failure modes of SAE J1939-73 that speak of the circuit, not of the machine.
CIRCUIT_FMI = {
    2: "data erratic, intermittent or incorrect",
    3: "voltage above normal, or shorted to high source",
    4: "voltage below normal, or shorted to low source",
    5: "current below normal or open circuit",
    6: "current above normal or grounded circuit",
    8: "abnormal frequency or pulse width",
    9: "abnormal update rate",
    10: "abnormal rate of change",
    11: "root cause not known",
    12: "bad intelligent device or component",
    13: "out of calibration",
    19: "received network data in error",
}


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return one finding a quantity and recording whose circuit is faulted.

    Seen: the sender codes the signal as "error" for at least half of its samples, or an active
    trouble code names the circuit. The signal then has no reading, which is not a zero.
    """
    found: list[Finding] = []
    for entry_id, recording in bench.recordings.items():
        if recording.kind == "bus":
            found += _of(recording, entry_id, bench.stage(entry_id))
    return tuple(found)


def _of(recording: Recording, entry_id: str, stage: int) -> Iterable[Finding]:
    for channel in recording.channels:
        if channel.spn is None or channel.name not in QUANTITIES:
            continue
        errors, samples = channel.count(Quality.ERROR), channel.values.size
        codes = [
            c for c in recording.trouble_codes
            if c.active and c.spn == channel.spn and c.source == channel.source
            and c.bus == channel.bus and c.fmi in CIRCUIT_FMI
        ]  # fmt: skip
        if samples and (errors * 2 >= samples or codes):
            yield _finding(channel, codes, errors, samples, recording, entry_id, stage)


def _finding(
    channel: Channel, codes: list[TroubleCode], errors: int, samples: int,
    recording: Recording, entry_id: str, stage: int,
) -> Finding:  # fmt: skip
    words = spoken(channel.name)
    valid = channel.count(Quality.VALID)
    parts = []
    if errors:
        parts.append(f"its sender codes {errors} of {samples} samples as a circuit error")
    parts += [f"active code {c.spn}/{c.fmi}: {CIRCUIT_FMI[c.fmi]}" for c in codes]
    tail = (
        "There is no reading; it is not zero."
        if valid == 0
        else (f"{valid} samples are readings; treat them with care.")
    )
    return Finding(
        code=f"{channel.name}_circuit_faulted",
        sentence=f"The {words} circuit of address {channel.source}"
        f"{f' on bus {channel.bus}' if channel.bus else ''} is faulted: "
        f"{'; '.join(parts)}. {tail}",
        outcome="seen",
        quantity=channel.name,
        evidence=Evidence(
            entries=(entry_id,),
            recording=recording.sha256,
            channel=channel.name,
            start_s=float(channel.time_s[0]),
            end_s=float(channel.time_s[-1]),
        ),
        method=METHOD,
        source="SAE J1939-71 error range, SAE J1939-73 active trouble codes",
        stage=stage,
        details=CircuitFault(spn=channel.spn, source=channel.source, bus=channel.bus, valid=valid,
                 error_coded=errors, samples=samples),
    )  # fmt: skip
