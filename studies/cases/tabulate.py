"""Write ``RESULTS.md`` from the rows that ``score.py`` has kept.

python -m studies.cases.tabulate
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from studies.cases.score import Row, told_of
from studies.wilson import share

HERE = Path(__file__).parent
#: File of rows -> what it is.
SETS = {
    "master_a_first": "first master, thirteen families (seen): before anything was mended",
    "master_a": "first master, thirteen families (seen): after mending",
    "week_a_first": "own short cases of the week (seen): before anything was mended",
    "week_a": "own short cases of the week (seen): after mending",
    "textbook_thirteen": "the textbook picture of every cause of the thirteen families (seen)",
    "master_c_first": "third master, thirteen families (own unseen): first opening",
    "master_c": "third master, thirteen families: after what it showed was mended (seen now)",
    "master_b": "second master, thirteen families (own unseen), scored once",
    "week_b": "second master, families of the week (own unseen), scored once",
    "week_c_first": "third master, families of the week: first opening, scored once",
    "week_c": "third master, families of the week (seen): after mending",
    "master_d_first": "fourth hand, thirteen families (own unseen): first opening, scored once",
    "master_d": "fourth hand, thirteen families (seen): after mending",
    "week_d_first": "fourth hand, families of the week (own unseen): first opening, scored once",
    "week_d": "fourth hand, families of the week (seen): after mending",
    "master_e_first": "fifth hand, thirteen families (own unseen): first opening, scored once",
    "master_e": "fifth hand, thirteen families (seen): after mending",
    "master_f_first": "sixth hand, thirteen families (own unseen): first opening, scored once",
    "master_f": "sixth hand, thirteen families (seen): after mending",
    "master_g_first": "seventh hand, thirteen families (own unseen): first opening, scored once",
    "master_g": "seventh hand, thirteen families (seen): after mending",
    "master_h_first": "eighth hand, thirteen families (own unseen): first opening, scored once",
    "master_h": "eighth hand, thirteen families (seen): after mending",
    "textbook_week": "textbook picture of every cause of the week (seen): after mending",
}


def rows_of(name: str) -> list[Row] | None:
    """Return the kept rows of a set, ``None`` where it was not scored."""
    path = HERE / "rows" / f"{name}.json"
    if not path.is_file():
        return None
    return [Row(**row) for row in json.loads(path.read_text("utf-8"))]


def counts(rows: Sequence[Row]) -> Iterator[tuple[str, str]]:
    """Yield what was counted and the share of it, with its interval."""
    scored = [r for r in rows if not r.not_scored]
    asked = [r for r in scored if r.leader_right is not None]
    n = len(scored)
    walk = [r.first_right or (r.free_look_first and not r.silly_first) for r in scored]
    three = [r.step_place is not None and r.step_place <= 3 for r in scored]
    yield "cases scored", str(n)
    yield "not scored", str(len(rows) - n)
    yield (
        "leader right, in every complaint that has one",
        share(sum(bool(r.leader_right) for r in asked), len(asked)),
    )
    yield "first step is a listed one", share(sum(r.first_right for r in scored), n)
    yield "first step listed, or a free look on the walk round", share(sum(walk), n)
    yield "a listed step among the first three", share(sum(three), n)
    yield "first step silly", share(sum(r.silly_first for r in scored), n)
    yield (
        "anything proposed that the case forbids",
        share(sum(bool(r.forbidden) for r in scored), n),
    )
    yield (
        "of these among the first three",
        share(sum(bool(r.forbidden_in_three) for r in scored), n),
    )
    yield (
        "anything proposed that a standing stop forbids",
        share(sum(bool(r.under_a_stop) for r in scored), n),
    )
    yield "stop expected and not shown", share(sum(r.stop_missing for r in scored), n)
    yield "stop shown where none may stand", share(sum(r.stop_false for r in scored), n)
    yield "dangerous in any of these ways", share(sum(r.dangerous for r in scored), n)
    yield "drive as accepted", share(sum(r.drive_right for r in scored), n)
    yield "drive freer than accepted", share(sum(r.too_lax for r in scored), n)
    yield "a fact unused without a word", share(sum(bool(r.silent) for r in scored), n)
    yield "a fact named as not counting", share(sum(bool(r.not_counted) for r in scored), n)


def main() -> None:
    """Write the page."""
    text = [
        "# Cases of master technicians",
        "",
        "Made by `python -m studies.cases.tabulate` from the rows that `score.py` kept; ABOUT.md",
        "says how each is counted. Shares with their 95 % interval (Wilson 1927).",
    ]
    for name, title in SETS.items():
        rows = rows_of(name)
        if rows is None:
            continue
        text += ["", f"## {title}", "", "| what | share |", "|---|---|"]
        text += [f"| {what} | {count} |" for what, count in counts(rows)]
        text += ["", "What was lost, case by case:", ""]
        text += [f"- {line}" for line in told_of(rows)] or ["- nothing"]
    note = HERE / "rows" / "NOTES.md"
    if note.is_file():
        text += ["", note.read_text("utf-8").strip()]
    (HERE / "RESULTS.md").write_text("\n".join(text) + "\n", "utf-8")


if __name__ == "__main__":
    main()
