"""A shop that the program of form 1.0 packs has made opens, keeps every entry, and still teaches.

``tests/files/shops/form_1`` was written by the program before form 2.0: five invented trucks, a
family of the shop's own, the owner's own share. ``told.json`` is what that program said of it.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from conftest import ROOT
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.called_now import as_called_now
from witnessmark.knowledge.loader import check_pack
from witnessmark.model.entries.case import read_case
from witnessmark.workflow.case.packs_of_shop import knowledge_of, pack_files
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.learnt_for_case import learnt

OLD = ROOT / "tests" / "files" / "shops" / "form_1"
TOLD = json.loads((OLD / "told.json").read_text(encoding="utf-8"))
RETIRED = """schema = "witnessmark.pack/2.0"
name = "zz_renamed"
title = "Ids of an older pack"
version = "1"
[sources.ours]
kind = "judgement"
words = "invented"
[family]
id = "fuel_low"
[[retired]]
id = "old_sliver"
kind = "cause"
becomes = ["pump_relief", "pump_worn"]
since = "2026.3"
why = "parted"
[[retired]]
id = "old_plug_look"
kind = "test"
becomes = ["f_relief"]
results = { sliver = "positive" }
since = "2026.3"
why = "renamed"
[[retired]]
id = "old_quick"
kind = "clue"
becomes = ["sudden"]
since = "2026.3"
why = "renamed"
[[retired]]
id = "old_low"
kind = "family"
becomes = ["fuel_low"]
since = "2026.3"
why = "renamed"
"""


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    shutil.copytree(OLD, tmp_path / "shop")
    made = open_shop(tmp_path / "shop")
    yield made
    made.close()


def closings(shop: Shop) -> list[Any]:
    history, _ = learnt(shop, shop.case("noise1"), knowledge=knowledge_of(shop))
    return sorted(
        [c.case, c.family, list(c.causes), c.proven, [list(r) for r in c.results]]
        for c in history.closings
    )


def test_every_entry_is_there_and_every_pack_is_read(shop: Shop) -> None:
    found = {s.id: [json.loads(x)["id"] for x in shop.casebook.lines(s.id)]
             for s in shop.list_cases()}  # fmt: skip
    assert found == TOLD["entries"]
    assert len(pack_files(shop)) == 2
    for path in pack_files(shop):
        assert check_pack(path)[0] == []
    known = knowledge_of(shop)
    assert [t.odds for t in known.families["cab_cold"].together] == [3]
    worn = known.cause("pump_worn")
    assert worn is not None
    assert worn.source.words.startswith("the owner's word (owner, 2026-05-02)")


def test_its_closings_count_as_before(shop: Shop) -> None:
    assert closings(shop) == TOLD["closings"]
    history, _ = learnt(shop, shop.case("noise1"), knowledge=knowledge_of(shop))
    assert len(history.jobs) == TOLD["jobs"]


def test_its_proofs_say_the_same(shop: Shop) -> None:
    found = {s.id: [p.verdict for p in assess_in_shop(shop, s.id).proofs]
             for s in shop.list_cases()}  # fmt: skip
    assert found == TOLD["proofs"]


def test_retired_ids_of_old_entries_count_by_what_became_of_them(tmp_path: Path) -> None:
    pack = tmp_path / "renamed.toml"
    pack.write_text(RETIRED, encoding="utf-8")
    assert check_pack(pack)[0] == []
    known = load_knowledge([pack])
    rows = [
        ("complaint", {"words": "low", "families": ["old_low"]}),
        ("clue", {"clue": "old_quick", "seen": True}),
        ("test", {"test": "old_plug_look", "result": "sliver"}),
        ("work", {"cause": "old_sliver", "did": "renewed"}),
        ("quote", {"lines": [{"what": "valve", "cause": "old_sliver"}]}),
    ]
    lines = [json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
             for n, (k, d) in enumerate(rows)]  # fmt: skip
    case = read_case("x", lines)
    now = as_called_now(case, known)
    assert [e.line for e in now.entries] == [e.line for e in case.entries] == lines
    complaint, clue, test, work, quote = (e.data for e in now.entries)
    assert complaint.families == ("fuel_low",)
    assert clue.clue == "sudden"
    assert (test.test, test.result) == ("f_relief", "positive")
    assert work.cause == "pump_relief"
    assert quote.lines[0].cause == "pump_relief"
    assert as_called_now(case, load_knowledge()) is case


def test_an_old_shops_closings_count_by_what_became_of_their_causes(shop: Shop) -> None:
    lines = [line.replace("pump_relief", "old_sliver").replace("f_relief", "old_plug_look")
             for line in shop.casebook.lines("fuel1")]  # fmt: skip
    shop.new_case("fuel9", lines)
    (shop.folder / "packs" / "zz_renamed.toml").write_text(RETIRED, encoding="utf-8")
    rows = [c for c in closings(shop) if c[0] in {"fuel1", "fuel9"}]
    assert [c[1:] for c in rows] == [rows[0][1:]] * 2
    assert rows[0][2] == ["pump_relief"]


def test_what_is_retired_is_gone_and_what_it_became_is_there(tmp_path: Path) -> None:
    pack = tmp_path / "renamed.toml"
    wrong = RETIRED.replace('id = "old_sliver"', 'id = "air_ingress"').replace(
        'becomes = ["f_relief"]', 'becomes = ["f_nothing"]'
    )
    pack.write_text(wrong, encoding="utf-8")
    said = {p.where.split(": ")[1] for p in check_pack(pack)[0]}
    assert {"retired[0].id", "retired[1].becomes[0]"} <= said
