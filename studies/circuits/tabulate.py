"""Make RESULTS.md of what ``run.py`` judged: ``python -m studies.circuits.tabulate FOLDER``.

FOLDER holds ``CIRCUIT_own.jsonl`` and ``CIRCUIT_other.jsonl``; what is not there keeps the table
that stands, and where none stands it is said.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from studies.circuits.kits import KITS
from studies.circuits.run import circuit_of
from studies.wilson import share

SEEDS = {
    "air_other": 2612, "start_other": 2611, "bus_line_other": 2621, "charge_other": 2631,
    "rest_other": 2632, "cooling_other": 2633, "stroke_other": 2634,
    "air_own": 2616, "start_own": 2613, "bus_line_own": 2622, "charge_own": 2635,
    "rest_own": 2636, "cooling_own": 2637, "stroke_own": 2638,
}  # fmt: skip
TITLES = {
    "air": "Air system", "start": "Starting circuit", "bus_line": "Bus line",
    "charge": "Charging circuit", "rest": "A truck at rest", "cooling": "Cooling on a pull",
    "stroke": "Push rods",
}  # fmt: skip
NAMED = {"own": "drawn from the model itself", "other": "the simulator of other equations"}
Judged = dict[str, Any]


def leads(row: Judged, places: Sequence[str]) -> bool:
    """Say whether what leads is at fault: the likeliest place, or nothing where that leads."""
    best = int(np.argmax(row["by_place"]))
    if row["nothing"] > row["by_place"][best]:
        return bool({"none", "elsewhere"} & set(row["truth"]))
    return places[best] in row["truth"]


def right(row: Judged) -> bool:
    """Say whether what was named is at fault: the place, or one of the places named together."""
    if row["level"] == "healthy":
        return bool({"none", "elsewhere"} & set(row["truth"]))
    return bool(set(row["places"]) & set(row["truth"]))


def calibration(rows: Sequence[Judged], places: Sequence[str]) -> tuple[float, float]:
    """Return the mean gap between chance and share in ten bins, and the mean Brier score."""
    chance = np.array([p for r in rows for p in r["by_place"]])
    held = np.array([float(k in r["truth"]) for r in rows for k in places])
    bins = np.minimum((chance * 10).astype(int), 9)
    gap = sum(abs(chance[bins == b].sum() - held[bins == b].sum()) for b in range(10)) / len(chance)
    return float(gap), float(np.square(chance - held).mean())


def judged_of(path: Path, places: Sequence[str]) -> list[list[Judged]]:
    """Return the judged trucks; where a place means a sound line, a sound truck has that truth."""
    trucks = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    if "elsewhere" in places:
        for row in (r for t in trucks for r in t):
            row["truth"] = ["elsewhere" if k == "none" else k for k in row["truth"]]
    return trucks


def table(name: str, source: str, path: Path) -> list[str]:
    places = [s.key for s in circuit_of(name).spots]
    trucks = judged_of(path, places)
    seed = SEEDS[f"{name}_{source}"]
    lines = [
        f"### {NAMED[source]}: {len(trucks)} trucks, seed {seed}", "",
        "| kit | what leads is at fault | rule of thumb | named from 0.80 on | of these right | "
        "named from 0.90 on: right | calibration gap | Brier |",
        "|-|-|-|-|-|-|-|-|",
    ]  # fmt: skip
    for number, kit in enumerate(KITS[name]):
        rows = [t[number] for t in trucks]
        named = [r for r in rows if r["level"] in {"points to", "healthy"}]
        surer = [r for r in named if r["probability"] >= 0.9]
        gap, brier = calibration(rows, places)
        thumb = sum(r["rival"] in r["truth"] for r in rows)
        lines.append(
            f"| {kit} | {share(sum(leads(r, places) for r in rows), len(rows))} | "
            f"{share(thumb, len(rows))} | "
            f"{share(len(named), len(rows))} | {share(sum(map(right, named)), len(named))} | "
            f"{share(sum(map(right, surer)), len(surer))} | {gap:.3f} | {brier:.3f} |"
        )
    unfit = sum(t[-1]["level"] == "none fits" for t in trucks)
    lines += ["", f"With the whole kit no fault of the model fitted {unfit} of {len(trucks)}.", ""]
    return lines


def bins(name: str, path: Path) -> list[str]:
    """Return how often a place was at fault by the chance told, with the whole kit."""
    places = [s.key for s in circuit_of(name).spots]
    trucks = judged_of(path, places)
    pairs = [
        (p, k in t[-1]["truth"]) for t in trucks
        for k, p in zip(places, t[-1]["by_place"], strict=True)
    ]  # fmt: skip
    lines = ["| chance told | places | mean chance | at fault |", "|-|-|-|-|"]
    for low, high in ((0.0, 0.02), (0.02, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.8), (0.8, 0.95),
                      (0.95, 1.01)):  # fmt: skip
        mine = [(p, h) for p, h in pairs if low <= p < high]
        if mine:
            mean = math.fsum(p for p, _ in mine) / len(mine)
            lines.append(
                f"| {low:.2f} to {min(high, 1.0):.2f} | {len(mine)} | {mean:.3f} | "
                f"{share(sum(h for _, h in mine), len(mine))} |"
            )
    return [*lines, ""]


def standing(results: Path) -> dict[tuple[str, str], list[str]]:
    """Return (title, source) -> the lines that stand in the page now."""
    found: dict[tuple[str, str], list[str]] = {}
    title, mine = "", None
    for line in results.read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            title, mine = line[3:], None
        elif line.startswith("### "):
            source = next(s for s, words in NAMED.items() if line[4:].startswith(words))
            mine = found.setdefault((title, source), [])
        if mine is not None:
            mine.append(line)
    return found


def main(folder: Path) -> None:
    results = Path(__file__).parent / "RESULTS.md"
    about = (Path(__file__).parent / "ABOUT.md").read_text(encoding="utf-8")
    lines, stood = [about.rstrip(), ""], standing(results)
    for name, words in TITLES.items():
        lines += [f"## {words}", ""]
        for kit, keys in KITS[name].items():
            lines.append(f"- kit {kit}: {', '.join(k.replace('_', ' ') for k in keys)}")
        lines.append("")
        for source in ("other", "own"):
            path = folder / f"{name}_{source}.jsonl"
            if not path.exists() or not path.read_text(encoding="utf-8").strip():
                kept = stood.get((words, source))
                lines += [*"\n".join(kept).rstrip().split("\n"), ""] if kept else [
                    f"### {NAMED[source]}: not run", ""
                ]  # fmt: skip
                continue
            lines += table(name, source, path)
            if source == "other":
                lines += bins(name, path)
    results.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
