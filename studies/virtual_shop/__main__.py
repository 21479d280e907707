"""Run the virtual shop: ``python -m studies.virtual_shop [trucks per family] [seed]``.

Writes ``results.csv`` after every family, ``pairs.csv`` after every truck with two complaints, and
``results.md`` from both at the end, beside this file. ``pairs NUMBER SEED`` repairs only the trucks
with two complaints, ``tables SEED`` only writes the tables. One process; use ``nice``.
"""

from __future__ import annotations

import csv
import io
import sys
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.virtual_shop import pairs as two  # noqa: E402
from studies.virtual_shop import trucks as truth  # noqa: E402
from studies.virtual_shop.policies import POLICIES, Learning, Run  # noqa: E402

from witnessmark.inference.belief import FamilyModel  # noqa: E402
from witnessmark.knowledge import Knowledge, load_knowledge  # noqa: E402

FOLDER = Path(__file__).resolve().parent
SIMPLE = ("habit order", "cheapest first", "likeliest first", "test everything")
LEARNING = "ours, learning"
#: Trucks that one shop sees of a family; each shop has a truth of its own.
SHOP = 20
#: How far the truth is from the packs, as a share of the usual distance.
DISTANCES = (1.0, 0.5)

Runs = dict[str, dict[str, list[Run]]]


def main(number: int = 60, seed: int = 20260302) -> None:
    knowledge = load_knowledge()
    found: dict[float, Runs] = {}
    begun = time.perf_counter()
    for distance in DISTANCES:
        found[distance] = defaultdict(lambda: defaultdict(list))
        for place, identity in enumerate(sorted(knowledge.families)):
            place_seed = seed + 100_000 * place
            one_family(found[distance][identity], knowledge, identity, number, place_seed, distance)
            print(distance, identity, f"{time.perf_counter() - begun:.0f} s", flush=True)
            write_csv(found)
    two_complaints(knowledge, number, seed)
    print("two complaints", f"{time.perf_counter() - begun:.0f} s", flush=True)
    tables(seed)


def tables(seed: int) -> None:
    """Write ``results.md`` from the rows that are there."""
    found, double = read_rows()
    number = max(len(rows) for family in found[1.0].values() for rows in family.values())
    text = report(found[1.0], number, seed) + dependence(found)
    text += report_pairs(double) if double else ""
    (FOLDER / "results.md").write_text(text, "utf-8")
    print(text)


def read_rows() -> tuple[dict[float, Runs], dict[str, list[tuple[bool, two.PairRun]]]]:
    """Return what ``results.csv`` and ``pairs.csv`` hold."""
    found: dict[float, Runs] = defaultdict(lambda: defaultdict(lambda: defaultdict(list)))
    with (FOLDER / "results.csv").open(encoding="utf-8") as file:
        for r in csv.DictReader(file):
            figures = (float(r["usd"]), float(r["hours"]), int(r["needless"]))
            counts = (bool(int(r["gave_up"])), int(r["said"]), int(r["wrong"]))
            run = Run(*figures, *counts)
            found[float(r["distance"])][r["family"]][r["policy"]].append(run)
    double: dict[str, list[tuple[bool, two.PairRun]]] = defaultdict(list)
    rows = FOLDER / "pairs.csv"
    with rows.open(encoding="utf-8") if rows.exists() else io.StringIO() as file:
        for r in csv.DictReader(file):
            figures = (float(r["usd"]), float(r["hours"]), int(r["needless"]))
            pair = two.PairRun(*figures, bool(int(r["gave_up"])))
            double[r["policy"]].append((bool(int(r["one_fault"])), pair))
    return found, double


def one_family(
    runs: dict[str, list[Run]],
    knowledge: Knowledge,
    identity: str,
    number: int,
    seed: int,
    distance: float,
) -> None:
    """Repair the trucks of one family, shop by shop."""
    family = knowledge.families[identity]
    model = FamilyModel(family, knowledge.conditions)
    for k in range(number):
        if k % SHOP == 0:
            rng = np.random.default_rng([seed, k])
            world = truth.World.of(family, knowledge, rng, truth.Distance().times(distance))
            learning = Learning(knowledge, family)
        truck = truth.draw_truck(world, knowledge, seed + k)
        for name, policy in POLICIES.items():
            runs[name].append(policy(truck.fresh(), knowledge, model))
        if distance == 1.0:
            runs[LEARNING].append(learning.run(truck.fresh()))


def two_complaints(knowledge: Knowledge, number: int, seed: int) -> None:
    """Repair trucks with two complaints and write a line for each and every policy."""
    models = {
        f: FamilyModel(family, knowledge.conditions, links=knowledge.links)
        for f, family in knowledge.families.items()
    }
    linked = sorted(two.linked_pairs(knowledge).items())
    with (FOLDER / "pairs.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        figures = ("usd", "hours", "needless", "gave_up")
        out.writerow(["truck", "first", "second", "one_fault", "policy", *figures])
        for k in range(number):
            families, links = linked[k % len(linked)]
            pair = two.draw_pair(families, links, knowledge, models, seed + 9_000_000 + k)
            for name, policy in two.PAIR_POLICIES.items():
                r = policy(pair.fresh(), knowledge)
                shown = (f"{r.usd:.0f}", f"{r.hours:.2f}", r.needless, int(r.gave_up))
                out.writerow([k, *families, int(pair.twin is not None), name, *shown])
            file.flush()


def report(runs: Runs, number: int, seed: int) -> str:
    """Return the result page."""
    lines = [
        "# Virtual shop: results",
        "",
        f"Written by `python -m studies.virtual_shop {number} {seed}`; nothing is typed in.",
        f"{number} invented trucks a family, {len(runs)} families, the same trucks for every",
        "policy. Standard errors in brackets: of means and shares from shop to shop, for the",
        "trucks of one shop share its truth; of ratios from truck to truck. See README.md for how",
        "the truth differs from the packs and what the policies are.",
        "",
        "## All families, each weighing the same",
        "",
        "| policy | money to a proven cure, USD | hours | needless parts | unproven closings |"
        " statements of 0.80 or more a truck | of them wrong |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in (*POLICIES, LEARNING):
        rows = [r for family in runs.values() for r in family[name]]
        said = sum(r.said for r in rows)
        share = _wrong(rows) if said else "says nothing"
        each = f"{said / len(rows):.2f}" if said else "0"
        lines.append(
            f"| {name} | {_mean(rows, 'usd', 0)} | {_mean(rows, 'hours', 1)} | "
            f"{_mean(rows, 'needless', 2)} | "
            f"{100 * np.mean([r.gave_up for r in rows]):.1f} % | {each} | {share} |"
        )
    lines += ["", "## Ours against the others, by family (ratio of mean money)", ""]
    lines += [
        "| family | ours, USD | / habit order | / test everything | / best simple | best simple |"
        " / all-knowing | hours / test everything | needless parts | learning / not |"
        " wrong at 0.80 |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    ratios = defaultdict(list)
    for identity, family in runs.items():
        mean = {name: float(np.mean([r.usd for r in rows])) for name, rows in family.items()}
        best, _ = _best(family)
        cells = []
        for other in ("habit order", "test everything", best):
            ratio, error = _ratio(family["ours"], family[other])
            cells.append(f"{ratio:.2f} ({error:.2f})")
            ratios["best simple" if other == best and len(cells) == 3 else other].append(ratio)
        said, wrong = (sum(getattr(r, a) for r in family["ours"]) for a in ("said", "wrong"))
        share = f"{100 * wrong / said:.0f} % of {said}" if said else "-"
        hours = [np.mean([r.hours for r in family[n]]) for n in ("ours", "test everything")]
        needless = np.mean([r.needless for r in family["ours"]])
        lines.append(
            f"| {identity} | {_mean(family['ours'], 'usd', 0)} | {' | '.join(cells)} | {best} | "
            f"{mean['ours'] / mean['all-knowing']:.2f} | {hours[0] / hours[1]:.2f} | "
            f"{needless:.2f} | {mean[LEARNING] / mean['ours']:.2f} | {share} |"
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


def dependence(found: dict[float, Runs]) -> str:
    """Return how the result hangs on the distance between the truth and the packs."""
    lines = [
        "",
        "## How far the truth is from the packs",
        "",
        "The same, with the truth nearer to the packs. 1.00 is the distance of the tables above.",
        "",
        "| distance | / habit order | / test everything | / best simple, worst family |"
        " families within 0.80 | / all-knowing | 0.80 or more and wrong |",
        "|---|---|---|---|---|---|---|",
    ]
    for distance, runs in found.items():
        best = [_best(family)[1] for family in runs.values()]
        rows = [r for family in runs.values() for r in family["ours"]]
        lines.append(
            f"| {distance:.2f} | {_pooled(runs, 'habit order'):.2f} | "
            f"{_pooled(runs, 'test everything'):.2f} | {max(best):.2f} | "
            f"{sum(b <= 0.80 for b in best)} of {len(best)} | "
            f"{_pooled(runs, 'all-knowing'):.2f} | {_wrong(rows)} |"
        )
    return "\n".join(lines) + "\n"


def report_pairs(found: dict[str, list[tuple[bool, two.PairRun]]]) -> str:
    """Return the table of the trucks with two complaints."""
    number = min(len(rows) for rows in found.values())
    found = {name: rows[:number] for name, rows in found.items()}
    one = sum(linked for linked, _ in next(iter(found.values())))
    lines = [
        "",
        "## Two complaints on one truck",
        "",
        f"{number} trucks with complaints of two linked families; on {one} of them one fault makes",
        "both, the others have a fault or more behind each. Money to both cures, USD.",
        "",
        "| policy | all | one fault | a fault each | hours | needless parts | unproven closings |",
        "|---|---|---|---|---|---|---|",
    ]
    for name, rows in found.items():
        every = [r for _, r in rows]
        cells = [
            every,
            [r for linked, r in rows if linked],
            [r for linked, r in rows if not linked],
        ]
        money = " | ".join(_mean(c, "usd", 0) for c in cells)
        lines.append(
            f"| {name} | {money} | {_mean(every, 'hours', 1)} | {_mean(every, 'needless', 2)} | "
            f"{100 * np.mean([r.gave_up for r in every]):.0f} % |"
        )
    return "\n".join(lines) + "\n"


def write_csv(found: dict[float, Runs]) -> None:
    """Write one line a truck and policy."""
    with (FOLDER / "results.csv").open("w", newline="", encoding="utf-8") as file:
        out = csv.writer(file, lineterminator="\n")
        names = ["usd", "hours", "needless", "gave_up", "said", "wrong"]
        out.writerow(["distance", "family", "truck", "policy", *names])
        for distance, runs in found.items():
            for identity, family in runs.items():
                for name, rows in family.items():
                    for k, r in enumerate(rows):
                        figures = (f"{r.usd:.0f}", f"{r.hours:.2f}", r.needless, int(r.gave_up))
                        out.writerow([distance, identity, k, name, *figures, r.said, r.wrong])


def _mean(rows: list, name: str, digits: int) -> str:
    values = np.array([float(getattr(r, name)) for r in rows])
    error = _from_shops(values, np.ones(values.size))
    return f"{values.mean():,.{digits}f} ({error:,.{digits}f})"


def _wrong(rows: list[Run]) -> str:
    said = np.array([r.said for r in rows], dtype=float)
    wrong = np.array([r.wrong for r in rows], dtype=float)
    if said.sum() == 0:
        return "-"
    return f"{100 * wrong.sum() / said.sum():.1f} % ({100 * _from_shops(wrong, said):.1f})"


def _from_shops(over: np.ndarray, under: np.ndarray) -> float:
    """Return the standard error of sum(over) / sum(under), the shops being independent."""
    size = SHOP if over.size % SHOP == 0 and over.size >= 3 * SHOP else 1
    top, bottom = over.reshape(-1, size).sum(axis=1), under.reshape(-1, size).sum(axis=1)
    rest = top - over.sum() / under.sum() * bottom
    if top.size < 2:
        return float("nan")
    return float(rest.std(ddof=1) * np.sqrt(top.size) / bottom.sum())


def _best(family: dict[str, list[Run]]) -> tuple[str, float]:
    """Return the best simple policy of a family, and ours against it."""
    mean = {name: float(np.mean([r.usd for r in rows])) for name, rows in family.items()}
    best = min(SIMPLE, key=lambda n: mean[n])
    return best, mean["ours"] / mean[best]


def _ratio(one: list[Run], other: list[Run]) -> tuple[float, float]:
    """Return the ratio of means and its standard error (delta method, same trucks)."""
    a, b = np.array([r.usd for r in one]), np.array([r.usd for r in other])
    ratio = a.mean() / b.mean()
    error = (a - ratio * b).std(ddof=1) / b.mean() / np.sqrt(a.size)
    return float(ratio), float(error)


def _pooled(runs: Runs, other: str) -> float:
    ours = sum(r.usd for f in runs.values() for r in f["ours"])
    return ours / sum(r.usd for f in runs.values() for r in f[other])


def _word(reached: bool) -> str:
    return "reached" if reached else "MISSED"


if __name__ == "__main__":
    if sys.argv[1:2] == ["pairs"]:
        two_complaints(load_knowledge(), int(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1:2] == ["tables"]:
        tables(int(sys.argv[2]))
    else:
        main(*(int(a) for a in sys.argv[1:]))
