"""Numbers in words. The only module that writes a probability or a percentage for a person.

Every room that speaks uses it, so that the page, the paper, the command and the JSON say the same
of one number. It lies below the model: it knows no record, only numbers.
"""

from __future__ import annotations

import math

__all__ = ["chance_about", "chance_band", "chance_words", "glued", "none_of_them", "percentage"]

#: A chance below this is "under 1 %", one above its mirror image "over 99 %": nothing that is
#: only likely is ever called impossible or certain.
_LEAST = 0.01


def none_of_them(none: float, nothing_wrong: float) -> str:
    """Return P(none of the listed causes), and how much of it is that nothing is wrong."""
    if nothing_wrong < 0.005:
        return chance_words(none)
    return f"{chance_words(none)}, {chance_words(nothing_wrong)} of it that nothing is wrong"


def chance_words(probability: float | None) -> str:
    """Return a probability as a whole percentage: ``46 %``, ``under 1 %``, ``over 99 %``.

    Args:
        probability: 0 to 1; ``None`` or no number: not known, which is not zero.
    """
    if probability is None or not math.isfinite(probability):
        return "not known"
    if probability < _LEAST:
        return "under 1 %"
    if probability > 1.0 - _LEAST:
        return "over 99 %"
    return f"{100 * probability:.0f} %"


def chance_band(low: float | None, high: float | None) -> str:
    """Return how far a probability may be off, ``9 % to 71 %``; empty where nobody knows."""
    return "" if low is None or high is None else f"{chance_words(low)} to {chance_words(high)}"


def chance_about(probability: float | None, low: float | None, high: float | None) -> str:
    """Return a probability with how far it may be off: ``46 % (9 % to 71 %)``."""
    band = chance_band(low, high)
    return f"{chance_words(probability)} ({band})" if band else chance_words(probability)


def percentage(fraction: float, digits: int = 0) -> str:
    """Return a fraction that was measured or set, such as a load: ``50 %``. May be 0 or 100.

    Args:
        fraction: 1.0 is 100 %.
        digits: figures behind the point.
    """
    return f"{100 * fraction:.{digits}f} %"


def glued(text: str) -> str:
    """Return *text* with spaces at which no line is broken, for a page or a picture."""
    return text.replace(" ", "\u00a0")
