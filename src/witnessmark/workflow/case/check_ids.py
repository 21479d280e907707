"""Names in entries that no pack knows: problems with the nearest name, never silence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from witnessmark.inference.family.staged_evidence import NO_ANSWER
from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import (
    ClueData,
    ComplaintData,
    OutcomeData,
    TestData,
    WorkData,
)
from witnessmark.model.problem import Problem

__all__ = ["check_ids"]

#: Results that every test has.
_ANY = ("positive", "negative", "maybe")


def check_ids(case: Case, knowledge: Knowledge) -> tuple[Problem, ...]:
    """Return a problem for every family, clue, test, result, cause or complaint nobody knows."""
    causes = [c.id for f in knowledge.families.values() for c in f.causes]
    tests = [t.id for f in knowledge.families.values() for t in f.tests]
    complaints = [entry.id for entry, _ in case.complaints()]
    problems: list[Problem] = []
    for entry in case.live():
        data = entry.data
        if isinstance(data, ComplaintData):
            for family in data.families:
                problems += _unknown(entry, "complaint family", family, knowledge.families)
            if not data.families:
                problems.append(
                    Problem(
                        entry.id,
                        "The complaint names no family, so it has no odds.",
                        f"Add one of {', '.join(knowledge.families)}.",
                    )
                )
        elif isinstance(data, ClueData):
            problems += _unknown(entry, "clue", data.clue, [*knowledge.conditions, *tests])
            problems += _part(entry, data, knowledge)
            problems += _no_complaint(entry, data.clue, knowledge, case.families())
            if data.cause is not None:
                problems += _unknown(entry, "cause", data.cause, causes)
        elif isinstance(data, TestData):
            problems += (
                _unknown(entry, "test", data.test, tests)
                or _result(entry, data, knowledge)
                or _no_complaint(entry, data.test, knowledge, case.families())
            )
        elif isinstance(data, WorkData) and data.cause is not None:
            problems += _unknown(entry, "cause", data.cause, causes)
        elif isinstance(data, OutcomeData):
            problems += _unknown(entry, "complaint of this case", data.complaint, complaints)
    return tuple(problems)


def _unknown(entry: Entry, what: str, name: str, known: Iterable[str]) -> list[Problem]:
    names = list(known)
    if name in names:
        return []
    near = get_close_matches(name, names, n=1)
    do = f"Did you mean '{near[0]}'?" if near else "See the list on the knowledge page."
    return [Problem(entry.id, f"'{name[:60]}' is not a {what} that the packs know; it is not used.",
                    do)]  # fmt: skip


def _no_complaint(
    entry: Entry, test: str, knowledge: Knowledge, families: tuple[str, ...]
) -> list[Problem]:
    """Say when a test bears on a complaint that the case does not have."""
    made = knowledge.test(test)
    named = [knowledge.families[f] for f in families if f in knowledge.families]
    if made is None or any(
        t.id == test or t.id in made.same_as or test in t.same_as for f in named for t in f.tests
    ):
        return []
    family = knowledge.family_of(test)
    assert family is not None  # noqa: S101
    return [
        Problem(
            entry.id,
            f"The test '{test}' belongs to the family '{family.id}', which no complaint of the "
            "case names; it is not used.",
            f"Add a complaint of the family '{family.id}' if the truck has it.",
        )
    ]


def _part(entry: Entry, data: ClueData, knowledge: Knowledge) -> Iterator[Problem]:
    condition = knowledge.conditions.get(data.clue)
    if condition is not None and condition.part_scoped and data.cause is None:
        yield Problem(entry.id, f"'{data.clue}' speaks of one part, and the entry names none; it "
                      "is not used.", "Add the cause whose part it is.")  # fmt: skip


def _result(entry: Entry, data: TestData, knowledge: Knowledge) -> list[Problem]:
    test = knowledge.test(data.test)
    if test is None or data.result in {*_ANY, *NO_ANSWER, *test.outcomes}:
        return []
    known = ", ".join(dict.fromkeys((*_ANY, *test.outcomes)))
    return [Problem(entry.id, f"'{data.result[:60]}' is not a result of {data.test}; it is not "
                    "used.", f"Use one of {known}.")]  # fmt: skip
