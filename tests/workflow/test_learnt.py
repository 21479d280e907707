"""A proven job teaches: the next truck's odds, times and healthy readings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from witnessmark.model.digest import digest
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier import learnt_for_case, lessons_kept
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.lessons_kept import Lesson
from workflow.closed_cases import fuel_case


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    yield made
    made.close()


def test_a_proven_job_becomes_history_and_baseline(shop: Shop) -> None:
    shop.new_case("old", fuel_case())
    case = shop.new_case("new", fuel_case(gone=False)[:3])
    history, baseline = learnt(shop, case)
    assert [(c.causes, c.proven) for c in history.closings] == [(("pump_relief",), True)]
    assert [j.minutes for j in history.jobs] == [75]
    assert baseline is not None
    assert len(baseline.readings) == 3


@pytest.mark.parametrize("part", ["flow", "gone"])
def test_an_unproven_closing_is_counted_but_teaches_nothing(shop: Shop, part: str) -> None:
    shop.new_case("old", fuel_case(**{part: False}))
    case = shop.new_case("new", fuel_case(gone=False)[:3])
    history, baseline = learnt(shop, case)
    assert not any(c.proven for c in history.closings)
    if part == "flow":
        assert baseline is None


def test_another_engine_type_gives_no_baseline(shop: Shop) -> None:
    shop.new_case("old", fuel_case(engine_type="other"))
    case = shop.new_case("new", fuel_case(gone=False)[:3])
    assert learnt(shop, case)[1] is None


def test_a_case_does_not_learn_from_itself(shop: Shop) -> None:
    case = shop.new_case("only", fuel_case())
    assert learnt(shop, case)[0].closings == ()


def test_lessons_are_judged_once_kept_on_disk_and_forgotten_when_erased(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WITNESSMARK_CACHE", str(tmp_path / "kept"))
    shop.new_case("old", fuel_case())
    case = shop.new_case("new", fuel_case(gone=False)[:3])
    judged: list[str] = []
    made = learnt_for_case._taught

    def counted(*told: object) -> Lesson:
        judged.append(str(told[1]))
        return made(*told)  # type: ignore[arg-type]

    monkeypatch.setattr(learnt_for_case, "_taught", counted)
    first, baseline = learnt(shop, case)
    assert sorted(judged) == ["new", "old"]
    assert learnt(shop, case) == (first, baseline)
    lessons_kept._HELD.clear()  # as another process, which finds them on disk
    again, same = learnt(shop, case)
    assert (again, same) == (first, baseline)
    assert digest(again) == digest(first)
    assert len(judged) == 2
    shop.add("new", "note", {"words": "one more line"})
    learnt(shop, shop.case("new"))
    assert judged[2:] == ["new"]
    lessons_kept.forget_lessons(shop)
    learnt(shop, shop.case("new"))
    assert len(judged) == 5


def test_a_damaged_file_of_lessons_is_as_if_it_were_not_there(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WITNESSMARK_CACHE", str(tmp_path / "kept"))
    shop.new_case("old", fuel_case())
    case = shop.new_case("new", fuel_case(gone=False)[:3])
    first, _ = learnt(shop, case)
    for path in (tmp_path / "kept").iterdir():
        path.write_bytes(path.read_bytes()[:-20])
    lessons_kept._HELD.clear()
    assert learnt(shop, case)[0] == first
