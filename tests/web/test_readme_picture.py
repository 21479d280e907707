"""README's walk is the demo's open truck: the same figures, and its picture made from the page.

``make picture`` runs this with WITNESSMARK_PICTURES set to the folder that they are written into.
"""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import httpx
import pytest

from patience import PATIENCE_S
from web.bench_page import SCREENS, served
from witnessmark.demo.demo_shop import open_stories
from witnessmark.model.entries.case import read_case
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.workflow.case.shop_on_disk import open_shop

ROOT = Path(__file__).parents[2]
STORY = next(s for s in open_stories() if s.case_id == "feed-22")
SIZE = {"width": 1280, "height": 900}
#: Further pictures of the documentation, as a phone shows them: name -> page and words on it.
HELD = {"width": 390, "height": 844}
ON_PHONE = {
    "phone": ("/phone", "May it move?"),
    "reading": (f"/cases/{STORY.case_id}/reading", "Fictive Feed tanker 22"),
}


def readings() -> list[tuple[str, str]]:
    """Return (value, engine speed) of the open truck as they are typed."""
    case = read_case(STORY.case_id, STORY.lines)
    return [(d.value, f"{d.point.rpm:g}") for _, d in case.of(ReadingData)]


def test_the_walk_of_the_readme_is_the_open_truck_of_the_demo() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    walked = re.findall(r'value="([^"]+)" point\.rpm=(\d+)', text)
    assert walked == readings()
    assert f"`{STORY.case_id}`" in text
    assert "docs/pictures/case.png" in text


@pytest.mark.browser
@pytest.mark.slow
def test_the_picture_of_the_readme_is_this_page(browser, tmp_path) -> None:
    shop = open_shop(tmp_path / "shop", create=True)
    shop.new_case(STORY.case_id, STORY.lines, by="Tom Testname")
    context = browser.new_context(viewport=SIZE, color_scheme="light")
    try:
        with served(shop) as address:
            where, end = f"{address}/cases/{STORY.case_id}", time.monotonic() + PATIENCE_S
            while httpx.get(f"{where}/version", timeout=PATIENCE_S).json()["working"]:
                assert time.monotonic() < end, "the odds are not worked out"
                time.sleep(0.2)
            page = context.new_page()
            page.goto(where)
            for value, rpm in readings():
                seen = page.get_by_text(value, exact=False).first.bounding_box()
                assert seen is not None
                assert seen["y"] < SIZE["height"], "the readings stand in the picture"
                assert rpm in page.inner_text("main")
            made = Path(os.environ.get("WITNESSMARK_PICTURES", SCREENS))
            made.mkdir(parents=True, exist_ok=True)
            page.screenshot(path=made / "case.png")
            page.set_viewport_size(HELD)
            for name, (shown, words) in ON_PHONE.items():
                answer = page.goto(f"{address}{shown}")
                assert answer is not None
                assert answer.status == 200
                assert words in page.inner_text("body")
                page.screenshot(path=made / f"{name}.png")
    finally:
        context.close()
        shop.close()
    for name, size in {"case": SIZE, **dict.fromkeys(ON_PHONE, HELD)}.items():
        head = (ROOT / "docs" / "pictures" / f"{name}.png").read_bytes()[:24]
        assert (int.from_bytes(head[16:20], "big"), int.from_bytes(head[20:24], "big")) == (
            size["width"], size["height"],
        ), name  # fmt: skip
