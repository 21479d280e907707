"""A shop gives, many are merged, a shop takes in: at its doors."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from conftest import ROOT, Run
from witnessmark.errors import InputRefused
from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.learnt_tests import learnt_rows
from witnessmark.model.entries.case import Case
from witnessmark.model.pool import Pool, PooledComeback, PooledTest, PooledTime
from witnessmark.model.shop_record import History
from witnessmark.planner.ranking.costs import shop_minutes, whose_figures
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.pool_taken_in import pool_json, pool_of
from witnessmark.workflow.shop.experience import experience_of, family_shares
from witnessmark.workflow.shop.shared_experience import give, merge_files, take_in, take_out
from workflow.closed_cases import fuel_case

LATER = datetime.now(UTC).date() + timedelta(days=100)
QUARTER = f"{datetime.now(UTC).year}Q{(datetime.now(UTC).month + 2) // 3}"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    shop = open_shop(tmp_path_factory.mktemp("sharing") / "shop", create=True)
    for name in "abc":
        rows = [json.loads(line) for line in fuel_case()]
        rows[0]["data"] |= {
            "customer": "Zebulon Quill",
            "vin": "1ZZZZ99Z9ZZ999999",
            "miles": 610000,
        }
        shop.new_case(name, [json.dumps(row) for row in rows], by="Ann")
    return shop


def test_no_truck_customer_word_or_day_leaves(shop: Shop, tmp_path: Path) -> None:
    given = give(shop, tmp_path / "out.json", quarter=QUARTER, today=LATER)
    text = given.path.read_text(encoding="utf-8")
    for canary in ("Zebulon", "Quill", "ZZZ99", "unit 1", "example-15l", "low fuel", "Ann",
                   datetime.now(UTC).date().isoformat()):  # fmt: skip
        assert canary not in text
    schema = json.loads((ROOT / "docs/experience.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(text))
    assert (given.quarter, given.epsilon, given.again) == (QUARTER, Fraction(1), False)


def test_asked_again_the_very_same_file_comes_out(shop: Shop, tmp_path: Path) -> None:
    first = give(shop, tmp_path / "1.json", quarter=QUARTER, today=LATER)
    second = give(shop, tmp_path / "2.json", quarter=QUARTER, today=LATER, epsilon=Fraction(5))
    assert second.again
    assert first.path.read_bytes() == second.path.read_bytes()
    with pytest.raises(InputRefused, match="already"):
        give(shop, tmp_path / "1.json", quarter=QUARTER, today=LATER)


def test_budgets_of_quarters_add_up_and_end(shop: Shop, tmp_path: Path) -> None:
    give(shop, tmp_path / "now.json", quarter=QUARTER, today=LATER)
    earlier = give(shop, tmp_path / "then.json", quarter="2019Q1", epsilon=Fraction(2))
    assert earlier.spent == 3
    with pytest.raises(InputRefused, match="budget"):
        give(shop, tmp_path / "more.json", quarter="2019Q2", epsilon=Fraction(6))


@pytest.mark.parametrize("quarter", ["2031", "Q2", "2031Q5", "31Q1", "yesterday"])
def test_no_quarter(shop: Shop, tmp_path: Path, quarter: str) -> None:
    with pytest.raises(InputRefused, match="no quarter"):
        give(shop, tmp_path / "x.json", quarter=quarter)


def test_a_quarter_that_goes_on_is_not_given(shop: Shop, tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="not over"):
        give(shop, tmp_path / "x.json", quarter=QUARTER, today=datetime.now(UTC).date())


def test_the_key_and_what_was_given_are_closed_to_others(shop: Shop, tmp_path: Path) -> None:
    give(shop, tmp_path / "x.json", quarter=QUARTER, today=LATER)
    for path in (shop.folder / "experience").iterdir():
        assert path.stat().st_mode & 0o077 == 0, path


def test_a_pool_counts_on_every_answer_and_is_taken_out_again(shop: Shop, tmp_path: Path) -> None:
    given = give(shop, tmp_path / "own.json", quarter=QUARTER, today=LATER)
    out = tmp_path / "pool.json"
    assert merge_files([given.path], out).files == 1
    told = json.loads(out.read_text(encoding="utf-8"))
    shares = told["families"]["fuel_low"]["shares"]
    rest = [c for c in shares if c != "pump_relief"]
    shares |= {"pump_relief": 0.6} | dict.fromkeys(rest, 0.4 / len(rest))
    told["families"]["fuel_low"] |= {"weight": 200.0, "shops": 40}
    out.write_text(json.dumps(told), encoding="utf-8")
    before, pulse = family_shares(shop, "fuel_low"), shop.pulse()
    case = [json.loads(line) for line in fuel_case(gone=False)][:2]
    shop.new_case("new", [json.dumps(row) for row in case])
    old = assess_in_shop(shop, "new").odds[0].probability("pump_relief")
    assert take_in(shop, out) >= 40
    assert pool_of(shop.folder) is not None
    after = family_shares(shop, "fuel_low")
    assert (before.shops, after.shops, after.start_weight) == (0, 40, 200.0)
    assert "40 shops" in after.words
    relief = next(c for c in after.causes if c.cause == "pump_relief")
    assert relief.share == pytest.approx((200 * 0.6 + 3) / 203, rel=1e-3)
    assert shop.pulse() != pulse
    assert assess_in_shop(shop, "new").odds[0].probability("pump_relief") > old + 0.1
    assert take_out(shop)
    assert family_shares(shop, "fuel_low").shops == 0
    assert not take_out(shop)


def test_times_comebacks_and_tables_of_the_pool_are_used_with_their_weight(
    shop: Shop, tmp_path: Path, witnessmark: Run
) -> None:
    knowledge = knowledge_of(shop)
    family = knowledge.families["fuel_low"]
    relief, test = knowledge.cause("pump_relief"), family.tests[0]
    assert relief is not None
    alone = experience_of(shop)
    pack = shop_minutes(relief, None)
    even = (1.0 / len(test.outcomes),) * len(test.outcomes)
    pool = Pool(
        {}, "2031Q2",
        {"fuel_low": {test.id: PooledTest(test.outcomes, {"pump_relief": even}, 60.0, 300)}},
        {"pump_relief": PooledTime(3 * pack.typical, 5 * pack.typical, 80.0, 300)},
        {"pump_relief": PooledComeback(0.4, 50.0, 300)},
    )  # fmt: skip
    out = tmp_path / "pool.json"
    out.write_text(json.dumps(pool_json(pool, files=300, bound=0.02, epsilon="1")), "utf-8")
    take_in(shop, out)
    assert pool_of(shop.folder) == pool
    history = learnt(shop, Case("", ()))[0]
    # Own, then the pool, then the pack: without own jobs the pool's; three own jobs pull it back.
    assert shop_minutes(relief, History(pool=pool)).typical == pytest.approx(3 * pack.typical)
    assert pack.typical < shop_minutes(relief, history).typical < 3 * pack.typical
    assert "300 shops" in whose_figures(relief, history)
    model = FamilyModel(family, knowledge.conditions, history)
    own = learnt_rows(history, family).get(test.id, {}).get("pump_relief")
    seen = own if own is not None else 0.0
    row = 60.0 * np.asarray(even) + seen
    assert model.tests[test.id].row("pump_relief") == pytest.approx(tuple(row / row.sum()))
    assert model.row_doubt(test)["pump_relief"] < model.row_doubt(test)[""]
    found = experience_of(shop)
    assert [(t.test, t.rows, t.weight, t.shops) for t in found.tests] == [(test.id, 1, 60.0, 300)]
    assert alone.tests == ()
    told = witnessmark("history", shop.folder)
    assert "weighed as 60 results" in told.stdout
    assert "300 shops together" in told.stdout
    take_out(shop)


def test_what_is_no_pool_is_refused_and_nothing_changes(shop: Shop, tmp_path: Path) -> None:
    bad = tmp_path / "bad.json"
    bad.write_text('{"schema": "witnessmark-pool/1", "quarter": "", "families": {"fuel_low": {}}}',
                   encoding="utf-8")  # fmt: skip
    with pytest.raises(InputRefused, match="lacks"):
        take_in(shop, bad)
    assert pool_of(shop.folder) is None


def test_by_the_command(shop: Shop, tmp_path: Path, witnessmark: Run) -> None:
    out = tmp_path / "given.json"
    told = witnessmark("experience", "export", shop.folder, out, "--quarter", "2018Q4")
    assert told.returncode == 0, told.stderr
    assert "in all" in told.stdout
    merged = witnessmark("experience", "merge", tmp_path, "--out", tmp_path / "p.pool", "--json")
    assert merged.returncode == 0, merged.stderr
    assert json.loads(merged.stdout)["shops"] == 1
    nothing = witnessmark("experience", "take", shop.folder)
    assert nothing.returncode == 2
    assert "Name its file" in nothing.stderr
