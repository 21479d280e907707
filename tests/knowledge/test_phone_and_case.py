"""The phone and the case: neither lets a truck go where the other one holds it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.rules import Answer, Question
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.stop_rules import standing_stops
from witnessmark.workflow.shop.phone import Asked, answer_lines, questions_of, told

KNOWLEDGE = load_knowledge()
ALONE = tomllib.loads(
    (Path(__file__).parents[1] / "files" / "phone_alone.toml").read_text(encoding="utf-8")
)
HELD = ("park", "tow")
STAY = questions_of(KNOWLEDGE, []).stay


def answers() -> Iterator[tuple[Question, int, Answer]]:
    """Yield every answer of the phone that keeps a truck where it stands and tells a clue."""
    asked = [*KNOWLEDGE.triage, *(q for f in KNOWLEDGE.families.values() for q in f.triage)]
    for question in asked:
        for number, answer in enumerate(question.answers, 1):
            if answer.drive in HELD and answer.clue and answer.seen:
                yield question, number, answer


def held_by(clue: str, family: str) -> bool:
    """Say whether a clue alone keeps a truck where it stands, in a case of one family."""
    facts = Facts((Mark(1, 0, "clue", clue, True, entry="e1"),))
    rules = (*KNOWLEDGE.families[family].stops, *KNOWLEDGE.stops_beside([family]))
    return any(s.stop.drive in HELD for s in standing_stops(rules, facts))


def families_of(question: Question, clue: str) -> set[str]:
    """Return the families that must hold it: where it is asked, and where the clue is heard."""
    heard = {
        f.id
        for f in KNOWLEDGE.families.values()
        if any(clue in c.odds_multipliers for c in f.causes)
    }
    own = {question.family} if question.family else set(KNOWLEDGE.families)
    return own | heard


def test_every_answer_that_holds_a_truck_holds_it_in_the_case_too_or_is_decided():
    found = {(q.id, a.clue) for q, _, a in answers()}
    free = {
        (q.id, a.clue)
        for q, _, a in answers()
        if not all(held_by(a.clue, f) for f in families_of(q, a.clue))
    }
    decided = {(q, clue) for q, clues in ALONE.items() for clue in clues}
    assert len(found) > 100
    assert free - decided == set(), "raise the stop in every family that hears it, or decide it"
    assert decided - free == set(), "decided, and held by a stop all the same"


def test_no_reason_stands_twice_but_for_one_and_the_same_thing():
    reasons = [why for clues in ALONE.values() for why in clues.values()]
    assert all(len(why) > 40 for why in reasons)
    assert len(set(reasons)) >= len(reasons) - 1


@pytest.mark.parametrize("drive", ["park", "tow", "limp", "drive"])
def test_the_case_is_told_that_the_driver_was_told_to_stay(drive):
    question = next(q for q in KNOWLEDGE.triage if any(a.drive == drive for a in q.answers))
    number = next(k for k, a in enumerate(question.answers, 1) if a.drive == drive)
    call = told(Asked((question,), (), STAY), {question.id: str(number)})
    lines = [json.loads(line) for line in answer_lines(call)]
    stays = [e for e in lines if e["kind"] == "clue" and e["data"]["clue"] == STAY]
    assert bool(stays) is (call.drive in HELD)
    assert all(held_by(STAY, f) for f in KNOWLEDGE.families)
