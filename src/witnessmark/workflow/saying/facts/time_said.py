"""How long something took, as it is said."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["minutes_of"]


#: Times said without a figure, the longest first [min].
_IN_WORDS = (
    (("an", "hour", "and", "a", "half"), 90),
    (("hour", "and", "a", "half"), 90),
    (("three", "quarters", "of", "an", "hour"), 45),
    (("quarter", "of", "an", "hour"), 15),
    (("half", "an", "hour"), 30),
    (("half", "hour"), 30),
)


def minutes_of(tokens: Sequence[Token]) -> tuple[float, set[int]] | None:
    """Return (minutes, the places of the words that said so), ``None`` where none was said."""
    said = [t.text for t in tokens]
    for place in range(len(said)):
        for words, minutes in _IN_WORDS:
            if tuple(said[place : place + len(words)]) == words:
                return minutes, set(range(place, place + len(words)))
    for place, token in enumerate(tokens[:-1]):
        if token.number is None:
            continue
        word = tokens[place + 1].text
        if word in {"hour", "hours", "hrs", "hr", "h"} and token.number <= 24:
            more = _and_minutes(tokens, place + 2)
            if more is not None:
                return _plain(token.number * 60 + more[0]), set(range(place, more[1]))
        if word in {"min", "mins", "minutes", "minute"}:
            return _plain(token.number), {place, place + 1}
        if word in {"hour", "hours", "hrs", "hr", "h"} and token.number <= 24:
            return _plain(token.number * 60), {place, place + 1}
    return None


def _and_minutes(tokens: Sequence[Token], at: int) -> tuple[float, int] | None:
    """Read the minutes behind the hours: "2 hrs 20 min", "1h10", "one hour twenty"."""
    at += 1 if at < len(tokens) and tokens[at].text == "and" else 0
    if at >= len(tokens) or tokens[at].number is None:
        return None
    value = tokens[at].number or 0.0
    after = tokens[at + 1].text if at + 1 < len(tokens) else ""
    if value >= 60 or value != int(value):
        return None
    if after in {"min", "mins", "minutes", "minute", "m"}:
        return value, at + 2
    return (value, at + 1) if after in {"", ",", ".", "on", "for", "to", "of"} else None


def _plain(value: float) -> float | int:
    return int(value) if value == int(value) else value
