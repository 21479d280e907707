"""A proven job teaches: the next truck's odds, times and healthy readings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from witnessmark.workflow.learnt import learnt
from witnessmark.workflow.shop import Shop, entry_line, open_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    yield made
    made.close()


def lines(*, gone: bool = True, flow: bool = True, engine_type: str = "example-15l") -> list[str]:
    def reading(quantity: str, value: str, rpm: float) -> str:
        data = {
            "quantity": quantity,
            "value": value,
            "point": {"rpm": rpm, "load": "none"},
            "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
        }
        return entry_line("reading", data)

    complaint = entry_line(
        "complaint", {"words": "low fuel", "families": ["fuel_low"]}, entry_id="c1"
    )
    engine = {"fuel_supply": "gallery", "type": engine_type}
    work: dict[str, Any] = {
        "cause": "pump_relief",
        "did": "renewed",
        "minutes": 75,
        "parts": [{"name": "spring", "usd": 40}],
    }
    rows = [
        entry_line("truck", {"label": "unit 1", "engine": engine}),
        complaint,
        reading("fuel_gallery_pressure", "65 psi", 650),
        reading("fuel_gallery_pressure", "78 psi", 1400),
        entry_line("work", work),
        reading("fuel_gallery_pressure", "75 psi", 650),
        reading("fuel_gallery_pressure", "95 psi", 1400),
    ]
    rows += [reading("fuel_return_flow", "0.5 gal/min", 650)] if flow else []
    rows += (
        [entry_line("outcome", {"complaint": "c1", "gone": True, "after_days": 1})] if gone else []
    )
    return rows


def test_a_proven_job_becomes_history_and_baseline(shop: Shop) -> None:
    shop.new_case("old", lines())
    case = shop.new_case("new", lines(gone=False)[:3])
    history, baseline = learnt(shop, case)
    assert [(c.causes, c.proven) for c in history.closings] == [(("pump_relief",), True)]
    assert [j.minutes for j in history.jobs] == [75]
    assert baseline is not None
    assert len(baseline.readings) == 3


@pytest.mark.parametrize("part", ["flow", "gone"])
def test_an_unproven_closing_is_counted_but_teaches_nothing(shop: Shop, part: str) -> None:
    shop.new_case("old", lines(**{part: False}))
    case = shop.new_case("new", lines(gone=False)[:3])
    history, baseline = learnt(shop, case)
    assert not any(c.proven for c in history.closings)
    if part == "flow":
        assert baseline is None


def test_another_engine_type_gives_no_baseline(shop: Shop) -> None:
    shop.new_case("old", lines(engine_type="other"))
    case = shop.new_case("new", lines(gone=False)[:3])
    assert learnt(shop, case)[1] is None


def test_a_case_does_not_learn_from_itself(shop: Shop) -> None:
    case = shop.new_case("only", lines())
    assert learnt(shop, case)[0].closings == ()
