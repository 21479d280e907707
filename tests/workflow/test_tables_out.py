"""Tables for other programs: complete, typed, harmless to a spreadsheet; the documented queries."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

import duckdb
import polars as pl
import pytest

from conftest import ROOT
from witnessmark.demo.stories.story import read_story
from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import read_case
from witnessmark.model.quoted import OwnRates
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.case.shop_settings import save_settings
from witnessmark.workflow.shop.tables_out import TABLES, export_tables, invoice_csv, table_of

STORIES = ("movers-9", "laundry-8", "gritter-6")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    made = open_shop(tmp_path_factory.mktemp("tables") / "shop", create=True)
    save_settings(made, {"labour_usd_per_hour": "138"})
    for name in STORIES:
        made.new_case(name, read_story(name).lines, by="Tom Testname")
    yield made
    made.close()


@pytest.fixture(scope="module")
def folder(shop: Shop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("out")
    for form in ("csv", "parquet"):
        assert len(export_tables(shop, place, form=form)) == len(TABLES)
    return place


def test_both_forms_hold_the_same_rows(folder: Path) -> None:
    for name in TABLES:
        told = pl.read_parquet(folder / f"{name}.parquet")
        assert told.schema == pl.Schema(TABLES[name])
        assert told.height > 0
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
            rows = list(csv.DictReader(stream))
        assert len(rows) == told.height
        assert set(rows[0]) == set(TABLES[name])


def test_figures_are_those_of_the_entries(folder: Path) -> None:
    labour = pl.read_parquet(folder / "labour.parquet")
    assert labour["minutes"].to_list() == [105, 35, 45, 45, 205]  # typed in the stories
    assert set(labour["technician"].to_list()) == {"Tom Testname"}
    lines = pl.read_parquet(folder / "estimate_lines.parquet")
    billed = lines.filter(pl.col("final") & (pl.col("case") == "movers-9"))["usd"].sum()
    assert billed == pytest.approx(1524.12)  # added up by hand in cents
    readings = pl.read_parquet(folder / "readings.parquet")
    assert readings.filter(pl.col("value").is_null()).height == 0


def test_every_documented_query_runs_and_finds_rows(folder: Path) -> None:
    page = (ROOT / "docs/exports.md").read_text(encoding="utf-8")
    queries = re.findall(r"```sql\n(.*?)```", page, re.S)
    assert len(queries) == 5
    for form in ("csv", "parquet"):
        for query in queries:
            text = query
            for name in TABLES:
                text = text.replace(f"'{name}.csv'", f"'{folder / name}.{form}'")
            assert duckdb.sql(text).fetchall(), query


def test_invoice_lines_have_no_number_series_and_add_up() -> None:
    case = read_case("movers-9", read_story("movers-9").lines)
    rows = list(csv.DictReader(io.StringIO(invoice_csv(case, OwnRates(138.0)))))
    assert sum(round(float(r["amount_usd"]) * 100) for r in rows) == 152412
    assert {r["billed"] for r in rows} == {"true"}
    assert not [name for name in rows[0] if "number" in name or "invoice" in name]


def test_no_text_is_a_formula_and_nothing_is_lost() -> None:
    line = ('{"kind":"work","id":"w","at":"2026-03-02T08:00:00Z",'
            '"data":{"did":"=1+1, \\"quoted\\"\\nnew line"}}')  # fmt: skip
    case = read_case("x", [line])
    assert table_of("labour", [case])["did"].to_list() == ['=1+1, "quoted"\nnew line']
    quote = ('{"kind":"quote","id":"q","at":"2026-03-02T08:00:00Z",'
             '"data":{"lines":[{"what":"@cmd","usd":5}]}}')  # fmt: skip
    text = invoice_csv(read_case("x", [quote]), OwnRates())
    assert "'@cmd" in text


def test_a_file_is_no_folder_and_other_forms_are_refused(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputRefused):
        export_tables(shop, tmp_path / "file")
    with pytest.raises(InputRefused):
        export_tables(shop, tmp_path / "out", form="xlsx")
