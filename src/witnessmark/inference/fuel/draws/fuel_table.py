"""The prior table: draws of the circuit, stratified over what may be at fault, solved once."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from threading import Lock

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.even_points import even_normals
from witnessmark.inference.fuel.draws.fuel_prior import (
    DIMENSIONS,
    FAULT_DIMENSIONS,
    TYPE_DIMENSIONS,
    UNIT_DIMENSIONS,
    TypePrior,
    apply_fault,
    draws,
    idle_reference,
)
from witnessmark.inference.fuel.fuel_groups import HYPOTHESES, OTHER
from witnessmark.inference.fuel.fuel_observations import Key
from witnessmark.kept import keep_arrays, kept_arrays
from witnessmark.physics.fuel.supply_circuit import Circuit, CircuitState, solve

__all__ = ["STANDARD_POINTS", "PriorTable", "Sizes", "build_table", "faulty", "kept_table"]

Floats = npt.NDArray[np.float64]

#: Points every table is solved at when it is built.
STANDARD_POINTS: tuple[Key, ...] = (
    Key(650.0), Key(700.0), Key(1000.0), Key(1400.0), Key(1500.0), Key(1800.0),
    Key(1500.0, 1.0), Key(650.0, 0.0, True), Key(700.0, 0.0, True),
)  # fmt: skip

#: Solutions of further points held at a time, 7 MB each; any other is solved again in 50 ms.
FURTHER_POINTS = 16
_FIRST = TYPE_DIMENSIONS + UNIT_DIMENSIONS
_FIELDS, _STATE = fields(Circuit), fields(CircuitState)
#: What makes the numbers: a change in one of these files makes another table.
_MADE_BY = (
    __name__,
    "witnessmark.inference.fuel.draws.even_points",
    "witnessmark.inference.fuel.draws.fuel_prior",
    "witnessmark.inference.fuel.fuel_groups",
    "witnessmark.physics.fuel.supply_circuit",
    "witnessmark.physics.fuel.supply_types",
)


@dataclass(frozen=True, slots=True)
class Sizes:
    """Draws per hypothesis: nothing at fault, one group, two groups."""

    nothing: int = 4096
    single: int = 6144
    pair: int = 2560

    def of(self, hypothesis: frozenset[int]) -> int:
        """Return the number of draws of one hypothesis."""
        if OTHER in hypothesis:
            return self.nothing
        return (self.nothing, self.single, self.pair)[len(hypothesis)]


@dataclass
class PriorTable:
    """Draws and their solutions; the solutions of further points are added as they are asked for.

    Attributes:
        prior: what is known of the type.
        z: standard normals of every draw, shape (n, DIMENSIONS).
        types: the healthy types of the draws.
        circuits: the circuits with their faults.
        starts: first draw of each hypothesis, shape (hypotheses + 1,).
        complaints: P(somebody complains) of every draw, once it was asked for.
    """

    prior: TypePrior
    z: Floats
    types: Circuit
    circuits: Circuit
    starts: npt.NDArray[np.intp]
    _solved: dict[Key, CircuitState] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)
    complaints: Floats | None = None

    def state(self, key: Key) -> CircuitState:
        """Return the solution at a point, solving it when it is new."""
        with self._lock:
            found = self._solved.pop(key, None)
            if found is not None:
                self._solved[key] = found  # the latest asked for stands last
                return found
        found = solve(
            self.circuits, key.rpm, key.load, throttled=key.throttled, viscosity=key.viscosity,
            guess=self._guess(key),
        )  # fmt: skip
        with self._lock:
            self._solved[key] = found
            further = [k for k in self._solved if k not in STANDARD_POINTS]
            for old in further[:-FURTHER_POINTS]:
                del self._solved[old]
        return found

    def hypothesis(self) -> npt.NDArray[np.intp]:
        """Return the hypothesis number of every draw."""
        return np.repeat(np.arange(len(HYPOTHESES)), np.diff(self.starts))

    def _guess(self, key: Key) -> Floats | None:
        with self._lock:
            near = [k for k in self._solved if k.throttled == key.throttled]
            if not near:
                return None
            best = min(near, key=lambda k: abs(k.rpm - key.rpm) + 1500.0 * abs(k.load - key.load))
            return self._solved[best].gallery


def build_table(
    prior: TypePrior,
    *,
    seed: int = 20260302,
    sizes: Sizes | None = None,
    points: tuple[Key, ...] = STANDARD_POINTS,
) -> PriorTable:
    """Draw and solve a table; the same seed gives the same table.

    All hypotheses use the same low-discrepancy points for the type and the unit, so that the
    comparison of two hypotheses does not suffer from their draws being different.
    """
    sizes = sizes or Sizes()
    counts = np.array([sizes.of(h) for h in HYPOTHESES])
    base = even_normals(DIMENSIONS, 2 ** int(np.ceil(np.log2(counts.max()))), seed)
    base = base[: counts.max()]
    types, units = draws(prior, base)
    reference = idle_reference(types)
    rows, starts = _rows(counts)
    hypothesis = np.repeat(np.arange(len(HYPOTHESES), dtype=np.int64), counts)
    ref = (reference[0][rows], reference[1][rows])
    z = base[rows]
    circuits = faulty(units.take(rows), hypothesis, z, ref)
    table = PriorTable(prior, z, types.take(rows), circuits, starts)
    for key in points:
        table.state(key)
    return table


def kept_table(prior: TypePrior) -> PriorTable:
    """Return :func:`build_table`, as the last run has kept it where it has."""
    key = f"fuel table {prior.key} {_sources()}"
    held = kept_arrays(key)
    if held is not None:
        try:
            return _table_in(prior, held)
        except (KeyError, ValueError, IndexError, TypeError):
            pass  # of another make: built anew
    table = build_table(prior)
    keep_arrays(key, _arrays_of(table))
    return table


def _rows(counts: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return which point every draw stands on, and the first draw of every hypothesis."""
    rows = np.concatenate([np.arange(count) for count in counts])
    return rows.astype(np.intp), np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)


def _arrays_of(table: PriorTable) -> dict[str, npt.NDArray[np.generic]]:
    """Return the table as arrays: z and the types of each point once, all else as it is."""
    first = int(np.argmax(np.diff(table.starts)))
    longest = slice(int(table.starts[first]), int(table.starts[first + 1]))
    found: dict[str, npt.NDArray[np.generic]] = {
        "starts": table.starts.astype(np.int64),
        "z": table.z[longest],
        "types": np.stack([getattr(table.types, f.name)[longest] for f in _FIELDS]),
        "circuits": np.stack([getattr(table.circuits, f.name) for f in _FIELDS]),
    }
    for number, key in enumerate(STANDARD_POINTS):
        state = table.state(key)
        found[f"state{number}"] = np.stack([getattr(state, f.name) for f in _STATE])
    return found


def _table_in(prior: TypePrior, held: Mapping[str, npt.NDArray[np.generic]]) -> PriorTable:
    def read(name: str) -> Floats:
        return np.asarray(held[name], dtype=np.float64)

    edges = [int(n) for n in read("starts")]
    counts = np.array([b - a for a, b in pairwise(edges)], dtype=np.int64)
    rows, starts = _rows(counts)
    solved = {
        key: CircuitState(*read(f"state{number}")) for number, key in enumerate(STANDARD_POINTS)
    }
    circuits = Circuit(*read("circuits"))
    if len(counts) != len(HYPOTHESES) or len(circuits.air) != starts[-1]:
        raise ValueError("a table of other hypotheses")
    types = Circuit(*read("types")).take(rows)
    return PriorTable(prior, read("z")[rows], types, circuits, starts, solved)


@lru_cache(maxsize=1)
def _sources() -> str:
    """Return a digest of everything that the numbers of a table come from."""
    found = hashlib.sha256(f"{np.__version__} {STANDARD_POINTS} {Sizes()}".encode())
    for module in _MADE_BY:
        path = Path(sys.modules[module].__file__ or "")
        found.update(path.read_bytes() if path.is_file() else b"?")
    return found.hexdigest()


def faulty(
    units: Circuit,
    hypothesis: npt.NDArray[np.int64],
    z: Floats,
    reference: tuple[Floats, Floats],
) -> Circuit:
    """Put the groups of each draw's hypothesis at fault; "other" leaves the circuit as it is.

    Args:
        units: n healthy circuits.
        hypothesis: number of the hypothesis of each, shape (n,).
        z: coordinates, shape (n, at least DIMENSIONS).
        reference: see ``idle_reference``.
    """
    n = len(hypothesis)
    values = {f.name: np.array(np.broadcast_to(getattr(units, f.name), (n,))) for f in _FIELDS}
    order = [sorted(h - {OTHER}) for h in HYPOTHESES]
    for place in range(2):
        group = np.array([o[place] if len(o) > place else -1 for o in order])[hypothesis]
        column = _FIRST + FAULT_DIMENSIONS * place
        for one in np.unique(group[group >= 0]):
            rows = np.flatnonzero(group == one)
            some = Circuit(*(values[f.name][rows] for f in _FIELDS))
            ref = (reference[0][rows], reference[1][rows])
            hurt = apply_fault(some, int(one), z[rows, column : column + FAULT_DIMENSIONS], ref)
            for f in _FIELDS:
                values[f.name][rows] = getattr(hurt, f.name)
    return Circuit(**values)
