"""Is anything proposed that a standing stop forbids? 5,000 random dossiers, one table.

    python studies/standing_stops/run.py --seeds 5000 --out studies/standing_stops/results.md

A dossier of :mod:`random_dossiers` at the level of the planner takes a few milliseconds. The suite
runs fewer of them, and some whole dossiers besides.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

from random_dossiers import cheap_dossier

from witnessmark.knowledge import load_knowledge


def main() -> None:
    """Draw, count, write the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seeds", type=int, default=5000)
    asked.add_argument("--out", type=Path, required=True)
    given = asked.parse_args()
    knowledge = load_knowledge()
    every = [*knowledge.stops, *(s for f in knowledge.families.values() for s in f.stops)]
    stood: Counter[str] = Counter()
    dossiers = with_stop = proposed = held = wrong = 0
    for seed in range(given.seeds):
        drawn = cheap_dossier(seed, knowledge)
        dossiers += 1
        with_stop += bool(drawn.stops)
        proposed += drawn.proposed
        held += drawn.held_back
        wrong += len(drawn.wrong)
        stood.update(drawn.stops)
    rows = [
        ("random dossiers", dossiers),
        ("with a standing stop", with_stop),
        ("stops of the packs", len(every)),
        ("of them stood at least once", len(stood)),
        ("steps proposed", proposed),
        ("steps held back", held),
        ("steps proposed that a standing stop forbids", wrong),
    ]
    lines = "\n".join(f"| {what} | {count:,} |" for what, count in rows)
    given.out.write_text(
        "# Nothing that a standing stop forbids is proposed\n\n"
        f"Made by `studies/standing_stops/run.py --seeds {given.seeds}`; the oracle reads stops\n"
        "and states straight from the packs and shares no function with the program.\n\n"
        f"| what | count |\n|---|---|\n{lines}\n",
        encoding="utf-8",
    )


if __name__ == "__main__":
    main()
