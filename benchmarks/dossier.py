"""What a dossier costs: processor time and calls, on invented cases.

Run: OMP_NUM_THREADS=1 python benchmarks/dossier.py [rounds]. Prints the tables of dossier.md.
Processor time of this process, one thread, median and 95th percentile of the rounds; nothing is
kept from one round to the next but what the program keeps itself (packs, table of the fuel model).
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from witnessmark.machine import keep_freed_memory
from witnessmark.model.entries.case import read_case
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

AT = "2026-03-02T08:00:00Z"
GAUGE = {"id": "g", "span": "160 psi", "accuracy": "1 % of span"}


def line(kind: str, identity: str, **data: Any) -> str:
    """Return one line of the entry format."""
    return json.dumps({"kind": kind, "id": identity, "at": AT, "data": data})


def head(*families: str) -> list[str]:
    """Return a truck and its complaint."""
    engine = {"fuel_supply": "gallery", "type": "example-15l"}
    return [
        line("truck", "t", label="unit", engine=engine),
        line("complaint", "c", words="as told", families=list(families)),
    ]


def readings(count: int, start: int, quantity: str, low: float, spread: float) -> list[str]:
    """Return readings over the speeds of the engine."""
    return [
        line(
            "reading",
            f"r{start + n}",
            quantity=quantity,
            value=f"{low + spread * (n % 12) / 11 + 0.1 * (n % 3):.1f} psi",
            point={"rpm": 650 + 100 * (n % 12), "load": "none"},
            instrument=GAUGE,
        )
        for n in range(count)
    ]


def work(identity: str, cause: str) -> str:
    """Return a repair."""
    return line("work", identity, cause=cause, did="renewed")


def two_repairs() -> list[str]:
    """Return a fuel case with two repairs and thirty readings."""
    fuel = "fuel_gallery_pressure"
    return [
        *head("fuel_low"),
        *readings(10, 0, fuel, 55.0, 12.0),
        work("w1", "primary_filter"),
        *readings(10, 10, fuel, 58.0, 13.0),
        work("w2", "pump_relief"),
        *readings(10, 20, fuel, 75.0, 20.0),
    ]


CASES: dict[str, list[str]] = {
    "one family without fuel, four entries": [
        *head("overheat"),
        line("test", "x1", test="c_rate", result="negative"),
        *readings(3, 0, "oil_pressure", 40.0, 5.0),
    ],
    "fuel, four readings": [
        *head("fuel_low"),
        *readings(4, 0, "fuel_gallery_pressure", 55.0, 10.0),
    ],
    "fuel, two repairs, thirty readings": two_repairs(),
    "no fuel, two repairs, thirty readings": [
        *head("oil_press"),
        *readings(10, 0, "oil_pressure", 20.0, 12.0),
        work("w1", "op_pump"),
        *readings(10, 10, "oil_pressure", 22.0, 13.0),
        work("w2", "op_relief"),
        *readings(10, 20, "oil_pressure", 35.0, 20.0),
    ],
    **{
        f"no fuel, {n:,} readings": [*head("overheat"), *readings(n, 0, "oil_pressure", 40.0, 5.0)]
        for n in (500, 1000, 2000, 4000)
    },
}


def timed(work_: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Return median and 95th percentile of the processor time [ms]."""
    work_()
    spent = []
    for _ in range(rounds):
        start = time.process_time()
        work_()
        spent.append(1000 * (time.process_time() - start))
    return float(np.median(spent)), float(np.percentile(spent, 95))


def shop_times(rounds: int) -> list[tuple[str, float, float]]:
    """Return what a shop of a hundred cases costs."""
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)
        for n in range(100):
            shop.new_case(f"old{n}", two_repairs())
        shop.new_case("new", head("overheat"))
        again = timed(lambda: assess_in_shop(shop, "new"), rounds)
        number = iter(range(10**6))

        def fifth() -> None:
            shop.add("new", "note", {"words": f"line {next(number)}"})
            assess_in_shop(shop, "new")

        entry = timed(fifth, rounds)
        shop.close()
    return [("shop of 100 cases: asked again, nothing changed", *again),
            ("shop of 100 cases: one more line, then asked", *entry)]  # fmt: skip


def main() -> None:
    """Print the tables."""
    keep_freed_memory()  # as the command does
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("| what | median ms | 95 % ms |\n|---|---|---|")
    for name, lines in CASES.items():
        case = read_case("one", lines)
        few = min(rounds, 5) if "4,000" in name or "2,000" in name else rounds
        middle, high = timed(lambda c=case: assess(read_case("one", c_lines(c)), {}), few)  # type: ignore[misc]
        print(f"| {name} | {middle:.0f} | {high:.0f} |", flush=True)
    for name, middle, high in shop_times(rounds):
        print(f"| {name} | {middle:.0f} | {high:.0f} |", flush=True)


def c_lines(case: Any) -> list[str]:
    """Return the lines of a case, so that each round reads them anew."""
    return [e.line for e in case.entries]


if __name__ == "__main__":
    main()
