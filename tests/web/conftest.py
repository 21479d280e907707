"""A shop and clients of it; a real browser where one is there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from patience import PATIENCE_MS
from web.bench_page import CHROMIUM, FLAGS, Client, fuel_lines, remembering
from witnessmark.web.app import create_app
from witnessmark.web.door.doors import Access
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop


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
    found = Client(create_app(shop, assess=remembering(shop)))
    yield found
    found.close()


@pytest.fixture
def lan(shop: Shop) -> Iterator[Client]:
    """A client of the shop in the shop's network, not signed in."""
    access = Access(lan=True, address="https://192.0.2.7:8740", secure=True)
    found = Client(
        create_app(shop, access=access, assess=remembering(shop)), "https://192.0.2.7:8740"
    )
    yield found
    found.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's chromium. Without it the tests that need it are skipped, and say so.

    Closed at the end of each module: its driver keeps an event loop running in the thread, and
    the modules that come after it need the thread's loop for themselves.
    """
    if not CHROMIUM.exists():
        pytest.skip(f"!! {CHROMIUM} is not here: the page was NOT tried in a real browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        _be_patient(found)
        yield found
        found.close()


def _be_patient(browser: Any) -> None:
    """Let every wait of this browser end at its event, not at the default half minute."""
    for make in ("new_context", "new_page"):
        usual = getattr(browser, make)

        def patient(*args: Any, usual: Any = usual, **kwargs: Any) -> Any:
            made = usual(*args, **kwargs)
            made.set_default_timeout(PATIENCE_MS)
            return made

        setattr(browser, make, patient)
