"""What a clue says of a test that sees the same thing.

A clue moves the odds of the causes by its own weights. The driver's word "it is hot" and a hot hub
under the hand are one thing, though: once he has said it, the hand tells less. How often the clue
is true with each outcome of the test follows from the two tables; with it, what the test is
expected to show is worked out anew, and only what differs from that is news. So nothing counts
twice, nothing is dropped, and a test that shows something else takes back what the clue had said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from witnessmark.inference.family.likelihood import Floats
from witnessmark.knowledge import Test

__all__ = ["hint_of", "true_with"]

#: How often a clue is true with an outcome of a test, at the least and at the most (judgement).
ENDS = (0.1, 0.9)
#: Weight, in causes, of the clue's being no more frequent with one outcome than with another.
PULL = 0.05


def true_with(
    test: Test, causes: Sequence[str], weights: Mapping[str, float], base_rate: float
) -> Floats:
    """Return P(a clue is true | outcome of a test), one number an outcome.

    Args:
        test: a test that sees the same thing.
        causes: the causes of its family.
        weights: cause id -> what the clue's being true multiplies its odds by.
        base_rate: P(it is true) on any truck.
    """
    rows = np.asarray([test.base, *(test.row(c) for c in causes)])
    times = np.asarray([1.0, *(weights.get(c, 1.0) for c in causes)])
    # A weight of 5 means that the clue is true at most one time in five without the cause.
    base_rate = min(base_rate, ENDS[1] / float(times.max()))
    more = base_rate * (times - 1.0)
    gram = rows.T @ rows + PULL * np.eye(rows.shape[1])
    return np.asarray(np.clip(base_rate + np.linalg.solve(gram, rows.T @ more), *ENDS))


def hint_of(true: Floats, seen: bool | str) -> Floats:
    """Return the weight of every outcome once the clue was asked for.

    Args:
        true: P(the clue is true | outcome).
        seen: what was said of it.
    """
    if seen == "maybe":
        return 1.0 + true
    return true if seen is True else 1.0 - true
