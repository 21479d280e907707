"""The customer's yes from afar: the page, what was shown, the answer, and what is refused."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from witnessmark.errors import Forbidden, InputRefused, WitnessmarkError
from witnessmark.model.answered import refusals
from witnessmark.model.entries.agreed_data import ApprovalData
from witnessmark.model.settings import Settings
from witnessmark.planner.estimate.approvals import ledger
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.case.shop_settings import set_shop_name
from witnessmark.workflow.papers.ask_customer import asked_pages, make_ask_page, take_answer

DAY = date(2026, 3, 3)
LINES = [
    {"what": "Pump <b>", "usd": 700, "cause": "pump_worn", "risk": "do not drive"},
    {"what": "Hose", "usd": 60.5, "risk": "soon"},
]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    set_shop_name(made, "Invented Truck Repair")
    made.new_case("unit7", [])
    made.add("unit7", "complaint", {"words": "loses power", "families": ["fuel_low"]},
             at="2026-03-02T08:00:00Z")  # fmt: skip
    made.add("unit7", "quote", {"lines": LINES, "total_usd": 760.5}, at="2026-03-02T09:00:00Z")
    yield made
    made.close()


def send(shop: Shop, **more: Any) -> str:
    return make_ask_page(shop, "unit7", at="2026-03-02T10:00:00Z", **more)[0]


def saved(html: str, *granted: bool, **more: Any) -> bytes:
    """Return what the page's own script saves: the known part, and the answers."""
    found = re.search(r'<script type="application/json" id="known">(.*?)</script>', html)
    assert found is not None
    lines = [{"line": n, "granted": yes} for n, yes in enumerate(granted, start=1)]
    answer = {**json.loads(found[1]), "name": "R. Sample", "words": "", "lines": lines}
    return json.dumps({**answer, **more}).encode()


def test_a_page_goes_out_and_its_answer_comes_back_line_by_line(shop: Shop) -> None:
    html = send(shop)
    for words in ("loses power", "$700.00", "do not drive the truck", "have it done soon",
                  "total $760.50", "local law"):  # fmt: skip
        assert words in html, words
    assert "<b>" not in html
    assert "Pump &lt;b&gt;" in html
    assert "http" not in html
    take_answer(shop, "unit7", saved(html, True, False, words="later"), today=DAY)
    case = shop.case("unit7")
    [(_, data)] = list(case.of(ApprovalData))
    assert (data.by, data.granted, data.words) == ("R. Sample", True, "later")
    [no] = refusals(case)
    assert (no.what, no.risk) == ("Hose", "soon")
    assert ledger(case, Settings()).approved_usd == 700


def test_what_was_shown_is_stored_whole(shop: Shop) -> None:
    html = send(shop)
    entry = take_answer(shop, "unit7", saved(html, True, True), today=DAY)
    assert isinstance(entry.data, ApprovalData)
    assert entry.data.shown == hashlib.sha256(html.encode()).hexdigest()
    assert shop.originals.path(entry.data.shown).read_bytes() == html.encode()


def test_a_page_can_be_revoked_and_runs_out(shop: Shop) -> None:
    html = send(shop, days=3)
    with pytest.raises(Forbidden, match="until 2026-03-05"):
        take_answer(shop, "unit7", saved(html, True, True), today=date(2026, 3, 6))
    [asked] = asked_pages(shop.case("unit7"))
    shop.add("unit7", "retract", {"entry": asked.note, "why": "price was wrong"})
    with pytest.raises(Forbidden, match="revoked"):
        take_answer(shop, "unit7", saved(html, True, True), today=DAY)
    assert not list(shop.case("unit7").of(ApprovalData))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda html: saved(html, True),  # a line is not answered
        lambda html: saved(html, True, True, True),  # a line too many
        lambda html: saved(html, True, True, case="other"),
        lambda html: saved(html, True, True, page="0" * 16),
        lambda html: saved(html, True, True, quote="e99"),
        lambda html: saved(html, True, True, name=" "),
        lambda html: saved(html, True, True, name="a\u202eb"),
        lambda html: saved(html, True, True, name="a\x00b"),
        lambda html: saved(html, True, True, lines=[{"line": 1, "granted": "yes"}]),
        lambda _: b"{", lambda _: b"[]", lambda _: b"\xff\xfe", lambda _: b"[" * 70_000,
    ],
)  # fmt: skip
def test_a_spoiled_answer_is_refused_and_nothing_is_entered(shop: Shop, spoil: Any) -> None:
    html = send(shop)
    before = shop.export("unit7")
    with pytest.raises(WitnessmarkError) as refused:
        take_answer(shop, "unit7", spoil(html), today=DAY)
    assert refused.value.what
    assert shop.export("unit7") == before


def test_without_an_estimate_there_is_nothing_to_ask(shop: Shop) -> None:
    shop.new_case("empty", [])
    with pytest.raises(WitnessmarkError, match="no estimate"):
        make_ask_page(shop, "empty")
    with pytest.raises(InputRefused, match="1 to 90 days"):
        make_ask_page(shop, "unit7", days=91)


def test_the_page_speaks_the_customers_language(shop: Shop) -> None:
    shop.add("unit7", "truck", {"label": "unit 7", "language": "es"})
    html = send(shop)
    assert 'lang="es"' in html
    assert "no circule con el camión" in html


def test_taxes_and_deposits_go_with_the_lines_they_belong_to(shop: Shop) -> None:
    lines = [
        *LINES,
        {"what": "Deposit", "usd": 50, "kind": "core", "cause": "pump_worn"},
        {"what": "Tax", "kind": "tax", "percent": 10, "on": ["part"]},
    ]
    shop.add("unit7", "quote", {"lines": lines}, at="2026-03-02T09:30:00Z")
    html = send(shop)
    assert html.count('value="no"') == 2, "only jobs are accepted or declined"
    take_answer(shop, "unit7", saved(html, False, True), today=DAY)
    case = shop.case("unit7")
    assert ledger(case, Settings()).approved_usd == 66.55  # 60.50 and a tenth of it
    assert [no.what for no in refusals(case)] == ["Pump <b>"]
