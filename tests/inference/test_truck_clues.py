"""What follows from the truck itself: miles and hours."""

from __future__ import annotations

import json
from typing import Any

import pytest

from witnessmark.inference.family.staged_evidence import answers_of_readings, family_evidence
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


def test_a_trailer_is_told_by_what_it_is_and_a_truck_by_nothing() -> None:
    assert clues({"vehicle": "trailer"}) == {"a_trailer": True}
    assert clues({"vehicle": "truck"}) == {}


def answered(*readings: tuple[str, float, str | None, dict[str, Any]]) -> dict[str, str]:
    rows = [("complaint", {"words": "low oil", "families": ["oil_press"]})]
    for value, rpm, instrument, more in readings:
        named = {"instrument": {"id": instrument}} if instrument else {}
        point = {"rpm": rpm, "load": "none", **more}
        rows.append(
            ("reading", {"quantity": "oil_pressure", "value": value, "point": point, **named})
        )
    case = read_case("c", [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ])  # fmt: skip
    family = load_knowledge().families["oil_press"]
    return {test: result for (_, test), (result, _) in answers_of_readings(case, family).items()}


WARM = {"warm": True}


@pytest.mark.parametrize(
    ("readings", "result"),
    [
        ([("6 psi", 650, "Mechanical gauge", WARM)], "really_low"),
        # The dash alone, or an instrument that nobody named, is what is doubted.
        ([("6 psi", 650, "dash", WARM)], None),
        ([("6 psi", 650, None, WARM)], None),
        ([("6 psi", 650, "mechanical", {"warm": False})], None),
        ([("45 psi", 650, "mechanical", WARM)], None),
        ([("6 psi", 650, "dash", WARM), ("45 psi", 650, "mechanical", WARM)], "dash_lies"),
        # Low at idle and good at speed are two readings of one truth.
        ([("6 psi", 650, "dash", WARM), ("45 psi", 1500, "mechanical", WARM)], None),
    ],
)
def test_a_mechanical_gauge_answers_its_own_check(readings: Any, result: str | None) -> None:
    assert answered(*readings).get("g_mech") == result
