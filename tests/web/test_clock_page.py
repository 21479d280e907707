"""Start and stop on the page of a case; seen there, in the list of cases and on the clock."""

from __future__ import annotations

import pytest

from web.accessible import violations
from web.bench_page import KEEP_SCREENS, SCREENS, served
from web.test_browser import SMALL
from web.test_say_page import fields_of
from witnessmark.model.entries.ledger_data import ClockData
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.dossier.clocked import clock_of

CASE = "/cases/unit7"


def test_a_job_is_started_stopped_and_a_forgotten_one_asked_for(client, shop):
    post = client.post
    lines = {"lines": [{"what": "Line renewed", "minutes": 90}]}
    shop.add("unit7", "quote", lines, entry_id="q1")
    shop.add("unit7", "approval", {"by": "owner", "how": "phone", "quote": "q1"})
    page = client.get(CASE).text
    assert '<option value="q1:1">Line renewed</option>' in page
    assert '<option value="diagnosis">Diagnosis</option>' in page
    begin = {"does": "start", "person": "Ann", "job": "q1:1", "entry_id": "c1"}
    for _ in range(2):  # a device that sends twice
        assert post(f"{CASE}/add/clock", data=begin).status_code == 303
    assert "Ann on Line renewed since" in client.get(CASE).text
    assert "Ann on Line renewed since" in client.get("/").text
    assert "Ann on Line renewed since" in client.get("/clock").text
    assert "clocked 0 min of 1 h 30, running" in client.get(f"{CASE}/shift").text
    end = {"does": "stop", "person": "Ann", "job": "q1:1"}
    assert post(f"{CASE}/add/clock", data=end).status_code == 303
    assert "Stop Line renewed" not in client.get(CASE).text
    again = post(f"{CASE}/add/clock", data=end)
    assert (again.status_code, "could be stopped" in again.text) == (422, True)
    old = {"does": "start", "person": "Bo", "job": "diagnosis"}
    shop.add("unit7", "clock", old, at="2026-03-02T08:00:00Z", entry_id="old")
    assert "Bo, when did you stop diagnosis?" in client.get(CASE).text
    said = {"does": "stop", "person": "Bo", "of": "old", "when": "2026-03-02T10:00"}
    assert post(f"{CASE}/add/clock", data={**said, "when": "noon"}).status_code == 422
    assert post(f"{CASE}/add/clock", data=said).status_code == 303
    assert "when did you stop" not in client.get(CASE).text
    for wrong in ({"person": "Ann"}, {"does": "start", "job": "x"}, {"does": "start"}):
        assert post(f"{CASE}/add/clock", data=wrong).status_code == 422
    assert client.get(f"{CASE}/add/clock").status_code == 200


def by_the_form(client):
    return client.post("/cases/unit8/add/retract", data={"entry": "c2", "why": "wrong truck"})


def by_a_line(client):
    line = {"line": "take that back, wrong truck"}
    sent = fields_of(client.get("/cases/unit8/say", params=line).text, "unit8")
    assert (sent["c1.kind"], sent["c1.entry"]) == ("retract", "c2")
    return client.post("/cases/unit8/say", data=sent | {"c1.take": "yes"})


@pytest.mark.parametrize("take_back", [by_the_form, by_a_line])
def test_a_start_that_is_taken_back_is_taken_back_on_the_other_truck_too(client, shop, take_back):
    shop.new_case("unit8", [entry_line("truck", {"label": "8"})])
    for case, entry in (("unit7", "c1"), ("unit8", "c2")):
        begin = {"does": "start", "person": "Ann", "job": "diagnosis", "entry_id": entry}
        assert client.post(f"/cases/{case}/add/clock", data=begin).status_code == 303
    assert clock_of(shop.case("unit7")).spans[0].stop is not None, "a start there ends what runs"
    assert take_back(client).status_code == 303
    (span,) = clock_of(shop.case("unit7")).spans
    assert (span.entry, span.stop) == ("c1", None), "it runs on as if nothing had begun elsewhere"
    assert clock_of(shop.case("unit8")).spans == ()


def test_a_line_takes_back_what_was_entered_here_not_what_came_from_another_truck(client, shop):
    shop.new_case("unit8", [entry_line("truck", {"label": "8"})])
    for case, entry in (("unit7", "c1"), ("unit8", "c2")):
        begin = {"does": "start", "person": "Ann", "job": "diagnosis", "entry_id": entry}
        assert client.post(f"/cases/{case}/add/clock", data=begin).status_code == 303
    assert shop.case("unit7").entries[-1].data.elsewhere == "unit8"
    sent = fields_of(client.get(f"{CASE}/say", params={"line": "take that back"}).text)
    assert sent["c1.entry"] == "c1"


@pytest.mark.browser
def test_no_link_under_start_is_covered_by_the_line_field(browser, shop):
    with served(shop) as address:
        page = browser.new_context(viewport={"width": 1280, "height": 844}).new_page()
        page.goto(address.rstrip("/") + CASE)
        covered = """() => [...document.querySelectorAll('#clock a, #clock button')].filter(e => {
            e.focus(); const r = e.getBoundingClientRect();
            return !e.contains(document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2));
        }).map(e => e.textContent)"""
        page.wait_for_selector("#clock")
        assert page.evaluate("document.querySelectorAll('#clock a').length") >= 1
        assert page.evaluate(covered) == []


@pytest.mark.browser
def test_the_buttons_by_thumb_also_without_the_link(browser, shop):
    shop.append("unit7", [entry_line("clock", {"does": "start", "person": "Bo", "job": "diagnosis"},
                                     at="2026-03-02T08:00:00Z", entry_id="old")])  # fmt: skip
    with served(shop) as address:
        context = browser.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
        )
        page = context.new_page()
        page.goto(address.rstrip("/") + CASE)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert page.evaluate(SMALL) == []
        page.fill("#f-clockwho", "Ann")
        context.set_offline(True)
        page.tap("#clock button:has-text('Start')")
        page.wait_for_selector("text=kept on this device")
        context.set_offline(False)
        page.wait_for_selector("#queue", state="hidden")
        page.goto(address.rstrip("/") + CASE)
        assert "Ann on" in page.inner_text("#clock")
        assert violations(page) == []
        if KEEP_SCREENS:
            SCREENS.mkdir(parents=True, exist_ok=True)
            for width in (390, 820, 1280):
                page.set_viewport_size({"width": width, "height": 844})
                page.screenshot(path=SCREENS / f"clock-{width}.png", full_page=True)
        page.tap("#clock button:has-text('Stop')")
        page.wait_for_selector("#clock .press:not(.go)", state="detached")
    assert [d.does for _, d in shop.case("unit7").of(ClockData)][1:] == ["start", "stop"]


def typing(browser, address, words):
    """The page of the case, with these words typed as the name, and the field still in use."""
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    page.goto(address.rstrip("/") + CASE)
    page.fill("#f-clockwho", words)
    return page


def come_anew(page, shop):
    """Let another device enter something, and wait until the page has come anew by itself."""
    before = page.get_attribute("#live", "data-version")
    shop.append("unit7", [entry_line("note", {"words": "from the yard"}, entry_id="yard")])
    page.wait_for_function(
        "was => document.getElementById('live').dataset.version !== was", arg=before
    )


@pytest.mark.browser
def test_what_is_typed_stays_when_another_device_enters_something(browser, shop):
    """The page comes anew by itself: half an entry is not lost by it, and can still be sent."""
    with served(shop) as address:
        page = typing(browser, address, "Ann")
        page.evaluate("document.activeElement.blur()")
        come_anew(page, shop)
        assert page.input_value("#f-clockwho") == "Ann"
        page.click("#clock button:has-text('Start')")
        page.wait_for_selector("#clock >> text=Ann on")
    assert [d.person for _, d in shop.case("unit7").of(ClockData)] == ["Ann"]


@pytest.mark.browser
def test_a_field_in_use_keeps_its_place_when_the_page_comes_anew(browser, shop):
    with served(shop) as address:
        page = typing(browser, address, "An")
        come_anew(page, shop)
        page.keyboard.type("n")
        assert page.input_value("#f-clockwho") == "Ann"
