"""The reading keypad in a real browser: no key, no field and no button lies under another thing."""

from __future__ import annotations

import re

import pytest

from web.bench_page import SCREENS, fuel_lines, served
from witnessmark.workflow.case.shop_on_disk import open_shop

pytestmark = pytest.mark.browser

#: Widths and usual heights of what is held in a hand [px]; the last lies on its side.
SIZES = ((320, 568), (360, 740), (390, 844), (430, 932), (820, 1180), (844, 390))
KEYS = 15

#: What is hit at the centre of each of these, where it is not the thing itself.
COVERED = """selector => [...document.querySelectorAll(selector)].map(e => {
    const r = e.getBoundingClientRect();
    const hit = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
    const name = e.getAttribute('aria-label') || e.textContent.trim() || e.id;
    return hit === e || e.contains(hit) ? null :
      `${name}: ${hit ? hit.outerHTML.slice(0, 80) : 'outside the screen'}`;
}).filter(Boolean)"""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    shop = open_shop(tmp_path_factory.mktemp("keypad") / "shop", create=True)
    shop.new_case("unit7", fuel_lines())
    with served(shop) as where:
        yield where
    shop.close()


@pytest.fixture
def held(browser, address):
    """Open the reading page by touch in a window of this size, of the usual or a signed figure."""
    opened = []

    def open_page(width, height, quantity="fuel_gallery_pressure"):
        context = browser.new_context(
            viewport={"width": width, "height": height}, has_touch=True, is_mobile=True
        )
        opened.append(context)
        page = context.new_page()
        page.goto(f"{address}/cases/unit7/reading?quantity={quantity}")
        page.wait_for_selector("#keys button")
        return page

    yield open_page
    for context in opened:
        context.close()


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_every_key_is_hit_at_its_centre_as_the_page_opens(held, width, height) -> None:
    page = held(width, height)
    SCREENS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SCREENS / f"keypad-{width}x{height}.png")
    assert page.locator("#keys button").count() == KEYS
    assert page.evaluate(COVERED, "#keys button, .stay > button, #dial") == []
    for digit in "7890":
        page.locator("#keys button", has_text=digit).tap()
    assert page.input_value("#dial") == "7890"
    for key in ("⌫", "⌫", "to", "9", "5", "swings"):
        page.locator("#keys button", has_text=re.compile(f"^{key}$")).tap()
    assert page.input_value("#dial") == "swings 78 to 95"


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_no_key_is_lost_wherever_the_page_is_scrolled_to(held, width, height) -> None:
    page = held(width, height)
    end = page.evaluate("document.documentElement.scrollHeight")
    for share in (0, 0.3, 0.6):
        page.evaluate("y => window.scrollTo(0, y)", share * (end - height))
        on_screen = page.evaluate(COVERED, "#keys button")
        under = [text for text in on_screen if "outside the screen" not in text]
        assert under == [], share


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_a_figure_with_a_sign_has_its_key_too(held, width, height) -> None:
    page = held(width, height, "coolant_temperature")
    assert page.locator("#keys button").count() == KEYS + 1
    assert page.evaluate(COVERED, "#keys button, .stay > button") == []


def test_saves_that_wait_for_the_network_do_not_cover_the_keys(held) -> None:
    page = held(390, 844)
    page.context.set_offline(True)
    page.locator("#keys button", has_text="7").tap()
    page.locator("button[value=next]").tap()
    page.wait_for_selector("#queue:not([hidden])")
    assert page.evaluate(COVERED, "#keys button, .stay > button") == []


def test_the_device_s_own_keyboard_takes_the_place_of_the_keys(held) -> None:
    page = held(390, 844)
    page.locator("#dial").dblclick()
    assert page.locator("#keys").is_hidden()
    assert page.get_attribute("#dial", "inputmode") == "decimal"
