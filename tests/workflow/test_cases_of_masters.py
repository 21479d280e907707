"""A handful of the masters' cases: the leader is theirs and nothing dangerous is proposed.

All of them, with what was lost, are in ``studies/cases``.
"""

import sys
import tomllib
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "files" / "cases"
MASTER = {"a09", "a11", "a12", "a16", "a27"}
WEEK = {"w04", "w10", "w27", "w29"}
BOOK = tomllib.loads((CASES / "textbook_thirteen.toml").read_text("utf-8"))["case"]
#: Every tenth picture of the textbook: each takes a whole dossier.
TENTH = {c["id"] for c in BOOK[::10]}


@pytest.fixture(scope="module")
def rows(tmp_path_factory):
    sys.path.insert(0, str(ROOT))
    try:
        from studies.cases import score
    finally:
        sys.path.remove(str(ROOT))
    key = ROOT / "studies" / "cases" / "keys_a.toml"
    asked = [c for c in score.cases_of(CASES / "master_a.toml", key) if c.id in MASTER]
    asked += [c for c in score.cases_of(CASES / "week_a.toml") if c.id in WEEK]
    asked += [c for c in score.cases_of(CASES / "textbook_thirteen.toml") if c.id in TENTH]
    return score.run(asked, tmp_path_factory.mktemp("cases") / "shop")


def test_every_case_is_entered(rows):
    assert {r.id for r in rows if not r.not_scored} == MASTER | WEEK | TENTH


def test_the_textbook_has_a_picture_of_every_cause_of_its_families():
    knowledge = load_knowledge()
    families = {f for case in BOOK for f in case["families"]}
    causes = {c.id for f in families for c in knowledge.families[f].causes}
    assert len(families) == 13
    pictured = {case["id"].removeprefix("t_") for case in BOOK}
    assert {c for c in causes - pictured if not c.endswith("_other")} == set()


def test_the_first_step_of_the_textbook_is_one_that_a_master_takes(rows):
    book = [r for r in rows if r.id in TENTH]
    taken = [r.first_right or (r.free_look_first and not r.silly_first) for r in book]
    assert sum(taken) >= 0.9 * len(book), [(r.id, r.first) for r in book if not r.first_right]


def test_nothing_dangerous_is_proposed_and_every_stop_is_shown(rows):
    assert not [(r.id, r.forbidden, r.under_a_stop, r.stops) for r in rows if r.dangerous]


def test_the_leader_is_the_masters_and_no_fact_is_lost_in_silence(rows):
    assert not [(r.id, r.leader) for r in rows if r.leader_right is False]
    assert not [(r.id, r.silent) for r in rows if r.silent]
