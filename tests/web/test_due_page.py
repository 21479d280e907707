"""The shop over time on a phone: what is due, done with a tap; a truck that left its own band."""

from __future__ import annotations

import pytest

from web.accessible import violations
from web.bench_page import KEEP_SCREENS, SCREENS, served
from web.test_browser import SMALL
from witnessmark.model.entries.entry_data import NoteData
from workflow.shop_over_time import shop_over_time

pytestmark = pytest.mark.browser


def test_what_is_due_is_read_and_done_on_a_phone(browser, tmp_path):
    shop = shop_over_time(tmp_path / "shop")
    with served(shop) as address:
        page = browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
        ).new_page()
        for name, where in (("due", "/due"), ("truck", "/trucks/unit%207"), ("learnt", "/learnt")):
            page.goto(address.rstrip("/") + where)
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
            assert page.evaluate(SMALL) == [], name
            assert violations(page) == [], name
            if KEEP_SCREENS:
                SCREENS.mkdir(parents=True, exist_ok=True)
                page.screenshot(path=SCREENS / f"{name}-390.png", full_page=True)
            if name == "truck":
                assert "left its own band" in page.inner_text("main")
        page.goto(address)
        page.tap("text=What is due")
        assert "Tighten again: wheel nuts" in page.inner_text("main")
        page.locator("li", has_text="Tighten again").locator("text=It is done").tap()
        page.tap("button:has-text('Save')")
        page.wait_for_url("**/cases/nuts*")
        done = [d.done for _, d in shop.case("nuts").of(NoteData) if d.done]
        assert done == ["n3", "n1"]
        page.goto(address.rstrip("/") + "/due")
        assert "Tighten again" not in page.inner_text("main")
        page.goto(address.rstrip("/") + "/cases/nuts/add/note")
        page.tap("summary:has-text('It is due later')")
        page.fill("#f-words", "Grease the coupling")
        page.fill("#f-due_miles", "101000")
        page.tap("button:has-text('Save')")
        page.wait_for_url("**/cases/nuts*")
        page.goto(address.rstrip("/") + "/due")
        assert "at 101,000 mi, last read 100,020" in page.inner_text("main")
    shop.close()
