"""A truck comes in with a complaint: a fault that takes nothing from the pressure makes none.

Many of the drawn faults are so slight, or sit where the layout does not feel them, that nobody
would have come. They look like a healthy engine, and taken for possible they keep a healthy one
from ever being called so. The shares of the faults are those among trucks that came in, so each
draw of a hypothesis counts by how likely it is that somebody complains of it, and the hypothesis
keeps its share. "Nothing at fault" and a false gauge come in all the same: the complaint is there.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_prior import draws
from witnessmark.inference.fuel.draws.fuel_table import PriorTable
from witnessmark.inference.fuel.fuel_groups import GAUGE, HYPOTHESES, OTHER
from witnessmark.inference.fuel.fuel_observations import Key
from witnessmark.physics.fuel.supply_circuit import PSI, solve

__all__ = ["complaint_shift", "complaints"]

Floats = npt.NDArray[np.float64]

#: Where a loss is felt: idle, working speed, and the pull.
_FELT_AT = (Key(650.0), Key(1500.0), Key(1500.0, 1.0))
#: Half of those who lost so much complain, and over how much it goes from few to most (judgement).
_HALF, _WIDTH = 5.0 * PSI, 1.0 * PSI
#: Effective draws that the share of a hypothesis before any reading weighs like.
_FEW = 3.0


def complaints(table: PriorTable) -> Floats:
    """Return P(somebody complains) of every draw of a table, shape (n,)."""
    if table.complaints is None:
        table.complaints = _complaints(table)
    return table.complaints


def complaint_shift(table: PriorTable, log_like: Floats) -> Floats:
    """Return what "somebody complained of it" adds to the log likelihood of every hypothesis.

    Args:
        table: the draws.
        log_like: log likelihood of the first readings under every draw of the table, (n,).

    Returns:
        log P(complaint | readings, hypothesis) / P(complaint | hypothesis), (hypotheses,).
    """
    chance = complaints(table)
    found = np.zeros(len(HYPOTHESES))
    for number, hypothesis in enumerate(HYPOTHESES):
        if _comes_anyway(hypothesis):
            continue
        here = slice(int(table.starts[number]), int(table.starts[number + 1]))
        weight = np.exp(log_like[here] - log_like[here].max())
        usual = float(chance[here].mean())
        effective = float(weight.sum() ** 2 / np.square(weight).sum())
        now = float(weight @ chance[here] / weight.sum())
        now = (effective * now + _FEW * usual) / (effective + _FEW)
        found[number] = np.log(max(now, 1e-6) / max(usual, 1e-6))
    return found


def _comes_anyway(hypothesis: frozenset[int]) -> bool:
    return not hypothesis or bool(hypothesis & {GAUGE, OTHER})


def _complaints(table: PriorTable) -> Floats:
    counts = np.diff(table.starts)
    sound = int(counts[0])
    longest = int(np.argmax(counts))
    more = table.z[int(table.starts[longest]) + sound : int(table.starts[longest + 1])]
    _, twins = draws(table.prior, more)
    lost = np.zeros(int(table.starts[-1]))
    for key in _FELT_AT:
        gallery = table.state(key).gallery
        healthy = gallery[:sound]
        if len(more):
            rest = solve(twins, key.rpm, key.load).gallery
            healthy = np.concatenate([healthy, rest])
        for start, count in zip(table.starts[:-1], counts, strict=True):
            here = slice(int(start), int(start) + int(count))
            lost[here] = np.maximum(lost[here], healthy[: int(count)] - gallery[here])
    return np.asarray(1.0 / (1.0 + np.exp(-(lost - _HALF) / _WIDTH)))
