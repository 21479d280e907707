"""A handful of the masters' cases: the leader is theirs and nothing dangerous is proposed.

All of them, with what was lost, are in ``studies/cases``.
"""

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CASES = ROOT / "tests" / "files" / "cases"
MASTER = {"a09", "a11", "a12", "a16", "a27"}
WEEK = {"w04", "w10", "w27", "w29"}


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
    return score.run(asked, tmp_path_factory.mktemp("cases") / "shop")


def test_every_case_is_entered(rows):
    assert {r.id for r in rows if not r.not_scored} == MASTER | WEEK


def test_nothing_dangerous_is_proposed_and_every_stop_is_shown(rows):
    assert not [(r.id, r.forbidden, r.under_a_stop, r.stops) for r in rows if r.dangerous]


def test_the_leader_is_the_masters_and_no_fact_is_lost_in_silence(rows):
    assert not [(r.id, r.leader) for r in rows if r.leader_right is False]
    assert not [(r.id, r.silent) for r in rows if r.silent]
