"""Accuracy of the fuel posterior on simulated engines; writes one row an engine and set.

    nice -n 15 python studies/fuel_supply/run.py unknown wrong learnt
    nice -n 15 python studies/fuel_supply/run.py known single other
    python studies/fuel_supply/tabulate.py

Rows are flushed as they come, so a run that is stopped early still counts. ``COUNTS`` says how
many engines of which kind; a number after the names takes that share of them (0.01 for a trial).
``other@1000`` begins at engine 1,000 and writes ``other-1000.csv``: the same engines, so that two
processes can share a population; the table reads all files of a population, every engine once.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import numpy.typing as npt
from engines import JUDGED, SETS, WITH_COLD, Engine, engines

from witnessmark.inference.fuel.draws import fuel_posterior
from witnessmark.inference.fuel.draws.fuel_posterior import default_log_prior, infer
from witnessmark.inference.fuel.draws.fuel_prior import (
    DIMENSIONS,
    LAYOUT_SHARES,
    TypePrior,
    UnknownType,
)
from witnessmark.inference.fuel.draws.fuel_table import build_table
from witnessmark.inference.fuel.draws.fuel_types import learn_type
from witnessmark.inference.fuel.fuel_groups import HYPOTHESES
from witnessmark.inference.fuel.fuel_observations import FLOW, GALLERY, THROTTLED
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.physics.fuel.supply_circuit import solve
from witnessmark.physics.fuel.supply_types import LAYOUTS, TypeValues, nominal, type_circuit

HERE = Path(__file__).parent
#: Wrong fault shares: truths are drawn from them, the inference keeps its own prior.
WRONG = {
    "flat": [1.0] * 8 + [0.2],
    "reversed": [0.05, 0.05, 0.10, 0.10, 0.12, 0.18, 0.20, 0.20, 0.03],
    "pump x5": [0.20, 0.20, 0.18, 0.60, 0.10, 0.10, 0.05, 0.05, 0.03],
}
#: Engines with a low reading a population.
COUNTS = {"unknown": 2000, "known": 2000, "single": 600, "other": 2000, "learnt": 200}
#: Engines from wrong shares; with the 2,000 of the own shares re-weighted they come to more than
#: 2,000 effective engines of every share (``tabulate.py``).
COUNTS_WRONG = {"reversed": 900, "pump x5": 400}
LEARNT_TYPES = 10
SEEDS = {"unknown": 1, "known": 2, "other": 3, "wrong": 4, "learnt": 5, "single": 6}
#: One engine in how many is also read cold.
COLD_TOO = {"unknown": 2, "known": 1, "single": 1}
#: Log likelihoods this far below the best hypothesis' are left blank in the rows.
BLANK = 16.0
#: To save time the adaptive step ends at 300 effective draws here, at 500 in the product: it can
#: only make these results worse.
fuel_posterior.ENOUGH = 300.0
Part = tuple[str, TypePrior, list[float] | None, int]


@dataclass(frozen=True, slots=True)
class ExactType:
    """A type whose values are given."""

    key: str
    type_values: TypeValues
    known: bool = True
    layout_shares: tuple[float, ...] = (1.0,)

    def values(self, z: npt.NDArray[np.float64]) -> TypeValues:
        """Return the values once for every row of *z*."""
        n = len(z)
        return TypeValues(
            *(np.repeat(getattr(self.type_values, f), n) for f in TypeValues.__slots__)
        )


def parts_of(population: str, share: float) -> Iterator[Part]:
    """Yield (name, what is known of the type, shares of the truths, engines)."""
    if population == "wrong":
        for name, count in COUNTS_WRONG.items():
            yield name, UnknownType(), WRONG[name], round(share * count)
    elif population == "single":  # more of the one layout of the shared study
        layout = LAYOUTS[0]
        yield layout, ExactType(layout, nominal(layout)), None, round(share * COUNTS[population])
    elif population == "known":
        for name, part in zip(LAYOUTS, LAYOUT_SHARES, strict=True):
            count = round(share * part * COUNTS[population])
            yield name, ExactType(name, nominal(name)), None, count
    else:
        yield population, UnknownType(), None, round(share * COUNTS[population])


def truths_of(shares: list[float]) -> np.ndarray:
    """Return the log chance of every truth: pairs of faults as the shares have them, no more."""
    return default_log_prior(shares, together={})


def drawn(population: str, share: float) -> Iterator[tuple[str, TypePrior, Engine]]:
    """Yield the engines of a population with what is known of their type."""
    own = truths_of(JUDGED)
    if population == "learnt":
        yield from learnt(round(share * COUNTS[population]))
        return
    for place, (name, prior, shares, count) in enumerate(parts_of(population, share)):
        truths = own if shares is None else truths_of(shares)
        made = engines(prior, truths, count, 100 * SEEDS[population] + place,
                       other=population == "other")  # fmt: skip
        for engine in made:
            yield name, prior, engine


def learnt(count: int) -> Iterator[tuple[str, TypePrior, Engine]]:
    """Yield engines of types that are known from one healthy truck's sheet only."""
    rng = np.random.default_rng(99)
    for number in range(LEARNT_TYPES):
        values = UnknownType().values(rng.standard_normal((1, DIMENSIONS)))
        exact = ExactType(f"own{number}", TypeValues(*(getattr(values, f)
                                                       for f in TypeValues.__slots__)))  # fmt: skip
        prior = learn_type(sheet(exact, rng))
        for engine in engines(exact, truths_of(JUDGED), max(count // LEARNT_TYPES, 1),
                              9000 + number, other=False):  # fmt: skip
            yield "learnt", prior, engine


def sheet(exact: ExactType, rng: np.random.Generator) -> FuelBaseline:
    """Return what a shop wrote down of one healthy truck: five pressures, two flows, throttled."""
    c = type_circuit(exact.type_values)
    rows = []
    for quantity, rpm, load in (
        (GALLERY, 650, 0), (GALLERY, 1000, 0), (GALLERY, 1400, 0), (GALLERY, 1800, 0),
        (GALLERY, 1500, 1), (FLOW, 650, 0), (FLOW, 1400, 0), (THROTTLED, 650, 0),
    ):  # fmt: skip
        s = solve(c, float(rpm), float(load), throttled=quantity == THROTTLED)
        value = float((s.return_flow if quantity == FLOW else s.gallery)[0])
        value += float(rng.normal(0, 0.04 * value if quantity == FLOW else 10e3))
        rows.append(BaselineReading(quantity, OperatingPoint(float(rpm), float(load)), value, "1"))
    return FuelBaseline(exact.key, tuple(rows))


def rows(population: str, share: float) -> Iterator[None]:
    """Write the rows of a population, engine by engine.

    A row holds the log likelihood of its readings under every hypothesis, against the best one:
    what the shares of the faults and the onset make of it is worked out in ``tabulate.py``.
    """
    path = HERE / "rows" / f"{population.replace('@', '-')}.csv"
    path.parent.mkdir(exist_ok=True)
    population, _, first = population.partition("@")
    held: tuple[str, object] = ("", None)
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["part", "engine", "set", "truth", "loss", "sudden", "effective", "adapted",
                         "fits", *(f"h{i}" for i in range(len(HYPOTHESES)))])  # fmt: skip
        for number, (part, prior, engine) in enumerate(drawn(population, share)):
            if number < int(first or 0):
                continue
            if held[0] != prior.key:
                held = (prior.key, build_table(prior))
            cold = population in COLD_TOO and number % COLD_TOO[population] == 0
            for name, taken in ({**SETS, **WITH_COLD} if cold else SETS).items():
                bubbles = ((0, engine.bubbles),) if "bubbles" in taken else ()
                found = infer(held[1], engine.observations(taken), bubbles=bubbles)
                below = found.log_evidence - found.log_evidence.max()
                writer.writerow([
                    part, number, name, engine.truth, f"{engine.loss:.1f}", int(engine.sudden),
                    round(found.effective), int(found.adapted), int(found.fits),
                    *("" if v < -BLANK else f"{v:.2f}" for v in below),
                ])  # fmt: skip
            file.flush()
            yield


def main(populations: list[str], share: float) -> None:
    """Run the populations side by side, twenty engines of each in turn."""
    running = [rows(p, share) for p in populations]
    while running:
        for one in list(running):
            if sum(1 for _ in islice(one, 20)) < 20:
                running.remove(one)


if __name__ == "__main__":
    names = [a for a in sys.argv[1:] if not a[0].isdigit()]
    part = [float(a) for a in sys.argv[1:] if a[0].isdigit()]
    main(names, part[0] if part else 1.0)
