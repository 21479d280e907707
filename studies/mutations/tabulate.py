"""The table of a mutation run, from its rows and what a person said of those left alive."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from pathlib import Path

from scipy.stats import binomtest

HERE = Path(__file__).parent
HEAD = """# Does the suite notice a small wrong change?

Made by `run.py` and `tabulate.py`; nothing here is typed in. A mutant is one changed operator,
comparison, sign, bound or constant in a function of a thinking room, every place as likely as any.
Each was run against the tests that ran its lines in the unchanged tree, the quickest first, of the
rooms that were mapped: physics, inference, planner, words, readers and what of the others stands
near; not the doors. "Equivalent", "closed" and "open" are a person's word, in `alive.toml`, with
the reason, or the test that was written for it and kills it.
"""


def table(rows: list[dict[str, object]], said: dict[str, dict[str, str]]) -> str:
    """Return the page for the rows."""
    parts = [HEAD]
    for seed in sorted({int(str(r["seed"])) for r in rows}):
        mine = [r for r in rows if int(str(r["seed"])) == seed]
        alive = [r for r in mine if r["verdict"] == "alive"]
        open_ = [r for r in mine if r["verdict"] == "not decided"]
        equal = [r for r in alive if said.get(_key(r), {}).get("what") == "equivalent"]
        left, real = len(alive) - len(equal), len(mine) - len(equal) - len(open_)
        band = binomtest(left, real).proportion_ci(method="wilson") if real else None
        closed = [r for r in alive if said.get(_key(r), {}).get("what") == "closed"]
        killed = len(mine) - len(alive) - len(open_)
        parts.append(
            f"\n## Seed {seed}\n\n{len(mine)} mutants: {killed} killed, {len(alive)} alive, of "
            f"these {len(equal)} equivalent; {len(open_)} not decided within the budget of tests."
        )
        if band is not None:
            parts.append(
                f"\nAlive and not equivalent: {left} of {real} = {left / real:.0%} "
                f"(Wilson, 95 %: {band.low:.0%} to {band.high:.0%}). Tests were then written for "
                f"{len(closed)} of them; left: {left - len(closed)} of {real} = "
                f"{(left - len(closed)) / real:.0%}. The second figure is of the same mutants that "
                "the tests were written for, and says nothing of fresh ones.\n"
            )
        by_room = Counter((str(r["module"]).split("/")[0], r["verdict"] == "alive") for r in mine)
        parts.append("| room | mutants | alive |\n|---|---|---|")
        for room in sorted({room for room, _ in by_room}):
            live = by_room[room, True]
            parts.append(f"| {room} | {live + by_room[room, False]} | {live} |")
        parts.append("\n| alive | change | what it is |\n|---|---|---|")
        for r in alive:
            word = said.get(_key(r), {"what": "not looked at yet", "why": ""})
            change = f"`{r['before']}` -> `{r['after']}`".replace("|", "\\|").replace("\n", " ")
            parts.append(
                f"| {r['module']}:{r['line']} | {change} | {word['what']}: {word['why']} |"
            )
    return "\n".join(parts) + "\n"


def _key(row: dict[str, object]) -> str:
    return f"{row['seed']}:{row['module']}:{row['number']}"


def main() -> None:
    """Write MUTANTS.md."""
    lines = (HERE / "rows.jsonl").read_text(encoding="utf-8").splitlines()
    rows = list({_key(row): row for row in map(json.loads, lines)}.values())  # the last counts
    alive = HERE / "alive.toml"
    said = tomllib.loads(alive.read_text(encoding="utf-8")) if alive.exists() else {}
    (HERE / "MUTANTS.md").write_text(table(rows, said), encoding="utf-8")


if __name__ == "__main__":
    main()
