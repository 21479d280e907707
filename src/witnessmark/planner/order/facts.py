"""What is known of a truck in the order in which it became known, for rules that ask of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from witnessmark.errors import UnitRefused
from witnessmark.knowledge import Family, PackCase
from witnessmark.knowledge.readings_to_take import Measurement, Wanted
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ClueData, CodeData, ReadingData, TestData, WorkData
from witnessmark.model.finding import OperatingPoint
from witnessmark.units import parse_quantity

__all__ = ["Facts", "Mark", "facts_of", "facts_of_pack_case"]

#: Results that say that a test gave no answer.
NO_ANSWER = frozenset({"maybe", "not_run", "inconclusive"})
#: A reading stands for a wanted one so near it [r/min] and [0..1] (judgement).
RPM_ABOUT, LOAD_ABOUT = 110.0, 0.3


@dataclass(frozen=True, slots=True)
class Mark:
    """One thing that became known.

    Attributes:
        place: where it stands among all of them; later is newer.
        stage: how much work stands before it.
        kind: clue, test, reading, code or work.
        id: condition, test, quantity, SPN as text, or cause.
        value: seen (true, false, "maybe"); result; reading [house unit]; FMI; nothing of work.
        point: where a reading was taken.
        entry: the entry that says so; empty where no entry does.
        part: of a clue that speaks of one part: the cause whose part it is.
        half: of a reading, half of the range that was read [house unit]; 0.0 for one figure.
    """

    place: int
    stage: int
    kind: Literal["clue", "test", "reading", "code", "work"]
    id: str
    value: bool | str | float | int | None = None
    point: OperatingPoint = field(default_factory=OperatingPoint)
    entry: str = ""
    part: str = ""
    half: float = 0.0


@dataclass(frozen=True)
class Facts:
    """Everything a rule can ask of.

    Attributes:
        marks: in order.
        stage: how much work was done.
        outcomes: test id -> its outcomes, "nothing found" last.
        answered: test id -> result, of tests that readings of this stage answer by themselves.
        findings: codes of the findings that were seen in this stage.
        chances: cause id -> P(present).
    """

    marks: tuple[Mark, ...] = ()
    stage: int = 0
    outcomes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    answered: Mapping[str, str] = field(default_factory=dict)
    findings: frozenset[str] = frozenset()
    chances: Mapping[str, float] = field(default_factory=dict)

    def told(self, kind: str, identity: str) -> tuple[Mark, ...]:
        """Return the marks of one thing in order; tests without an answer are left out."""
        return self._answers.get((kind, identity), ())

    @cached_property
    def _answers(self) -> dict[tuple[str, str], tuple[Mark, ...]]:
        """The marks of each thing: stops ask for them once a reading."""
        found: dict[tuple[str, str], list[Mark]] = {}
        for mark in self.marks:
            if mark.value not in NO_ANSWER:
                found.setdefault((mark.kind, mark.id), []).append(mark)
        return {what: tuple(marks) for what, marks in found.items()}

    def tested(self, test: str) -> tuple[Mark, ...]:
        """Return the marks of one test; one that readings answer is as new as can be."""
        marks = self.told("test", test)
        if test in self.answered and not any(m.stage == self.stage for m in marks):
            now = Mark(self.newest + 1, self.stage, "test", test, self.answered[test])
            return (*marks, now)
        return marks

    def taken(self, measurement: Measurement) -> bool:
        """Say whether every reading of a measurement was taken in the present stage."""
        now = [m for m in self.marks if m.kind == "reading" and m.stage == self.stage]
        return all(
            any(m.id == wanted.quantity and _near(m.point, wanted) for m in now)
            for wanted in measurement.wanted
        )

    def begins(self, stage: int) -> int:
        """Return the place at which a stage begins."""
        return next((m.place for m in self.marks if m.stage == stage), self.newest)

    @property
    def newest(self) -> int:
        """The place of what became known last."""
        return self.marks[-1].place if self.marks else 0

    def results_meant(self, test: str, result: str) -> frozenset[str]:
        """Return the outcomes that a result stands for: ``positive`` is any but the last."""
        outcomes = self.outcomes.get(test, ("positive", "negative"))
        if result in outcomes:
            return frozenset({result})
        if result == "positive":
            return frozenset(outcomes[:-1])
        return frozenset(outcomes[-1:]) if result == "negative" else frozenset()

    def weighed(self, chances: Mapping[str, float], answered: Mapping[str, str]) -> Facts:
        """Return the same with the odds, and what readings answer by themselves."""
        return replace(self, chances=chances, answered={**self.answered, **answered})


def _near(point: OperatingPoint, wanted: Wanted) -> bool:
    """Say whether a reading was taken about where it is wanted."""
    if point.rpm is None or abs(point.rpm - wanted.rpm) > RPM_ABOUT:
        return False
    return abs((point.load or 0.0) - wanted.load) <= LOAD_ABOUT


def _outcomes(families: Iterable[Family]) -> dict[str, tuple[str, ...]]:
    return {t.id: t.outcomes for f in families for t in f.tests}


def facts_of(
    case: Case,
    families: Iterable[Family] = (),
    findings: Iterable[str] = (),
    codes: Iterable[tuple[int, int]] = (),
) -> Facts:
    """Read the facts off the entries of a case.

    Args:
        case: the entries.
        families: the families whose tests are meant.
        findings: codes of the findings that were seen in the present stage.
        codes: (SPN, FMI) of the trouble codes on the recordings of the present stage.
    """
    marks: list[Mark] = []
    stage = 0
    for place, entry in enumerate(case.live(), 1):
        data = entry.data
        if isinstance(data, WorkData):
            stage += 1
            marks.append(Mark(place, stage, "work", data.cause or "", entry=entry.id))
        elif isinstance(data, ClueData):
            part = data.cause or ""
            marks.append(
                Mark(place, stage, "clue", data.clue, data.seen, entry=entry.id, part=part)
            )
        elif isinstance(data, CodeData):
            marks.append(Mark(place, stage, "code", str(data.spn), data.fmi, entry=entry.id))
        elif isinstance(data, TestData):
            marks.append(Mark(place, stage, "test", data.test, data.result, entry=entry.id))
        elif isinstance(data, ReadingData):
            at = data.point.at()
            try:
                value, half = data.house_value(), data.house_half()
            except UnitRefused:
                continue
            marks.append(
                Mark(place, stage, "reading", data.quantity, value, at, entry.id, half=half)
            )
    place = marks[-1].place if marks else 0
    marks += [Mark(place, stage, "code", str(spn), fmi) for spn, fmi in codes]
    return Facts(tuple(marks), stage, _outcomes(families), findings=frozenset(findings))


def facts_of_pack_case(
    case: PackCase, families: Iterable[Family], chances: Mapping[str, float]
) -> Facts:
    """Return the facts of a pack's own case."""
    given = case.given
    rows: list[tuple[Literal["clue", "test", "reading", "code", "work"], str, object, object]] = [
        *(("clue", clue, seen, None) for clue, seen, _ in given.clues),
        *(("test", test, result, None) for test, result in given.tests),
        *(
            ("reading", quantity, parse_quantity(quantity, text), OperatingPoint(rpm, load))
            for quantity, text, rpm, load in given.readings
        ),
        *(("code", str(spn), fmi, None) for spn, fmi in given.codes),
        *(("work", cause, None, None) for cause in given.work),
        *(("test", test, result, None) for test, result in given.tests_after),
    ]
    marks, stage = [], 0
    for place, (kind, identity, value, point) in enumerate(rows, 1):
        stage += kind == "work"
        at = point if isinstance(point, OperatingPoint) else OperatingPoint()
        told = value if isinstance(value, bool | str | float | int) else None
        marks.append(Mark(place, stage, kind, identity, told, at))
    return Facts(tuple(marks), stage, _outcomes(families), chances=chances)
