"""Run the virtual shop; see ``main`` for the words after ``python -m studies.virtual_shop``.

Rows are added to ``results.csv`` shop by shop and to ``pairs.csv`` truck by truck, so that a run
that is stopped keeps what is done; what is there is not done again. Several processes may run side
by side, each with families of its own. ``results.md`` is written from the rows. Use ``nice``.
"""

from __future__ import annotations

import csv
import io
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.virtual_shop import pairs as two  # noqa: E402
from studies.virtual_shop import trucks as truth  # noqa: E402
from studies.virtual_shop.policies import POLICIES, Learning, Run  # noqa: E402

from witnessmark.inference.family.family_belief import FamilyModel  # noqa: E402
from witnessmark.knowledge import Knowledge, load_knowledge  # noqa: E402

FOLDER = Path(__file__).resolve().parent
SIMPLE = ("habit order", "cheapest first", "likeliest first", "test everything")
LEARNING = "ours, learning"
#: Trucks that one shop sees of a family; each shop has a truth of its own.
SHOP = 20
#: How far the truth is from the packs, as a share of the usual distance, and how many trucks of
#: each are repaired, as a share of the trucks asked for.
DISTANCES = {1.0: 1.0, 0.5: 0.5, 0.0: 0.5}
COUNTS = ("said", "wrong", "plain", "plain_wrong")
FIGURES = ("usd", "hours", "needless", "gave_up", *COUNTS, "expected")
ROWS, PAIR_ROWS = FOLDER / "results.csv", FOLDER / "pairs.csv"
HEAD = ("seed", "distance", "family", "truck", "policy", *FIGURES)
PAIR_HEAD = ("seed", "truck", "first", "second", "one_fault", "policy", *FIGURES[:4])
#: What was said, or plainly stood at 0.80 -> how much of it was wrong.
_WRONG = {"said": "wrong", "plain": "plain_wrong"}

Runs = dict[str, dict[str, list[Run]]]


def main(*words: str) -> None:
    """Do what the words ask for.

    ``begin [SEED]`` drops the rows of a seed, or all; ``run NUMBER SEED [FAMILY ...]`` repairs
    NUMBER trucks a family; ``pairs NUMBER SEED`` repairs trucks with two complaints;
    ``tables SEED [EARLIER ...]`` writes the page, with the goals of earlier runs at its end.
    ``NUMBER SEED`` alone does all four.
    """
    what, *more = words
    if what == "begin":
        begin(*(int(seed) for seed in more))
    elif what == "run":
        run(int(more[0]), int(more[1]), more[2:])
    elif what == "pairs":
        two_complaints(load_knowledge(), int(more[0]), int(more[1]))
    elif what == "tables":
        tables(*(int(seed) for seed in more))
    else:
        number, seed = int(words[0]), int(words[1])
        begin(seed)
        run(number, seed, ())
        two_complaints(load_knowledge(), number, seed)
        tables(seed)


def begin(*seeds: int) -> None:
    """Drop the rows of these seeds, or of every seed when none is named."""
    for place, head in ((ROWS, HEAD), (PAIR_ROWS, PAIR_HEAD)):
        lines = place.read_text("utf-8").splitlines() if place.exists() and seeds else []
        drop = {str(seed) for seed in seeds}
        kept = [line for line in lines[1:] if line.split(",", 1)[0] not in drop]
        place.write_text("\n".join([",".join(head), *kept]) + "\n", "utf-8")


def run(number: int, seed: int, families: Sequence[str]) -> None:
    """Repair the trucks of some families, or of all, one shop of each family after the other."""
    knowledge = load_knowledge()
    names = sorted(knowledge.families)
    begun = time.perf_counter()
    there = {(float(r["distance"]), r["family"], int(r["truck"])) for r in _rows(ROWS, seed)}
    for distance, part in DISTANCES.items():
        for first in range(0, int(number * part), SHOP):
            last = min(first + SHOP, int(number * part))
            for identity in families or names:
                if (distance, identity, last - 1) in there:
                    continue
                own = seed + 100_000 * names.index(identity)
                runs = one_shop(knowledge, identity, range(first, last), own, distance)
                add_rows(runs, seed, distance, identity, first)
                spent = f"{time.perf_counter() - begun:.0f} s"
                print(distance, identity, first, spent, flush=True)


def tables(seed: int, *earlier: int) -> None:
    """Write ``results.md`` from the rows that are there, with the goals of earlier runs."""
    every = read_rows(seed)[0]
    found = {distance: runs for distance, runs in every.items() if runs}
    number = max(len(rows) for family in found[1.0].values() for rows in family.values())
    text = report(found[1.0], number, seed) + dependence(found) + expectations(found)
    for one in (seed, *earlier):
        double = read_rows(one)[1]
        if double:
            text += report_pairs(double, one)
            break
    for other in earlier:
        before = read_rows(other)[0][1.0]
        if before:
            lines = ["", f"## An earlier run, on the seed {other}", "", *goals_of(before)]
            text += "\n".join(lines) + "\n"
    (FOLDER / "results.md").write_text(text, "utf-8")
    print(text)


def read_rows(seed: int) -> tuple[dict[float, Runs], dict[str, list[tuple[bool, two.PairRun]]]]:
    """Return what ``results.csv`` and ``pairs.csv`` hold of a seed."""
    found: dict[float, Runs] = {d: {} for d in DISTANCES}
    rows = sorted(_rows(ROWS, seed), key=lambda r: (r["family"], int(r["truck"])))
    for r in rows:
        figures = (float(r["usd"]), float(r["hours"]), int(r["needless"]))
        counts = [int(r[name]) for name in COUNTS]
        one = Run(*figures, bool(int(r["gave_up"])), *counts, expected=float(r["expected"]))
        family = found[float(r["distance"])].setdefault(r["family"], {})
        family.setdefault(r["policy"], []).append(one)
    double: dict[str, list[tuple[bool, two.PairRun]]] = defaultdict(list)
    for r in sorted(_rows(PAIR_ROWS, seed), key=lambda r: int(r["truck"])):
        figures = (float(r["usd"]), float(r["hours"]), int(r["needless"]))
        pair = two.PairRun(*figures, bool(int(r["gave_up"])))
        double[r["policy"]].append((bool(int(r["one_fault"])), pair))
    return found, double


def one_shop(
    knowledge: Knowledge, identity: str, trucks: range, seed: int, distance: float
) -> dict[str, list[Run]]:
    """Repair the trucks of one family that come to one shop."""
    family = knowledge.families[identity]
    model = FamilyModel(family, knowledge.conditions)
    rng = np.random.default_rng([seed, trucks.start])
    world = truth.World.of(family, knowledge, rng, truth.Distance().times(distance))
    learning = Learning(knowledge, family)
    runs: dict[str, list[Run]] = defaultdict(list)
    for k in trucks:
        truck = truth.draw_truck(world, knowledge, seed + k)
        for name, policy in POLICIES.items():
            runs[name].append(policy(truck.fresh(), knowledge, model))
        if distance == 1.0:
            runs[LEARNING].append(learning.run(truck.fresh()))
    return runs


def two_complaints(knowledge: Knowledge, number: int, seed: int) -> None:
    """Repair trucks with two complaints and add a line for each and every policy."""
    models = {
        f: FamilyModel(family, knowledge.conditions, links=knowledge.links)
        for f, family in knowledge.families.items()
    }
    linked = sorted(two.linked_pairs(knowledge).items())
    there = {int(r["truck"]) for r in _rows(PAIR_ROWS, seed)}
    for k in range(number):
        if k in there:
            continue
        families, links = linked[k % len(linked)]
        pair = two.draw_pair(families, links, knowledge, models, seed + 9_000_000 + k)
        lines = []
        for name, policy in two.PAIR_POLICIES.items():
            r = policy(pair.fresh(), knowledge)
            shown = (f"{r.usd:.0f}", f"{r.hours:.2f}", r.needless, int(r.gave_up))
            lines.append((seed, k, *families, int(pair.twin is not None), name, *shown))
        _add(PAIR_ROWS, PAIR_HEAD, lines)


def add_rows(
    runs: dict[str, list[Run]], seed: int, distance: float, identity: str, first: int
) -> None:
    """Add one line a truck and policy."""
    lines = []
    for name, rows in runs.items():
        for k, r in enumerate(rows, first):
            figures = (f"{r.usd:.0f}", f"{r.hours:.2f}", r.needless, int(r.gave_up))
            more = (*(getattr(r, name) for name in COUNTS), f"{r.expected:.0f}")
            lines.append((seed, distance, identity, k, name, *figures, *more))
    _add(ROWS, HEAD, lines)


def report(runs: Runs, number: int, seed: int) -> str:
    """Return the result page."""
    fewest = min(len(family["ours"]) for family in runs.values())
    each = f"{number}" if fewest == number else f"{fewest} to {number}"
    lines = [
        "# Virtual shop: results",
        "",
        f"Written by `python -m studies.virtual_shop {number} {seed}`; nothing is typed in.",
        f"{each} invented trucks a family, {len(runs)} families, the same trucks for every",
        "policy. Standard errors in brackets: of means and shares from shop to shop, for the",
        "trucks of one shop share its truth; of ratios from truck to truck. See README.md for how",
        "the truth differs from the packs and what the policies are.",
        "",
        "## All families, each weighing the same",
        "",
        "| policy | money to a proven cure, USD | hours | needless parts | unproven closings |"
        " statements a truck | of them wrong | trucks that heard a wrong one |"
        " plain odds of 0.80 or more a truck | of them wrong | trucks with a wrong one |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for name in (*POLICIES, LEARNING):
        rows = [r for family in runs.values() for r in family[name]]
        spoken = " | ".join(_spoken(rows, which) for which in ("said", "plain"))
        lines.append(
            f"| {name} | {_mean(rows, 'usd', 0)} | {_mean(rows, 'hours', 1)} | "
            f"{_mean(rows, 'needless', 2)} | "
            f"{100 * np.mean([r.gave_up for r in rows]):.1f} % | {spoken} |"
        )
    lines += ["", "## Ours against the others, by family (ratio of mean money)", ""]
    lines += [
        "| family | ours, USD | / habit order | / test everything | / best simple | best simple |"
        " / all-knowing | hours / test everything | needless parts | learning / not |"
        " learning / not, second half of a shop | statements wrong | plain 0.80 wrong |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for identity, family in runs.items():
        mean = {name: float(np.mean([r.usd for r in rows])) for name, rows in family.items()}
        best, _ = _best(family)
        cells = []
        for other in ("habit order", "test everything", best):
            ratio, error = _ratio(family["ours"], family[other])
            cells.append(f"{ratio:.2f} ({error:.2f})")
        share = " | ".join(_of(family["ours"], which) for which in ("said", "plain"))
        hours = [np.mean([r.hours for r in family[n]]) for n in ("ours", "test everything")]
        needless = np.mean([r.needless for r in family["ours"]])
        lines.append(
            f"| {identity} | {_mean(family['ours'], 'usd', 0)} | {' | '.join(cells)} | {best} | "
            f"{mean['ours'] / mean['all-knowing']:.2f} | {hours[0] / hours[1]:.2f} | "
            f"{needless:.2f} | {_learnt(family)} | {_learnt(family, late=True)} | {share} |"
        )
    for late, words in ((False, "all trucks"), (True, "the second half of each shop")):
        pooled = {
            name: [r for family in runs.values() for r in _late(family[name], late)]
            for name in (LEARNING, "ours")
        }
        ratio, error = _ratio(pooled[LEARNING], pooled["ours"])
        lines += ["", f"Learning against not, {words}, all money: {ratio:.3f} ({error:.3f})."]
    return "\n".join([*lines, "", "## Goals", "", *goals_of(runs)]) + "\n"


def goals_of(runs: Runs) -> list[str]:
    """Return the table of the goals."""
    lines = ["| goal | reached | |", "|---|---|---|"]
    ratios = {o: [_over(f, o) for f in runs.values()] for o in (*SIMPLE, "best simple")}
    rows = [r for family in runs.values() for r in family["ours"]]
    goals = [("habit order", 0.50), ("test everything", 0.70)]
    for other, goal in goals:
        median, pooled = float(np.median(ratios[other])), _pooled(runs, other)
        lines.append(
            f"| ours at most {goal:.2f} of {other} | all money pooled {pooled:.2f}; median of "
            f"families {median:.2f} | {_word(pooled <= goal)} pooled, {_word(median <= goal)} by "
            "the median |"
        )
    worst = max(ratios["best simple"])
    inside = sum(r <= 0.80 for r in ratios["best simple"])
    lines.append(
        f"| ours at most 0.80 of the best simple policy in every family | {inside} of "
        f"{len(runs)} families, worst {worst:.2f} | {_word(worst <= 0.80)} |"
    )
    said, wrong = sum(r.said for r in rows), sum(r.wrong for r in rows)
    share = wrong / said if said else 0.0
    told = []
    for which, name in (("said", "statements"), ("plain", "times that odds plainly reached 0.80")):
        trucks = np.mean([getattr(r, _WRONG[which]) > 0 for r in rows])
        told.append(f"{_of(rows, which, 1)} {name} ({100 * trucks:.1f} % of trucks)")
    lines.append(
        f"| confident (0.80 or more) and wrong at most 8 % | {'; '.join(told)} | "
        f"{_word(share <= 0.08)} |"
    )
    return lines


def _learnt(family: dict[str, list[Run]], *, late: bool = False) -> str:
    """Return the cost of ours that learns over that of ours that does not."""
    ratio, error = _ratio(_late(family[LEARNING], late), _late(family["ours"], late))
    return f"{ratio:.2f} ({error:.2f})"


def _late(rows: list[Run], late: bool) -> list[Run]:
    """Return the trucks that came when the shop had seen half of its trucks, or all."""
    return [r for k, r in enumerate(rows) if k % SHOP >= SHOP // 2] if late else rows


def dependence(found: dict[float, Runs]) -> str:
    """Return how the result hangs on the distance between the truth and the packs."""
    lines = [
        "",
        "## How far the truth is from the packs",
        "",
        "The same, with the truth nearer to the packs. 1.00 is the distance of the tables above.",
        "",
        "| distance | trucks | / habit order | / test everything | / best simple, worst family |"
        " families within 0.80 | / all-knowing | statements wrong | plain 0.80 wrong |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for distance, runs in found.items():
        best = [_best(family)[1] for family in runs.values()]
        rows = [r for family in runs.values() for r in family["ours"]]
        lines.append(
            f"| {distance:.2f} | {len(rows)} | {_pooled(runs, 'habit order'):.2f} | "
            f"{_pooled(runs, 'test everything'):.2f} | {max(best):.2f} | "
            f"{sum(b <= 0.80 for b in best)} of {len(best)} | "
            f"{_pooled(runs, 'all-knowing'):.2f} | {_wrong(rows)} | {_wrong(rows, 'plain')} |"
        )
    return "\n".join(lines) + "\n"


def report_pairs(found: dict[str, list[tuple[bool, two.PairRun]]], seed: int) -> str:
    """Return the table of the trucks with two complaints."""
    number = min(len(rows) for rows in found.values())
    found = {name: rows[:number] for name, rows in found.items()}
    one = sum(linked for linked, _ in next(iter(found.values())))
    lines = [
        "",
        f"## Two complaints on one truck (seed {seed})",
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


def expectations(found: dict[float, Runs]) -> str:
    """Return what the workbench expected at check-in against what the trucks then cost."""
    heads = [f"distance {distance:.2f}" for distance in sorted(found)]
    lines = [
        "",
        "## Expected at check-in, and what it came to",
        "",
        "Mean cost of ours over what the workbench had expected it to cost before the first step.",
        "Dearer than expected already where the truth is the packs' would be a fault of the plan;",
        "dearer only farther away is trust in judged tables.",
        "",
        f"| family | {' | '.join(heads)} |",
        "|---|" + "---|" * len(heads),
    ]
    names = [f for f in found[1.0] if all(f in runs for runs in found.values())]
    for name in names:
        rows = [found[d][name]["ours"] for d in sorted(found)]
        lines.append(f"| {name} | {' | '.join(_against_expected(r) for r in rows)} |")
    rows = [[r for f in names for r in found[d][f]["ours"]] for d in sorted(found)]
    lines.append(f"| all | {' | '.join(_against_expected(r) for r in rows)} |")
    return "\n".join(lines) + "\n"


def _against_expected(rows: list[Run]) -> str:
    spent, thought = (np.array([getattr(r, a) for r in rows]) for a in ("usd", "expected"))
    return f"{spent.sum() / thought.sum():.2f} ({_from_shops(spent, thought):.2f})"


def _rows(place: Path, seed: int) -> list[dict[str, str]]:
    if not place.exists():
        return []
    with place.open(encoding="utf-8") as file:
        return [r for r in csv.DictReader(file) if r.get("seed") == str(seed)]


def _add(place: Path, head: Sequence[str], lines: Sequence[Sequence[object]]) -> None:
    """Add lines in one write, so that processes side by side do not mix theirs."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(lines)
    if not place.exists():
        place.write_text(",".join(head) + "\n", "utf-8")
    with place.open("a", encoding="utf-8", buffering=1 << 22) as file:
        file.write(text.getvalue())


def _mean(rows: list, name: str, digits: int) -> str:
    values = np.array([float(getattr(r, name)) for r in rows])
    error = _from_shops(values, np.ones(values.size))
    return f"{values.mean():,.{digits}f} ({error:,.{digits}f})"


def _spoken(rows: list[Run], which: str) -> str:
    """Return how much was said, how much of it was wrong, and on how many trucks."""
    said = sum(getattr(r, which) for r in rows)
    if not said:
        return "0 | says nothing | -"
    trucks = np.mean([getattr(r, _WRONG[which]) > 0 for r in rows])
    return f"{said / len(rows):.2f} | {_wrong(rows, which)} | {100 * trucks:.1f} %"


def _of(rows: list[Run], which: str, digits: int = 0) -> str:
    said, wrong = (sum(getattr(r, name) for r in rows) for name in (which, _WRONG[which]))
    return f"{100 * wrong / said:.{digits}f} % of {said}" if said else "-"


def _wrong(rows: list[Run], which: str = "said") -> str:
    said = np.array([getattr(r, which) for r in rows], dtype=float)
    wrong = np.array([getattr(r, _WRONG[which]) for r in rows], dtype=float)
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


def _over(family: dict[str, list[Run]], other: str) -> float:
    """Return the money of ours over that of another policy, or of the best simple one."""
    name = _best(family)[0] if other == "best simple" else other
    return _ratio(family["ours"], family[name])[0]


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
    main(*sys.argv[1:])
