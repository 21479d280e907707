"""Money to a proven cure against pool size and budget: a shop that begins, with many shops' pool.

    nice -n 15 python -m studies.pooling.money run --seed 20312 [--cluster ADDRESS]
    python -m studies.pooling.money table --seed 20312

Rows are added to ``money.csv`` world by world; a run that was stopped goes on where it was. With
``--cluster`` the same worlds are worked on by the workers of a dask scheduler.

A world is one family of complaints, whose truth lies off the packs': shares by a log-normal factor
of 0.85, rows of tests by 0.5, and each shop's own shares off these by 0.5. A contributing shop
closes two proven cases of the family a quarter, for four quarters; it makes the tests it is used to
(log-normal weights of 1), two results a case; one result of twenty is misread, one closing of
thirty names a wrong cause. Its counts are drawn, not planned. The blur is that of the files, table
by table and quarter by quarter; the merge is the program's. Then trucks come to one more shop that
has closed nothing yet, and the workbench's first steps are taken until the cure is proven
(``studies/virtual_shop``, whose trucks and bills these are): once with the packs alone, once with
each pool, the same trucks. The families are every fifth of those that no physical model reads, by
name. Standard errors are those of the differences from world to world.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.kept_rows import add_rows, rows_of  # noqa: E402
from studies.pooling.pool_size import blur, moved  # noqa: E402
from studies.virtual_shop import trucks as truth  # noqa: E402
from studies.virtual_shop.policies import knowing, ours  # noqa: E402

from witnessmark.inference.family.family_belief import FamilyModel  # noqa: E402
from witnessmark.knowledge import Family, load_knowledge  # noqa: E402
from witnessmark.model.pool import Pool  # noqa: E402
from witnessmark.model.shop_record import History  # noqa: E402
from witnessmark.pooling.blurring import variance  # noqa: E402
from witnessmark.pooling.cells import POOLED, Cells, judged_of  # noqa: E402
from witnessmark.pooling.into_pool import pool_of_shares  # noqa: E402
from witnessmark.pooling.sums import Sums, shared  # noqa: E402
from witnessmark.pooling.tally import TABLES  # noqa: E402

Floats = npt.NDArray[np.float64]
ROWS = Path(__file__).with_name("money.csv")
HEAD = ("seed", "family", "world", "truck", "epsilon", "size", "usd", "needless", "gave_up")
SIZES = (10, 1000, 10_000)
EPSILONS = (1.0, 4.0, math.inf)
#: Worlds a family and trucks a world: 7 x 4 x 4 trucks, each planned 10 times, 1,120 in all.
WORLDS, TRUCKS = 4, 4
QUARTERS, A_QUARTER, RESULTS, MISREAD, MISNAMED = 4, 2.0, 2.0, 0.05, 1 / 30
COMMON, OWN = truth.Distance(share=0.85), 0.5


def families() -> list[str]:
    """Return the families that are played."""
    plain = sorted(n for n, f in load_knowledge().families.items() if not f.modelled_by)
    return plain[2::5][:8]


def counts_of(
    family: Family, world: truth.World, shops: int, chance: np.random.Generator
) -> dict[str, Floats]:
    """Return table -> counts of every shop, flat, in the order of the cells; never planned."""
    share = moved(world.shares, OWN, chance, shops)
    share = (1 - MISNAMED) * share + MISNAMED / share.shape[1]
    closed = chance.multinomial(chance.poisson(QUARTERS * A_QUARTER, shops), share)
    habit = np.exp(chance.standard_normal((shops, len(family.tests))))
    habit /= habit.sum(axis=1, keepdims=True)
    made = chance.poisson(RESULTS * closed[:, :, None] * habit[:, None, :])
    results = []
    for number, test in enumerate(family.tests):
        for place, cause in enumerate(family.causes):
            row = world.rows[test.id][cause.id]
            row = (1 - MISREAD) * row / row.sum() + MISREAD / row.size
            results.append(chance.multinomial(made[:, place, number], row))
    flat = np.concatenate(results, axis=1) if results else np.zeros((shops, 0))
    return {"closings": closed.astype(float), "results": flat.astype(float)}


def pools(
    family: Family, world: truth.World, chance: np.random.Generator
) -> Iterator[tuple[float, int, Pool]]:
    """Yield (budget, shops, pool)."""
    cells = Cells(judged_of({family.id: family}))
    counts = counts_of(family, world, SIZES[-1], chance)
    parts = {t.name: (t.most, float(t.part)) for t in TABLES}
    many = {name: int(cells.size[cells.table == k].sum()) for k, name in enumerate(POOLED)}
    for epsilon in EPSILONS:
        scale = {n: most / (epsilon * part) for n, (most, part) in parts.items()}
        noise = np.asarray([
            QUARTERS * variance(scale[n]) if math.isfinite(epsilon) else 0.0 for n in POOLED
        ])[cells.table]  # fmt: skip
        sums, done = Sums(cells), 0
        for size in SIZES:
            for first in range(done, size, 500):
                part = slice(first, min(first + 500, size))
                rows = []
                for name in POOLED:
                    shape = (part.stop - part.start, many[name])
                    told = counts[name][part] if name in counts else np.zeros(shape)
                    if math.isfinite(epsilon) and name in counts:
                        for _ in range(QUARTERS):
                            told = told + blur(shape, scale[name], chance)
                    rows.append(told)
                whole = np.concatenate(rows, axis=1)
                sums.add(whole, np.broadcast_to(noise, (len(whole), noise.size)))
            done = size
            found = pool_of_shares(cells, shared(sums), "2031Q4")
            # Times and comebacks were not drawn, so they are left as the packs say.
            yield epsilon, size, Pool(found.families, found.quarter, found.tests)


def one_world(task: tuple[int, str, int]) -> list[tuple[object, ...]]:
    """Work one world through and return its rows."""
    seed, name, number = task
    knowledge = load_knowledge()
    family = knowledge.families[name]
    chance = np.random.default_rng([seed, *name.encode(), number])
    world = truth.World.of(family, knowledge, chance, COMMON)
    here = truth.World(
        family, moved(world.shares, OWN, chance, 1)[0], world.rows, world.base, world.clues
    )
    trucks = [truth.draw_truck(here, knowledge, int(chance.integers(2**31))) for _ in range(TRUCKS)]
    rows: list[tuple[object, ...]] = []

    def play(epsilon: object, size: object, history: History | None) -> None:
        model = FamilyModel(family, knowledge.conditions, history)
        for k, truck in enumerate(trucks):
            run = (
                knowing(truck.fresh(), knowledge, model)
                if epsilon == "knowing"
                else ours(truck.fresh(), knowledge, model, history or History())
            )
            figures = (f"{run.usd:.0f}", run.needless, int(run.gave_up))
            rows.append((seed, name, number, k, epsilon, size, *figures))

    play("packs", 0, None)
    play("knowing", 0, None)
    for epsilon, size, pool in pools(family, world, chance):
        play(f"{epsilon:g}", size, History(pool=pool))
    return rows


def run(seed: int, cluster: str) -> None:
    """Work through what is not there yet."""
    there = {(seed, r["family"], int(r["world"])) for r in rows_of(ROWS, seed)}
    tasks = [(seed, name, k) for k in range(WORLDS) for name in families()]
    tasks = [task for task in tasks if task not in there]
    if cluster:
        from distributed import Client, as_completed  # noqa: PLC0415

        with Client(cluster) as client:
            for _, rows in as_completed(client.map(one_world, tasks), with_results=True):
                add_rows(ROWS, HEAD, rows)
        return
    for task in tasks:
        add_rows(ROWS, HEAD, one_world(task))
        print(*task, flush=True)


def table(seed: int) -> str:
    """Return the page, from the rows."""
    usd: dict[tuple[str, int], dict[tuple[str, str], list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    wasted: dict[tuple[str, int], list[float]] = defaultdict(list)
    for r in rows_of(ROWS, seed):
        key = (r["epsilon"], int(r["size"]))
        usd[key][r["family"], r["world"]].append(float(r["usd"]))
        wasted[key].append(float(r["needless"]))
    packs = {world: float(np.mean(rows)) for world, rows in usd["packs", 0].items()}
    trucks = sum(len(rows) for rows in usd["packs", 0].values())
    lines = [
        "# What a pool is worth in money", "",
        f"Made by `python -m studies.pooling.money table --seed {seed}` from `money.csv`; the head",
        f"of the program says how. {len(packs)} worlds of {len({f for f, _ in packs})} families, "
        f"{trucks} trucks, each the same in every row.", "",
        "| budget a quarter | shops | money to a proven cure, USD | less packs alone, USD (standard"
        " error) | ratio | needless parts a truck |", "|---|---|---|---|---|---|",
    ]  # fmt: skip
    words = {"packs": "packs alone", "knowing": "who knows the fault", "inf": "no blur"}
    order = [("packs", 0), *((f"{e:g}", s) for e in EPSILONS for s in SIZES), ("knowing", 0)]
    for key in order:
        found = usd[key]
        if not found:
            continue
        mean = np.asarray([np.mean(found[w]) for w in packs if w in found])
        base = np.asarray([packs[w] for w in packs if w in found])
        gap = mean - base
        error = float(gap.std(ddof=1) / math.sqrt(gap.size)) if gap.size > 1 else math.nan
        size = f"{key[1]:,}" if key[1] else ""
        lines.append(
            f"| {words.get(key[0], key[0])} | {size} | {mean.mean():.0f} | {gap.mean():+.0f} "
            f"({error:.0f}) | {mean.mean() / base.mean():.3f} | {np.mean(wasted[key]):.2f} |"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Do what the words ask for."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("what", choices=("run", "table"))
    arguments.add_argument("--seed", type=int, required=True)
    arguments.add_argument("--cluster", default="")
    chosen = arguments.parse_args()
    if chosen.what == "run":
        run(chosen.seed, chosen.cluster)
    text = table(chosen.seed)
    Path(__file__).with_name("MONEY.md").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
