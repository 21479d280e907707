"""What the readers make of tables, logs, samples and edges, whole and damaged."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from approved.approved import same, told
from readers.mutants import mutants, seeds
from readers.tables_a import TABLES
from witnessmark.errors import WitnessmarkError
from witnessmark.readers import read_recording

TABLES_B = Path(__file__).parents[1] / "files" / "tables_b"
#: Damaged files are told by seed and number.
SEED, DAMAGED = 20261201, 160


def answer(path: Path) -> Any:
    try:
        return told(read_recording(path))
    except WitnessmarkError as error:
        return {"refused": str(error)}


def test_tables_of_the_first_hand(tmp_path: Path) -> None:
    found = {}
    for table in TABLES:
        path = tmp_path / "table.csv"
        path.write_text(table.text, encoding="utf-8", newline="")
        found[table.name] = answer(path)
    same("tables_a", found)


def test_tables_of_the_second_hand() -> None:
    paths = sorted(p for p in TABLES_B.iterdir() if p.name.startswith("b"))
    same("tables_b", {p.stem: answer(p) for p in paths})


@pytest.mark.parametrize("room", ["whole", "damaged"])
def test_files_of_every_form(room: str, tmp_path: Path) -> None:
    whole = seeds(None)
    files = whole.items() if room == "whole" else mutants(whole, DAMAGED, seed=SEED)
    found = {}
    for number, (name, data) in enumerate(files):
        path = tmp_path / "file"
        path.write_bytes(data)
        found[f"{number} {name}"] = answer(path)
    same(f"files_{room}", found)
