"""The practice bench: a virtual truck answers, the end compares three ways, no history learns."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from conftest import Run
from witnessmark.errors import EntryRefused, InputRefused
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.entry_data import ClueData, OutcomeData, TestData
from witnessmark.workflow.practice.practice_shop import (
    CASE,
    PracticeShop,
    new_practice,
    open_practice,
)
from witnessmark.workflow.practice.spent import review, way_taken
from witnessmark.workflow.practice.virtual_truck import VirtualTruck, drawn_cause

FAMILY = "charging"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[PracticeShop]:
    shop = new_practice(tmp_path / "truck", FAMILY, seed=5)
    yield shop
    shop.close()


def test_a_result_is_a_prediction_and_the_truck_answers(shop: PracticeShop) -> None:
    family = load_knowledge().families[FAMILY]
    for test in family.tests[:6]:
        truth = shop.truck.result(family, test)
        said = next(o for o in test.outcomes if o != truth)
        made = shop.add(CASE, "test", {"test": test.id, "result": said}, entry_id=f"e{test.id}")
        assert isinstance(made.data, TestData)
        assert made.data.result == truth
        assert shop.predictions()[made.id] == said
        again = shop.add(CASE, "test", {"test": test.id, "result": said}, entry_id=f"e{test.id}")
        assert again.id == made.id  # sent twice: answered once
    assert way_taken(shop).tests == 6


def test_a_clue_is_answered_and_a_reading_refused(shop: PracticeShop) -> None:
    made = shop.add(CASE, "clue", {"clue": "gradual", "seen": True})
    assert isinstance(made.data, ClueData)
    assert made.data.seen in {True, False}
    with pytest.raises(EntryRefused, match="no reading of its own"):
        shop.add(CASE, "reading", {"quantity": "battery_voltage", "value": "12 V"})
    with pytest.raises(EntryRefused, match="no outcome"):
        shop.add(CASE, "outcome", {"complaint": "c1", "gone": True})


def test_a_wrong_repair_leaves_the_complaint_and_the_right_one_ends_it(shop: PracticeShop) -> None:
    family = load_knowledge().families[FAMILY]
    hidden = shop.truck.families[FAMILY]
    wrong = next(c.id for c in family.causes if c.id != hidden)
    shop.add(CASE, "work", {"cause": wrong, "did": "renewed"})
    assert [d.gone for _, d in shop.case(CASE).of(OutcomeData)] == [False]
    assert "stays hidden" in review(shop)
    test = family.tests[0]
    shop.add(CASE, "test", {"test": test.id, "result": test.outcomes[0]})
    shop.add(CASE, "work", {"cause": hidden, "did": "put right"})
    assert [d.gone for _, d in shop.case(CASE).of(OutcomeData)] == [False, True]
    told = review(shop)
    name = next(c.name for c in family.causes if c.id == hidden)
    assert f"It was: {name}." in told
    assert "yours: 1 look or test, 2 repairs" in told
    assert "the program's:" in told
    assert "who knows it: 0 looks and tests, 1 repair" in told
    assert "You foretold" in told


def test_the_same_seed_is_the_same_truck(tmp_path: Path, shop: PracticeShop) -> None:
    again = new_practice(tmp_path / "other", FAMILY, seed=5)
    assert again.truck == shop.truck
    assert open_practice(tmp_path / "other").truck == shop.truck
    family = load_knowledge().families[FAMILY]
    assert len({drawn_cause(family, seed) for seed in range(40)}) > 3
    answers = [VirtualTruck(s, {FAMILY: family.causes[0].id}).result(family, family.tests[0])
               for s in range(40)]  # fmt: skip
    assert len(set(answers)) > 1


def test_what_is_refused(tmp_path: Path, shop: PracticeShop) -> None:
    with pytest.raises(InputRefused, match="holds something"):
        new_practice(shop.folder, FAMILY)
    with pytest.raises(InputRefused, match="no family"):
        new_practice(tmp_path / "x", "nothing")
    with pytest.raises(InputRefused, match="no practice truck"):
        open_practice(tmp_path)


def test_the_command_reviews(shop: PracticeShop, witnessmark: Run) -> None:
    told = witnessmark("practice", shop.folder, "--review", "--json")
    assert told.returncode == 0, told.stderr
    assert "hidden" in json.loads(told.stdout)["review"]
    none = witnessmark("practice", shop.folder / "nothing", "--review")
    assert none.returncode == 2
    assert "no practice truck" in none.stderr
