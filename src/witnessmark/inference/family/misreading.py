"""How often a test is misread, and what a result told twice is worth.

The packs say how often a cause makes an outcome; the one who looks may still make the test wrong or
read it wrong. A recorded result is therefore not an outcome but a weight on every outcome it may
have been. Two readings by two hands err by themselves, so their weights multiply; the same hand
that says the same again mostly repeats itself, and where it says something else the later word
counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

import numpy as np

from witnessmark.inference.family.likelihood import Floats, outcome_weights
from witnessmark.knowledge import Test

__all__ = ["Reading", "mistake_of", "recorded", "same_again", "told", "trust_of", "with_reading"]

#: P(misread or wrongly made) by kind of test, where its pack does not say (judgement).
MISTAKES = MappingProxyType(
    {"look": 0.04, "measure": 0.03, "functional": 0.05, "code": 0.01, "strip": 0.02}
)
#: The same of a test whose pack names no kind (judgement).
ANY_MISTAKE = 0.03
#: How much of the same result, said again by the same hand, is the first time over again
#: (judgement).
SAME_HAND = 0.8

#: (who read it, result, weight of every outcome).
Reading = tuple[str, str, tuple[float, ...]]


def mistake_of(test: Test) -> float:
    """Return P(the result written down is not what the test showed)."""
    return MISTAKES.get(test.kind, ANY_MISTAKE) if test.mistake is None else test.mistake


def same_again(test: Test) -> float:
    """Return P(a test shows now what was written down before), on parts that nobody touched.

    It does not where it was misread then.
    """
    return 1.0 - mistake_of(test)


def recorded(test: Test, chances: Floats) -> Floats:
    """Return P(result written down | ...) from P(outcome | ...), outcomes along the first axis.

    A test that went wrong says as often what it says on any truck as just anything.
    """
    wrong = mistake_of(test)
    anything = 0.5 * np.asarray(test.base) + 0.5 / len(test.base)
    return np.asarray(
        (1.0 - wrong) * chances + wrong * np.multiply.outer(anything, chances.sum(axis=0))
    )


def told(test: Test, result: str) -> Floats:
    """Return P(this result written down | outcome), one number an outcome.

    "Maybe" is itself the word of one who may be wrong.

    Raises:
        KeyError: the test has no such result.
    """
    plain = outcome_weights(test, result)
    return plain if result == "maybe" else plain @ recorded(test, np.eye(len(plain)))


def with_reading(
    readings: Sequence[Reading], test: Test, result: str, by: str
) -> tuple[Reading, ...]:
    """Return the readings of a test with one more.

    Args:
        readings: what was read before at this stage.
        test: the test.
        result: what is read now.
        by: who read it; an empty name is one hand like any other.
    """
    weights = told(test, result)
    before = next((r for r in readings if r[0] == by), None)
    if before is not None and before[1] == result:
        more = SAME_HAND + (1.0 - SAME_HAND) * weights / weights.max()
        weights = np.asarray(before[2]) * more
    others = tuple(r for r in readings if r[0] != by)
    return (*others, (by, result, tuple(weights.tolist())))


def trust_of(readings: Sequence[Reading]) -> Floats:
    """Return the weight of every outcome after all readings of a test."""
    return np.asarray(np.prod([r[2] for r in readings], axis=0))
