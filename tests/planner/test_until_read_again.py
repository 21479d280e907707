"""After a work nothing more is renewed before the same points are read again, or it was asked."""

import json

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.first_words.said_of_work import still_there
from witnessmark.planner.order.until_read_again import until_read_again
from witnessmark.workflow.case.case_file import read_case
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()
CASE_FAMILIES = ("crankcase", "oil_leak")


def reading(value="13 inH2O", rpm=1800, quantity="crankcase_pressure"):
    point = {"rpm": rpm, "load": "none", "warm": True}
    return ("reading", {"quantity": quantity, "value": value, "point": point})


def test(name, result):
    return ("test", {"test": name, "result": result})


test.__test__ = False


def work(cause="cc_breather", did="renewed here"):
    return ("work", {"cause": cause, "did": did})


def clue(name="blows_dipstick", seen=True):
    return ("clue", {"clue": name, "seen": seen})


BEFORE = (reading(), test("b_look", "breather"))


def case_of(*rows, families=("crankcase",)):
    told = [("complaint", {"words": "pushes oil", "families": list(families)}), *rows]
    lines = [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(told)
    ]
    return read_case("x", lines)


def waiting(*rows, families=("crankcase",)):
    case = case_of(*rows, families=families)
    named = [KNOWLEDGE.families[f] for f in families]
    return set(until_read_again(case, named, KNOWLEDGE.links))


@pytest.mark.parametrize(
    ("since", "waits"),
    [
        ((), True),
        ((reading(rpm=650),), True),  # not the point that was bad
        ((reading("42 psi", quantity="oil_pressure"),), True),
        ((test("b_exlook", "negative"),), True),
        ((clue(seen=False),), True),
        ((reading("12 inH2O"),), False),
        ((test("b_look", "negative"),), False),
        ((test("b_cold", "negative"),), False),  # measured with the engine running
        ((clue(),), False),
        ((("outcome", {"complaint": "e0", "gone": False}),), False),
    ],
)
def test_a_complaint_waits_until_its_points_are_read_or_somebody_was_asked(since, waits):
    assert bool(waiting(*BEFORE, work(), *since)) is waits


def test_work_on_something_else_leaves_a_complaint_alone():
    assert not waiting(*BEFORE, work("tyre_bal"))
    assert waiting(*BEFORE, work(cause=None))
    assert not waiting(*BEFORE, ("work", {"did": "lamp renewed", "points": ["lamps"]}))


def test_a_linked_complaint_waits_too_and_is_told_by_the_same_reading():
    both = ("oil_leak", "crankcase")
    assert waiting(*BEFORE, work(), families=both) == set(both)
    assert not waiting(*BEFORE, work(), reading("12 inH2O"), families=both)


@pytest.mark.parametrize("did", ["renewed elsewhere", "renewed, no change", "new, leaks the same"])
def test_words_that_say_that_it_is_still_there_are_an_answer(did):
    assert still_there(did)
    assert not waiting(*BEFORE, work(did=did))


@pytest.mark.parametrize(
    "did",
    [
        "renewed here",
        "renewed, not driven yet",
        "sealed",
        "set to mark",
        "bled twice",
        "nuts drawn up twice",
        "renewed, still to be driven",
        "both renewed the same day",
    ],
)
def test_other_words_are_none(did):
    assert not still_there(did)


def dossier_of(*rows):
    return assess(case_of(*rows), {}, knowledge=KNOWLEDGE)


def test_nothing_is_renewed_and_the_odds_stand_as_before_the_work():
    before = dossier_of(*BEFORE)
    after = dossier_of(*BEFORE, work())
    assert after.todo[0].step == "remeasure_crankcase"
    assert not [s for s in after.todo if s.kind == "repair" or s.is_search]
    assert not after.decisions
    assert after.advice.estimate is None
    assert [c.cause for c in after.odds[0].causes] == [c.cause for c in before.odds[0].causes]
    assert not after.odds[0].decided
    assert "odds stand as before" in after.odds[0].statement
    read = dossier_of(*BEFORE, work(), reading("14 inH2O"))
    assert "odds stand as before" not in read.odds[0].statement
    assert read.odds[0].probability("cc_breather") < 0.5


def test_another_look_does_not_open_the_next_repair():
    looked = dossier_of(*BEFORE, work(), test("b_exlook", "negative"))
    assert not [s for s in looked.todo if s.kind == "repair"]
    assert looked.todo[0].step == "remeasure_crankcase"
    assert "not read again" in looked.todo[0].why
