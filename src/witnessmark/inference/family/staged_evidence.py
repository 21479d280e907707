"""The evidence of a case for one family, sorted into stages by the work that was done."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from witnessmark.analyses.readings.instruments import uncertainty_of
from witnessmark.knowledge import Family, Knowledge
from witnessmark.knowledge.first_words.said_of_work import still_there
from witnessmark.knowledge.records import ReadingRule
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ClueData,
    OutcomeData,
    ReadingData,
    TestData,
    TruckData,
    WorkData,
)
from witnessmark.model.evidence import Clue, Outcome, Stage, StagedEvidence, TestResult, Work
from witnessmark.model.finding import Finding, JointSupport, OperatingPoint, Support

__all__ = [
    "Clue",
    "Outcome",
    "Stage",
    "StagedEvidence",
    "TestResult",
    "Work",
    "answers_of_readings",
    "family_evidence",
    "likelihoods_of",
    "tests_used",
]

#: A reading answers a test from this probability on (judgement).
SURE_ENOUGH = 0.90
#: So many effective draws halve what a sampled likelihood may say (judgement).
FEW_DRAWS = 10.0
#: Results that say that a test gave no answer; they change nothing.
NO_ANSWER = frozenset({"not_run", "inconclusive"})
_SIGHT = {True: "positive", False: "negative"}


def family_evidence(
    case: Case,
    family: Family,
    knowledge: Knowledge,
    findings: Sequence[Finding] = (),
) -> StagedEvidence:
    """Collect what a case says about a family.

    What the packs do not know counts for nothing here; ``workflow.check_ids`` says so aloud.

    Args:
        case: the case.
        family: the family.
        knowledge: the packs.
        findings: what the analyses found; a finding that was not run changes nothing.
    """
    clues: list[Clue] = []
    works: list[Work] = []
    tests: dict[int, list[TestResult]] = {}
    outcomes: dict[int, list[Outcome]] = {}
    same: list[tuple[int, TestResult]] = []
    mine = {e.id for e, c in case.complaints() if family.id in c.families or not c.families}
    own = {c.id for c in family.causes}
    stages = case.stages()
    for entry in case.live():
        data, stage = entry.data, stages[entry.id]
        if isinstance(data, WorkData):
            works.append(Work(data.cause or "", entry.id))
            if data.cause in own and still_there(data.did):
                outcomes.setdefault(stage + 1, []).append(Outcome(False, entry.id))
        elif isinstance(data, ClueData):
            if data.clue in knowledge.conditions:
                clues.append(Clue(data.clue, data.seen, data.cause or "", entry.id))
            elif family.test(data.clue) is not None:
                result = "maybe" if data.seen == "maybe" else _SIGHT[bool(data.seen)]
                tests.setdefault(stage, []).append(
                    TestResult(data.clue, result, entry.id, entry.by.casefold())
                )
        elif isinstance(data, TestData) and _answers(data, family):
            read = TestResult(data.test, data.result, entry.id, data.hand(entry.by))
            tests.setdefault(stage, []).append(read)
        elif isinstance(data, TestData):
            same += [(stage, made) for made in _same_check(data, entry, family, knowledge)]
        elif isinstance(data, OutcomeData) and data.complaint in mine and stage > 0:
            outcomes.setdefault(stage, []).append(
                Outcome(data.gone is True, entry.id, data.gone == "partly")
            )
    clues += _of_the_truck(case, knowledge, {c.condition for c in clues})
    clues += _of_what_was_done(case, knowledge, {c.condition for c in clues})
    for stage, told in same:
        if told.test not in {t.test for t in tests.get(stage, ())}:
            tests.setdefault(stage, []).append(told)
    answers = answers_of_readings(case, family)
    for (stage, identity), (result, entry_id) in answers.items():
        used = {t for f in findings if f.stage == stage for t in tests_used(f)}
        if identity not in used and identity not in {t.test for t in tests.get(stage, ())}:
            tests.setdefault(stage, []).append(TestResult(identity, result, entry_id))
    mine_too = [f for f in findings if _speaks_of(f, family.id)]
    made = tuple(
        Stage(
            works[n - 1] if n else None,
            tuple(tests.get(n, ())),
            tuple(f for f in mine_too if min(f.stage, len(works)) == n),
            tuple(outcomes.get(n, ())),
        )
        for n in range(len(works) + 1)
    )
    by_readings = tuple((t, r) for (stage, t), (r, _) in answers.items() if stage == len(works))
    return StagedEvidence(tuple(clues), made, by_readings)


def _of_the_truck(case: Case, knowledge: Knowledge, said: set[str]) -> list[Clue]:
    """Return the clues that follow from the truck's miles, its hours and what kind it is.

    More than the limit is enough; "not so" needs both figures, for a figure that was not
    written down is missing, not small.
    """
    found = []
    for entry, truck in list(case.of(TruckData))[-1:]:
        for condition in knowledge.conditions.values():
            limits = (condition.miles_over, condition.hours_over)
            if condition.id not in said and truck.vehicle in condition.vehicles:
                found.append(Clue(condition.id, True, "", entry.id))
            if condition.id in said or limits == (None, None):
                continue
            pairs = [
                (v, x)
                for v, x in zip((truck.miles, truck.hours), limits, strict=True)
                if x is not None
            ]
            if any(value is not None and value > limit for value, limit in pairs):
                found.append(Clue(condition.id, True, "", entry.id))
            elif all(value is not None for value, _ in pairs):
                found.append(Clue(condition.id, False, "", entry.id))
    return found


def _of_what_was_done(case: Case, knowledge: Knowledge, said: set[str]) -> list[Clue]:
    """Return the clues that follow from work that is written down and from cold readings.

    What was opened for a repair was opened, whoever did it. A quantity that was read with the
    engine cold only was not read as its limits ask for.
    """
    works = {w.cause: e.id for e, w in case.of(WorkData) if w.cause}
    cold: dict[str, str] = {}
    warm = set()
    for entry, data in case.of(ReadingData):
        if data.point.warm is False:
            cold[data.quantity] = entry.id
        else:
            warm.add(data.quantity)
    found = []
    for condition in knowledge.conditions.values():
        if condition.id in said:
            continue
        by = [works[c] for c in condition.after_work if c in works]
        if condition.cold_reading in cold and condition.cold_reading not in warm:
            by.append(cold[condition.cold_reading])
        if by:
            found.append(Clue(condition.id, True, "", by[-1]))
    return found


def answers_of_readings(case: Case, family: Family) -> dict[tuple[int, str], tuple[str, str]]:
    """Return (stage, test id) -> (result, entry id) of tests that a reading answers by itself.

    A reading counts when it lies beyond the limit, or on its good side, with 90 % given the
    accuracy of its instrument; in between it answers nothing. One positive reading makes the
    test positive.
    """
    rules = [(t.id, r) for t in family.tests for r in t.readings]
    found: dict[tuple[int, str], tuple[str, str]] = {}
    taken = _Readings(case)
    for mine in taken.every:
        for test, rule in rules:
            if rule.quantity != mine.data.quantity or not rule.holds_at(mine.point):
                continue
            if not rule.read_on(mine.instrument):
                continue
            if rule.other_below is not None and not taken.lower(rule, mine.stage):
                continue
            value, u = mine.data.house_value(), uncertainty_of(mine.data).u
            if rule.other:
                beside = taken.beside(rule, mine)
                if beside is None:
                    continue
                value -= beside.data.house_value()
                u = math.hypot(u, uncertainty_of(beside.data).u)
            chance = _beyond(rule, value, u)
            result = rule.result if chance >= SURE_ENOUGH else "negative"
            key = (mine.stage, test)
            if result == "negative" and not rule.clears:
                continue
            if chance < SURE_ENOUGH and (chance > 1.0 - SURE_ENOUGH or key in found):
                continue
            found[key] = (result, mine.entry)
    return found


@dataclass(frozen=True, slots=True)
class _Taken:
    """A reading where it was taken."""

    entry: str
    data: ReadingData
    stage: int
    point: OperatingPoint
    instrument: str


class _Readings:
    """The readings of a case, found by quantity and stage: rules ask for them once a reading."""

    def __init__(self, case: Case) -> None:
        stages = case.stages()
        self.every = [
            _Taken(entry.id, data, stages[entry.id], data.point.at(), _instrument(data))
            for entry, data in case.of(ReadingData)
        ]
        self._by_place: dict[tuple[str, int], list[_Taken]] = defaultdict(list)
        for taken in self.every:
            self._by_place[taken.data.quantity, taken.stage].append(taken)
        self._lower: dict[tuple[ReadingRule, int], bool] = {}

    def lower(self, rule: ReadingRule, stage: int) -> bool:
        """Say whether another instrument read below what the rule asks for, at the same stage."""
        key = (rule, stage)
        if key not in self._lower:
            self._lower[key] = rule.other_below is not None and any(
                rule.holds_at(t.point)
                and not rule.read_on(t.instrument)
                and t.data.house_value() < rule.other_below
                for t in self._by_place[rule.quantity, stage]
            )
        return self._lower[key]

    def beside(self, rule: ReadingRule, mine: _Taken) -> _Taken | None:
        """Return the last reading of the rule's other quantity at the same stage and point."""
        return next(
            (
                t
                for t in reversed(self._by_place[rule.other, mine.stage])
                if t.entry != mine.entry
                and t.point.matches(mine.point)
                and not (rule.other == rule.quantity and rule.read_on(t.instrument))
            ),
            None,
        )


def _instrument(data: ReadingData) -> str:
    return (data.instrument.id or "") if data.instrument is not None else ""


def tests_used(finding: Finding) -> tuple[str, ...]:
    """Return the tests that a finding has already used or stands for (named in its details)."""
    told = finding.details
    return tuple(dict.fromkeys([*(told.uses_tests or ()), *(told.stands_for or ())]))


def likelihoods_of(finding: Finding, family: str) -> list[Support | JointSupport]:
    """Return how a finding bears on a family.

    Likelihoods that rest on few effective draws are known only roughly; their logs are scaled by
    N / (N + FEW_DRAWS), so that chance does not pass for evidence.
    """
    found: list[Support | JointSupport] = [s for s in finding.support if s.family == family]
    joint = finding.joint
    if joint is not None and joint.family == family:
        draws = finding.details.effective_samples
        if draws is not None and draws >= 0:
            scale = draws / (draws + FEW_DRAWS)
            joint = replace(
                joint, log_likelihood={k: scale * v for k, v in joint.log_likelihood.items()}
            )
        found.append(joint)
    return found


def _beyond(rule: ReadingRule, value: float, u: float) -> float:
    """Return P(the true value lies beyond one of the limits)."""

    def tail(distance: float) -> float:
        return 0.5 * math.erfc(-distance / (max(u, 1e-12) * math.sqrt(2.0)))

    over = tail(value - rule.above) if rule.above is not None else 0.0
    under = tail(rule.below - value) if rule.below is not None else 0.0
    return over + under


def _answers(data: TestData, family: Family) -> bool:
    """Whether it is a test of the family with a result that says something."""
    test = family.test(data.test)
    return test is not None and data.result in (*test.outcomes, "positive", "negative", "maybe")


def _same_check(
    data: TestData, entry: Entry, family: Family, knowledge: Knowledge
) -> Iterator[TestResult]:
    """Yield what a test of another family says here, where a pack calls both the same check.

    Its result counts where both name it alike, or where it is "nothing found"; what only the other
    family tells apart says nothing here.
    """
    made = knowledge.test(data.test)
    if made is None:
        return
    for test in family.tests:
        if test.id not in made.same_as and made.id not in test.same_as:
            continue
        if data.result in (*test.outcomes, "positive", "negative", "maybe"):
            yield TestResult(test.id, data.result, entry.id, data.hand(entry.by))
        elif data.result == made.outcomes[-1]:
            yield TestResult(test.id, "negative", entry.id, data.hand(entry.by))


def _speaks_of(finding: Finding, family: str) -> bool:
    if finding.outcome == "not_run":
        return False
    if finding.joint is not None and finding.joint.family == family:
        return True
    return any(s.family == family for s in finding.support)
