"""The ledger in pages: what is kept follows every change, and finds what is looked for."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from web.bench_page import Client
from witnessmark.errors import InputRefused
from witnessmark.model.dossier import Dossier
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.shop.ledger import row_of
from witnessmark.workflow.shop.ledger_pages import every_row, ledger_page

AT = "2026-03-02T08:00:00Z"


@pytest.fixture
def shop(tmp_path: Path):
    found = open_shop(tmp_path / "shop", create=True)
    for number in range(120):
        truck = {
            "label": f"unit {number}",
            "customer": f"Invented {'Oats' if number % 2 else 'Rye'}",
        }
        lines = [
            entry_line("truck", truck, entry_id="t", at=AT),
            entry_line("complaint", {"words": "hums (invented)"}, entry_id="c", at=AT),
        ]
        if number >= 100:
            data = {"complaint": "c", "gone": True}
            lines.append(entry_line("outcome", data, entry_id="o", at=AT))
        found.new_case(f"c{number}", lines)
    yield found
    found.close()


def test_pages_hold_every_case_once_and_the_last_touched_first(shop: Shop) -> None:
    pages = [ledger_page(shop, is_open=True, number=n) for n in (1, 2)]
    assert [(p.total, p.pages, len(p.rows)) for p in pages] == [(100, 2, 50)] * 2
    assert [r.case for p in pages for r in p.rows] == [f"c{n}" for n in range(99, -1, -1)]
    closed = ledger_page(shop, is_open=False)
    assert closed.total == 20
    assert ledger_page(shop, is_open=True, number=3).rows == ()
    assert {r.case for r in every_row(shop)} == {f"c{n}" for n in range(120)}
    assert every_row(shop) == [row_of(shop.case(r.case)) for r in every_row(shop)]


def test_a_change_shows_at_once(shop: Shop) -> None:
    ledger_page(shop, is_open=True)
    other = open_shop(shop.folder)
    other.add("c7", "outcome", {"complaint": "c", "gone": True})
    other.add("c8", "truck", {"label": "renamed 8"})
    other.close()
    rows = ledger_page(shop, is_open=True)
    assert rows.total == 99
    assert (rows.rows[0].case, rows.rows[0].truck) == ("c8", "renamed 8")
    assert ledger_page(shop, is_open=False).rows[0].case == "c7"


@pytest.mark.parametrize(
    ("search", "count"),
    [("rye", 50), ("RYE unit", 50), ("unit 42", 1), ("%", 0), ("_", 0), ("nobody", 0), ("", 100)],
)
def test_finding(shop: Shop, search: str, count: int) -> None:
    assert ledger_page(shop, is_open=True, search=search).total == count


def test_a_book_that_can_only_be_read_has_its_ledger(shop: Shop) -> None:
    shop.casebook.database.only_read()
    assert ledger_page(shop, is_open=True, search="rye").total == 50
    assert len(ledger_page(shop, is_open=True, number=2).rows) == 50
    assert ledger_page(shop, is_open=True, number=2).rows[-1].case == "c0"
    assert len(every_row(shop)) == 120


def test_the_page_turns(shop: Shop) -> None:
    def nothing(_: str) -> Dossier:
        raise InputRefused("No odds are needed here.")

    client = Client(create_app(shop, assess=nothing))
    first = client.get("/").text
    assert first.count('<li><a href="/cases/') == 70
    assert "1 of 2" in first
    assert client.get("/?p=2").text.count("unit 4 <span") == 1
    assert "unit 42" in client.get("/?q=unit+42").text
    for odd in (
        "/?p=-1",
        "/?p=x",
        "/?p=99999",
        "/?p=999999999",
        "/?q=%00",
        "/?q=%ff",
        "/?c=%C2%B2",
    ):
        assert client.get(odd).status_code == 200, odd
    client.close()


def test_a_long_case_lists_every_entry_once_and_the_newest_first(shop: Shop) -> None:
    notes = [
        entry_line("note", {"words": f"note {n}"}, entry_id=f"n{n:03d}", at=AT) for n in range(450)
    ]
    shop.new_case("long", notes)

    def nothing(_: str) -> Dossier:
        raise InputRefused("No odds are needed here.")

    client = Client(create_app(shop, assess=nothing))
    try:
        first = client.get("/cases/long").text
        found = [re.findall(r"/from/entry/(n\d+)", first)]
        found += [
            re.findall(r"/from/entry/(n\d+)", client.get(f"/cases/long?e={n}").text) for n in (2, 3)
        ]
        assert [len(page) for page in found] == [200, 200, 50]
        assert [i for page in reversed(found) for i in page] == [f"n{n:03d}" for n in range(450)]
        assert "450 entries" in first
        assert "?e=2#entries" in first
        for other in ("0", "-1", "x", "99999", "٣"):
            assert client.get(f"/cases/long?e={other}").status_code == 200
        assert len(client.get("/cases/long?e=9").text) < len(first)
        shop.add("long", "note", {"words": "the newest"})
        assert "the newest" in client.get("/cases/long").text
    finally:
        client.close()
