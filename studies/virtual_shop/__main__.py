"""Run the virtual shop: ``python -m studies.virtual_shop [trucks per family] [seed]``.

Writes ``results.md`` and ``results.csv`` beside this file. One process; use ``nice``.
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

from studies.virtual_shop import trucks as truth  # noqa: E402
from studies.virtual_shop.policies import POLICIES, Run  # noqa: E402

from witnessmark.inference.belief import FamilyModel  # noqa: E402
from witnessmark.knowledge import load_knowledge  # noqa: E402

FOLDER = Path(__file__).resolve().parent
SIMPLE = ("habit order", "cheapest first", "likeliest first", "test everything")


def main(number: int = 60, seed: int = 20260302) -> None:
    knowledge = load_knowledge()
    runs: dict[str, dict[str, list[Run]]] = defaultdict(lambda: defaultdict(list))
    begun = time.perf_counter()
    for place, (identity, family) in enumerate(sorted(knowledge.families.items())):
        model = FamilyModel(family, knowledge.conditions)
        for k in range(number):
            # a new world every few trucks: the truth is not one shop's luck
            if k % 5 == 0:
                rng = np.random.default_rng([seed, place, k])
                world = truth.World.of(family, knowledge, rng)
            truck = truth.draw_truck(world, knowledge, seed + 100_000 * place + k)
            for name, policy in POLICIES.items():
                runs[identity][name].append(policy(truck.fresh(), knowledge, model))
        print(identity, f"{time.perf_counter() - begun:.0f} s", flush=True)
    text = report(runs, number, seed)
    (FOLDER / "results.md").write_text(text, "utf-8")
    write_csv(runs)
    print(text)


def report(runs: dict[str, dict[str, list[Run]]], number: int, seed: int) -> str:
    """Return the result page."""
    lines = [
        "# Virtual shop: results",
        "",
        f"Written by `python -m studies.virtual_shop {number} {seed}`; nothing is typed in.",
        f"{number} invented trucks a family, {len(runs)} families, the same trucks for every",
        "policy. Standard errors in brackets. See README.md for how the truth differs from the",
        "packs and what the policies are.",
        "",
        "## All families, each weighing the same",
        "",
        "| policy | money to a proven cure, USD | hours | needless parts | unproven closings |"
        " statements of 0.80 or more a truck | of them wrong |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in POLICIES:
        rows = [r for family in runs.values() for r in family[name]]
        said, wrong = sum(r.said for r in rows), sum(r.wrong for r in rows)
        share = f"{100 * wrong / said:.1f} % ({_se(wrong, said):.1f})" if said else "says nothing"
        each = f"{said / len(rows):.2f}" if said else "0"
        lines.append(
            f"| {name} | {_mean(rows, 'usd', 0)} | {_mean(rows, 'hours', 1)} | "
            f"{_mean(rows, 'needless', 2)} | "
            f"{100 * np.mean([r.gave_up for r in rows]):.1f} % | {each} | {share} |"
        )
    lines += ["", "## Ours against the others, by family (ratio of mean money)", ""]
    lines += [
        "| family | ours, USD | / habit order | / test everything | / best simple | best simple |"
        " / all-knowing | wrong at 0.80 |",
        "|---|---|---|---|---|---|---|---|",
    ]
    ratios = defaultdict(list)
    for identity, family in runs.items():
        mean = {name: float(np.mean([r.usd for r in rows])) for name, rows in family.items()}
        best = min(SIMPLE, key=lambda n: mean[n])
        cells = []
        for other in ("habit order", "test everything", best):
            ratio, error = _ratio(family["ours"], family[other])
            cells.append(f"{ratio:.2f} ({error:.2f})")
            ratios["best simple" if other == best and len(cells) == 3 else other].append(ratio)
        said, wrong = (sum(getattr(r, a) for r in family["ours"]) for a in ("said", "wrong"))
        share = f"{100 * wrong / said:.0f} % of {said}" if said else "-"
        lines.append(
            f"| {identity} | {_mean(family['ours'], 'usd', 0)} | {' | '.join(cells)} | {best} | "
            f"{mean['ours'] / mean['all-knowing']:.2f} | {share} |"
        )
    lines += ["", "## Goals", "", "| goal | reached | |", "|---|---|---|"]
    rows = [r for family in runs.values() for r in family["ours"]]
    said, wrong = sum(r.said for r in rows), sum(r.wrong for r in rows)
    trucks_wrong = np.mean([r.wrong > 0 for r in rows])
    goals = [("habit order", 0.50), ("test everything", 0.70)]
    for other, goal in goals:
        median, pooled = float(np.median(ratios[other])), _pooled(runs, other)
        lines.append(
            f"| ours at most {goal:.2f} of {other} | median of families {median:.2f}, all money "
            f"pooled {pooled:.2f} | {_word(median <= goal)} |"
        )
    worst = max(ratios["best simple"])
    inside = sum(r <= 0.80 for r in ratios["best simple"])
    lines.append(
        f"| ours at most 0.80 of the best simple policy in every family | {inside} of "
        f"{len(runs)} families, worst {worst:.2f} | {_word(worst <= 0.80)} |"
    )
    share = wrong / said if said else 0.0
    lines.append(
        f"| confident (0.80 or more) and wrong at most 8 % | {100 * share:.1f} % of {said} "
        f"statements; {100 * trucks_wrong:.1f} % of trucks heard one | {_word(share <= 0.08)} |"
    )
    return "\n".join(lines) + "\n"


def write_csv(runs: dict[str, dict[str, list[Run]]]) -> None:
    """Write one line a truck and policy."""
    with (FOLDER / "results.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        names = ["usd", "hours", "needless", "gave_up", "said", "wrong"]
        out.writerow(["family", "truck", "policy", *names])
        for identity, family in runs.items():
            for name, rows in family.items():
                for k, r in enumerate(rows):
                    figures = (f"{r.usd:.0f}", f"{r.hours:.2f}", r.needless, int(r.gave_up))
                    out.writerow([identity, k, name, *figures, r.said, r.wrong])


def _mean(rows: list[Run], name: str, digits: int) -> str:
    values = np.array([float(getattr(r, name)) for r in rows])
    error = values.std(ddof=1) / np.sqrt(values.size)
    return f"{values.mean():,.{digits}f} ({error:,.{digits}f})"


def _se(part: int, whole: int) -> float:
    share = part / whole
    return 100 * float(np.sqrt(share * (1 - share) / whole))


def _ratio(one: list[Run], other: list[Run]) -> tuple[float, float]:
    """Return the ratio of means and its standard error (delta method, same trucks)."""
    a, b = np.array([r.usd for r in one]), np.array([r.usd for r in other])
    ratio = a.mean() / b.mean()
    error = (a - ratio * b).std(ddof=1) / b.mean() / np.sqrt(a.size)
    return float(ratio), float(error)


def _pooled(runs: dict[str, dict[str, list[Run]]], other: str) -> float:
    ours = sum(r.usd for f in runs.values() for r in f["ours"])
    return ours / sum(r.usd for f in runs.values() for r in f[other])


def _word(reached: bool) -> str:
    return "reached" if reached else "MISSED"


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
