"""A shop and a client without a network; a served shop and a real browser where one is there."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from web.page_client import Client
from witnessmark.web.app import create_app
from witnessmark.web.doors import Access
from witnessmark.web.serve import serve
from witnessmark.workflow.shop import Shop, entry_line, open_shop

CHROMIUM = Path(os.environ.get("WITNESSMARK_CHROMIUM", "/usr/bin/chromium"))
FLAGS = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-gpu",
]
SCREENS = Path(__file__).resolve().parents[2] / "build" / "screens"


def fuel_lines(label: str = "unit 7") -> list[str]:
    """The check-in of a truck with low fuel pressure; all of it invented."""
    truck = {
        "label": label,
        "customer": "Testbarley Hauling",
        "miles": 640000,
        "engine": {"cylinders": 6, "displacement_l": 15, "fuel_supply": "gallery"},
    }
    complaint = {"words": "low fuel pressure, lazy up grades", "families": ["fuel_low"]}
    lines = [
        entry_line("truck", truck, entry_id="e1"),
        entry_line("complaint", complaint, entry_id="e2"),
    ]
    gauge = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}
    for i, (rpm, psi) in enumerate([(700, 50), (1000, 65), (1500, 76), (1800, 82)]):
        data = {
            "quantity": "fuel_gallery_pressure",
            "value": f"{psi} psi",
            "point": {"rpm": rpm, "load": "none", "warm": True},
            "instrument": gauge,
        }
        lines.append(entry_line("reading", data, entry_id=f"r{i}"))
    return lines


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A new shop with one open case."""
    made = open_shop(tmp_path / "shop", create=True)
    made.new_case("unit7", fuel_lines())
    yield made
    made.close()


@pytest.fixture
def client(shop: Shop) -> Iterator[Client]:
    """A client of the shop on this machine."""
    found = Client(create_app(shop))
    yield found
    found.close()


@pytest.fixture
def lan(shop: Shop) -> Iterator[Client]:
    """A client of the shop in the shop's network, not signed in."""
    access = Access(lan=True, address="https://192.0.2.7:8740", secure=True)
    found = Client(create_app(shop, access=access), "https://192.0.2.7:8740")
    yield found
    found.close()


@contextlib.contextmanager
def served(shop: Shop, port: int = 0) -> Iterator[str]:
    """Serve a shop in a thread of its own and give its address."""
    ready, address = threading.Event(), []
    stop: list[Callable[[], None]] = []

    def say_ready(where: str) -> None:
        address.append(where)
        ready.set()

    def run() -> None:
        serve(shop, port=port, say=lambda _: None, ready=say_ready, stopper=stop.append)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(30), "the page did not start"
    try:
        yield address[0]
    finally:
        stop[0]()
        thread.join(15)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Debian's chromium. Without it the tests that need it are skipped, and say so."""
    if not CHROMIUM.exists():
        pytest.skip(f"!! {CHROMIUM} is not here: the page was NOT tried in a real browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield found
        found.close()
