"""A driver's words made alike: stems, words that mean the same, near misses of the thumb.

Nothing here knows a complaint; the words are data (``packs/words/spoken.toml``).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

__all__ = ["near", "spoken", "stem", "tokens"]

_FILE = Path(__file__).parents[1] / "packs" / "words" / "spoken.toml"

_WORD = re.compile(r"[0-9]+\.[0-9]+|[a-z0-9][a-z0-9'/-]*")
_SUFFIXES = ("ings", "ing", "ed", "es", "s", "ly")
_SHORTEST = 3
_ROAD, _ENGINE, _HOT = (45, 80), (800, 2600), (205, 265)
#: A number with a point is mostly volts or miles a gallon.
_VOLTS, _MILEAGE = (10.0, 17.0), (3.0, 9.9)


@lru_cache(maxsize=1)
def spoken() -> Mapping[str, Any]:
    """Return the words of the trade as the data file has them, read once."""
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))


@lru_cache(maxsize=1)
def _empty() -> frozenset[str]:
    return frozenset(spoken()["empty"])


@lru_cache(maxsize=8192)
def stem(word: str) -> str:
    """Return a word without its ending."""
    word = word.removesuffix("'s").strip("'-/")
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    for suffix in _SUFFIXES:
        rest = word.removesuffix(suffix)
        if rest == word or len(rest) < _SHORTEST or word.endswith(("ss", "us", "is")):
            continue
        if suffix == "es" and not rest.endswith(("s", "x", "z", "ch", "sh")):
            rest += "e"
        if suffix in {"ing", "ed", "ings"} and rest[-1] == rest[-2] and rest[-1] not in "lsz":
            rest = rest[:-1]
        word = rest
        break
    return word[:-1] if word.endswith("e") and len(word) > 4 else word


def tokens(text: str, same: Mapping[str, str], known: Collection[str] = ()) -> tuple[str, ...]:
    """Return the words that say something, made alike, in their order.

    Args:
        text: what was said.
        same: a word, or its stem, -> the one that stands for all that mean the same.
        known: stems that are known; a longer word one slip away from one of them is taken for it.
    """
    found = []
    empty = _empty()
    for raw in _WORD.findall(text.lower().replace("\u2019", "'")):
        if raw in empty:
            continue
        if raw.isdigit():
            found.append(_number(int(raw)))
            continue
        if raw[0].isdigit() and "." in raw:
            found.append(_with_a_point(float(raw)))
            continue
        word = same.get(raw) or same.get(stem(raw)) or stem(raw)
        if word in empty:
            continue
        if known and word not in known and len(word) > 4:
            word = near(word, known) or word
        found.append(word)
    return tuple(found)


def near(word: str, known: Collection[str]) -> str:
    """Return the known word that is one slip of the thumb away, the first by name; or nothing."""
    return _near(word, frozenset(known))


@lru_cache(maxsize=4096)
def _near(word: str, known: frozenset[str]) -> str:
    close = (k for k in known if abs(len(k) - len(word)) < 2 and len(k) > 3 and _slip(word, k))
    return min(close, default="")


def _slip(a: str, b: str) -> bool:
    """Say whether one letter too many, too few, wrong, or two swapped part two words."""
    if len(a) < len(b):
        a, b = b, a
    at = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), len(b))
    if len(a) != len(b):
        return a[at + 1 :] == b[at:]
    swapped = a[at : at + 2] == b[at : at + 2][::-1] and a[at + 2 :] == b[at + 2 :]
    return a[at + 1 :] == b[at + 1 :] or swapped


def _number(value: int) -> str:
    """Return what a bare number mostly is when a driver says it."""
    for words, (low, high) in (("mph", _ROAD), ("rpm", _ENGINE), ("hot", _HOT)):
        if low <= value <= high:
            return words
    return str(value)


def _with_a_point(value: float) -> str:
    """Return what a number with a point mostly is when a driver says it."""
    for words, (low, high) in (("volt", _VOLTS), ("mileag", _MILEAGE)):
        if low <= value <= high:
            return words
    return str(value)
