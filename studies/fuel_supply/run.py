"""Accuracy of the fuel posterior on simulated engines; writes one row an engine and set.

    nice -n 15 python studies/fuel_supply/run.py unknown known other 2000
    python studies/fuel_supply/tabulate.py

Rows are flushed as they come, so a run that is stopped early still counts.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
from engines import SETS, engines

from witnessmark.inference import fuel_posterior
from witnessmark.inference.fuel_posterior import default_log_prior, infer
from witnessmark.inference.fuel_prior import LAYOUT_SHARES, ExactType, TypePrior, UnknownType
from witnessmark.inference.fuel_table import Table, build_table
from witnessmark.physics.fuel_supply_types import LAYOUTS, nominal

HERE = Path(__file__).parent
#: To save time the adaptive step ends here at 120 effective draws or two rounds; the product goes
#: on to 300 and three. It can only make these results worse.
fuel_posterior.ENOUGH, fuel_posterior.ROUNDS = 120.0, 2
SEEDS = {"unknown": 1, "known": 2, "other": 3}


def rows(population: str, count: int) -> Iterator[None]:
    """Write the rows of a population, engine by engine."""
    log_prior = default_log_prior()
    if population == "known":
        shares = [round(count * share) for share in LAYOUT_SHARES]
        parts = [(ExactType(name, nominal(name)), n)
                 for name, n in zip(LAYOUTS, shares, strict=True)]  # fmt: skip
    else:
        parts = [(UnknownType(), count)]
    path = HERE / "rows" / f"{population}.csv"
    path.parent.mkdir(exist_ok=True)
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["engine", "set", "truth", "effective", "adapted", "fits", "healthy",
                         *(f"g{i}" for i in range(9))])  # fmt: skip
        number = 0
        for place, (prior, n) in enumerate(parts):
            table = table_of(prior)
            drawn = engines(prior, log_prior, n, 100 * SEEDS[population] + place,
                            other=population == "other")  # fmt: skip
            for engine in drawn:
                for name, taken in SETS.items():
                    bubbles = ((0, engine.bubbles),) if "bubbles" in taken else ()
                    found = infer(table, engine.observations(taken), bubbles=bubbles)
                    writer.writerow([
                        number, name, engine.truth, round(found.effective), int(found.adapted),
                        int(found.fits), f"{found.healthy():.4f}",
                        *(f"{p:.4f}" for p in np.asarray(found.group_probabilities())),
                    ])  # fmt: skip
                number += 1
                file.flush()
                yield


_TABLES: dict[str, Table] = {}


def table_of(prior: TypePrior) -> Table:
    """Return the table of a type, built once."""
    if prior.key not in _TABLES:
        _TABLES[prior.key] = build_table(prior)
    return _TABLES[prior.key]


def main(populations: list[str], count: int) -> None:
    """Run the populations side by side, twenty engines of each in turn."""
    running = [rows(p, count) for p in populations]
    while running:
        for one in list(running):
            if sum(1 for _ in islice(one, 20)) < 20:
                running.remove(one)


if __name__ == "__main__":
    main(sys.argv[1:-1], int(sys.argv[-1]))
