"""The torque card: what stands on it, what the check says of it, and that it proposes nothing."""

from __future__ import annotations

import re

import pytest

from report.paper_material import assessed, before, work
from witnessmark.model.entries.tightened_data import Torque
from witnessmark.report.as_html import paper_html
from witnessmark.report.cards.torque_lines import card_line, remarks_on
from witnessmark.workflow.papers.case_papers import paper_of

DAMPER = {"location": "Damper bolts", "value": "200 lbf·ft", "size": "5/8 fine", "count": 6,
          "lubricant": "anti-seize", "source": "page 3-7, 2026-03-01"}  # fmt: skip


def told(**fields: object) -> str:
    return " ".join(remarks_on(Torque(**fields)))  # type: ignore[arg-type]


def test_the_check_values_of_the_trade_in_words() -> None:
    """Figures: common practice, no source."""
    passes = told(**DAMPER, grade="8")
    assert passes.startswith("Above proof at low K")
    assert "74 to 104 % of the proof load" in passes
    assert "Unusual" not in passes
    assert told(**DAMPER, grade="5").startswith("Unusual, check the page")
    assert told(**DAMPER) == "Not checked: type the grade."
    assert "Unusual" in told(**{**DAMPER, "value": "2000 lbf·ft"})
    asked = told(**{**DAMPER, "value": "2,000 lbf·ft"})  # two, or two thousand
    assert "cannot be read as a torque" in asked
    for place, value in (("Fuel regulator", "21 lbf·ft"), ("Fan nuts", "35 lbf·ft")):
        asked = told(location=place, value=value)
        assert asked == "Not checked: type the size and thread, grade and lubricant."


def test_no_remark_holds_a_torque_that_was_not_typed() -> None:
    for grade in ("2", "5", "8", "10.9", ""):
        for lubricant in ("dry", "oil", "anti-seize", None):
            for value in ("2 N·m", "60 N·m", "900 N·m"):
                words = told(location="a", value=value, size="M12", grade=grade or None,
                             lubricant=lubricant)  # fmt: skip
                assert not re.search(r"\d\s*(N·m|lbf)", words), words


def test_crowfoot_wrench_reading_and_second_person() -> None:
    base = {"location": "a", "value": "100 lbf·ft", "size": "1/2-20", "grade": "8",
            "lubricant": "oil"}  # fmt: skip
    words = told(**base, wrench_length="18 in", crowfoot="2 in")
    assert "set the wrench to 90.0 lbf·ft" in words
    assert "outside the wrench's 10 to 80 lbf·ft" in told(**base, wrench_span="10 to 80 lbf·ft")
    assert "lowest fifth" in told(**base, wrench_span="50 to 600 lbf·ft")
    assert "wrench" not in told(**base, wrench_span="30 to 250 lbf·ft")
    assert "Read 80 lbf·ft: 20 % off the target." in told(**base, reading="80 lbf·ft")
    assert "off the target" not in told(**base, reading="102 lbf·ft")
    assert "Second person" in told(**base, done="A. Sample")
    assert "Second person" not in told(**base, done="A. Sample", second="B. Sample")


@pytest.mark.parametrize("value", ["27", "45 psi", "a lot", "-3 N·m"])
def test_a_target_that_is_no_torque_says_so(value: str) -> None:
    assert "cannot be read as a torque" in told(location="a", value=value)


def test_a_blank_is_not_checked_and_both_units_are_shown() -> None:
    assert told(location="a", size="M12", grade="8.8") == ""
    line = card_line(Torque(**{**DAMPER, "grade": "8", "fastener": "new"}))
    assert line.target == "200 lbf·ft (271.2 N·m)"
    assert line.fastener == "6 × Damper bolts, 5/8 fine, grade 8, new, anti-seize"


def test_the_card_carries_the_cautions_of_its_job() -> None:
    lines = [*before(), work(torques=[DAMPER | {"grade": "8"}])]
    text = paper_html(paper_of(assessed(lines)))
    card = text[text.index("Torque card") :]
    assert "pressure let down" in card
    assert "Above proof at low K" in card
    assert "proposes no figure" in card
