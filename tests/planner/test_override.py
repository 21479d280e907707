"""The technician may override the tool, says why, and both are scored."""

import json

import pytest

from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import read_case
from witnessmark.model.step import Spread, Step
from witnessmark.planner.own_way import override_words, overrides, score


def step(name, kind, total=500.0):
    none = Spread(0, 0, 0)
    return Step(name, kind, "fuel_low", name, none, none, total, "")


def case(name, *words):
    return read_case(
        name,
        [
            json.dumps(
                {
                    "kind": "note",
                    "id": f"n{k}",
                    "at": "2026-03-02T08:00:00Z",
                    "data": {"words": w, "about": "override"},
                }
            )
            for k, w in enumerate(words)
        ],
    )


LOOK, PUMP, RELIEF = (
    step("f_relief", "test"),
    step("pump_worn", "repair", 910.0),
    step("pump_relief", "repair"),
)


def test_the_words_are_plain_and_read_back():
    words = override_words(
        LOOK, ("repair", "pump_worn"), "the owner wants a pump", chosen_usd=910.0
    )
    assert words == (
        "Proposed test f_relief; did repair pump_worn (410 USD more expected): "
        "the owner wants a pump"
    )
    found = overrides(case("a", words))[0]
    assert found.proposed == ("test", "f_relief")
    assert found.chosen == ("repair", "pump_worn")
    assert found.reason == "the owner wants a pump"
    assert found.extra_usd == 410
    assert found.right == "open"


def test_a_reason_is_needed():
    with pytest.raises(InputRefused, match="reason"):
        override_words(LOOK, ("repair", "pump_worn"), "  ")


@pytest.mark.parametrize(
    ("proposed", "chosen", "proven", "right"),
    [
        (LOOK, PUMP, "pump_relief", "tool"),
        (LOOK, PUMP, "pump_worn", "technician"),
        (RELIEF, PUMP, "pump_relief", "tool"),
        (RELIEF, PUMP, "pump_worn", "technician"),
        (RELIEF, PUMP, "air_ingress", "neither"),
        (RELIEF, LOOK, "pump_relief", "tool"),
        (RELIEF, LOOK, "pump_worn", "technician"),
        (LOOK, step("f_sight", "test"), "pump_worn", "both"),
    ],
)
def test_who_was_right(proposed, chosen, proven, right):
    words = override_words(proposed, (chosen.kind, chosen.step), "because")
    assert overrides(case("a", words), [proven])[0].right == right


def test_the_score_of_both_over_cases():
    words = override_words(LOOK, ("repair", "pump_worn"), "because")
    cases = [case("a", words), case("b", words), case("c", words, "just a note")]
    found = score(cases, {"a": ["pump_relief"], "b": ["pump_worn"]})
    assert (found.tool, found.technician, found.level, found.open) == (1, 1, 0, 1)
    assert len(found.rows) == 3
