"""A hundred tables that are easily read shifted: right, asked or refused, never a wrong number."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.readers.shifted_tables import names_place, outcome_of
from tests.readers.tables_a import TABLES, Table


def test_there_are_a_hundred_different_ones() -> None:
    assert len({table.text for table in TABLES}) == len({t.name for t in TABLES}) == 100


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t.name)
def test_no_number_is_wrong(tmp_path: Path, table: Table) -> None:
    path = tmp_path / "table.csv"
    path.write_text(table.text, encoding="utf-8")
    outcome, words = outcome_of(path, table.truth, table.time)
    assert outcome in table.outcomes, words
    assert names_place(words, table.line, table.column), words
