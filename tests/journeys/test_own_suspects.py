"""A complaint that no pack has: the technician's own suspects, from words to proof and paper."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from web.bench_page import Client, settled
from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.knowledge.own.own_family import own_pack, with_own_lists
from witnessmark.model.entries.entry import parse_entry
from witnessmark.model.entries.entry_data import ComplaintData
from witnessmark.model.entries.own_list import OwnList
from witnessmark.model.entries.record_base import slug
from witnessmark.web.app import create_app
from witnessmark.workflow.case.case_file import read_case_file
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.dossier.assess_case import assess_file
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.papers.case_papers import report_html
from witnessmark.workflow.shop.own_suspects import name_suspects, save_own_family
from witnessmark.workflow.shop.pack_check import check_pack_file
from witnessmark.workflow.shop.sounds_like import name_families

FAMILY = "own_door_will_not_close"
OWN: dict[str, Any] = {
    "called": "Door will not close",
    "suspects": [
        {"name": "Striker out of line", "weight": "most likely", "minutes": 20, "usd": 0},
        {"name": "Hinge pin worn", "weight": "likely", "minutes": 90, "usd": 60},
        {"name": "Latch broken", "weight": "long shot"},
    ],
    "tests": [
        {"name": "Lift the door at its edge", "shows": ["Hinge pin worn"], "minutes": 2,
         "caution": "the door may come down: a second person holds it"},
        {"name": "Close it on chalk", "shows": ["Striker out of line"], "minutes": 5},
    ],
}  # fmt: skip
LIFT, CHALK = f"{FAMILY}_t_lift_the_door_at_its_edge", f"{FAMILY}_t_close_it_on_chalk"
STRIKER, LATCH = f"{FAMILY}_striker_out_of_line", f"{FAMILY}_latch_broken"


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    made = open_shop(tmp_path / "shop", create=True)
    made.new_case("t1", [
        entry_line("truck", {"label": "unit 9"}, entry_id="e1"),
        entry_line("complaint", {"words": "the door wont shut"}, entry_id="e2"),
    ])  # fmt: skip
    yield made
    made.close()


def named(shop: Shop) -> str:
    return name_suspects(shop, "t1", "e2", OWN, entry_id="e3")


def test_it_has_odds_by_his_weights_and_a_look_for_what_no_test_parts(shop: Shop) -> None:
    assert named(shop) == "e3"
    found = assess_in_shop(shop, "t1")
    odds = found.odds_of(FAMILY)
    assert odds is not None
    assert [c.name for c in odds.causes][:2] == ["Striker out of line", "Hinge pin worn"]
    assert not found.problems
    assert found.steps[0].kind == "test"
    steps = {s.step: s for s in found.steps}
    assert {LIFT, CHALK} & set(steps)
    known = with_own_lists(knowledge_of(shop), shop.case("t1")).families[FAMILY]
    assert {t.id for t in known.tests} == {LIFT, CHALK, f"{FAMILY}_look_latch_broken"}
    lift = known.test(LIFT)
    assert lift is not None
    assert "the door may come down" in lift.caution
    assert all(s.cautions for s in found.steps), "what can hurt stands on every step"
    assert found.why_no_step() == ""


def test_from_the_words_to_the_proof_and_the_paper(shop: Shop) -> None:
    named(shop)
    for kind, data in (
        ("test", {"test": LIFT, "result": "negative"}),
        ("test", {"test": CHALK, "result": "positive"}),
    ):
        shop.add("t1", kind, data)
    odds = assess_in_shop(shop, "t1").odds_of(FAMILY)
    assert odds is not None
    assert odds.causes[0].cause == STRIKER
    assert odds.probability(STRIKER) > 0.8
    assert "Striker out of line" in report_html(shop, "t1", quote=True)
    shop.add("t1", "work", {"cause": STRIKER, "did": "set in line"})
    assert assess_in_shop(shop, "t1").proof_of("e3").verdict != "proven"  # type: ignore[union-attr]
    shop.add("t1", "test", {"test": CHALK, "result": "negative"})
    shop.add("t1", "outcome", {"complaint": "e3", "gone": True, "after_days": 2})
    found = assess_in_shop(shop, "t1")
    proof = found.proof_of("e3")
    assert proof is not None
    assert proof.verdict == "proven"
    paper = report_html(shop, "t1")
    assert "Striker out of line" in paper
    assert "the door wont shut" in paper


def test_the_case_file_carries_its_list(shop: Shop, tmp_path: Path) -> None:
    named(shop)
    path = tmp_path / "t1.jsonl"
    path.write_text(shop.export("t1"), encoding="utf-8")
    odds = assess_file(path).odds_of(FAMILY)
    assert odds is not None
    assert read_case_file(path).families() == (FAMILY,)


def test_saved_in_one_step_it_is_a_family_of_the_shop(shop: Shop) -> None:
    entry = named(shop)
    path = save_own_family(shop, "t1", entry)
    assert not check_pack_file(path).problems
    assert FAMILY in knowledge_of(shop).families
    shop.new_case("t2", [entry_line("complaint", {"words": "door again", "families": [FAMILY]})])
    assert assess_in_shop(shop, "t2").steps
    with pytest.raises(InputRefused, match="already"):
        save_own_family(shop, "t1", entry)
    # In its own case the list counts as it stands there.
    assert assess_in_shop(shop, "t1").odds_of(FAMILY) is not None


def test_a_family_can_be_named_besides(shop: Shop) -> None:
    entry = name_families(shop, "t1", named(shop), ["electrical", FAMILY])
    assert shop.case("t1").families() == ("electrical", FAMILY)
    assert {o.family for o in assess_in_shop(shop, "t1").odds} == {"electrical", FAMILY}
    assert name_suspects(shop, "t1", entry, OWN) == entry


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"suspects": []}, "suspects"),
        ({"called": ""}, "called"),
        ({"tests": [{"name": "x", "shows": ["Nobody"]}]}, "no suspect"),
        ({"tests": [{"name": "x", "shows": []}]}, "shows"),
        ({"suspects": [{"name": "a"}, {"name": "A!"}]}, "twice"),
        ({"suspects": [{"name": "a", "weight": "90 %"}]}, "weight"),
    ],
)
def test_a_list_that_says_nothing_is_refused_and_nothing_is_lost(
    shop: Shop, change: dict[str, Any], said: str
) -> None:
    with pytest.raises(WitnessmarkError, match=said):
        name_suspects(shop, "t1", "e2", {**OWN, **change})
    assert len(shop.case("t1").entries) == 2


def test_any_words_make_a_sound_pack() -> None:
    words = 'quotes " and \\ and \n lines; täuschend µ 漢字'
    own = OwnList.model_validate({
        "called": words, "suspects": [{"name": words}, {"name": "漢字"}],
        "tests": [{"name": words, "shows": ["漢字"]}],
    })  # fmt: skip
    assert own_pack(own)
    assert slug("漢字") != slug("字漢")
    line = entry_line("complaint", {"words": "x", "own": own.model_dump(exclude_none=True)})
    entry, problems = parse_entry(line)
    assert not problems
    assert isinstance(entry.data, ComplaintData)
    assert entry.data.families == (own.family,)


def test_the_page_takes_the_list_and_saves_it(shop: Shop) -> None:
    client = Client(create_app(shop, assess=lambda case: assess_in_shop(shop, case)))
    assert "my own suspects" in client.get("/cases/t1/about/e2").text
    page = client.get("/cases/t1/suspects/e2").text
    assert "No pack stands behind this list" in page
    form = {
        "entry_id": "e9", "called": "Door will not close",
        "suspect_0": "Striker out of line", "suspect_0_weight": "most likely",
        "suspect_2": "Latch broken",
        "test_0": "Close it on chalk", "test_0_shows": ["0", "2"], "test_0_minutes": "5",
        "save": "yes",
    }  # fmt: skip
    answer = client.post("/cases/t1/suspects/e2", data=form)
    assert answer.headers["location"] == "/cases/t1"
    stored = json.loads(next(e.line for e in shop.case("t1").live() if e.id == "e9"))["data"]
    assert stored["own"]["tests"][0]["shows"] == ["Striker out of line", "Latch broken"]
    assert FAMILY in knowledge_of(shop).families
    assert "Striker out of line" in settled(client, "t1")
    tests = client.get("/cases/t1/tests").text
    assert "Close it on chalk" in tests
    assert "Latch broken" in client.get("/cases/t1/add/work").text
    wrong = client.post("/cases/t1/suspects/e9", data={"called": "x"})
    assert wrong.status_code == 422
    client.close()
