"""The reading that "would change my mind" is held to by writing that reading down."""

import json
import re

import pytest

from witnessmark.inference.odds.case_odds import case_odds
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.words.numbers import chance_words

KNOWLEDGE = load_knowledge()


def odds_of(family, entries):
    start = [("truck", {"label": "unit 7"}), ("complaint", {"words": "it", "families": [family]})]
    lines = [
        json.dumps({"kind": k, "id": f"e{i}", "at": "2026-03-02T08:00:00Z", "data": d})
        for i, (k, d) in enumerate([*start, *entries])
    ]
    case = read_case("case", lines)
    assert not case.problems
    return case_odds(case, KNOWLEDGE)[0]


def clue(name):
    return ("clue", {"clue": name, "seen": True})


def test(name, result):
    return ("test", {"test": name, "result": result})


test.__test__ = False  # an entry, no test of pytest's

FAILED = [("work", {"cause": "sm_air", "did": "renewed"}),
          ("outcome", {"complaint": "e1", "gone": False, "after_days": 1})]  # fmt: skip
CASES = {
    "no finding": ("overheat", []),
    "a clue that a test sees too": ("smoke", [clue("white"), clue("black")]),
    "after a test": ("electrical", [clue("harness_repair"), test("e_access", "positive")]),
    "after work that cured nothing": ("smoke", [clue("white"), clue("black"), *FAILED]),
    "after work, the test made": (
        "smoke", [clue("white"), test("m_colour_white", "white_sweet"), *FAILED],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_would_change_the_odds_does(name):
    family, entries = CASES[name]
    tests = KNOWLEDGE.families[family].tests
    said = 0
    for cause in odds_of(family, entries).causes[:3]:
        for words in cause.would_change:
            made = next(t for t in tests if words.startswith(f"{t.name}: "))
            for outcome in made.outcomes:
                shown = re.escape(made.outcome_words.get(outcome, outcome))
                promised = re.search(rf"{shown} (under \d+|over \d+|\d+) %", words).group(1)
                after = odds_of(family, [*entries, test(made.id, outcome)])
                found = next(c.probability for c in after.causes if c.cause == cause.cause)
                if promised.isdecimal():
                    assert 100 * found == pytest.approx(float(promised), abs=0.51), made.id
                else:
                    assert f"{promised} %" == chance_words(found), made.id
                said += 1
    assert said >= 6
