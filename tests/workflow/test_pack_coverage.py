"""A pack's own cases speak of stops; what they cover is listed, and the list may only shrink."""

from __future__ import annotations

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.workflow.shop.pack_check import check_pack_file, coverage

HEAD = """schema = "witnessmark.pack/2.0"
name = "ours"
title = "Ours"
version = "1"
[sources.ours]
kind = "judgement"
words = "the foreman's"
[family]
id = "coolant_cross"
"""
NAME = "milky oil, then a clean sample"
KNOWLEDGE = load_knowledge()
CASE = (
    f'\n[[cases]]\nname = "{NAME}"'
    """
clues = [{ clue = "overheated" }]
tests = [{ test = "x_oil", result = "%s" }]
%s = ["stop_contaminated_oil"]
"""
)


@pytest.fixture
def check(tmp_path):
    def made(text):
        path = tmp_path / "ours.toml"
        path.write_text(HEAD + text, encoding="utf-8")
        return check_pack_file(path)

    return made


def test_a_case_says_which_stop_stands_and_which_does_not(check):
    for result, key in (("positive", "fires"), ("negative", "silent")):
        report = check(CASE % (result, key))
        assert not report.problems
        row = next(c for c in report.covered if c.id == "stop_contaminated_oil")
        # The shipped cases of the family are covered with it; the shop's own joins one side only.
        assert (NAME in row.fired, NAME in row.silent) == (key == "fires", key == "silent")
        shipped = KNOWLEDGE.families["coolant_cross"].cases
        assert len(row.fired) + len(row.silent) == 1 + sum(
            "stop_contaminated_oil" in (*case.fires, *case.silent) for case in shipped
        )
    said = check(CASE % ("negative", "fires")).problems
    assert [p.what for p in said] == [
        "In the case 'milky oil, then a clean sample' the stop 'stop_contaminated_oil' does not "
        "stand and must."
    ]


def test_what_is_known_to_be_wrong_must_be_taken_out_once_it_comes_right(check):
    wrong = 'known_wrong = [{ rule = "stop_contaminated_oil", why = "w", until = "2027" }]\n'
    assert not check(CASE % ("negative", "fires") + wrong).problems
    [problem] = check(CASE % ("positive", "fires") + wrong).problems
    assert "known wrong and comes out" in problem.what
    assert problem.do == "Take the mark out of known_wrong."


def test_work_and_what_was_tested_after_it_are_told_in_a_case(check):
    repaired = CASE % ("positive", "fires") + 'work = ["xc_oilcooler"]\n'
    assert not check(repaired).problems  # the oil in it is still the bad oil
    clean = (CASE % ("positive", "silent")) + (
        'work = ["xc_oilcooler"]\ntests_after = [{ test = "x_oil", result = "negative" }]\n'
    )
    assert not check(clean).problems


def test_the_codes_of_a_case_weigh_in_it_as_they_do_on_a_truck(check):
    code = next(
        c for c in KNOWLEDGE.families["coolant_cross"].codes if c.points == "fair" and c.causes
    )
    text = f"""
[[cases]]
name = "a code"
codes = [{{ spn = {code.spn}, fmi = {code.fmi[0]} }}]
leads = "{code.causes[0]}"
"""
    with_code = next(r for r in check(text).cases if r.case.name == "a code")
    without = next(
        r for r in check(text.replace("codes = ", "tests = [] #")).cases if r.case.name == "a code"
    )
    assert with_code.probability > 1.2 * without.probability


def test_every_stop_and_every_test_is_seen_both_ways_in_a_shipped_case():
    families = load_knowledge().families.values()
    assert [(c.kind, c.id) for f in families for c in coverage(f) if not c.both] == []
    cases = [c for f in families for c in f.cases]
    whole = {s.id for s in load_knowledge().stops}
    assert whole <= {s for c in cases for s in c.fires}
    assert whole <= {s for c in cases for s in c.silent}
