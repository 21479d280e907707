"""Is anything proposed that a standing stop forbids? 5,000 random dossiers, 200 on every door.

    python studies/standing_stops/run.py --seeds 5000 --rendered 200 --out RESULTS.md

A dossier of :mod:`random_dossiers` at the level of the planner takes a few milliseconds; one that
is rendered on every door (:mod:`doors`) about a second. The suite runs fewer of both.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from doors import MUST_SAY, Doors, faults_of
from looks import order_faults, second_hand
from random_dossiers import cheap_dossier, forbids, kinds_blocked, lines_of

from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.dossier import Dossier
from witnessmark.web.app import create_app
from witnessmark.workflow.case.locks import customer_token
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.assess_case import assess


def main() -> None:
    """Draw, count, write the tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seeds", type=int, default=5000)
    asked.add_argument("--rendered", type=int, default=200)
    asked.add_argument("--out", type=Path, required=True)
    given = asked.parse_args()
    knowledge = load_knowledge()
    made = f"run.py --seeds {given.seeds} --rendered {given.rendered}"
    given.out.write_text(
        "# Nothing that a standing stop forbids is proposed\n\n"
        f"Made by `studies/standing_stops/{made}`; the oracle reads\n"
        "stops and states straight from the packs and shares no function with the program. It\n"
        "knows a stop whose start is lifted and whose drive is not, and what opens something.\n\n"
        f"{_planned(given.seeds, knowledge)}\n## Rendered on every door\n\n"
        "A fault is a check or a repair that a standing stop forbids and that stands as a\n"
        "proposal, a stop that is not said where it must be, or a drive or a running engine that\n"
        f"the road-test card asks for all the same.\n\n{_rendered(given.rendered, knowledge)}",
        encoding="utf-8",
    )


def _planned(seeds: int, knowledge: Knowledge) -> str:
    every = [*knowledge.stops, *(s for f in knowledge.families.values() for s in f.stops)]
    stood: Counter[str] = Counter()
    with_stop = proposed = held = wrong = alone = opening = 0
    for seed in range(seeds):
        drawn = cheap_dossier(seed, knowledge)
        with_stop += bool(drawn.stops)
        proposed += drawn.proposed
        held += drawn.held_back
        wrong += len(drawn.wrong)
        alone += bool(drawn.drive_alone)
        opening += "open" in drawn.blocked
        stood.update(drawn.stops)
    rows = [
        ("random dossiers", seeds),
        ("with a standing stop", with_stop),
        ("stops of the packs", len(every)),
        ("of them stood at least once", len(stood)),
        ("dossiers with a stop on its drive alone", alone),
        ("dossiers with a stop that forbids to open anything", opening),
        ("steps proposed", proposed),
        ("steps held back", held),
        ("steps proposed that a standing stop forbids", wrong),
    ]
    lines = "\n".join(f"| {what} | {count:,} |" for what, count in rows)
    return f"| what | count |\n|---|---|\n{lines}\n"


def _rendered(seeds: int, knowledge: Knowledge) -> str:
    shown: Counter[str] = Counter()
    said: Counter[str] = Counter()
    wrong: Counter[str] = Counter()
    order: Counter[str] = Counter()
    repairs = checks = 0
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        made: dict[str, Dossier] = {}
        doors = Doors(
            create_app(shop, assess=lambda case_id: made[case_id]),
            lambda case_id: customer_token(shop, case_id, 14),
        )
        for seed in range(seeds):
            found = made[f"c{seed}"] = _opened(shop, seed, knowledge)
            each = list(doors.every(found, knowledge))
            shown.update(door for door, _ in each)
            said.update({door: len(found.stops) for door in MUST_SAY})
            barred = _by_oracle(found, knowledge)
            blocked = kinds_blocked(found.stops, knowledge)
            faults = faults_of(found, iter(each), knowledge, barred, blocked)
            order.update(f.partition(":")[0] for f in order_faults(found, knowledge, barred))
            order["second hand"] += sum(map(second_hand, found.todo))
            repairs += sum(s.kind == "repair" for s in found.todo)
            checks += sum(s.kind != "repair" for s in found.todo)
            wrong.update(fault.partition(":")[0] for fault in faults)
        doors.close()
        shop.close()
    rows = "\n".join(
        f"| {door} | {count:,} | {f'{said[door]:,}' if door in said else 'none asked'} | "
        f"{wrong[door]} |"
        for door, count in shown.items()
    )
    stopped = sum(bool(d.stops) for d in made.values())
    asked = [
        ("checks asked for once more by a second hand, said so (no fault)", "second hand"),
        ("checks asked again otherwise", "asks again"),
        ("parts below one in ten", "a long shot"),
        ("parts before a much cheaper look that would see them bad", "renewed first"),
    ]
    listed = "\n".join(f"| {what} | {order[key]} |" for what, key in asked)
    return (
        f"{seeds} random dossiers, {stopped} with a stop.\n\n"
        f"| door | rendered | stops that it must say | faults |\n|---|---|---|---|\n{rows}\n\n"
        "## Look first, ask never twice\n\n"
        f"In the same dossiers, {checks:,} checks and {repairs:,} parts listed.\n\n"
        f"| what | count |\n|---|---|\n{listed}\n"
    )


def _opened(shop: Shop, seed: int, knowledge: Knowledge) -> Dossier:
    shop.new_case(f"c{seed}", lines_of(seed, knowledge))
    return assess(shop.case(f"c{seed}"), {}, knowledge=knowledge)


def _by_oracle(found: Dossier, knowledge: Knowledge) -> Callable[[str], bool]:
    def barred(name: str) -> bool:
        record = knowledge.test(name) or knowledge.cause(name)
        return record is not None and any(forbids(s, record, knowledge) for s in found.stops)

    return barred


if __name__ == "__main__":
    main()
