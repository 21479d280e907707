"""Rounds: trucks of two other physics, played to the end by four shops.

    nice -n 15 python studies/fuel_supply/rounds/run.py PHYSICS TRUCKS SEED [sound]
    python studies/fuel_supply/rounds/run.py table SEED

One row a truck and shop goes to ``rows.csv`` as it comes; what is there of a seed is not played
again. ``RESULTS.md`` is written from the rows.
"""

from __future__ import annotations

import csv
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent.parent.parent)]

from play import POLICIES  # noqa: E402
from trucks import draw_trucks  # noqa: E402

from witnessmark.knowledge import load_knowledge  # noqa: E402

ROWS = HERE / "rows.csv"
HEAD = ("seed", "physics", "sound", "truck", "faults", "policy", "cured", "usd", "steps",
        "all_steps", "needless", "looks", "repairs", "cleared", "lost", "why", "log")  # fmt: skip


def rows(place: Path = ROWS) -> list[dict[str, str]]:
    """Return what was played."""
    if not place.exists():
        return []
    with place.open(newline="") as file:
        return list(csv.DictReader(file))


def play(physics: str, count: int, seed: int, *, sound: bool, place: Path = ROWS) -> None:
    """Play the trucks that are not there yet, and add their rows."""
    family = load_knowledge().families["fuel_low"]
    which = (str(seed), physics, str(int(sound)))
    before = [r for r in rows(place) if (r["seed"], r["physics"], r["sound"]) == which]
    there = {(r["truck"], r["policy"]) for r in before}
    if not place.exists():
        place.write_text(",".join(HEAD) + "\n")
    begun = time.perf_counter()
    with place.open("a", newline="") as file:
        for number, truck in enumerate(draw_trucks(physics, family, count, seed, sound=sound)):
            for name, policy in POLICIES.items():
                skip = sound and name in {"all-knowing", "habit order"}
                if skip or (str(number), name) in there:
                    continue
                faults = "+".join(f"{k}:{c}" for k, c in truck.kinds.items())
                p = policy(truck.fresh())
                csv.writer(file).writerow(
                    (seed, physics, int(sound), number, faults, name, int(p.cured), f"{p.usd:.0f}",
                     p.steps, p.all_steps, p.needless, p.looks, p.repairs, int(p.cleared),
                     f"{truck.lost():.1f}", p.why, "; ".join(p.log))
                )  # fmt: skip
                file.flush()
            print(physics, number, f"{time.perf_counter() - begun:.0f} s", flush=True)


if __name__ == "__main__":
    what, *more = sys.argv[1:]
    if what == "table":
        from tables import write

        write(rows(), int(more[0]))
    else:
        play(what, int(more[0]), int(more[1]), sound="sound" in more)
