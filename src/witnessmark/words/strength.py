"""How sure we are, in words: one set of words at every door and on every paper.

The number stands one tap deeper. Where the steps between the words lie is judgement.
"""

from __future__ import annotations

import math

__all__ = [
    "ALMOST_SURE",
    "FOUND",
    "LIKELY",
    "NOT_LIKELY",
    "POSSIBLE",
    "SUSPECTED",
    "capital",
    "how_sure",
    "listed",
    "speaks",
]

FOUND, ALMOST_SURE, LIKELY = "found", "almost sure", "likely"
SUSPECTED, POSSIBLE, NOT_LIKELY = "suspected first", "possible", "not likely"
#: From this probability on -> the word.
_FROM = ((0.60, LIKELY), (0.30, SUSPECTED), (0.10, POSSIBLE))
_ALMOST_FROM = 0.90
#: From this factor of the odds on -> the words for and against.
_SPEAKS = (
    (10.0, "speaks strongly for it", "speaks strongly against it"),
    (3.0, "speaks for it", "speaks against it"),
    (1.5, "leans to it", "leans away from it"),
)


def how_sure(probability: float | None, *, tested: bool = True, found: bool = False) -> str:
    """Return how sure a cause is: ``likely``.

    Args:
        probability: P(cause present); ``None``: not known.
        tested: whether something was tested or measured that could have said no. Nothing is
            almost sure without it.
        found: whether the part itself was seen bad, or its repair proven.
    """
    if found:
        return FOUND
    if probability is None or not math.isfinite(probability):
        return "not clear"
    if probability > _ALMOST_FROM and tested:
        return ALMOST_SURE
    return next((word for least, word in _FROM if probability >= least), NOT_LIKELY)


def speaks(effect: float) -> str:
    """Say what a piece of evidence does: ``speaks for it``; empty where it hardly does anything.

    Args:
        effect: change of the log odds of the cause.
    """
    factor = math.exp(min(abs(effect), 50.0))
    for least, pro, contra in _SPEAKS:
        if factor >= least:
            return pro if effect > 0 else contra
    return ""


def listed(names: tuple[str, ...] | list[str], last: str = "and") -> str:
    """Return names in a row: ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def capital(words: str) -> str:
    """Return *words* as the beginning of a sentence."""
    return words[:1].upper() + words[1:]
