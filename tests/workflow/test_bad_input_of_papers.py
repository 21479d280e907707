"""Bad input of estimate, answer, parts and rates: a clear refusal or remark, and nothing lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.model.quoted import OwnRates
from witnessmark.report.as_html import paper_html
from witnessmark.report.front.lay_out import one_page_html
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.case.shop_settings import (
    own_rates,
    save_settings,
    set_shop_head,
    shop_head,
)
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.papers.case_papers import paper_of
from witnessmark.workflow.papers.front_page import page_of_shop
from witnessmark.workflow.shop.tables_out import invoice_csv


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    made.new_case("unit7", [])
    yield made
    made.close()


def line(**fields: Any) -> dict[str, Any]:
    return {"lines": [{"what": "pump", **fields}]}


@pytest.mark.parametrize(
    ("kind", "data", "named"),
    [
        ("quote", line(usd=-5), "data.lines[0].usd"),
        ("quote", line(usd=1e300), "data.lines[0].usd"),
        ("quote", line(percent=101, kind="tax"), "data.lines[0].percent"),
        ("quote", line(what="a\x00b"), "U+0000"),
        ("quote", line(what="pump \u202e00.1$"), "direction of reading"),
        ("quote", line(number="9" * 81), "data.lines[0].number"),
        ("approval", {"by": "A", "how": "phone", "limit_usd": -1}, "data.limit_usd"),
        ("approval", {"by": "A", "how": "phone", "shown": "x"}, "data.shown"),
        ("approval", {"by": "A", "how": "phone", "lines": [{"line": 0, "granted": True}]},
         "data.lines[0].line"),
        ("part", {"name": "pump", "state": "lost"}, "data.state"),
        ("part", {"name": "pump", "state": "ordered", "usd": -1}, "data.usd"),
        ("work", {"did": "a", "torques": [{"location": "b", "count": 0}]}, "data.torques[0].count"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_its_place_and_nothing_is_entered(
    shop: Shop, kind: str, data: dict[str, Any], named: str
) -> None:
    before = shop.export("unit7")
    with pytest.raises(WitnessmarkError) as refused:
        shop.add("unit7", kind, data)
    assert named in str(refused.value)
    assert shop.export("unit7") == before


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("labour_usd_per_hour", "-1"), ("labour_usd_per_hour", "99999"),
        ("labour_usd_per_hour", "nan"), ("tax_percent_parts", "101"),
        ("labour_usd_per_hour", "a lot"),
    ],
)  # fmt: skip
def test_an_absurd_rate_is_refused_and_the_old_one_stays(shop: Shop, name: str, text: str) -> None:
    save_settings(shop, {"labour_usd_per_hour": "138"})
    with pytest.raises(InputRefused):
        save_settings(shop, {name: text})
    assert own_rates(shop) == OwnRates(138.0)


def test_markup_and_formulas_in_part_numbers_are_only_text(shop: Shop) -> None:
    hostile = '=1+1<img src=x onerror="a()">'
    shop.add("unit7", "truck", {"label": hostile, "vin": hostile, "plate": hostile})
    shop.add("unit7", "quote", line(what=hostile, usd=5, number=hostile, kind="part"))
    case = shop.case("unit7")
    found = assess(case, {})
    page = one_page_html(page_of_shop(shop, "unit7", found))
    for text in (paper_html(paper_of(found, quote=True)), page):
        assert "<img" not in text
        assert "&lt;img" in text
    assert "'=1+1" in invoice_csv(case, OwnRates())


def test_a_head_too_long_for_the_page_is_refused_and_the_old_one_stays(shop: Shop) -> None:
    head = shop_head(shop)
    with pytest.raises(InputRefused, match="fit on the page"):
        set_shop_head(shop, type(head)(warranty="x" * 401))
    assert shop_head(shop) == head
