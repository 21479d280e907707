"""What a shop's own closings teach, in money: 0, 20, 100 and 300 of them on the same new trucks.

    nice -n 15 .venv/bin/python -m studies.three_worlds.learner run SEED MINUTES
    .venv/bin/python -m studies.three_worlds.learner tables SEED

Every shop has a truth of its own: the log odds of all shares and of all tables lie 0.5 or 1.0 of a
standard deviation from the packs', and each of its repairs takes another time and costs other
parts. Its closings are trucks of that truth on which every cheap test was made; they prove what was
at fault, and their jobs say what it took. Then fresh trucks come in, and the same truck is repaired
by the workbench with none, 20, 100 and 300 of the closings behind it. Rows go into ``learner.csv``
truck by truck, families and truths in turn; a run that is stopped is a smaller run.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.kept_rows import add_rows, rows_of  # noqa: E402
from studies.three_worlds import shops, worlds  # noqa: E402
from studies.three_worlds.__main__ import one_step  # noqa: E402
from studies.virtual_shop.trucks import UNLISTED, World, draw_truck  # noqa: E402

from witnessmark.inference.family.family_model import FamilyModel  # noqa: E402
from witnessmark.knowledge import Cause, Family, Knowledge, load_knowledge  # noqa: E402
from witnessmark.model.shop_record import Closing, History, Job  # noqa: E402
from witnessmark.model.step import Spread  # noqa: E402
from witnessmark.planner.ranking.costs import price_of_test, seal_usd  # noqa: E402

FOLDER = Path(__file__).resolve().parent
ROWS, PAGE = FOLDER / "learner.csv", FOLDER / "learner.md"
HEAD = ("seed", "sd", "family", "truck", "closings", "usd", "needless", "searched")
SDS, SIZES = (0.5, 1.0), (0, 20, 100, 300)
#: The shop's own times and parts, and one job around them: standard deviations of the logs.
SHOP_SD, JOB_SD = 0.35, 0.25
#: New trucks of one shop and family; the closings lie up to so many days back.
NEW, DAYS = 3, 730.0


def main(what: str, seed: str, minutes: str = "0") -> None:
    """Run the shops for so many minutes, or write the page."""
    if what == "run":
        run(int(seed), float(minutes))
    else:
        text = page(int(seed))
        PAGE.write_text(text, "utf-8")
        print(text)


def run(seed: int, minutes: float) -> None:
    """Repair the new trucks of every family under both truths."""
    one_step()
    knowledge = load_knowledge()
    ends = time.monotonic() + 60.0 * minutes
    done = {(r["sd"], r["family"], int(r["truck"])) for r in rows_of(ROWS, seed)}
    names = sorted(knowledge.families)
    for family in np.random.default_rng(seed).permutation(names).tolist():
        pack = knowledge.families[family]
        for sd in SDS:
            if all((str(sd), family, k) in done for k in range(NEW)):
                continue
            rng = np.random.default_rng([seed, names.index(family), round(10 * sd)])
            truth = worlds.moved_world(pack, knowledge, rng, sd)
            own = own_figures(pack, rng)
            past = closings(replace(truth, family=own), knowledge, rng, max(SIZES))
            histories = {n: History(past[0][:n], jobs_of(past[1], n)) for n in SIZES}
            models = {
                n: FamilyModel(pack, knowledge.conditions, h if n else None)
                for n, h in histories.items()
            }
            seeds = rng.integers(2**31, size=NEW)
            for k in range(NEW):
                if (str(sd), family, k) in done:
                    continue
                if time.monotonic() > ends:
                    print("out of time", family, sd, flush=True)
                    return
                lines = []
                for n in SIZES:
                    truck = draw_truck(replace(truth, family=own), knowledge, int(seeds[k]))
                    ended = shops.ours(truck, knowledge, models[n], histories[n] if n else None)
                    figures = (round(ended.usd, 2), ended.needless, int(ended.searched))
                    lines.append((seed, sd, family, k, n, *figures))
                add_rows(ROWS, HEAD, lines)


def own_figures(family: Family, rng: np.random.Generator) -> Family:
    """Return the family with the times and parts of this shop."""

    def own(cause: Cause) -> Cause:
        time_, parts = np.exp(SHOP_SD * rng.standard_normal(2))
        return replace(
            cause,
            minutes=_times(cause.minutes, float(time_)),
            parts_usd=_times(cause.parts_usd, float(parts)),
        )

    return replace(family, causes=tuple(own(c) for c in family.causes))


def closings(
    world: World, knowledge: Knowledge, rng: np.random.Generator, number: int
) -> tuple[tuple[Closing, ...], tuple[Job, ...]]:
    """Return the shop's closings, newest last, and their jobs; case c0 is the first of them."""
    found: list[Closing] = []
    jobs: list[Job] = []
    while len(found) < number:
        truck = draw_truck(world, knowledge, int(rng.integers(2**31)))
        if UNLISTED in truck.faults:
            continue
        tests = [
            t for t in world.family.tests if price_of_test(t, truck.settings) <= shops.CHEAP_USD
        ]
        results = tuple((t.id, truck.test(t)) for t in tests)
        name, ago = f"c{len(found)}", float(rng.uniform(1.0, DAYS))
        causes = tuple(sorted(truck.faults))
        found.append(Closing(name, world.family.id, causes, True, ago, results=results))
        for identity in causes:
            cause = world.family.cause(identity)
            assert cause is not None
            took, paid = np.exp(JOB_SD * rng.standard_normal(2))
            minutes = float(cause.minutes.typical * took)
            usd = float(cause.parts_usd.typical * paid + seal_usd(cause))
            jobs.append(Job(name, identity, minutes=minutes, usd=usd, days_ago=ago))
    return tuple(found), tuple(jobs)


def jobs_of(jobs: Sequence[Job], number: int) -> tuple[Job, ...]:
    """Return the jobs of the first closings."""
    return tuple(j for j in jobs if int(j.case[1:]) < number)


def page(seed: int) -> str:
    """Return the page from the rows."""
    money: dict[tuple[str, str, str], dict[int, tuple[float, int, int]]] = defaultdict(dict)
    for r in rows_of(ROWS, seed):
        figures = (float(r["usd"]), int(r["needless"]), int(r["searched"]))
        money[r["sd"], r["family"], r["truck"]][int(r["closings"])] = figures
    lines = [
        "# What a shop's own closings teach: results",
        "",
        f"Written by `python -m studies.three_worlds.learner tables {seed}`; nothing is typed in.",
        "The same new trucks for every number of closings; standard errors in brackets, of the",
        "ratio from shop to shop (one shop: a family and a truth). One step is looked ahead.",
    ]
    for sd in SDS:
        shops_: dict[str, list[dict[int, tuple[float, int, int]]]] = defaultdict(list)
        for key, by in money.items():
            if key[0] == str(sd) and len(by) == len(SIZES):
                shops_[key[1]].append(by)
        number = sum(len(s) for s in shops_.values())
        lines += ["", f"## Truth {sd} away in every log odds", ""]
        lines += [f"{len(shops_)} shops, {number} trucks.", ""]
        lines += ["| closings | money a truck, USD | over none | needless parts | open searches |"]
        lines += ["|---|---|---|---|---|"]
        for n in SIZES if shops_ else ():
            usd = np.array([np.mean([by[n][0] for by in s]) for s in shops_.values()])
            none = np.array([np.mean([by[0][0] for by in s]) for s in shops_.values()])
            ratio, error = ratio_of(usd, none)
            each = [by[n] for s in shops_.values() for by in s]
            told = f"{ratio:.3f} ({error:.3f})" if n else "1"
            lines.append(
                f"| {n} | {usd.mean():,.0f} | {told} | {np.mean([e[1] for e in each]):.2f} | "
                f"{100 * np.mean([e[2] for e in each]):.0f} % |"
            )
    return "\n".join(lines) + "\n"


def ratio_of(usd: np.ndarray, none: np.ndarray) -> tuple[float, float]:
    """Return the ratio of two sums over shops and its standard error from shop to shop."""
    ratio = float(usd.mean() / none.mean())
    rest = usd - ratio * none
    return ratio, float(np.std(rest, ddof=1) / np.sqrt(usd.size) / none.mean())


def _times(spread: Spread, factor: float) -> Spread:
    return Spread(factor * spread.low, factor * spread.typical, factor * spread.high)


if __name__ == "__main__":
    main(*sys.argv[1:])
