"""The inspection by thumb on a phone: defect, complaint, repair, second look, certificate."""

from __future__ import annotations

import json
import time

import pytest

from patience import PATIENCE_S
from web.accessible import violations
from web.bench_page import KEEP_SCREENS, SCREENS, served
from web.test_browser import SMALL
from web.test_keypad_browser import COVERED
from witnessmark.model.entries.entry_data import ComplaintData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.model.entries.ledger_data import CloseData
from witnessmark.workflow.inspecting.inspect_case import sheet_json, sheet_now
from witnessmark.workflow.inspecting.look_at_point import look
from workflow.inspecting_lines import HEAD, good_looks, shop_with

pytestmark = pytest.mark.browser

AXLES = {"axles": 2, "dual_axles": []}
WALK = "/cases/unit/inspection"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A tractor whose walk is done but for the lamps and one tyre."""
    made = shop_with(tmp_path_factory.mktemp("inspected"), **AXLES)
    head = InspectionData.model_validate({**HEAD, **AXLES})
    looks = [k for k in good_looks(made, head, "lamps") if (k.point, k.place) != ("tread", "a1l")]
    look(made, "unit", looks)
    yield made
    made.close()


@pytest.fixture(scope="module")
def address(shop):
    with served(shop) as where:
        yield where


@pytest.fixture
def phone(browser, address):
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    said = []
    page.on("pageerror", lambda e: said.append(str(e)))
    page.goto(address + WALK)
    yield page
    context.close()
    assert said == []


def fits(page, name: str, *, heard: bool = False) -> None:
    """Nothing scrolls sideways, every target can be hit; where heard, a screen reader gets on."""
    if KEEP_SCREENS:
        SCREENS.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=SCREENS / f"inspection-{name}-390.png", full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390, name
    assert page.evaluate(SMALL) == [], name
    found = violations(page) if heard else []
    assert [(v["id"], v["nodes"][0]["html"][:120]) for v in found] == [], name


def tread(page, address, keys: str) -> None:
    page.goto(f"{address}{WALK}/read/tread?place=a1l")
    page.wait_for_selector("#keys button")
    assert page.evaluate(COVERED, "#keys button") == []
    for key in keys:
        page.locator("#keys button", has_text=key).first.tap()
    page.get_by_role("button", name="Save", exact=True).tap()
    page.wait_for_url("**/inspection?saved=tread*")


def put_right(page, address, point: str, did: str) -> None:
    page.goto(f"{address}{WALK}/repaired/{point}")
    page.fill("#f-did", did)
    fits(page, "repaired")
    page.get_by_role("button", name="Save the work").tap()
    page.wait_for_url(f"**/inspection#{point}")


def answer(page, address, point: str, chip: str) -> None:
    page.goto(f"{address}{WALK}")
    page.evaluate("id => { document.getElementById(id).open = true; }", point)
    page.locator(f"#{point} .chips label", has_text=chip).first.tap()
    with page.expect_navigation():
        page.get_by_role("button", name="Save what I looked at").tap()


def told_at_last(page, where: str):
    """Ask the interface until what stops the vehicle is worked out."""
    end = time.monotonic() + PATIENCE_S
    while (answer := page.request.get(where)).status != 200:
        assert time.monotonic() < end, answer.text()
        page.wait_for_timeout(200)
    return answer.json()


@pytest.mark.slow
def test_from_the_defect_to_the_certificate_on_a_phone(phone, address, shop):
    page = phone
    for fold in page.query_selector_all("details:not([open]) > summary"):
        fold.evaluate("e => { e.parentElement.open = true; }")
    fits(page, "walk", heard=True)
    page.goto(f"{address}{WALK}/begin")
    fits(page, "begin", heard=True)
    # two defects: one by keypad, one by a tap
    tread(page, address, "2")
    assert "Tread depth of every tyre: fails" in page.inner_text("main")
    answer(page, address, "lamps", "one lamp dead")
    case = shop.case("unit")
    opened = {e.id: d.families for e, d in case.of(ComplaintData)}
    assert list(opened) == ["inspection:tread:1", "inspection:lamps:1"]
    page.goto(f"{address}{WALK}/read/tread?saved=a1l")
    page.wait_for_selector("#keys button")
    fits(page, "read", heard=True)
    # the page, the interface and the workflow say one thing
    told = told_at_last(page, f"{address}/api/cases/unit/inspection")
    assert told == json.loads(json.dumps(sheet_json(sheet_now(shop, "unit"))))
    page.goto(f"{address}{WALK}/sign")
    fits(page, "not-signed")
    assert page.get_by_role("button", name="Sign the certificate").count() == 0
    for withheld in told["withheld"]:
        assert withheld["what"] in page.inner_text("main")
    # a second look without work counts for nothing
    answer(page, address, "lamps", "passes")
    assert "no work between" in page.inner_text("#lamps")
    put_right(page, address, "lamps", "left marker lamp renewed")
    answer(page, address, "lamps", "passes")
    put_right(page, address, "tread", "tyre renewed, left front")
    tread(page, address, "14")
    closed = [d.complaint for _, d in shop.case("unit").of(CloseData)]
    assert closed == ["inspection:lamps:1", "inspection:tread:1"]
    told_at_last(page, f"{address}/api/cases/unit/inspection")
    page.goto(f"{address}{WALK}/sign")
    fits(page, "sign", heard=True)
    page.locator("label", has_text="I say so").tap()
    page.get_by_role("button", name="Sign the certificate").tap()
    page.wait_for_url(f"**{WALK}")
    assert "signed by A. Inspector" in page.inner_text("main")
    # a paper runs no script: it is looked at as it was sent, on a page that lets one run
    for end, says in (("", "left marker lamp renewed"),
                      ("?customer=true", "passed its yearly inspection")):  # fmt: skip
        page.goto("about:blank")
        page.set_content(page.request.get(f"{address}{WALK}/paper{end}").text())
        assert says in page.inner_text("main")
        fits(page, f"paper{end[1:9]}", heard=not end)


def test_without_the_link_a_look_waits_on_the_phone(phone, address, shop):
    page = phone
    page.goto(f"{address}{WALK}/read/build_up")
    before = len(shop.case("unit").entries)
    page.context.set_offline(True)
    page.locator("label", has_text="dual").first.tap()
    page.fill("#dial", "40")
    page.get_by_role("button", name="Save", exact=True).tap()
    page.wait_for_selector("text=kept on this device")
    assert len(shop.case("unit").entries) == before
    page.context.set_offline(False)
    page.wait_for_selector("#queue", state="hidden")
    entries = shop.case("unit").entries
    assert [e.data.point for e in entries[before:]] == ["build_up"]
    assert entries[-1].data.value == "40 s"
