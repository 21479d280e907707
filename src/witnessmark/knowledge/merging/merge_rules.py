"""The parts of the packs' rules as records: text with units becomes house units, keys sources."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from witnessmark.knowledge.bands import Source
from witnessmark.knowledge.parts.check_parts import CheckPart
from witnessmark.knowledge.parts.part_base import SourcePart, StatePart
from witnessmark.knowledge.parts.rule_parts import (
    CodePart,
    FindingTablePart,
    OnsetPart,
    ProofLinePart,
    ProofPart,
    RetiredPart,
    SignPart,
    TriagePart,
)
from witnessmark.knowledge.parts.step_parts import LookFirstPart, YieldPart
from witnessmark.knowledge.proof_points import ProofPlan, ProofPoint, Requirement
from witnessmark.knowledge.readings_to_take import DrivePlace, Measurement, Wanted
from witnessmark.knowledge.records import StepRules
from witnessmark.knowledge.rules import (
    Answer,
    Asked,
    Caution,
    CodeMeaning,
    FindingRow,
    LookFirst,
    Onset,
    Question,
    Report,
    Retired,
    Sign,
    StepState,
    Stop,
    Yield,
)
from witnessmark.model.step import Spread
from witnessmark.units import parse_quantity

__all__ = [
    "asked",
    "caution_of",
    "code_of",
    "drive_place_of",
    "finding_row_of",
    "look_first_of",
    "measurement_of",
    "onset_of",
    "proof_plan_of",
    "proof_point_of",
    "question_of",
    "retired_of",
    "share_of",
    "sign_of",
    "source_of",
    "step_rules_of",
    "stop_of",
    "yield_of",
]

Sources = Mapping[str, SourcePart]


def source_of(part: SourcePart) -> Source:
    """Return where numbers come from."""
    return Source(part.kind, part.words)


def share_of(load: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return loads in percent as 0..1."""
    return None if load is None else (load[0] / 100, load[1] / 100)


def asked(parts: Iterable[CheckPart] | None) -> tuple[Asked, ...]:
    """Return the conditions of a stop or a step."""
    return tuple(_asked(p) for p in parts or ())


def _asked(p: CheckPart) -> Asked:
    words = p.words or ""
    if p.at_fault is not None:
        return Asked("at_fault", p.at_fault, at_least=p.from_ or 0.0, words=words)
    if p.clue is not None:
        return Asked("clue", (p.clue,), seen=p.seen, words=words)
    if p.test is not None:
        results = (p.result,) if isinstance(p.result, str) else tuple(p.result or ())
        return Asked("test", (p.test,), results=results, or_not_run=p.or_not_run, words=words)
    if p.reading is not None:
        ends = [None if t is None else parse_quantity(p.reading, t) for t in (p.above, p.below)]
        return Asked(
            "reading", (p.reading,), above=ends[0], below=ends[1], rpm=p.rpm,
            load=share_of(p.load), words=words, unless=p.unless or "",
            unless_below=parse_quantity(p.unless, p.unless_below or "") if p.unless else 0.0,
        )  # fmt: skip
    if p.spn is not None:
        return Asked("code", spn=p.spn, fmi=p.fmi, words=words)
    if p.finding is not None:
        return Asked("finding", (p.finding,), words=words)
    if p.work is not None:
        return Asked("work", (p.work,), words=words)
    return Asked("any" if p.all is None else "all", parts=asked(p.all or p.any), words=words)


def _state(part: StatePart | None) -> StepState | None:
    return None if part is None else StepState(**part.model_dump())


def step_rules_of(p: Mapping[str, Any]) -> StepRules:
    """Return what a pack says of how a test or a repair is done, from its keys."""
    return StepRules(
        state=_state(p.get("state")),
        cautions=p.get("cautions", ()),
        no_caution=p.get("no_caution", ""),
        opens=p.get("opens", ""),
        possible_in=p.get("possible_in"),
        not_if=asked(p.get("not_if")),
        instead=p.get("instead", ()),
        do_first=p.get("do_first", ()),
        say=p.get("say", ""),
    )


def look_first_of(part: str | LookFirstPart) -> LookFirst:
    """Return a look that comes before a repair."""
    if isinstance(part, str):
        return LookFirst(part)
    shows = part.shows or ("positive",)
    return LookFirst(part.test, shows, part.twin or "", part.words, part.short)


def yield_of(part: YieldPart | None) -> Yield | None:
    """Return the reading that a test yields."""
    if part is None:
        return None
    return Yield(
        part.quantity or "",
        part.words,
        part.unit or "",
        part.normal_low or "",
        part.normal_high or "",
        part.source or "",
    )


def stop_of(p: Mapping[str, Any], family: str) -> Stop:
    """Return a stop from its keys; *family* is empty for one of the whole truck."""
    return Stop(
        id=p["id"],
        family=family,
        when=asked(p["when"]),
        say=p["say"],
        why=p["why"],
        until=asked(p.get("until")),
        until_words=p.get("until_words", ""),
        until_drive=asked(p.get("until_drive")),
        until_drive_words=p.get("until_drive_words", ""),
        repair_lifts=p.get("repair_lifts", False),
        once_checked=p.get("once_checked", ""),
        drive=p["drive"],
        blocks=p.get("blocks", ()),
        blocks_tests=p.get("blocks_tests", ()),
        blocks_repairs=p.get("blocks_repairs", ()),
        allows=p.get("allows", ()),
        note=p.get("note", ""),
        whole_truck=p.get("whole_truck", False),
        source=p["source"],
    )


def caution_of(p: Mapping[str, Any]) -> Caution:
    """Return a caution from its keys."""
    return Caution(p["id"], p["short"], p.get("long", ""), p.get("area", ""), p.get("source", ""))


def drive_place_of(p: Mapping[str, Any]) -> DrivePlace:
    """Return a place to be driven from its keys."""

    def span(quantity: str, ends: tuple[str, str] | None) -> tuple[float, float] | None:
        if ends is None:
            return None
        low = parse_quantity(quantity, ends[0]) if ends[0] else -math.inf
        return low, parse_quantity(quantity, ends[1]) if ends[1] else math.inf

    return DrivePlace(
        id=p["id"],
        words=p["words"],
        seconds=p["seconds"],
        rpm=p.get("rpm"),
        load=share_of(p.get("load")),
        road_speed=span("road_speed", p.get("road_speed")),
        coolant=span("coolant_temperature", p.get("coolant")),
        standing=p.get("standing"),
        released=p.get("released", False),
        warm=p.get("warm", False),
        needs=p.get("needs", ("engine_speed",)),
        gears=p.get("gears", 1),
        pull=p.get("pull", False),
        passes=tuple((k, parse_quantity(k, v)) for k, v in p.get("passes", {}).items()),
        state=_state(p.get("state")) or StepState(engine="running"),
        caution=p.get("caution", ""),
        cautions=p.get("cautions", ()),
        source=p.get("source"),
    )


def measurement_of(p: Mapping[str, Any], family: str) -> Measurement:
    """Return a measurement from its keys."""
    wanted = tuple(Wanted(w.quantity, w.rpm or 0.0, (w.load or 0.0) / 100) for w in p["readings"])
    return Measurement(
        id=p["id"],
        family=family,
        name=p["name"],
        wanted=wanted,
        minutes=Spread(*p["minutes"]),
        usd=p.get("usd", 0.0),
        sets_up=p.get("sets_up", ""),
        caution=p.get("caution", ()),
        cautions=p.get("cautions", ()),
        state=_state(p.get("state")) or StepState(),
        access=p.get("access", 1),
        covers=p.get("covers", ()),
        first=p.get("first", False),
        when_unexplained=p.get("when_unexplained", False),
        settles_sound=p.get("settles_sound", False),
        modelled_by=p.get("modelled_by", ""),
        source=p["source"],
    )


def question_of(part: TriagePart, family: str) -> Question:
    """Return a question of the phone."""
    answers = tuple(
        Answer(a.answer, a.drive, a.means, a.say, a.clue or "", a.seen, a.opens or "")
        for a in part.answers
    )
    return Question(part.id, family, part.ask, part.why, part.worse_if_unknown, answers)


def code_of(p: CodePart, sources: Sources, family: str) -> CodeMeaning:
    """Return what a trouble code points to."""
    return CodeMeaning(
        p.spn, p.fmi, family, p.words, p.causes, p.tests, p.points, p.number_sure, p.drive,
        source_of(sources[p.source]),
    )  # fmt: skip


def sign_of(p: SignPart, sources: Sources) -> Sign:
    """Return what several tests and clues see."""
    reports = tuple(
        Report(r.test or "", r.clue or "", r.results, r.sensitivity, r.false_alarm)
        for r in p.reported_by
    )
    return Sign(p.id, p.words, p.base, p.given, reports, source_of(sources[p.source]))


def onset_of(p: OnsetPart, sources: Sources) -> Onset:
    """Return how the trouble began, and what that says."""
    return Onset(p.sudden, p.gradual, p.base, p.given, source_of(sources[p.source]))


def finding_row_of(p: FindingTablePart, sources: Sources) -> FindingRow:
    """Return what one outcome of a finding says of each cause."""
    return FindingRow(
        p.finding, p.outcome, p.given, p.base, p.stands_for, p.uses_tests, p.words or "",
        source_of(sources[p.source]),
    )  # fmt: skip


def retired_of(p: RetiredPart) -> Retired:
    """Return what became of an id that is no longer used."""
    return Retired(p.id, p.kind, p.becomes, p.results, p.since, p.why)


def proof_point_of(p: Mapping[str, Any]) -> ProofPoint:
    """Return a named place at which a proof is measured, from its keys."""
    loads = {"none": 0.0, "full": 1.0, None: None}
    return ProofPoint(p["id"], p["words"], p.get("rpm"), loads[p.get("load")])


def proof_plan_of(family: str, p: ProofPart, points: Mapping[str, ProofPoint]) -> ProofPlan:
    """Return the proof plan of a family."""
    return ProofPlan(
        family,
        *(
            tuple(_requirement(line, points) for line in lines)
            for lines in (p.required, p.second, p.confirm)
        ),
    )


def _requirement(p: ProofLinePart, points: Mapping[str, ProofPoint]) -> Requirement:
    point = points[p.point] if p.point is not None else None
    return Requirement(
        words=p.words or _words(p, point),
        quantity=p.quantity,
        point=point,
        better=p.better or "",
        test=p.test,
        finding=p.finding,
        for_s=p.for_s or 0.0,
        against=p.against or (),
        word=bool(p.word),
        before=p.before or "",
    )


def _words(p: ProofLinePart, point: ProofPoint | None) -> str:
    if p.quantity is not None:
        place = f" at {point.words}" if point is not None else ""
        return f"{p.quantity.replace('_', ' ')}{place}"
    if p.test is not None:
        return f"the test '{p.test}', repeated"
    return "the customer's word a day or more after the work"
