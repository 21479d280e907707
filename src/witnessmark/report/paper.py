"""A paper before it is laid out: blocks of plain words. What a customer typed is never markup."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Block",
    "Heading",
    "Items",
    "Lines",
    "NewPage",
    "Paper",
    "Picture",
    "Said",
    "TableBlock",
]


#: A column whose cells have at most so many characters is set without line breaks.
SHORT = 13


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 starts a complaint, level 2 a part of it."""

    words: str
    level: int = 1


@dataclass(frozen=True, slots=True)
class Said:
    """A paragraph.

    Attributes:
        words: the paragraph.
        kind: plain, quote (in somebody's own words), verdict, caution, or small.
    """

    words: str
    kind: str = "plain"


@dataclass(frozen=True, slots=True)
class Items:
    """A list, one item a line."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table.

    Attributes:
        head: the column heads.
        rows: cells, as many a row as there are heads.
        right: numbers of the columns that are set flush right.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()

    def longest(self) -> tuple[int, ...]:
        """Return for every column the number of characters of its longest cell."""
        columns = zip(self.head, *self.rows, strict=True)
        return tuple(max(len(cell) for cell in column) for column in columns)

    def short(self) -> frozenset[int]:
        """Return the columns that need no line breaks: dates, figures, times."""
        return frozenset(n for n, length in enumerate(self.longest()) if length <= SHORT)


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing (SVG made by us) and the words that stand for it."""

    svg: str
    words: str


@dataclass(frozen=True, slots=True)
class Lines:
    """Blank lines to sign on, each with the words under it."""

    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins on a page of its own."""


Block = Heading | Said | Items | TableBlock | Picture | Lines | NewPage


@dataclass(frozen=True, slots=True)
class Paper:
    """A whole paper.

    Attributes:
        title: what it is.
        shop: the shop's name.
        facts: (name, value) for the head: truck, miles, date, case.
        blocks: its content in order.
        language: of the words: ``en`` or ``es``.
        head: lines under the shop's name: address, phone, licence.
    """

    title: str
    shop: str
    facts: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    language: str = "en"
    head: tuple[str, ...] = ()
