"""The one page before it is laid out: words in the customer's language, and nothing but words."""

from __future__ import annotations

from dataclasses import dataclass, field

from witnessmark.model.shop_head import ShopHead

__all__ = ["BillRow", "LaterRow", "OnePage", "PlacedPhoto"]


@dataclass(frozen=True, slots=True)
class BillRow:
    """One line of the bill and its price in words."""

    what: str
    price: str


@dataclass(frozen=True, slots=True)
class LaterRow:
    """What is left for later, and when or how grave it is."""

    what: str
    when: str


@dataclass(frozen=True, slots=True)
class PlacedPhoto:
    """A photo on the page.

    Attributes:
        content: JPEG or PNG, without place and device data.
        kind: its media type.
        words: what stands under it.
    """

    content: bytes
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class OnePage:
    """The page.

    Attributes:
        title: its head.
        under: case and days.
        shop: who made it.
        shop_line: address, phone, licence in one line.
        facts: (name, value): truck, number, miles in and out, customer.
        stops: stops in force.
        heads: part of the page -> its heading.
        told: the customer's own words.
        found: what was found.
        did: what was done.
        know: how it is known.
        unproven: what is not.
        later: what was declined, deferred, or is due.
        picture: SVG of ours, empty without one.
        picture_words: what it shows.
        photos: placed.
        bill: lines.
        total: (words, sum), ``None`` without one.
        notes: old parts, warranty, small print.
        sign: words under the lines to sign on.
        language: of the words.
    """

    title: str
    under: str
    shop: ShopHead
    shop_line: str
    facts: tuple[tuple[str, str], ...]
    stops: tuple[str, ...]
    heads: dict[str, str]
    told: tuple[str, ...]
    found: tuple[str, ...]
    did: tuple[str, ...]
    know: tuple[str, ...]
    unproven: tuple[str, ...]
    later: tuple[LaterRow, ...]
    picture: str
    picture_words: str
    bill: tuple[BillRow, ...]
    total: tuple[str, str] | None
    notes: tuple[str, ...]
    sign: tuple[str, str]
    photos: tuple[PlacedPhoto, ...] = field(default=())
    language: str = "en"
