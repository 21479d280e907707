"""Draw the trucks of the study into rows; what stands there already is kept.

``python -m studies.circuits.trucks CIRCUIT COUNT SEED FILE``: one line of JSON a truck, each with
a seed of its own, so that a run that was cut off goes on where it ended.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
from studies.circuits.other_air import draw_air_truck
from studies.circuits.other_bus import draw_bus_truck
from studies.circuits.other_charge import draw_charge_truck
from studies.circuits.other_cooling import draw_cool_truck
from studies.circuits.other_crank import draw_crank_truck
from studies.circuits.other_rest import draw_rest_truck
from studies.circuits.other_stroke import draw_stroke_truck

__all__ = ["MAKERS", "Row", "draw", "rows_of"]

Row = Mapping[str, object]


def _air(rng: np.random.Generator) -> Row:
    truck = draw_air_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": truck.rpm}


def _start(rng: np.random.Generator) -> Row:
    truck = draw_crank_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": {}}


def _bus(rng: np.random.Generator) -> Row:
    truck = draw_bus_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": {}}


def _rest(rng: np.random.Generator) -> Row:
    truck = draw_rest_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": {}}


def _charge(rng: np.random.Generator) -> Row:
    truck = draw_charge_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": truck.rpm}


def _cooling(rng: np.random.Generator) -> Row:
    truck = draw_cool_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": truck.rpm}


def _stroke(rng: np.random.Generator) -> Row:
    truck = draw_stroke_truck(rng)
    return {"truth": sorted(truck.truth), "readings": truck.readings, "rpm": {}}


MAKERS: Mapping[str, Callable[[np.random.Generator], Row]] = {
    "air": _air,
    "start": _start,
    "bus_line": _bus,
    "rest": _rest,
    "charge": _charge,
    "cooling": _cooling,
    "stroke": _stroke,
}


def draw(circuit: str, count: int, seed: int, path: Path) -> None:
    """Draw *count* trucks into *path*, beginning after those that it holds."""
    done = len(rows_of(path)) if path.exists() else 0
    with path.open("a", encoding="utf-8") as out:
        for number in range(done, count):
            row = MAKERS[circuit](np.random.default_rng([seed, number]))
            out.write(json.dumps(_short(row)) + "\n")
            out.flush()


def rows_of(path: Path) -> list[Row]:
    """Return the trucks of a file."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def _short(row: Row) -> Row:
    return {
        key: {k: float(f"{v:.6g}") for k, v in value.items()} if isinstance(value, dict) else value
        for key, value in row.items()
    }


if __name__ == "__main__":
    draw(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
