"""What a shop of many closed cases costs: processor time and memory, on invented cases.

Run: OMP_NUM_THREADS=1 python benchmarks/history.py [cases ...]. Prints the table of history.md.
Processor time of this process; "next run" is a second process that finds the lessons on disk.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from witnessmark.knowledge import load_knowledge
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.learnt_for_case import all_lessons
from witnessmark.workflow.shop.experience import experience_of

AT = "2026-03-02T08:00:00Z"
#: Families whose closings are made, with a quantity that proves the repair.
FAMILIES = ("oil_press", "overheat", "air_supply", "charging", "brakes")


def line(kind: str, identity: str, **data: Any) -> str:
    """Return one line of the entry format."""
    return json.dumps({"kind": kind, "id": identity, "at": AT, "data": data})


def closed(number: int, knowledge: Any) -> list[str]:
    """Return a closed case: two tests, a repair with its time and parts, the word "gone".

    Every second one is of fuel and proven by readings.
    """
    if number % 2:
        return proven(number)
    family = knowledge.families[FAMILIES[number % len(FAMILIES)]]
    cause = family.causes[number // len(FAMILIES) % len(family.causes)]
    one, two = family.tests[number % len(family.tests)], family.tests[-1 - number % 3]
    return [
        line("truck", "t", label=f"unit {number}", engine={"type": f"type {number % 7}"}),
        line("complaint", "c", words="as told", families=[family.id]),
        line("test", "x1", test=one.id, result=one.outcomes[0]),
        line("test", "x2", test=two.id, result=two.outcomes[-1]),
        line("quote", "q", lines=[{"what": cause.name, "cause": cause.id, "minutes": 90.0}]),
        line("work", "w", cause=cause.id, did="renewed", minutes=60.0 + number % 90),
        line("test", "y1", test=one.id, result=one.outcomes[-1]),
        line("outcome", "o", complaint="c", gone=True, after_days=9),
    ]


def proven(number: int) -> list[str]:
    """Return a closed fuel case whose readings prove the cure; all figures invented."""

    def reading(name: str, quantity: str, value: str, rpm: float) -> str:
        point, gauge = {"rpm": rpm, "load": "none"}, {"id": "g", "span": "160 psi"}
        gauge["accuracy"] = "1 % of span"
        data = {"quantity": quantity, "value": value, "point": point, "instrument": gauge}
        return line("reading", name, **data)

    engine = {"fuel_supply": "gallery", "type": f"type {number % 7}"}
    cause = ("pump_relief", "return_regulator", "secondary_filter")[number % 3]
    return [
        line("truck", "t", label=f"unit {number}", engine=engine),
        line("complaint", "c", words="as told", families=["fuel_low"]),
        reading("r1", "fuel_gallery_pressure", "62 psi", 650),
        reading("r2", "fuel_gallery_pressure", "73 psi", 1400),
        line("work", "w", cause=cause, did="renewed", minutes=50.0 + number % 60),
        reading("r3", "fuel_gallery_pressure", "77 psi", 650),
        reading("r4", "fuel_gallery_pressure", "97 psi", 1400),
        reading("r5", "fuel_return_flow", "0.6 gal/min", 650),
        line("outcome", "o", complaint="c", gone=True, after_days=1),
    ]


def spent(work: Callable[[], object]) -> float:
    """Return the processor time of one call [s]."""
    start = time.process_time()
    work()
    return time.process_time() - start


def build(folder: Path, count: int) -> None:
    """Make a shop of so many closed cases and an open one."""
    shop = open_shop(folder, create=True)
    knowledge = load_knowledge()
    for number in range(count):
        shop.new_case(f"old{number}", closed(number, knowledge))
    open_lines = closed(0, knowledge)[:4]
    shop.new_case("new", open_lines)
    shop.close()


def measured(folder: Path) -> dict[str, float]:
    """Return what the first and the later questions of one process cost [s]."""
    shop = open_shop(folder)
    load_knowledge()
    found = {"lessons": spent(lambda: all_lessons(shop))}
    found["first assess"] = spent(lambda: assess_in_shop(shop, "new"))
    found["asked again"] = min(spent(lambda: assess_in_shop(shop, "new")) for _ in range(5))
    after = []
    for number in range(7):
        shop.add("new", "note", {"words": f"line {number}"})
        after.append(spent(lambda: assess_in_shop(shop, "new")))
    found["one more line"] = sorted(after)[3]
    found["history"] = min(spent(lambda: experience_of(shop)) for _ in range(3))
    told = all_lessons(shop).history
    found["closings"] = len(told.closings)
    found["proven"] = sum(c.proven for c in told.closings)
    found["memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    shop.close()
    return found


def main(*counts: str) -> None:
    """Print the table."""
    print(
        "| cases | closings (proven) | lessons, first run, s | next run, s | one more line, then "
        "asked, s | asked again, s | `history`, s | memory, next run, MB |\n"
        "|---|---|---|---|---|---|---|---|"
    )
    for count in [int(c) for c in counts] or [100, 1000, 5000]:
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder) / "shop"
            env = {**os.environ, "WITNESSMARK_CACHE": str(Path(folder) / "kept")}
            for what in ("build", "first", "next"):
                words = [sys.executable, __file__, what, str(place), str(count)]
                told = subprocess.run(words, env=env, check=True, capture_output=True, text=True)
                if what == "first":
                    first = json.loads(told.stdout)
            later = json.loads(told.stdout)
            print(
                f"| {count:,} | {later['closings']:,} ({later['proven']:,}) | "
                f"{first['lessons']:.2f} | {later['lessons']:.2f} | "
                f"{later['one more line']:.3f} | {later['asked again']:.3f} | "
                f"{later['history']:.2f} | {later['memory']:.0f} |",
                flush=True,
            )


if __name__ == "__main__":
    if sys.argv[1:2] == ["build"]:
        build(Path(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1:2] in (["first"], ["next"]):
        print(json.dumps(measured(Path(sys.argv[2]))))
    else:
        main(*sys.argv[1:])
