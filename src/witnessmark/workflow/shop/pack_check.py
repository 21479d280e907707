"""Checking a knowledge pack: its form, what it says, and its own cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from witnessmark.inference import family_belief
from witnessmark.inference.family.staged_evidence import Clue, Stage, StagedEvidence, TestResult
from witnessmark.knowledge import Family, Knowledge, PackCase, check_pack
from witnessmark.model.problem import Problem

__all__ = ["CaseRun", "PackReport", "check_pack_file", "run_case"]


@dataclass(frozen=True, slots=True)
class CaseRun:
    """What a pack's own case came to.

    Attributes:
        family: family id.
        case: the case.
        leads: the cause that stands first.
        probability: of the cause that the case says must lead.
        holds: whether it came out as the case says.
    """

    family: str
    case: PackCase
    leads: str
    probability: float
    holds: bool


@dataclass(frozen=True, slots=True)
class PackReport:
    """The report on a pack.

    Attributes:
        file: the file.
        problems: all faults, with their path in the document.
        cases: its own cases as they came out; empty when the pack has faults.
        counts: what it holds: causes, tests, conditions, links, bands.
    """

    file: str
    problems: tuple[Problem, ...]
    cases: tuple[CaseRun, ...]
    counts: dict[str, int]


def check_pack_file(path: Path) -> PackReport:
    """Check a pack on top of the shipped ones and run the cases of its family."""
    problems, knowledge, parts = check_pack(path)
    runs: list[CaseRun] = []
    if knowledge is not None and parts is not None and parts.family is not None:
        family = knowledge.families[parts.family.id]
        own = [case.name for case in parts.cases]
        old = [case for case in family.cases if not _can_run(family, case)]
        runs = [run_case(family, case, knowledge) for case in family.cases if case not in old]
        problems += [
            Problem(
                f"{path.name}: case '{case.name}'",
                "It names a result that a test no longer has.",
                "Keep the outcomes of the shipped test, or give the test an id of its own.",
            )
            for case in old
        ]
        problems = [
            *problems,
            *(_fault(path.name, own, run) for run in runs if not run.holds),
        ]
    kinds = ("causes", "tests", "conditions", "links", "bands", "cases")
    counts = {kind: len(getattr(parts, kind)) for kind in kinds} if parts is not None else {}
    return PackReport(str(path), tuple(problems), tuple(runs), counts)


def _can_run(family: Family, case: PackCase) -> bool:
    """Whether every test of the case still has the result that it names."""
    for identity, result in case.given.tests:
        test = family.test(identity)
        if test is None or result not in (*test.outcomes, "positive", "negative", "maybe"):
            return False
    return True


def run_case(family: Family, case: PackCase, knowledge: Knowledge) -> CaseRun:
    """Work a pack's own case through."""
    evidence = StagedEvidence(
        tuple(Clue(clue, seen, cause) for clue, seen, cause in case.given.clues),
        (Stage(tests=tuple(TestResult(test, result) for test, result in case.given.tests)),),
    )
    belief = family_belief(family, evidence, conditions=knowledge.conditions)
    chances = belief.marginals()
    leads = belief.causes[int(chances.argmax())]
    number = belief.causes.index(case.leads)
    probability = float(chances[number])
    holds = leads == case.leads and case.at_least <= probability <= case.at_most
    return CaseRun(family.id, case, leads, probability, holds)


def _fault(file: str, own: Sequence[str], run: CaseRun) -> Problem:
    """Say what came out instead.

    Args:
        file: file name for the sentences.
        own: names of the cases in the pack itself; the shipped pack's cases are run too.
        run: how the case came out.
    """
    case = run.case
    place = f"cases[{own.index(case.name)}]" if case.name in own else f"case '{case.name}'"
    return Problem(
        f"{file}: {place}",
        f"In the case '{case.name}' '{run.leads}' leads; '{case.leads}' has {run.probability:.3f} "
        f"and was to have {case.at_least:g} to {case.at_most:g} and lead.",
        "Either the numbers of the pack or the case are not as meant.",
    )
