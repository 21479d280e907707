"""What follows from the truck itself: miles and hours."""

from __future__ import annotations

import json
from typing import Any

import pytest

from witnessmark.inference.family.staged_evidence import family_evidence
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case


def clues(truck: dict[str, Any], *more: tuple[str, dict[str, Any]]) -> dict[str, object]:
    rows = [
        ("truck", {"label": "unit 7", **truck}),
        ("complaint", {"words": "low fuel", "families": ["fuel_low"]}),
        *more,
    ]
    case = read_case("c", [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ])  # fmt: skip
    knowledge = load_knowledge()
    found = family_evidence(case, knowledge.families["fuel_low"], knowledge)
    return {c.condition: c.seen for c in found.clues}


@pytest.mark.parametrize(
    ("truck", "expected"),
    [
        ({"miles": 640000}, {"miles_500k": True}),
        ({"miles": 900000}, {"miles_500k": True, "miles_800k": True}),
        ({"hours": 17000}, {"miles_500k": True, "miles_800k": True}),
        ({"miles": 61000, "hours": 9400}, {"miles_500k": False, "miles_800k": False}),
        # Hours that were not written down are missing, not few.
        ({"miles": 61000}, {}),
        ({}, {}),
    ],
)
def test_miles_and_hours(truck: dict[str, Any], expected: dict[str, object]) -> None:
    assert clues(truck) == expected


def test_what_the_technician_says_counts_first() -> None:
    said = ("clue", {"clue": "miles_500k", "seen": False})
    assert clues({"miles": 640000}, said) == {"miles_500k": False}
