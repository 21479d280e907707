"""The same engines with and without the second look at every part; writes SECOND_LOOK.md.

``rows/`` was made before the adaptive step drew every single part anew in its first rounds
(``SECOND_LOOKS`` of ``inference/fuel_posterior.py``); ``rows_second_look/`` holds the engines that
were run again with it, by the same ``run.py``.
"""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import numpy as np
from tabulate import NAMES, SETS

from witnessmark.inference.fuel_groups import HYPOTHESES

HERE = Path(__file__).parent
PARTS = [f"g{number}" for number in range(8)]
Row = dict[str, str]


def main() -> None:
    """Write the table."""
    lines = [
        "# The same engines before and after the second look",
        "",
        "Written by `second_look.py`; nothing is typed in. The large table (RESULTS.md) was made",
        "without the second look, which matters where many sharp readings leave all first draws of",
        "a part far off; engines run again with it:",
        "",
        "| truth | readings | engines | top-1 before | after | above 80 % and right, before | after"
        " | a probability moved by over 0.1 |",
        "|-|-|-|-|-|-|-|-|",
    ]
    for key, name in NAMES.items():
        before, after = (_rows(HERE / d / f"{key}.csv.gz") for d in ("rows", "rows_second_look"))
        for which in SETS:
            both = [k for k in after if k in before and k[2] == which]
            if both:
                pair = [_chances([side[k] for k in both]) for side in (before, after)]
                truth = [HYPOTHESES[int(after[k]["truth"])] for k in both]
                lines.append(f"| {name} | {which} | {len(both)} | {_line(pair, truth)} |")
    (HERE / "SECOND_LOOK.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _rows(path: Path) -> dict[tuple[str, str, str], Row]:
    if not path.is_file():
        return {}
    with gzip.open(path, "rt", newline="") as file:
        whole = [row for row in csv.DictReader(file) if all(row.values())]
    return {(row["part"], row["engine"], row["set"]): row for row in whole}


def _chances(rows: list[Row]) -> np.ndarray:
    return np.array([[float(row[part]) for part in PARTS] for row in rows])


def _line(pair: list[np.ndarray], truth: list[frozenset[int]]) -> str:
    right, told = [], []
    for chances in pair:
        hit = np.array([int(c.argmax()) in t for c, t in zip(chances, truth, strict=True)])
        sure = chances.max(axis=1) >= 0.80
        right.append(f"{hit.mean():.3f}")
        told.append(f"{hit[sure].mean():.3f} of {sure.sum()}" if sure.any() else "none")
    moved = np.mean(np.abs(pair[1] - pair[0]).max(axis=1) > 0.1)
    return " | ".join([*right, *told, f"{100 * moved:.1f} %"])


if __name__ == "__main__":
    main()
