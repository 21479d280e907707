"""The records: a card is one entry that a line may mean, with what must be asked back first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Card", "Meaning", "Part"]


@dataclass(frozen=True, slots=True)
class Card:
    """One entry that a line means.

    Attributes:
        kind: kind of entry.
        data: its data, as JSON types.
        said: the words of the line that it was read from.
        needs: questions without whose answer it is not taken by default.
        also: questions that may wait.
        marks: what else was said of it (who, where, with what), in words.
        sure: it may be taken with one tap for all.
    """

    kind: str
    data: Mapping[str, Any]
    said: str = ""
    needs: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    sure: bool = False

    @property
    def asks(self) -> tuple[str, ...]:
        """Every question, those that must be answered first."""
        return (*self.needs, *self.also)


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a line means.

    Attributes:
        line: the line as it was said.
        cards: the entries it means, in the order in which they happened.
        asks: questions about what no card was made of.
        left: the words that no card came from.
    """

    line: str
    cards: tuple[Card, ...] = ()
    asks: tuple[str, ...] = ()
    left: str = ""


@dataclass(slots=True)
class Part:
    """What one reader of the line found.

    Attributes:
        cards: the cards.
        asks: questions about what became no card.
        used: the tokens that these came from.
        named: looks and tests that the line speaks of, with a card or without.
    """

    cards: list[Card] = field(default_factory=list)
    asks: list[str] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    named: set[str] = field(default_factory=set)
