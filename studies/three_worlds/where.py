"""Where the money goes, and what a plan that knew the world's own tables would pay.

    nice -n 15 .venv/bin/python -m studies.three_worlds.where run NUMBER SEED MINUTES
    .venv/bin/python -m studies.three_worlds.where tables SEED

On trucks of the worlds A and B (a seed of the study's development, no seed of record) the bill of
every policy is split into tests, right repairs, needless repairs and the open search. Beside the
policies stand two that no shop can have: the plan alone, which takes the lowest figure without the
order of the bay and without any rule when to stop, once with the packs' tables and once with the
world's own shares, tables, clues and rate of misreading. The last one is what a planner of this
kind could reach at best. One step is looked ahead. Rows go into ``where.csv`` truck by truck.
"""

from __future__ import annotations

import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "src")]

from studies.kept_rows import add_rows, rows_of  # noqa: E402
from studies.three_worlds import shops, worlds  # noqa: E402
from studies.three_worlds.__main__ import SHOP, one_step  # noqa: E402
from studies.virtual_shop.trucks import Bill, Truck, World  # noqa: E402

from witnessmark.inference.family.family_belief import family_belief  # noqa: E402
from witnessmark.inference.family.family_model import FamilyModel  # noqa: E402
from witnessmark.inference.family.staged_evidence import StagedEvidence  # noqa: E402
from witnessmark.knowledge import Family, Knowledge, load_knowledge  # noqa: E402
from witnessmark.planner.ranking.pricing import FamilyState, plan_family  # noqa: E402

FOLDER = Path(__file__).resolve().parent
ROWS, PAGE = FOLDER / "where.csv", FOLDER / "where.md"
KINDS = ("tests", "right", "needless", "search")
HEAD = ("seed", "world", "family", "truck", "policy", "usd", "searched", "wrong_parts", *KINDS)
WORLDS = ("A", "B")
#: What the rows of the plan alone are called, with the packs' tables and with the world's.
PACK, TRUE = "the plan alone", "the plan alone, knowing the world"
POLICIES = ("ours", PACK, TRUE, *shops.SIMPLE[1:], "all-knowing")
RIVAL = "simple rule, 4"


@dataclass
class Split(Bill):
    """A bill that knows what it was for."""

    where: dict[str, float] = field(default_factory=lambda: dict.fromkeys(KINDS, 0.0))

    def note(self, kind: str, before: float) -> None:
        """Book what was added since."""
        self.where[kind] += self.usd - before


def split(truck: Truck) -> Truck:
    """Return the truck with a bill that is split by what it was for."""
    bill = Split()
    truck.bill = bill
    test, repair, search = truck.test, truck.repair, truck.search

    def tested(*a: object, **k: object) -> str:
        before = bill.usd
        found = test(*a, **k)  # type: ignore[arg-type]
        bill.note("tests", before)
        return found

    def repaired(identity: str, **k: object) -> bool:
        before, right = bill.usd, identity in truck.faults
        gone = repair(identity, **k)  # type: ignore[arg-type]
        bill.note("right" if right else "needless", before)
        return gone

    def searched() -> None:
        before = bill.usd
        search()
        bill.note("search", before)

    truck.test, truck.repair, truck.search = tested, repaired, searched  # type: ignore[method-assign]
    return truck


def known(world: World, name: str) -> Family:
    """Return the family with the world's own shares, tables, clues and misreading, as measured."""
    family, wrong = world.family, {"A": 1e-6, "B": worlds.MISREAD}[name]
    causes = tuple(
        replace(
            c,
            prior=float(world.shares[k]),
            odds_multipliers={
                n: float(world.clues.get(n, {}).get(c.id, v)) for n, v in c.odds_multipliers.items()
            },
            source=replace(c.source, kind="measured"),
        )
        for k, c in enumerate(family.causes)
    )
    tests = tuple(
        replace(
            t,
            base=_row(world.base[t.id]),
            probability={c: _row(row) for c, row in world.rows[t.id].items()},
            mistake=wrong,
            source=replace(t.source, kind="measured"),
        )
        for t in family.tests
    )
    shares = {"second_cause": 0.16, "none_listed": 0.03, "within_normal": 0.0, "together": ()}
    return replace(family, causes=causes, tests=tests, **shares)


def plan_alone(truck: Truck, knowledge: Knowledge, model: FamilyModel) -> shops.Ended:
    """Take the move with the lowest figure, whatever it is."""
    family, evidence = model.family, StagedEvidence(truck.clues)
    belief = family_belief(family, evidence, conditions=knowledge.conditions, model=model)
    done: dict[str, bool] = {}
    here: list[str] = []
    repaired: tuple[str, ...] = ()
    last = ""
    for _ in range(60):
        state = FamilyState(
            family, belief, tests_done=frozenset(done), repaired=repaired, made_here=tuple(here)
        )
        plan = plan_family(
            state, truck.settings, access_groups=knowledge.access_groups, last_test=last
        )
        moves = np.concatenate([plan.moves.repair[0], plan.moves.test[0]])
        best = int(np.argmin(moves))
        if moves[best] >= plan.moves.search[0]:
            break
        if best < len(plan.table.causes):
            cause = plan.table.causes[best]
            gone = truck.repair(cause)
            if gone:
                return _ended(truck, searched=False)
            belief = belief.after_repair(cause, False)
            done, last = {t: found for t, found in done.items() if not found}, ""
            repaired, here = (*repaired, cause), []
            continue
        test = family.test(plan.tests[best - len(plan.table.causes)].id)
        assert test is not None
        again = test.id in belief.results
        found = truck.test_again(test) if again else truck.test(test)  # type: ignore[attr-defined]
        belief = belief.after_test(test, found, by="another hand" if again else "")
        done[test.id] = found != test.outcomes[-1]
        here.append(test.id)
        last = test.id
    truck.search()
    return _ended(truck, searched=True)


def run(number: int, seed: int, minutes: float) -> None:
    """Repair NUMBER trucks a family and world, or as many as the minutes allow."""
    one_step()
    knowledge = load_knowledge()
    names, ends = sorted(knowledge.families), time.monotonic() + 60.0 * minutes
    there = {(r["world"], r["family"], int(r["truck"]), r["policy"]) for r in rows_of(ROWS, seed)}
    for k in range(number):
        for identity in names:
            family, models = knowledge.families[identity], dict[str, FamilyModel]()
            for name in WORLDS:
                missing = [p for p in POLICIES if (name, identity, k, p) not in there]
                own = [seed, worlds.WORLDS.index(name), names.index(identity), k // SHOP * SHOP]
                truth = worlds.world_of(name, family, knowledge, np.random.default_rng(own))
                draws = int(np.random.default_rng([*own, k]).integers(2**31))
                truck = worlds.draw(name, truth, knowledge, draws)
                for policy in missing:
                    if time.monotonic() > ends:
                        return
                    if "pack" not in models:
                        models["pack"] = FamilyModel(family, knowledge.conditions)
                    one = split(truck.fresh())
                    if policy == TRUE:
                        plan_alone(one, knowledge, _knowing(models, truth, name, knowledge))
                    elif policy == PACK:
                        plan_alone(one, knowledge, models["pack"])
                    else:
                        shops.POLICIES[policy](one, knowledge, models["pack"])
                    _add((seed, name, identity, k, policy), one)


def page(seed: int) -> str:
    """Return the page from the rows."""
    trucks: dict[tuple[str, str, str], dict[str, dict[str, str]]] = defaultdict(dict)
    for r in rows_of(ROWS, seed):
        trucks[r["world"], r["family"], r["truck"]][r["policy"]] = r
    names = list(dict.fromkeys(r["policy"] for r in rows_of(ROWS, seed)))
    lines = [
        "# Where the money goes: results",
        "",
        f"Written by `python -m studies.three_worlds.where tables {seed}`; nothing is typed in.",
        "USD a truck on the same trucks; ratios of all money with their standard error from truck",
        'to truck. "The plan alone" has no order of the bay and no rule when to stop.',
        'Rows named "before" are those of the rank that let an open search be begun before parts.',
    ]
    for world in WORLDS:
        full = [t for key, t in trucks.items() if key[0] == world and len(t) == len(names)]
        lines += ["", f"## World {world}", "", f"{len(full)} trucks.", ""]
        lines += [f"| policy | all | over {RIVAL} | {' | '.join(KINDS)} | searches | wrong parts |"]
        lines += ["|---|---|---|" + "---|" * (len(KINDS) + 2)]
        for name in names if full else ():
            usd, other = (np.array([float(t[n]["usd"]) for t in full]) for n in (name, RIVAL))
            ratio = usd.mean() / other.mean()
            error = np.std(usd - ratio * other, ddof=1) / np.sqrt(len(full)) / other.mean()
            kinds = [np.mean([float(t[name][kind]) for t in full]) for kind in KINDS]
            searches = 100 * np.mean([t[name]["searched"] == "1" for t in full])
            wrong = np.mean([int(t[name]["wrong_parts"]) for t in full])
            told = " | ".join(f"{x:,.0f}" for x in kinds)
            lines.append(
                f"| {name} | {usd.mean():,.0f} | {ratio:.2f} ({error:.2f}) | {told} | "
                f"{searches:.0f} % | {wrong:.2f} |"
            )
    return "\n".join(lines) + "\n"


def _knowing(
    models: dict[str, FamilyModel], truth: World, name: str, knowledge: Knowledge
) -> FamilyModel:
    if name not in models:
        models[name] = FamilyModel(known(truth, name), knowledge.conditions)
    return models[name]


def _ended(truck: Truck, *, searched: bool) -> shops.Ended:
    return shops.Ended(truck.bill.usd, truck.bill.needless, truck.bill.repairs, searched)


def _row(row: np.ndarray) -> tuple[float, ...]:
    return tuple(float(p) for p in row / row.sum())


def _add(key: Sequence[object], truck: Truck) -> None:
    bill = truck.bill
    assert isinstance(bill, Split)
    searched = int(bill.where["search"] > 0.0)
    kinds = [round(bill.where[k], 1) for k in KINDS]
    row = (*key, round(bill.usd, 2), searched, bill.needless, *kinds)
    add_rows(ROWS, HEAD, [row])


def main(what: str, *words: str) -> None:
    """Run, or write the page."""
    if what == "run":
        run(int(words[0]), int(words[1]), float(words[2]))
    else:
        text = page(int(words[0]))
        PAGE.write_text(text, "utf-8")
        print(text)


if __name__ == "__main__":
    main(*sys.argv[1:])
