"""Sensor or real? Judges what the recording says against what the machine can do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.sensors.fast_bounds import too_fast_findings
from witnessmark.analyses.sensors.one_trace import (
    SEEN_FROM,
)
from witnessmark.analyses.together.codes_together import codes_together, silent_units
from witnessmark.analyses.together.judged_channels import (
    Judged,
    has_coolant,
    judged_recordings,
)
from witnessmark.analyses.together.of_one_channel import METHOD, of_channel
from witnessmark.analyses.together.shared_parts import shared_findings
from witnessmark.knowledge import Knowledge
from witnessmark.model.details.trace_details import (
    Jumps,
    StepsTogether,
)
from witnessmark.model.finding import Finding
from witnessmark.model.recording import Floats, Recording

__all__ = ["METHOD", "NEEDS", "analyse", "look_at"]

NEEDS = (
    "a recording that holds the coolant temperature, at full bus rate, half an hour with a pull "
    "and a wiggle of the harness at idle",
)
#: Complaints that make "nothing seen" worth saying.
MODEL = "sensors"
#: At most this many jumping channels lead the comparison with the others.
_ANCHORS = 3


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return the findings on what can be believed."""
    relevant = bench.asks(MODEL)
    found: list[Finding] = []
    covered: set[int] = set()
    for entry_id, recording in bench.recordings.items():
        stage = bench.stage(entry_id)
        if has_coolant(recording):
            covered.add(stage)
        found += look_at(recording, entry_id, stage, relevant=relevant, knowledge=bench.knowledge)
    if relevant and bench.last_stage() not in covered:
        found.append(
            not_run(
                "coolant_temperature_jumps",
                "Whether the coolant temperature or its circuit moves was not judged.",
                "Missing: " + NEEDS[0] + ".",
                METHOD,
                stage=bench.last_stage(),
            )
        )
    return tuple(_counted_once(found))


def look_at(
    recording: Recording, entry_id: str, stage: int, *, relevant: bool = False,
    judged: tuple[list[Judged], dict[str, tuple[Floats, Floats]]] | None = None,
    knowledge: Knowledge | None = None,
) -> list[Finding]:  # fmt: skip
    """Return the findings on one recording.

    Args:
        recording: the recording.
        entry_id: its entry.
        stage: its stage.
        relevant: whether a complaint makes "nothing seen" worth saying.
        judged: its channels as ``judged_recordings`` gives them, where that was done already.
        knowledge: the packs; without them nothing is said of causes.
    """
    channels, plain = judged or judged_recordings([recording])[0]
    found: list[Finding] = []
    for channel in channels:
        found += of_channel(channel, recording, entry_id, stage, knowledge, relevant=relevant)
    shared = list(_shared(channels, plain, recording, entry_id, stage, knowledge))
    found = [_with_lanes(f, shared, recording) for f in found] + shared
    found += codes_together(recording, entry_id, stage, knowledge)
    found += silent_units(recording, entry_id, stage, knowledge)
    known = {j.channel.name for j in channels if j.verdict.log_factor >= SEEN_FROM}
    found += too_fast_findings(recording, entry_id, stage, known)
    return found


def _shared(
    channels: list[Judged], plain: dict[str, tuple[Floats, Floats]], recording: Recording,
    entry_id: str, stage: int, knowledge: Knowledge | None,
) -> Iterator[Finding]:  # fmt: skip
    """Look at the other channels at the jumps of the coolant, or of the clearest channel.

    Where the coolant jumps alone, the clearest of the other jumping channels is asked as well.
    """
    jumping = [c for c in channels if c.verdict.log_factor >= SEEN_FROM and c.verdict.spans]
    jumping.sort(key=lambda c: (c.channel.name != "coolant_temperature", -c.verdict.log_factor))
    done: set[str] = set()
    found: list[tuple[str, Finding]] = []
    for anchor in jumping[:_ANCHORS]:
        if anchor.channel.name in done:
            continue
        others = {c.channel.name: c.verdict for c in jumping if c is not anchor}
        for finding in shared_findings(
            recording,
            entry_id,
            stage,
            anchor.channel,
            anchor.verdict,
            others,
            plain,
            knowledge,
        ):
            told = finding.details
            if isinstance(told, StepsTogether):
                done.update(told.linked or ())
                found.append((told.anchor, finding))
    # What steps with another channel does not jump alone.
    yield from (f for anchor, f in found if f.outcome == "seen" or anchor not in done)


def _with_lanes(finding: Finding, shared: list[Finding], recording: Recording) -> Finding:
    """Give the jumps of this recording the events of the other channels, for the picture."""
    if not shared or finding.evidence.recording != recording.sha256:
        return finding
    for beside in shared:
        told, steps = finding.details, beside.details
        if not isinstance(told, Jumps) or not isinstance(steps, StepsTogether):
            continue
        if finding.code == f"{steps.anchor}_jumps":
            return replace(finding, details=replace(told, lanes=steps.lanes))
    return finding


def _counted_once(found: list[Finding]) -> Iterator[Finding]:
    """Leave the support of one finding a question and stage: the clearest.

    Several recordings of the same state are the same question asked again, not new evidence of
    full weight; a jump seen in one of them outweighs that another one shows none.
    """
    best: dict[tuple[str, int], Finding] = {}
    for finding in found:
        if finding.support:
            key = _question(finding), finding.stage
            held = best.get(key)
            if held is None or _clearness(finding) > _clearness(held):
                best[key] = finding
    chosen = {id(f) for f in best.values()}
    for finding in found:
        if finding.support and id(finding) not in chosen:
            yield replace(finding, support=(), details=finding.details.uncounted())
        else:
            yield finding


def _question(finding: Finding) -> str:
    if finding.code == "control_unit_silent":
        return "unit"
    return "others" if finding.code in {"sensors_step_together", "sensor_codes_together"} else "own"


def _clearness(finding: Finding) -> float:
    order = {"seen": 2.0, "not_seen": 1.0}.get(finding.outcome, 0.0)
    jumps = 1.0 if finding.code.endswith(("_jumps", "step_together")) else 0.0
    strongest = max(
        (abs(v) for s in finding.support for v in s.log_likelihood.values()), default=0.0
    )
    return 100.0 * order + 10.0 * jumps + min(strongest, 9.0)
