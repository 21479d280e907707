"""Run the three worlds; see ``main`` for the words after ``python -m studies.three_worlds``.

Rows are added to ``results.csv`` truck by truck, so that a run that is stopped goes on where it
was. ``results.md`` is written from the rows; nothing in it is typed in. Use ``nice``.
"""

from __future__ import annotations

import csv
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.three_worlds import shops, worlds  # noqa: E402
from studies.three_worlds.tables import page  # noqa: E402

from witnessmark.inference.family.family_model import FamilyModel  # noqa: E402
from witnessmark.knowledge import load_knowledge  # noqa: E402

FOLDER = Path(__file__).resolve().parent
ROWS = FOLDER / "results.csv"
FIGURES = tuple(shops.Ended.__dataclass_fields__)
HEAD = ("seed", "world", "family", "truck", "policy", *FIGURES)
#: Trucks that one shop sees of a family; each shop has a truth of its own.
SHOP = 4


def main(*words: str) -> None:
    """Do what the words ask for.

    ``run NUMBER SEED MINUTES [FAMILY ...]`` repairs NUMBER trucks a family and world, and stops
    after so many minutes; ``tables SEED`` writes the page. ``--rows FILE`` puts the rows elsewhere.
    """
    args = list(words)
    rows = ROWS
    if "--rows" in args:
        at = args.index("--rows")
        rows = Path(args[at + 1])
        del args[at : at + 2]
    only = None
    if "--policies" in args:
        at = args.index("--policies")
        only = args[at + 1].split(",")
        del args[at : at + 2]
    what, *more = args
    if what == "run":
        run(rows, int(more[0]), int(more[1]), float(more[2]), more[3:], only)
    else:
        seed = int(more[0])
        text = page(read(rows, seed), seed)
        if rows == ROWS:
            (FOLDER / "results.md").write_text(text, "utf-8")
        print(text)


def run(
    place: Path,
    number: int,
    seed: int,
    minutes: float,
    families: list[str],
    only: list[str] | None = None,
) -> None:
    """Repair trucks: first every family and world once, then the next truck of each."""
    knowledge = load_knowledge()
    names = sorted(knowledge.families)
    ends = time.monotonic() + 60.0 * minutes
    there = {(r["world"], r["family"], int(r["truck"])) for r in _rows(place, seed)}
    models: dict[str, FamilyModel] = {}
    for first in range(0, number, SHOP):
        for identity in families or names:
            family = knowledge.families[identity]
            for world in worlds.WORLDS:
                own = [seed, worlds.WORLDS.index(world), names.index(identity), first]
                truth = worlds.world_of(world, family, knowledge, np.random.default_rng(own))
                for k in range(first, min(first + SHOP, number)):
                    if (world, identity, k) in there:
                        continue
                    if time.monotonic() > ends:
                        print("out of time", identity, world, k, flush=True)
                        return
                    if identity not in models:
                        models = {identity: FamilyModel(family, knowledge.conditions)}
                    draws = np.random.default_rng([*own, k]).integers(2**31)
                    truck = worlds.draw(world, truth, knowledge, int(draws))
                    lines = []
                    for name, policy in shops.POLICIES.items():
                        if only and name not in only:
                            continue
                        ended = policy(truck.fresh(), knowledge, models[identity])
                        told = [_told(getattr(ended, f)) for f in FIGURES]
                        lines.append((seed, world, identity, k, name, *told))
                    _add(place, lines)
            print(identity, first, flush=True)


def read(place: Path, seed: int) -> dict[str, dict[str, dict[str, list[shops.Ended]]]]:
    """Return world -> family -> policy -> trucks."""
    found: dict[str, dict[str, dict[str, list[shops.Ended]]]] = {}
    for r in sorted(_rows(place, seed), key=lambda r: (r["family"], int(r["truck"]))):
        ended = shops.Ended(**{f: _read(r[f], f) for f in FIGURES})
        family = found.setdefault(r["world"], {}).setdefault(r["family"], defaultdict(list))
        family[r["policy"]].append(ended)
    return found


def _rows(place: Path, seed: int) -> list[dict[str, str]]:
    if not place.exists():
        return []
    with place.open(encoding="utf-8", newline="") as lines:
        return [r for r in csv.DictReader(lines) if r["seed"] == str(seed)]


def _add(place: Path, lines: list[tuple[object, ...]]) -> None:
    new = not place.exists()
    with place.open("a", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        if new:
            writer.writerow(HEAD)
        writer.writerows(lines)


def _told(value: object) -> object:
    if isinstance(value, bool):
        return int(value)
    return f"{value:.3f}".rstrip("0").rstrip(".") if isinstance(value, float) else value


def _read(text: str, name: str) -> object:
    kind = shops.Ended.__dataclass_fields__[name].type
    if kind == "bool":
        return text == "1"
    return float(text) if kind == "float" else int(text)


if __name__ == "__main__":
    main(*sys.argv[1:])
