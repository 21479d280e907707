"""What a case says about one family of causes, sorted into stages by the work that was done."""

from __future__ import annotations

from dataclasses import dataclass, field

from witnessmark.model.finding import Finding

__all__ = ["Clue", "Outcome", "Stage", "StagedEvidence", "TestResult", "Work"]


@dataclass(frozen=True, slots=True)
class Clue:
    """A condition of the truck that was looked at.

    Attributes:
        condition: condition id.
        seen: true, false, or "maybe".
        cause: the part a part-scoped condition speaks of.
        entry: entry id.
    """

    condition: str
    seen: bool | str = True
    cause: str = ""
    entry: str = ""


@dataclass(frozen=True, slots=True)
class TestResult:
    """A test and what came of it, and whose reading it is."""

    __test__ = False  # pytest: this is a record

    test: str
    result: str
    entry: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """Work that was done: the cause it dealt with, empty when it named none."""

    cause: str = ""
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The word on the complaint after work: gone, not gone, or partly: better, but not cured."""

    gone: bool
    entry: str = ""
    partly: bool = False


@dataclass(frozen=True, slots=True)
class Stage:
    """What was found between two pieces of work.

    Attributes:
        work: the work that began this stage, ``None`` for the state as it came in.
        tests: test results.
        findings: findings of physics and checks that speak of the family.
        outcomes: words on the complaint.
    """

    work: Work | None = None
    tests: tuple[TestResult, ...] = ()
    findings: tuple[Finding, ...] = ()
    outcomes: tuple[Outcome, ...] = ()


@dataclass(frozen=True, slots=True)
class StagedEvidence:
    """Everything a case says about one family.

    Attributes:
        clues: conditions; they describe the truck as it came in.
        stages: in order; there is always one.
        read: (test id, result) of tests that readings of the last stage answer by themselves,
            also where a physical finding has used the reading.
    """

    clues: tuple[Clue, ...] = ()
    stages: tuple[Stage, ...] = field(default=(Stage(),))
    read: tuple[tuple[str, str], ...] = ()

    def recorded_tests(self) -> frozenset[str]:
        """Return the ids of every test with an answer."""
        return frozenset(t.test for s in self.stages for t in s.tests)

    def entries(self) -> frozenset[str]:
        """Return the ids of the entries that the evidence rests on."""
        found = {c.entry for c in self.clues}
        for stage in self.stages:
            found |= {t.entry for t in stage.tests} | {o.entry for o in stage.outcomes}
            found |= {e for f in stage.findings for e in f.evidence.entries}
        return frozenset(found - {""})
