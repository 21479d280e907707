"""Checking a knowledge pack: its form, what it says, its own cases, and what these cover."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.readings import codes_known
from witnessmark.inference import family_belief
from witnessmark.inference.family.staged_evidence import (
    Clue,
    Stage,
    StagedEvidence,
    TestResult,
    Work,
)
from witnessmark.knowledge import Family, Knowledge, PackCase, load_knowledge
from witnessmark.knowledge.inspecting.inspection_lists import check_inspection, is_inspection
from witnessmark.knowledge.loader import check_pack
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import Finding
from witnessmark.model.problem import Problem
from witnessmark.planner.order.facts import facts_of_pack_case
from witnessmark.planner.order.stop_rules import standing_stops
from witnessmark.workflow.shop.pack_proofs import proofs_of, unparted

__all__ = ["CaseRun", "Covered", "PackReport", "check_pack_file", "coverage", "run_case"]

#: An entry has a day; of a pack's own case it says nothing.
_ANY_DAY = "2000-01-01T00:00:00Z"


@dataclass(frozen=True, slots=True)
class CaseRun:
    """What a pack's own case came to.

    Attributes:
        family: family id.
        case: the case.
        leads: the cause that stands first.
        probability: of the cause that the case says must lead.
        holds: whether it came out as the case says.
        stops: ids of the stops that stand.
        wrong: what did not come out: ``leads`` or stop ids; without what is known to be wrong.
        mended: what is marked as known to be wrong and comes out now.
    """

    family: str
    case: PackCase
    leads: str
    probability: float
    holds: bool
    stops: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    mended: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Covered:
    """In which of the pack's cases a stop or a test was seen each way.

    Attributes:
        id: stop id or test id.
        kind: stop or test.
        fired: cases in which the stop must stand, or the test found something.
        silent: cases in which the stop must not stand, or the test found nothing.
    """

    id: str
    kind: str
    fired: tuple[str, ...]
    silent: tuple[str, ...]

    @property
    def both(self) -> bool:
        """Whether it was seen both ways."""
        return bool(self.fired and self.silent)


@dataclass(frozen=True, slots=True)
class PackReport:
    """The report on a pack.

    Attributes:
        file: the file.
        problems: all faults, with their path in the document.
        cases: its own cases as they came out; empty when the pack has faults.
        counts: what it holds: causes, tests, conditions, links, bands.
        covered: what the cases of its family cover; empty when the pack has faults.
        unparted: pairs of causes that none of its tests tells apart: a remark, no fault.
    """

    file: str
    problems: tuple[Problem, ...]
    cases: tuple[CaseRun, ...]
    counts: dict[str, int]
    covered: tuple[Covered, ...] = field(default=())
    unparted: tuple[tuple[str, str], ...] = ()


def check_pack_file(path: Path) -> PackReport:
    """Check a pack on top of the shipped ones and run the cases of its family.

    A list of an inspection's points is checked as one.
    """
    if is_inspection(path):
        faults, held = check_inspection(path, load_knowledge())
        return PackReport(str(path), tuple(faults), (), held)
    problems, knowledge, parts = check_pack(path)
    runs: list[CaseRun] = []
    covered: tuple[Covered, ...] = ()
    apart: tuple[tuple[str, str], ...] = ()
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
        covered = coverage(family)
        apart = unparted(family)
        problems += [
            Problem(f"{path.name}: {p.path}", p.what, p.do) for p in proofs_of(family, knowledge)
        ]
    kinds = ("causes", "tests", "stops", "conditions", "links", "bands", "cases")
    counts = {kind: len(getattr(parts, kind)) for kind in kinds} if parts is not None else {}
    return PackReport(str(path), tuple(problems), tuple(runs), counts, covered, apart)


def coverage(family: Family) -> tuple[Covered, ...]:
    """Return for every stop and test of a family the cases in which it was seen each way."""
    return (*_stops_covered(family), *_tests_covered(family))


def _stops_covered(family: Family) -> Iterator[Covered]:
    for stop in family.stops:
        fired = tuple(c.name for c in family.cases if stop.id in c.fires)
        yield Covered(
            stop.id, "stop", fired, tuple(c.name for c in family.cases if stop.id in c.silent)
        )


def _tests_covered(family: Family) -> Iterator[Covered]:
    for test in family.tests:
        nothing = {"negative", test.outcomes[-1]}
        told = [
            (c.name, result)
            for c in family.cases
            for identity, result in (*c.given.tests, *c.given.tests_after)
            if identity == test.id and result != "maybe"
        ]
        found = tuple(dict.fromkeys(name for name, result in told if result not in nothing))
        none = tuple(dict.fromkeys(name for name, result in told if result in nothing))
        yield Covered(test.id, "test", found, none)


def _can_run(family: Family, case: PackCase) -> bool:
    """Whether every test of the case still has the result that it names."""
    for identity, result in (*case.given.tests, *case.given.tests_after):
        test = family.test(identity)
        if test is None or result not in (*test.outcomes, "positive", "negative", "maybe"):
            return False
    return True


def run_case(family: Family, case: PackCase, knowledge: Knowledge) -> CaseRun:
    """Work a pack's own case through."""
    given = case.given
    tests = tuple(TestResult(t, r) for t, r in given.tests)
    stages = [Stage(tests=tests, findings=_codes_say(case, knowledge))]
    for number, cause in enumerate(given.work):
        last = number == len(given.work) - 1
        after = tuple(TestResult(t, r) for t, r in given.tests_after) if last else ()
        stages.append(Stage(work=Work(cause), tests=after))
    evidence = StagedEvidence(
        tuple(Clue(clue, seen, cause) for clue, seen, cause in given.clues), tuple(stages)
    )
    belief = family_belief(family, evidence, conditions=knowledge.conditions)
    chances = belief.marginals()
    leads = belief.causes[int(chances.argmax())]
    asked = case.leads or leads
    probability = float(chances[belief.causes.index(asked)])
    odds = dict(zip(belief.causes, chances.tolist(), strict=True))
    facts = facts_of_pack_case(case, knowledge.families.values(), odds)
    every = (*family.stops, *knowledge.stops)
    standing = tuple(s.stop.id for s in standing_stops(every, facts))
    wrong = [] if leads == asked and case.at_least <= probability <= case.at_most else ["leads"]
    wrong += [s for s in case.fires if s not in standing]
    wrong += [s for s in case.silent if s in standing]
    known = {rule for rule, _, _ in case.known_wrong}
    left = tuple(w for w in wrong if w not in known)
    mended = tuple(sorted(known - set(wrong)))
    holds = not left and not mended
    return CaseRun(family.id, case, leads, probability, holds, standing, left, mended)


def _codes_say(case: PackCase, knowledge: Knowledge) -> tuple[Finding, ...]:
    """Return what the trouble codes of a pack's own case say, as those of a truck's case do."""
    given = case.given
    if not given.codes:
        return ()
    rows = [
        *(("code", {"spn": spn, "fmi": fmi}) for spn, fmi in given.codes),
        *(("test", {"test": test, "result": result}) for test, result in given.tests),
    ]
    told = read_case(case.name, [
        json.dumps({"kind": kind, "id": f"e{n}", "at": _ANY_DAY, "data": data})
        for n, (kind, data) in enumerate(rows)
    ])  # fmt: skip
    return codes_known.analyse(Bench(told, {}, knowledge, told.stages()))


def _fault(file: str, own: Sequence[str], run: CaseRun) -> Problem:
    """Say what came out instead.

    Args:
        file: file name for the sentences.
        own: names of the cases in the pack itself; the shipped pack's cases are run too.
        run: how the case came out.
    """
    case = run.case
    place = f"cases[{own.index(case.name)}]" if case.name in own else f"case '{case.name}'"
    said = []
    if "leads" in run.wrong:
        said.append(
            f"In the case '{case.name}' '{run.leads}' leads; '{case.leads or run.leads}' has "
            f"{run.probability:.3f} and was to have {case.at_least:g} to {case.at_most:g} and lead."
        )
    for stop in run.wrong:
        if stop != "leads":
            does = "stands and must not" if stop in run.stops else "does not stand and must"
            said.append(f"In the case '{case.name}' the stop '{stop}' {does}.")
    said += [
        f"In the case '{case.name}' '{rule}' is marked as known wrong and comes out."
        for rule in run.mended
    ]
    do = "Either the numbers of the pack or the case are not as meant."
    if run.mended and not run.wrong:
        do = "Take the mark out of known_wrong."
    return Problem(f"{file}: {place}", " ".join(said), do)
