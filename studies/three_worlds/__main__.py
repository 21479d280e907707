"""Run the three worlds; see ``main`` for the words after ``python -m studies.three_worlds``.

Rows are added to ``results.csv`` truck by truck, so that a run that is stopped goes on where it
was. ``results.md`` is written from the rows; nothing in it is typed in. Use ``nice``.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.kept_rows import add_rows, rows_of  # noqa: E402
from studies.three_worlds import shops, worlds  # noqa: E402
from studies.three_worlds.tables import page  # noqa: E402

from witnessmark.inference.family.family_model import FamilyModel  # noqa: E402
from witnessmark.knowledge import load_knowledge  # noqa: E402
from witnessmark.planner.ranking import pricing  # noqa: E402
from witnessmark.planner.ranking.lookahead import first_moves  # noqa: E402

FOLDER = Path(__file__).resolve().parent
ROWS = FOLDER / "results.csv"
FIGURES = tuple(shops.Ended.__dataclass_fields__)
HEAD = ("seed", "world", "family", "truck", "policy", *FIGURES)
#: The seed whose page has no number in its name.
FIRST_SEED = 20261130
#: Trucks that one shop sees of a family; each shop has a truth of its own.
SHOP = 4


def main(*words: str) -> None:
    """Do what the words ask for.

    ``run NUMBER SEED MINUTES [FAMILY ...]`` repairs NUMBER trucks a family and world, and stops
    after so many minutes; ``tables SEED`` writes the page. ``--rows FILE`` puts the rows elsewhere.
    ``--one-step`` plans one step ahead instead of three: a fifth of the time, and inside the model
    some hundredths dearer (``benchmarks/planner.md``).
    """
    args = list(words)
    if "--one-step" in args:
        args.remove("--one-step")
        one_step()
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
            name = "results.md" if seed == FIRST_SEED else f"results_{seed}.md"
            (FOLDER / name).write_text(text, "utf-8")
        print(text)


def one_step() -> None:
    """Let the planner look one step ahead from now on."""
    pricing.thorough = first_moves


def run(
    place: Path,
    number: int,
    seed: int,
    minutes: float,
    families: list[str],
    only: list[str] | None = None,
) -> None:
    """Repair trucks: one of every family and world, then the next of each."""
    knowledge = load_knowledge()
    names = sorted(knowledge.families)
    ends = time.monotonic() + 60.0 * minutes
    there = {(r["world"], r["family"], int(r["truck"])) for r in rows_of(place, seed)}
    for k in range(number):
        first = k // SHOP * SHOP
        for identity in families or names:
            family = knowledge.families[identity]
            missing = [w for w in worlds.WORLDS if (w, identity, k) not in there]
            model = FamilyModel(family, knowledge.conditions) if missing else None
            for world in missing:
                if model is None or time.monotonic() > ends:
                    print("out of time", identity, world, k, flush=True)
                    return
                own = [seed, worlds.WORLDS.index(world), names.index(identity), first]
                truth = worlds.world_of(world, family, knowledge, np.random.default_rng(own))
                draws = np.random.default_rng([*own, k]).integers(2**31)
                truck = worlds.draw(world, truth, knowledge, int(draws))
                lines = []
                for name, policy in shops.POLICIES.items():
                    if only and name not in only:
                        continue
                    ended = policy(truck.fresh(), knowledge, model)
                    told = [_told(getattr(ended, f)) for f in FIGURES]
                    lines.append((seed, world, identity, k, name, *told))
                add_rows(place, HEAD, lines)
        print(k, flush=True)


def read(place: Path, seed: int) -> dict[str, dict[str, dict[str, list[shops.Ended]]]]:
    """Return world -> family -> policy -> trucks."""
    found: dict[str, dict[str, dict[str, list[shops.Ended]]]] = {}
    for r in sorted(rows_of(place, seed), key=lambda r: (r["family"], int(r["truck"]))):
        ended = shops.Ended(**{f: _read(r[f], f) for f in FIGURES})
        family = found.setdefault(r["world"], {}).setdefault(r["family"], defaultdict(list))
        family[r["policy"]].append(ended)
    return found


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
