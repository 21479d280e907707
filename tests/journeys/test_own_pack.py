"""A shop's own pack: a family that the program does not ship, and one shipped number overridden.

Both must go all the way: pack check, assess, odds, next step, estimate, proof, page and report.
The family and all its figures are invented.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from web.bench_page import Client, settled
from witnessmark.knowledge import load_knowledge
from witnessmark.web.app import create_app
from witnessmark.workflow.case.packs_of_shop import own_words, pack_files, save_own_words
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.assess_case import assess_file
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.papers.case_papers import report_html

CAUSE = """
[[causes]]
id = "{id}"
name = "{name}"
zone = "{zone}"
share = {share}
access = [1, 2, 3]
minutes = [{minutes}]
parts_usd = [{parts}]
renew_with = ["o-rings"]
p_cured_if_cause = 0.94
p_cured_if_not = 0.02
damage_risk = "none known"
caution = "pressurised gas: goggles and gloves; a licensed hand recovers it"
proof = "vent temperature again, same day, same fan step"
source = "owner"
"""
FAMILY = """
schema = "witnessmark.pack/1.0"
name = "zz_cab_cold"
title = "Example shop: the cab does not cool"
version = "1"

[sources.owner]
kind = "judgement"
words = "the owner's judgement, invented"

[family]
id = "cab_cold"
name = "Cab cooling blows warm"
complaint_words = "blows warm, cools at speed only"
safety = "Pressurised gas; frostbite; keep clear of the fan and belts"
proof = "vent temperature at idle and at 1,500 rpm, same outside temperature"
operating_points = ["idle", "1,500 no load"]
second_cause = 0.1
none_listed = 0.03
zones = [
  { id = "gas", name = "Gas circuit" },
  { id = "air", name = "Air side" },
  { id = "rest", name = "Other" },
]
source = "owner"
""" + "".join(
    CAUSE.format(id=i, name=n, zone=z, share=s, minutes=m, parts=p)
    for i, n, z, s, m, p in (
        ("cab_leak", "Gas lost at a seal", "gas", 0.5, "40, 90, 200", "20, 60, 160"),
        ("cab_clutch", "Compressor clutch slips", "gas", 0.2, "60, 120, 240", "90, 220, 500"),
        ("cab_door", "Blend door stuck", "air", 0.2, "30, 80, 240", "10, 40, 150"),
        ("cab_other", "Something else in the cooling", "rest", 0.1, "60, 120, 300", "0, 80, 300"),
    )
)  # fmt: skip
TESTS = """
[[tests]]
id = "cab_dye"
name = "Dye and lamp at the fittings"
positive = "dye seen"
points = ["engine off"]
instrument = "lamp"
minutes = [8, 12, 20]
usd = [0, 4, 8]
access = 1
base = 0.04
given = { cab_leak = 0.9 }
source = "owner"

[[tests]]
id = "cab_spin"
name = "Watch the clutch take hold"
positive = "hub stands or slips"
points = ["idle"]
instrument = "eyes"
minutes = [2, 4, 8]
usd = [0, 0, 0]
access = 1
caution = "keep hands and cloth clear of the belt"
base = 0.05
given = { cab_clutch = 0.9, cab_leak = 0.25 }
source = "owner"

[[cases]]
name = "dye at a fitting"
tests = [{ test = "cab_dye", result = "positive" }, { test = "cab_spin", result = "negative" }]
leads = "cab_leak"
at_least = 0.8
"""
OVERRIDE = """
schema = "witnessmark.pack/1.0"
name = "a_times"
title = "Example shop: our own times"
version = "1"

[sources.clock]
kind = "measured"
words = "our time clock, invented"

[family]
id = "vib_load"

[[causes]]
id = "damper_aged"
share = 0.2
minutes = [300, 333, 366]
source = "clock"
"""


def entries(*rows: tuple[str, dict[str, Any]]) -> list[str]:
    return [
        json.dumps(
            {
                "schema": "witnessmark.entry/1",
                "kind": kind,
                "id": "c1" if kind == "complaint" else f"e{n}",
                "at": f"2026-03-{2 + n // 10:02d}T08:{n:02d}:00Z",
                "data": data,
            }
        )
        for n, (kind, data) in enumerate(rows)
    ]


def complaint(family: str) -> tuple[str, dict[str, Any]]:
    return "complaint", {"words": "as the driver says it", "families": [family]}


def result(test: str, seen: str) -> tuple[str, dict[str, Any]]:
    return "test", {"test": test, "result": seen}


TRUCK = ("truck", {"label": "Example 12"})
DYE = result("cab_dye", "positive")
SPIN = result("cab_spin", "negative")
WORK = ("work", {"cause": "cab_leak", "did": "seals renewed"})


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    made = open_shop(tmp_path / "shop", create=True)
    folder = made.folder / "packs"
    folder.mkdir(exist_ok=True)
    (folder / "zz_cab_cold.toml").write_text(FAMILY + TESTS, "utf-8")
    (folder / "a_times.toml").write_text(OVERRIDE, "utf-8")
    yield made
    made.close()


def test_the_pack_is_sound_and_its_case_holds(shop: Shop, witnessmark: Any) -> None:
    for path in pack_files(shop):
        found = witnessmark("pack", "check", str(path), "--json")
        assert found.returncode == 0, found.stdout + found.stderr


def test_a_family_of_the_shops_own_goes_from_complaint_to_proof(shop: Shop) -> None:
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold")))
    first = assess_in_shop(shop, "cold")
    assert not first.problems
    odds = first.odds[0]
    assert odds.family == "cab_cold"
    assert odds.causes[0].cause == "cab_leak"
    assert odds.causes[0].low < odds.causes[0].probability < odds.causes[0].high
    assert {s.step for s in first.steps} & {"cab_dye", "cab_spin"}
    assert any("frostbite" in c for s in first.steps for c in s.cautions)
    proof = first.proof_of("c1")
    assert proof.family == "cab_cold"
    assert any("a test that shows the complaint" in m for m in proof.missing)
    seen = entries(TRUCK, complaint("cab_cold"), DYE, SPIN)
    shop.append("cold", seen[2:])
    found = assess_in_shop(shop, "cold")
    assert found.odds[0].causes[0].probability > 0.8
    assert found.odds[0].statement
    assert found.steps[0].step in {"cab_leak", "cab_spin"}
    repair = next(s for s in found.steps if s.step == "cab_leak")
    assert "o-rings" in repair.must_renew
    after = entries(TRUCK, complaint("cab_cold"), DYE, SPIN, WORK)
    shop.append("cold", after[4:])
    worked = assess_in_shop(shop, "cold")
    asked = worked.proof_of("c1")
    assert asked.verdict == "not enough evidence"
    assert any("vent temperature at idle" in m for m in asked.missing)
    again = result("cab_dye", "negative")
    word = ("outcome", {"complaint": "c1", "gone": True, "after_days": 3})
    closing = entries(TRUCK, complaint("cab_cold"), DYE, SPIN, WORK, again, word)
    shop.append("cold", closing[5:6])
    assert assess_in_shop(shop, "cold").proof_of("c1").verdict == "not enough evidence"
    shop.append("cold", closing[6:])
    closed = assess_in_shop(shop, "cold")
    assert closed.proof_of("c1").verdict == "proven"
    assert closed.odds[0].none_listed > 0.9


def test_a_test_that_still_shows_it_is_not_proof(shop: Shop) -> None:
    word = ("outcome", {"complaint": "c1", "gone": True, "after_days": 3})
    rows = entries(TRUCK, complaint("cab_cold"), DYE, WORK, DYE, word)
    shop.new_case("cold", rows)
    assert assess_in_shop(shop, "cold").proof_of("c1").verdict == "not proven"


def test_page_report_and_estimate_speak_of_it_in_its_own_words(
    shop: Shop, witnessmark: Any, tmp_path: Path
) -> None:
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold"), DYE, SPIN))
    shop.new_case("done", entries(TRUCK, complaint("cab_cold"), DYE, SPIN, WORK))
    client = Client(create_app(shop, assess=lambda case: assess_in_shop(shop, case)))
    settled(client, "cold")
    for page in ("/cases/cold", "/knowledge/cab_cold"):
        answer = client.get(page)
        assert answer.status_code == 200
        for words in ("Cab cooling blows warm", "Gas lost at a seal"):
            assert words in answer.text, (page, words)
    assert "Gas circuit" in client.get("/cases/cold").text
    tests = client.get("/cases/cold/tests").text
    assert "Watch the clutch take hold" in tests
    assert "Cab cooling blows warm" in client.get("/new").text
    client.close()
    report = report_html(shop, "done")
    assert "Gas lost at a seal" in report
    for quote in ((), ("--quote",)):
        for source in (
            (str(shop.folder), "cold"),
            (str(case_file(tmp_path)), "--pack", str(pack_files(shop)[-1])),
        ):
            out = tmp_path / "paper.html"
            ran = witnessmark("report", *source, "--out", str(out), *quote)
            assert ran.returncode == 0, ran.stderr
            assert "Gas lost at a seal" in out.read_text("utf-8")


def case_file(folder: Path) -> Path:
    path = folder / "cold.jsonl"
    path.write_text("\n".join(entries(TRUCK, complaint("cab_cold"), DYE, SPIN)), "utf-8")
    return path


def test_an_overridden_number_reaches_odds_step_and_estimate(
    shop: Shop, witnessmark: Any, tmp_path: Path
) -> None:
    rows = entries(
        TRUCK, complaint("vib_load"), result("v_gear", "positive"),
        result("v_damp_vis", "positive"), result("v_mount", "negative"),
    )  # fmt: skip
    shop.new_case("shake", rows)
    plain = tmp_path / "shake.jsonl"
    plain.write_text("\n".join(rows), "utf-8")
    ours, shipped = assess_in_shop(shop, "shake"), assess_file(plain)
    assert ours.odds[0].probability("damper_aged") > shipped.odds[0].probability("damper_aged")
    assert "a_times" in ours.packs
    assert ours.odds[0].packs["a_times"] == load_knowledge(pack_files(shop)).digests["a_times"]
    step = next(s for s in ours.steps if s.step == "damper_aged")
    assert step.minutes.typical == pytest.approx(333.0)
    out = tmp_path / "estimate.html"
    ran = witnessmark("report", str(shop.folder), "shake", "--quote", "--out", str(out))
    assert ran.returncode == 0, ran.stderr
    shipped_out = tmp_path / "shipped.html"
    witnessmark("report", str(plain), "--quote", "--out", str(shipped_out))
    assert out.read_text("utf-8") != shipped_out.read_text("utf-8")
    assert ours.odds[0].causes[0].cause == "damper_aged"


def test_the_owners_word_counts_for_the_shops_own_family_too(shop: Shop) -> None:
    save_own_words(shop, "cab_cold", "cab_door", share="60 %", why="seen it often", by="owner")
    assert set(own_words(shop, "cab_cold")) == {"cab_door"}
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold")))
    assert assess_in_shop(shop, "cold").odds[0].causes[0].cause == "cab_door"
