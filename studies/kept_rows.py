"""Rows of a study, kept as they come: a run that was stopped goes on where it was."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from pathlib import Path

__all__ = ["add_rows", "rows_of"]


def rows_of(place: Path, seed: int) -> list[dict[str, str]]:
    """Return the rows of one seed, none where nothing was kept yet."""
    if not place.exists():
        return []
    with place.open(encoding="utf-8", newline="") as lines:
        return [r for r in csv.DictReader(lines) if r["seed"] == str(seed)]


def add_rows(place: Path, head: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Add rows at the end, under a heading where the file is new."""
    new = not place.exists()
    with place.open("a", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        if new:
            writer.writerow(head)
        writer.writerows(rows)
