"""Every notebook runs from its first cell to its last; none is kept with what it printed."""

from __future__ import annotations

from dataclasses import is_dataclass
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from conftest import ROOT
from patience import PATIENCE_S
from witnessmark.model import dossier, odds, proof, step

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def test_there_are_four() -> None:
    assert [p.stem for p in NOTEBOOKS] == [
        "a_case_and_its_pack", "fuel_by_hand", "orders_and_damping", "read_a_recording",
    ]  # fmt: skip


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::RuntimeWarning")
@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_a_notebook_runs(path: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    book = nbformat.read(path, as_version=4)
    nbformat.validate(book)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    assert not any(cell.outputs or cell.execution_count for cell in code), "kept with its outputs"
    monkeypatch.setenv("PYTHONPATH", str(ROOT / "src"))
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path / "ipython"))
    NotebookClient(
        book,
        timeout=PATIENCE_S,
        startup_timeout=PATIENCE_S,
        resources={"metadata": {"path": str(tmp_path)}},
    ).execute()
    assert all(cell.execution_count for cell in code)
    pictures = [
        output
        for cell in code
        for output in cell.outputs
        if "image/png" in output.get("data", {})
    ]  # fmt: skip
    assert pictures or path.stem == "a_case_and_its_pack"


@pytest.mark.parametrize(
    "record", [dossier.Dossier, odds.CauseOdds, step.Step, proof.Proof], ids=lambda r: r.__name__
)
def test_what_a_notebook_holds_cannot_be_changed(record: type) -> None:
    assert is_dataclass(record)
    assert record.__dataclass_params__.frozen
