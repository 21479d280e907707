"""What proven cases propose to the packs: before and after, and nothing without a yes."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from conftest import Run
from witnessmark.errors import InputRefused
from witnessmark.inference.shop_history import shares
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.pool import Pool, PooledShares, PooledTest, PooledTime
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import Closing, History
from witnessmark.planner.ranking.telling import tellings
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.pool_taken_in import pool_json
from witnessmark.workflow.shop.pack_check import check_pack_file
from witnessmark.workflow.shop.pack_review import accept, review_pool, review_shop
from witnessmark.workflow.shop.shared_experience import take_in

FAMILY = load_knowledge().families["lights_trailer"]
FIRST, TEST = FAMILY.causes[0], FAMILY.tests[0]


def _pool(quarter: str = "2031Q2") -> Pool:
    """Shares turned round, a test that always shows the first cause, a repair that takes long."""
    whole = {c.id: c.prior for c in FAMILY.causes}
    turned = dict(zip(whole, list(whole.values())[::-1], strict=True))
    row = (0.95, *((0.05 / (len(TEST.outcomes) - 1),) * (len(TEST.outcomes) - 1)))
    return Pool(
        {FAMILY.id: PooledShares(turned, 300.0, 900)}, quarter,
        {FAMILY.id: {TEST.id: PooledTest(TEST.outcomes, {FIRST.id: row}, 90.0, 900)}},
        {FIRST.id: PooledTime(2 * FIRST.minutes.typical, 3 * FIRST.minutes.typical, 80.0, 900)},
    )  # fmt: skip


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return open_shop(tmp_path / "shop", create=True)


def _taken(shop: Shop, tmp_path: Path, pool: Pool) -> Path:
    out = tmp_path / f"{pool.quarter}.json"
    out.write_text(json.dumps(pool_json(pool, files=900, bound=0.02, epsilon="1")), "utf-8")
    take_in(shop, out)
    return out


def test_a_pool_proposes_with_before_and_after_and_changes_nothing(
    shop: Shop, tmp_path: Path
) -> None:
    _taken(shop, tmp_path, _pool())
    (found,) = review_shop(shop)
    kinds = {p.kind: p for p in found.proposals}
    assert set(kinds) == {"shares", "row", "minutes"}
    assert [v.before for v in kinds["shares"].values if v.of == FIRST.id] == [FIRST.prior]
    row = kinds["row"].values
    assert (row[0].before, row[0].after) == (TEST.row(FIRST.id)[0], 0.95)
    assert not row[0].low <= row[0].before <= row[0].high
    assert kinds["minutes"].values[1].after == pytest.approx(2 * FIRST.minutes.typical)
    assert not (shop.folder / "packs").exists()
    assert knowledge_of(shop).families[FAMILY.id].cause(FIRST.id) == FIRST


def test_on_a_yes_it_stands_in_the_own_pack_and_odds_stay(shop: Shop, tmp_path: Path) -> None:
    _taken(shop, tmp_path, _pool())
    (found,) = review_shop(shop)
    with pytest.raises(InputRefused, match="Nobody"):
        accept(shop, [found.proposals[0].id], by=" ")
    with pytest.raises(InputRefused, match="not proposed"):
        accept(shop, ["x:y"], by="Ann")
    priors = {c.id: c.prior for c in FAMILY.causes}
    before = shares(learnt(shop, Case("", ()))[0], FAMILY.id, priors).prior()
    accept(shop, [p.id for p in found.proposals], by="Ann")
    path = shop.folder / "packs" / f"learnt-{FAMILY.id}.toml"
    # Whatever is wrong with it then is a case of the packs that comes out otherwise, by its name.
    assert all("case '" in p.where for p in check_pack_file(path).problems)
    text = path.read_text(encoding="utf-8")
    assert "accepted by Ann" in text
    assert "900 shops weighed as 300" in text
    family = knowledge_of(shop).families[FAMILY.id]
    assert {c.id: c.prior for c in family.causes} == pytest.approx(before, abs=1e-5)
    told = next(t for t in family.tests if t.id == TEST.id)
    assert told.row(FIRST.id)[0] == pytest.approx(0.95)
    assert told.outcomes == TEST.outcomes
    assert family.cause(FIRST.id).minutes.typical == pytest.approx(2 * FIRST.minutes.typical)
    # The figures stand in the pack now: the same pool is not counted beside them a second time.
    history = learnt(shop, Case("", ()))[0]
    assert FAMILY.id not in history.pool.families
    assert FIRST.id not in history.pool.minutes
    assert review_shop(shop) == ()
    path.rename(path.with_suffix(".off"))  # the pack taken away: as if nobody had said yes
    assert FAMILY.id in learnt(shop, Case("", ()))[0].pool.families
    path.with_suffix(".off").rename(path)
    _taken(shop, tmp_path, _pool("2031Q3"))  # a later pool speaks again
    assert FAMILY.id in learnt(shop, Case("", ()))[0].pool.families


def test_cases_closed_before_the_yes_are_not_counted_twice() -> None:
    priors = {c.id: c.prior for c in FAMILY.causes}
    closings = tuple(
        Closing(f"c{k}", FAMILY.id, (FIRST.id,), True, age, results=((TEST.id, TEST.outcomes[0]),))
        for k, age in enumerate((400.0, 300.0, 3.0))
    )
    history = History(closings, settled={f"{FAMILY.id}:shares": 10.0})
    assert shares(History(closings), FAMILY.id, priors).proven == 3
    assert shares(history, FAMILY.id, priors).proven == 1
    assert history.counts(f"{FAMILY.id}:{TEST.id}:{FIRST.id}", 400.0)


def test_another_own_pack_with_the_last_word_is_named(shop: Shop, tmp_path: Path) -> None:
    _taken(shop, tmp_path, _pool())
    packs = shop.folder / "packs"
    packs.mkdir()
    (packs / "ours.toml").write_text(
        'schema = "witnessmark.pack/2.0"\nname = "ours"\ntitle = "t"\nversion = "1"\n'
        '[sources.s]\nkind = "measured"\nwords = "here"\n'
        f'[family]\nid = "{FAMILY.id}"\n[[causes]]\nid = "{FIRST.id}"\nminutes = [5, 6, 7]\n'
        'source = "s"\n', "utf-8",
    )  # fmt: skip
    with pytest.raises(InputRefused, match="last word"):
        accept(shop, [f"{FAMILY.id}:{FIRST.id}:minutes"], by="Ann")
    assert [p.name for p in packs.iterdir()] == ["ours.toml"]
    accept(shop, [f"{FAMILY.id}:{TEST.id}:{FIRST.id}"], by="Ann")


def test_what_tells_apart_best_for_the_money_by_hand() -> None:
    """Two causes alike; a test that never errs tells one bit, one that says nothing none."""
    two = dict.fromkeys([c.id for c in FAMILY.causes[:2]], 0.5)
    a, b = FAMILY.causes[0].id, FAMILY.causes[1].id
    sure = replace(FAMILY.tests[0], outcomes=("y", "n"), probability={a: (1.0, 0.0), b: (0.0, 1.0)})
    dumb = replace(FAMILY.tests[1], outcomes=("y", "n"), probability={a: (0.3, 0.7), b: (0.3, 0.7)})
    family = replace(FAMILY, tests=(dumb, sure))
    found = tellings(family, two, {}, Settings())
    assert [t.test for t in found] == [sure.id, dumb.id]
    assert [t.bits for t in found] == pytest.approx([1.0, 0.0], abs=1e-12)


def test_by_the_command(shop: Shop, tmp_path: Path, witnessmark: Run) -> None:
    file = _taken(shop, tmp_path, _pool())
    told = witnessmark("pack", "review", shop.folder)
    assert told.returncode == 0, told.stderr
    for words in (
        f"{FAMILY.id}:shares",
        "900 shops together",
        "best for the money",
        "now",
        "after",
    ):
        assert words in told.stdout
    of_pool = witnessmark("pack", "review", file, "--json")
    assert json.loads(of_pool.stdout)["families"][0]["family"] == FAMILY.id
    assert len(review_pool(_pool())) == 1
    silent = witnessmark("pack", "review", shop.folder, "--accept", f"{FAMILY.id}:shares")
    assert silent.returncode == 2
    assert "--by" in silent.stderr
    done = witnessmark(
        "pack", "review", shop.folder, "--accept", f"{FAMILY.id}:shares", "--by", "Ann"
    )
    assert "learnt-lights_trailer.toml" in done.stdout
