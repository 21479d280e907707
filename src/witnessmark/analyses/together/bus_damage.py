"""Error frames on the bus, and lines of the log that are damaged."""

from __future__ import annotations

from collections.abc import Iterable

from witnessmark.analyses.an_analysis import Bench
from witnessmark.model.details.trace_details import DamagedLines
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Recording

__all__ = ["NEEDS", "analyse"]

NEEDS = ("a bus recording",)
METHOD = "bus_damage/1"


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return what the recorder itself says went wrong; nothing where nothing did."""
    found: list[Finding] = []
    for entry_id, recording in bench.recordings.items():
        if recording.kind == "bus":
            found += _of(recording, entry_id, bench.stage(entry_id))
    return tuple(found)


def _of(recording: Recording, entry_id: str, stage: int) -> Iterable[Finding]:
    errors, bad = (_count(recording, fact) for fact in ("error_frames", "bad_lines"))
    span = "" if recording.duration_s is None else f" in {recording.duration_s:,.0f} s"
    evidence = Evidence((entry_id,), recording.sha256)
    if errors:
        yield Finding(
            code="bus_error_frames",
            sentence=f"The recorder met {errors:,} error frames among {recording.frames:,} "
            f"frames{span}: wiring or a connector, a missing or third terminating resistor, a "
            "node at another bit rate, or the adapter itself. Next: with the key off measure the "
            "resistance between the two wires (two resistors of 120 ohm give about 60), then "
            "wiggle the harness while recording.",
            outcome="seen",
            method=METHOD,
            evidence=evidence,
            source="the recorder's own error frames; 60 ohm: SAE J1939-11, from memory",
            stage=stage,
            details=DamagedLines(count=errors),
        )
    if bad:
        yield Finding(
            code="log_damaged_lines",
            sentence=f"{bad:,} lines of the log are no frames and were left out: they were damaged "
            "when they were written or copied. What stood in them is not known.",
            outcome="seen",
            method=METHOD,
            evidence=evidence,
            source="the reader's own count",
            stage=stage,
            details=DamagedLines(count=bad),
        )


def _count(recording: Recording, fact: str) -> int:
    found = recording.facts.get(fact, 0)
    return found if isinstance(found, int) else 0
