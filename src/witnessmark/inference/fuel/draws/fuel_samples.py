"""Weighted draws of the circuit through every stage of a case: as it came in, and after work.

Before and after share the type, the unit's scatter and the gauge; a renewed part is drawn
afresh; the work may have renewed another cause of the same group than the faulty one, and with
a small chance the new part is itself wrong. All of this is a function of standard normals: the
table's coordinates followed by ``STEP_DIMENSIONS`` for every repair.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_prior import (
    DIMENSIONS,
    FAULT_DIMENSIONS,
    RENEWAL_DIMENSIONS,
    apply_fault,
    draws,
    idle_reference,
    renew,
)
from witnessmark.inference.fuel.draws.fuel_table import PriorTable, faulty
from witnessmark.inference.fuel.fuel_groups import GROUPS, HYPOTHESES
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    DELIVERY,
    GALLERY,
    THROTTLED,
    Key,
    Observation,
    predicted,
)
from witnessmark.late import late
from witnessmark.physics.fuel.supply_circuit import Circuit, CircuitState, solve

if TYPE_CHECKING:
    from scipy import special
else:
    special = late("scipy.special")

__all__ = [
    "STEP_DIMENSIONS",
    "WRONG_PART",
    "Batch",
    "Repair",
    "bits",
    "from_table",
    "join",
    "simulate",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_GALLERY = (GALLERY, THROTTLED, DELIVERY)
#: Per repair: what happened (1), the new part's scatter, and its fault if it has one.
STEP_DIMENSIONS = 1 + RENEWAL_DIMENSIONS + FAULT_DIMENSIONS
_NONE: Floats = np.zeros(0)
#: Chance that the new part or its fitting is itself wrong. Judgement, no source.
WRONG_PART = 0.04


@dataclass(frozen=True, slots=True)
class Repair:
    """A part that was renewed.

    Attributes:
        group: its group.
        share: probability that, where the group was at fault, it was this cause of the group.
        after_stage: number of work entries up to and including this one.
        new_gauge: name of the instrument if the gauge itself was changed.
    """

    group: int
    share: float = 1.0
    after_stage: int = 1


@dataclass
class Batch:
    """Draws of one hypothesis or many, with what they predict.

    Attributes:
        z: coordinates, shape (n, D).
        hypothesis: number of the hypothesis as it came in, shape (n,).
        log_weight: log of prior density over proposal density, scaled so that the sum of
            exp(log_weight) * likelihood over the draws of a hypothesis is P(readings | it).
        labels: (stages, n) set of groups at fault in each stage, as bits.
        types: healthy types.
        circuits: circuits in the last stage.
        predictions: what each observation would read, shape (n, m).
    """

    z: Floats
    hypothesis: Ints
    log_weight: Floats
    labels: Ints
    types: Circuit
    circuits: Circuit
    predictions: Floats

    def __len__(self) -> int:
        return len(self.hypothesis)

    def take(self, index: npt.NDArray[np.intp]) -> Batch:
        """Return the draws at *index*."""
        return Batch(
            self.z[index], self.hypothesis[index], self.log_weight[index], self.labels[:, index],
            self.types.take(index), self.circuits.take(index), self.predictions[index],
        )  # fmt: skip


def bits(groups: frozenset[int]) -> int:
    """Return a set of groups as bits."""
    return sum(1 << g for g in groups)


_BITS: Ints = np.array([bits(h) for h in HYPOTHESES], dtype=np.int64)


def from_table(table: PriorTable, observations: Sequence[Observation]) -> Batch:
    """Return the table's draws with what they predict for readings made before any work."""
    counts = np.diff(table.starts)
    hypothesis = np.repeat(np.arange(len(HYPOTHESES), dtype=np.int64), counts)
    columns = [
        predicted(o, None if o.quantity == CHECK else table.state(o.key), table.circuits)
        for o in observations
    ]
    n = len(hypothesis)
    label = _BITS[hypothesis]
    return Batch(
        z=table.z,
        hypothesis=hypothesis,
        log_weight=-np.log(np.repeat(counts, counts).astype(float)),
        labels=label[None, :],
        types=table.types,
        circuits=table.circuits,
        predictions=np.column_stack(columns) if columns else np.zeros((n, 0)),
    )


def simulate(
    table: PriorTable,
    hypothesis: Ints,
    z: Floats,
    observations: Sequence[Observation],
    repairs: Sequence[Repair],
    *,
    before: Batch | None = None,
) -> Batch:
    """Return draws at given coordinates, walked through the repairs.

    ``log_weight`` is left at zero; the caller knows the proposal.

    Args:
        table: what is known of the type.
        hypothesis: number of the hypothesis of each draw.
        z: coordinates.
        observations: the readings.
        repairs: the work, in order.
        before: the same draws as they came in, where that is solved already; its predictions are
            those of the observations before the first repair.
    """
    if before is None:
        types, units = draws(table.prior, z[:, :DIMENSIONS])
        reference = idle_reference(types)
        circuit = faulty(units, hypothesis, z, reference)
    else:
        types, circuit = before.types, before.circuits
        reference = idle_reference(types)
    n = len(z)
    label = _BITS[hypothesis]
    labels = [label]
    predictions = np.zeros((n, len(observations)))
    stage = 0
    if before is None:
        _predict(predictions, observations, circuit, stage)
    else:
        first = [i for i, o in enumerate(observations) if o.stage == 0]
        predictions[:, first] = before.predictions
    for number, repair in enumerate(repairs):
        start = DIMENSIONS + STEP_DIMENSIONS * number
        step = z[:, start : start + STEP_DIMENSIONS]
        circuit, label = _repair(circuit, types, label, repair, step, reference)
        labels.append(label)
        last = repairs[number + 1].after_stage if number + 1 < len(repairs) else 10**6
        for stage in sorted({o.stage for o in observations}):
            if repair.after_stage <= stage < last:
                _predict(predictions, observations, circuit, stage)
    return Batch(
        z=z,
        hypothesis=hypothesis,
        log_weight=np.zeros(n),
        labels=np.stack(labels),
        types=types,
        circuits=circuit,
        predictions=predictions,
    )


def _repair(
    circuit: Circuit,
    types: Circuit,
    label: Ints,
    repair: Repair,
    step: Floats,
    reference: tuple[Floats, Floats],
) -> tuple[Circuit, Ints]:
    """Renew a part: cured, renewed in vain within its group, or the new one wrong."""
    flag = np.int64(1 << repair.group)
    if not GROUPS[repair.group].causes or repair.group >= 8:
        return circuit, label
    u = special.ndtr(step[:, 0])
    at_fault = (label & flag) != 0
    wrong = u < WRONG_PART
    kept = ~wrong & at_fault & (u < WRONG_PART + (1.0 - WRONG_PART) * (1.0 - repair.share))
    fresh = renew(circuit, types, repair.group, step[:, 1 : 1 + RENEWAL_DIMENSIONS])
    bad = apply_fault(fresh, repair.group, step[:, 1 + RENEWAL_DIMENSIONS :], reference)
    new = _choose(kept, circuit, _choose(wrong, bad, fresh))
    return new, np.where(wrong | kept, label | (flag * (wrong | at_fault)), label & ~flag)


def _choose(where: npt.NDArray[np.bool_], yes: Circuit, no: Circuit) -> Circuit:
    return Circuit(
        *(np.where(where, getattr(yes, f), getattr(no, f)) for f in Circuit.__slots__)
    )  # fmt: skip


def _predict(
    predictions: Floats, observations: Sequence[Observation], circuit: Circuit, stage: int
) -> None:
    here = [(c, o) for c, o in enumerate(observations) if o.stage == stage]
    states: dict[Key, CircuitState] = {}
    for key in sorted({o.key for _, o in here if o.quantity != CHECK}, key=_order):
        guess = _along(states, key)
        if guess is None:
            # the draws that will count stand near what was read
            read = [o.value for o in observations if o.key == key and o.quantity in _GALLERY]
            guess = np.full(len(predictions), min(read)) if read else None
        if guess is None and states:
            guess = next(iter(states.values())).gallery
        states[key] = solve(
            circuit, key.rpm, key.load, throttled=key.throttled,
            viscosity=key.viscosity, guess=guess,
        )  # fmt: skip
    for column, observation in here:
        state = None if observation.quantity == CHECK else states[observation.key]
        predictions[:, column] = predicted(observation, state, circuit)


def _order(key: Key) -> tuple[bool, float, float, float]:
    """Sort points so that those of one course over engine speed stand beside each other."""
    return key.throttled, key.load, key.viscosity, key.rpm


def _along(states: Mapping[Key, CircuitState], key: Key) -> Floats | None:
    """Return where each draw's gallery pressure heads over engine speed, ``None`` at the begin.

    The solver starts there. Its answer does not depend on the start; the work does.
    """
    solved = [k for k in states if _order(k)[:3] == _order(key)[:3]]
    if not solved:
        return None
    last = states[solved[-1]].gallery
    if len(solved) == 1:
        return last
    before, at = solved[-2], solved[-1]
    part = (key.rpm - at.rpm) / (at.rpm - before.rpm)
    return np.asarray(last + min(part, 2.0) * (last - states[before].gallery))


def join(parts: Sequence[Batch], *, circuits: bool = True) -> Batch:
    """Return the draws of several batches as one, where not wanted without any circuit."""
    if len(parts) == 1:
        return parts[0]

    def joined(name: str) -> Circuit:
        rows = [getattr(p, name) for p in (parts if circuits else parts[:0])]
        return Circuit(
            *(np.concatenate([_NONE, *(getattr(r, f) for r in rows)]) for f in Circuit.__slots__)
        )  # fmt: skip

    return Batch(
        np.concatenate([p.z for p in parts]),
        np.concatenate([p.hypothesis for p in parts]),
        np.concatenate([p.log_weight for p in parts]),
        np.concatenate([p.labels for p in parts], axis=1),
        joined("types"),
        joined("circuits"),
        np.concatenate([p.predictions for p in parts]),
    )
