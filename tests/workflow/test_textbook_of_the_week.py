"""The textbook picture of a cause leads to it, and its stop stands; all of them are in a study."""

import sys
import tomllib
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).resolve().parents[2]
TABLE = ROOT / "tests" / "files" / "cases" / "textbook_week.toml"
#: One of each kind of picture: a stop that must stand, none that may, a repair that waits.
SOME = {"tb_br_hose", "tb_fw_height", "tb_ty_joint", "tb_ch_gauge", "tb_st_column"}


@pytest.fixture(scope="module")
def rows(tmp_path_factory):
    sys.path.insert(0, str(ROOT))
    try:
        from studies.cases import score
    finally:
        sys.path.remove(str(ROOT))
    asked = [c for c in score.cases_of(TABLE) if c.id in SOME]
    return score.run(asked, tmp_path_factory.mktemp("textbook") / "shop")


def test_the_cause_leads_and_its_stop_stands(rows):
    assert {r.id for r in rows if not r.not_scored} == SOME
    lost = [
        r for r in rows if not r.leader_right or r.dangerous or r.stop_false or not r.drive_right
    ]
    assert not [(r.id, r.leader, r.forbidden, r.stops, r.drive) for r in lost]


def test_every_cause_of_a_family_of_the_week_has_its_picture():
    cases = tomllib.loads(TABLE.read_text("utf-8"))["case"]
    shown = {case["leader"][0]["id"] for case in cases}
    families = {case["families"][0] for case in cases}
    known = load_knowledge().families
    causes = {c.id for f in families for c in known[f].causes if not c.id.endswith("_other")}
    assert len(families) == 29
    assert shown == causes
