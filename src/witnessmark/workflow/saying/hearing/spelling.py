"""Words typed with gloves on: one letter wrong, missing, doubled or swapped, made plain."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cache, lru_cache

from witnessmark.workflow.saying.hearing.spoken_tables import every_text, table
from witnessmark.workflow.saying.hearing.tokens import Token

__all__ = ["respelled"]

#: A shorter word may be another word with one letter changed.
_SHORTEST = 5


def respelled(tokens: Iterable[Token]) -> list[Token]:
    """Return the tokens with every unknown word that is one slip from one known word as that one.

    The token is marked doubtful: what is read from it is not taken by default.
    """
    found = []
    for token in tokens:
        word = _meant(token.text) if token.number is None else None
        found.append(token if word is None else replace(token, text=word, doubt=True))
    return found


@lru_cache(maxsize=4096)
def _meant(word: str) -> str | None:
    if len(word) < _SHORTEST or not word.isalpha() or word in _known():
        return None
    near = {w for cut in (word, *_cuts(word)) for w in _by_cuts().get(cut, ())}
    near = {w for w in near if w[0] == word[0] and abs(len(w) - len(word)) <= 1}
    return near.pop() if len(near) == 1 else None


def _cuts(word: str) -> Iterator[str]:
    """Yield the word with each of its letters left out."""
    for at in range(len(word)):
        yield word[:at] + word[at + 1 :]


@cache
def _by_cuts() -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = {}
    for word in table("speech")["spelling"]["words"]:
        for cut in (word, *_cuts(word)):
            found.setdefault(cut, []).append(word)
    return {cut: tuple(words) for cut, words in found.items()}


@cache
def _known() -> frozenset[str]:
    """Return every word that the tables hold: it is no slip."""
    return frozenset(w for said in every_text() for w in re.findall(r"[^\W\d_]+", said.lower()))
