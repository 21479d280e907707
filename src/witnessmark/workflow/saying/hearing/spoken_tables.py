"""The tables of trade words, read once: data beside the packs, no rule of their own in code."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from importlib import resources
from typing import Any

__all__ = ["MOST_WORDS", "TABLES", "Phrases", "every_text", "phrases", "table", "work_phrases"]

#: The tables of ``packs/said``.
TABLES = ("speech", "figures", "checks", "work", "examples")

#: No phrase of the tables has more words than this.
MOST_WORDS = 6

#: First word -> (whole phrase as words, what stands for it), the longest first.
Phrases = Mapping[str, tuple[tuple[tuple[str, ...], Any], ...]]


@cache
def table(name: str) -> dict[str, Any]:
    """Return one table of ``TABLES`` as it stands on disk."""
    path = resources.files("witnessmark.knowledge") / "packs" / "said" / f"{name}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def every_text() -> Iterator[str]:
    """Yield every text that the tables hold, keys and values."""
    for name in TABLES:
        yield from _texts(table(name))


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _texts(key)
            yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def phrases(rows: Iterable[tuple[str, Any]]) -> Phrases:
    """Arrange phrases for a look-up of the longest one that begins at a word."""
    found: dict[str, list[tuple[tuple[str, ...], Any]]] = {}
    for text, meaning in rows:
        words = tuple(text.split())
        found.setdefault(words[0], []).append((words, meaning))
    return {
        first: tuple(sorted(several, key=lambda row: -len(row[0])))
        for first, several in found.items()
    }


@cache
def work_phrases(section: str, key: str) -> Phrases:
    """Return one list of the table of work, each phrase standing for itself."""
    return phrases((said, said) for said in table("work")[section][key])
