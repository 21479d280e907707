"""The invented shop: its figures, its instruments, its people and its cases."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

from witnessmark.demo.stories.story import Story, read_story
from witnessmark.errors import Conflict
from witnessmark.model.shop_head import ShopHead
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.case.shop_settings import (
    Person,
    ShopInstrument,
    save_instrument,
    save_person,
    save_settings,
    set_shop_head,
    set_shop_name,
)

__all__ = ["build", "open_stories", "stories"]

#: In the order of the ledger.
_STORIES = (
    "gravel-31", "sawmill-14", "rescue-5", "movers-9", "gritter-6", "placeholder-19",
    "dairy-13", "mulch-16", "laundry-8", "orchard-27",
)  # fmt: skip

#: Cases that are still open, so that the ledger has something to wait for.
_OPEN = ("feed-22", "madeupton-4")

_INSTRUMENTS = (
    ShopInstrument("G1", "liquid-filled gauge", "160 psi", "1 % of span", "1 psi", "2026-01-12"),
    ShopInstrument("V1", "vacuum gauge", "30 inHg", "0.5 inHg", "0.3 inHg", "2026-01-12"),
    ShopInstrument("U1", "U-tube with the orifice", "40 inH2O", "0.2 inH2O", "0.1 inH2O", ""),
    ShopInstrument("C1", "cooling system tester", "30 psi", "0.5 psi", "0.5 psi", "2025-11-03"),
)


_HEAD = ShopHead(
    address="12 Example Road, Notown",
    phone="555 0100",
    licence="0000 (invented)",
    warranty="Our work is covered for 90 days or 10,000 miles, parts as their makers say "
    "(invented).",
)

#: The shop's own rates, invented like all the rest.
_FIGURES = {"labour_usd_per_hour": "138", "source": "the invented shop's own"}


@cache
def stories() -> tuple[Story, ...]:
    """Return the invented cases that were worked to the end; the same every time."""
    return tuple(read_story(case_id) for case_id in _STORIES)


@cache
def open_stories() -> tuple[Story, ...]:
    """Return the invented cases that are still open."""
    return tuple(read_story(case_id) for case_id in _OPEN)


def build(folder: Path) -> Shop:
    """Build the invented shop in *folder*, which is made if need be.

    Building again in the same folder leaves what is there.

    Raises:
        InputRefused: the folder is a file.
    """
    shop = open_shop(folder, create=True)
    set_shop_name(shop, "Invented Truck Repair (demo)")
    set_shop_head(shop, _HEAD)
    save_settings(shop, _FIGURES)
    for instrument in _INSTRUMENTS:
        save_instrument(shop, instrument)
    save_person(shop, Person("Ines Invented", "owner"))
    save_person(shop, Person("Tom Testname"))
    there = {summary.id for summary in shop.list_cases()}
    for story in reversed((*open_stories(), *stories())):
        if story.case_id in there:
            continue
        for name, content in story.files.items():
            shop.store_file(io.BytesIO(content), name)
        try:
            shop.new_case(story.case_id, story.lines, by="Tom Testname")
        except Conflict:  # somebody else built it meanwhile
            continue
    return shop
