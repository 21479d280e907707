"""Several trucks at once on a tablet: a switcher that finds each as it was left."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from web.bench_page import fuel_lines, served
from web.test_browser import SMALL
from witnessmark.workflow.case.shop_on_disk import entry_line


def test_the_switcher_stands_where_several_are_open_and_names_them(client, shop):
    assert 'aria-label="Open trucks"' not in client.get("/cases/unit7").text, "one is open"
    shop.new_case("unit8", fuel_lines("unit 8"))
    text = client.get("/cases/unit8/add/note").text
    assert '<a href="/cases/unit7" data-truck="unit7">unit 7</a>' in text
    assert '<a href="/cases/unit8" data-truck="unit8" aria-current="true">unit 8</a>' in text
    assert 'aria-label="Open trucks"' not in client.get("/").text, "the list of cases is its own"
    shop.append("unit8", [entry_line("close", {"complaint": "e2", "how": "declined"})])
    assert 'aria-label="Open trucks"' not in client.get("/cases/unit7").text


@pytest.mark.browser
def test_each_truck_is_found_as_it_was_left_on_a_tablet(browser, shop):
    shop.new_case("unit8", fuel_lines("unit 8"))
    with served(shop) as address:
        context = browser.new_context(viewport={"width": 820, "height": 1000}, has_touch=True)
        page = context.new_page()
        page.goto(f"{address}/cases/unit7/add/note")
        page.fill("#f-words", "weep at the front seal")
        page.tap(".trucks >> text=unit 8")
        page.wait_for_url("**/cases/unit8")
        page.wait_for_selector("#live[data-working=no]")
        page.tap("[data-fold=work] > summary")
        page.evaluate("window.scrollTo(0, 300)")
        page.tap(".trucks >> text=unit 7")
        page.wait_for_url("**/cases/unit7/add/note")
        assert page.input_value("#f-words") == "weep at the front seal"
        assert page.evaluate(SMALL) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 820
        assert Axe().run(page).response["violations"] == []
        page.tap(".trucks >> text=unit 8")
        page.wait_for_url("**/cases/unit8")
        page.wait_for_selector("[data-fold=work][open]")
        assert page.locator("details[open]").count() >= 1
        page.set_viewport_size({"width": 390, "height": 844})
        assert not page.is_visible(".trucks"), "a phone goes by the list of cases"
