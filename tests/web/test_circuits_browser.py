"""The demo's air leak and the demo's no-crank by thumb on a phone: readings in, verdict out."""

from __future__ import annotations

import json

import pytest

from web.bench_page import served
from witnessmark.demo.stories.story import read_story
from witnessmark.workflow.case.shop_on_disk import open_shop

pytestmark = pytest.mark.browser

#: Story -> its last entry before the quote; quantity, keys and unit of what is typed here in place
#: of all that the story read of the circuit; what the model says; the first cause.
TRUCKS = {
    "mulch-16": (
        "e19",
        (("air_loss_primary_released", "5", "psi"),
         ("air_loss_secondary_released", "0.5", "psi"),
         ("air_loss_primary_applied", "9", "psi"),
         ("air_loss_secondary_applied", "1", "psi")),
        "which they cannot part: a leak on the primary side",
        "Brake chamber",
    ),
    "laundry-8": (
        "e20",
        (("crank_drop_positive", "0.1", "V"),
         ("crank_drop_ground", "10.2", "V")),
        "which they cannot part: the ground between",
        "Ground",
    ),
}  # fmt: skip


def untyped(story: str):
    """Return the story's entries up to the quote, without the circuit's readings but at rest."""
    for line in read_story(story).lines:
        entry = json.loads(line)
        quantity = entry["data"].get("quantity", "")
        running = entry["data"].get("point", {}).get("engine") != "off"
        if not (quantity.startswith(("air_loss", "crank_drop", "battery_voltage")) and running):
            yield line
        if entry["id"] == TRUCKS[story][0]:
            return


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    shop = open_shop(tmp_path_factory.mktemp("circuits") / "shop", create=True)
    for story in TRUCKS:
        shop.new_case(story, list(untyped(story)))
    with served(shop) as where:
        yield where
    shop.close()


def typed(page, address: str, story: str, quantity: str, keys: str, unit: str) -> None:
    page.goto(f"{address}/cases/{story}/reading?quantity={quantity}")
    page.wait_for_selector("#keys button")
    page.locator(f"label:has(input[name=unit][value='{unit}'])").tap()
    for key in keys:
        page.locator("#keys button", has_text=key).first.tap()
    assert page.input_value("#dial") == keys
    page.locator("button:text-is('Save')").tap()
    page.wait_for_url(f"**/cases/{story}*")


@pytest.mark.slow
def test_readings_by_thumb_decide_the_demos_air_leak_and_its_no_crank(browser, address) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    for story, (_, readings, says, first) in TRUCKS.items():
        for reading in readings:
            typed(page, address, story, *reading)
        page.wait_for_selector("#live[data-working=no]")
        for fold in page.query_selector_all("details:not([open]) > summary"):
            fold.evaluate("e => { e.parentElement.open = true; }")
        text = page.inner_text("main")
        assert f"points to one of these, {says}" in text, story
        assert "would read" in text, story
        places = page.locator("#odds .name").all_inner_texts()
        # a zone may stand above the likeliest cause
        assert any(name.startswith(first) for name in places[:2]), story
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, story
    context.close()
