"""The prior table: draws of the circuit, stratified over what may be at fault, solved once."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from threading import Lock
from typing import TYPE_CHECKING

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
from witnessmark.late import late
from witnessmark.physics.fuel.supply_circuit import Circuit, CircuitState, solve

if TYPE_CHECKING:
    from scipy import special
else:
    special = late("scipy.special")

__all__ = ["STANDARD_POINTS", "PriorTable", "Sizes", "build_table", "faulty"]

Floats = npt.NDArray[np.float64]

#: Points every table is solved at when it is built.
STANDARD_POINTS: tuple[Key, ...] = (
    Key(650.0), Key(700.0), Key(1000.0), Key(1400.0), Key(1500.0), Key(1800.0),
    Key(1500.0, 1.0), Key(650.0, 0.0, True), Key(700.0, 0.0, True),
)  # fmt: skip

_FIRST = TYPE_DIMENSIONS + UNIT_DIMENSIONS
_FIELDS = fields(Circuit)


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
    """

    prior: TypePrior
    z: Floats
    types: Circuit
    circuits: Circuit
    starts: npt.NDArray[np.intp]
    _solved: dict[Key, CircuitState] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def state(self, key: Key) -> CircuitState:
        """Return the solution at a point, solving it when it is new."""
        with self._lock:
            found = self._solved.get(key)
        if found is not None:
            return found
        found = solve(
            self.circuits, key.rpm, key.load, throttled=key.throttled, viscosity=key.viscosity,
            guess=self._guess(key),
        )  # fmt: skip
        with self._lock:
            if len(self._solved) < 64:
                self._solved[key] = found
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
    top = int(counts.max())
    base = even_normals(DIMENSIONS, 2 ** int(np.ceil(np.log2(top))), seed)[:top]
    types, units = draws(prior, base)
    reference = idle_reference(types)
    starts = np.concatenate([[0], np.cumsum(counts)]).astype(np.intp)
    rows = np.concatenate([np.arange(count) for count in counts])
    hypothesis = np.repeat(np.arange(len(HYPOTHESES), dtype=np.int64), counts)
    ref = (reference[0][rows], reference[1][rows])
    z = base[rows]
    circuits = faulty(units.take(rows), hypothesis, z, ref)
    table = PriorTable(prior, z, types.take(rows), circuits, starts)
    for key in points:
        table.state(key)
    return table


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
