"""One function makes a dossier; every other room only reads it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from conftest import ROOT

SRC = ROOT / "src" / "witnessmark"
#: What works out odds, steps, proofs and figures of a case.
MAKERS = {
    "witnessmark.inference.odds.case_odds",
    "witnessmark.inference.proof_of_cure",
    "witnessmark.planner.ranked_steps",
    "witnessmark.planner.estimate.quote",
}
#: Rooms that think; whoever reads a dossier is in none of them.
THINKING = {"inference", "planner", "analyses"}


def _imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)


READERS = [p for p in sorted(SRC.rglob("*.py")) if p.relative_to(SRC).parts[0] not in THINKING]


@pytest.mark.parametrize("path", READERS, ids=lambda p: str(p.relative_to(SRC)))
def test_only_the_dossier_is_made_by_what_works_things_out(path: Path) -> None:
    if path.parent == SRC / "workflow" / "dossier":
        return
    assert not MAKERS & set(_imports(path))


def test_records_are_hashed_in_one_module() -> None:
    """A second way to make a digest of a record would leave a field out some day."""
    walking = [
        p.relative_to(SRC).as_posix()
        for p in SRC.rglob("*.py")
        if "hashlib" in set(_imports(p)) and "dataclasses.fields" in p.read_text(encoding="utf-8")
    ]
    assert walking == ["model/digest.py"]
