"""The whole job in a real browser: from the complaint to the report, by touch and by keyboard.

Low and healthy fuel pressures here: common practice, no source.
"""

from __future__ import annotations

import re
import threading
import time

import can
import pytest

from web.accessible import violations
from web.bench_page import KEEP_SCREENS, SCREENS, served
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.entry_data import (
    OutcomeData,
    ReadingData,
    RecordingData,
    WorkData,
)
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.practice.practice_shop import CASE as PRACTICE
from witnessmark.workflow.practice.practice_shop import new_practice
from witnessmark.workflow.practice.spent import review

pytestmark = pytest.mark.browser

#: Keystroke-level model (Card, Moran and Newell, Comm. ACM 23, 1980): think 1.35 s, point 1.1 s,
#: press 0.2 s; a character on a phone's keyboard 0.5 s (from memory, no source).
SECONDS_A_TAP = 1.35 + 1.1 + 0.2
SECONDS_A_CHARACTER = 0.5

#: A case's own page, no page below it.
CASE = re.compile(r"/cases/[^/?]+$")
BEFORE = [(700, "50"), (1000, "65"), (1500, "76"), (1800, "82")]
AFTER = [(700, "76"), (1000, "83"), (1500, "95"), (1800, "103")]


@pytest.fixture
def bench(tmp_path):
    """A served shop without any case."""
    shop = open_shop(tmp_path / "shop", create=True)
    with served(shop) as address:
        yield shop, address
    shop.close()


class Thumb:
    """Taps and types, and counts both."""

    def __init__(self, page):
        self.page = page
        self.taps = 0
        self.characters = 0
        self.started = time.monotonic()
        self.shots = 0

    def tap(self, what):
        target = self.page.locator(what).first if isinstance(what, str) else what
        target.scroll_into_view_if_needed()
        target.tap()
        self.taps += 1

    def type(self, where, text):
        self.tap(where)
        self.page.keyboard.type(text)
        self.characters += len(text)

    def keys(self, digits):
        for digit in digits:
            self.tap(self.page.locator("#keys button", has_text=digit))

    def shot(self, name):
        self.shots += 1
        SCREENS.mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=SCREENS / f"journey-{self.shots:02d}-{name}.png")

    def minutes(self):
        seconds = self.taps * SECONDS_A_TAP + self.characters * SECONDS_A_CHARACTER
        return seconds / 60


def phone(browser):
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    return context.new_page()


@pytest.mark.slow
def test_from_complaint_to_report_by_touch_on_a_phone(browser, bench, capsys):
    shop, address = bench
    page = phone(browser)
    thumb = Thumb(page)
    page.goto(address)
    thumb.tap("text=New complaint")
    thumb.type("#f-words", "low fuel pressure, lazy up grades")
    thumb.type("#f-label", "unit 7")
    thumb.tap("label:has-text('Low fuel supply pressure')")
    thumb.shot("complaint")
    thumb.tap("button:has-text('Open the case')")
    page.wait_for_url("**/cases/*")
    case_id = page.url.rsplit("/", 1)[-1]

    thumb.tap(".quick >> text=More")
    thumb.tap("#add >> text=Another complaint")
    thumb.type("#f-words", "shakes at 58")
    thumb.tap("label:has-text('Vibration at road speed')")
    thumb.tap("button:has-text('Save')")
    page.wait_for_url(CASE)
    thumb.tap(".quick >> text=Reading")
    for i, (rpm, digits) in enumerate(BEFORE):
        if i == 0:  # told, not assumed
            thumb.tap(f"label:has(input[name=rpm][value='{rpm}'])")
        page.wait_for_selector(f"input[name=rpm][value='{rpm}']:checked", state="attached")
        thumb.keys(digits)
        if i == 0:
            thumb.shot("reading")
        last = i == len(BEFORE) - 1
        thumb.tap("button:text-is('Save')" if last else "button:has-text('Save, next')")
        page.wait_for_url("**/cases/*/reading?*saved=*" if not last else f"**/cases/{case_id}*")
    page.wait_for_selector(".last >> text=82 psi")
    thumb.tap(".quick >> text=Walk round")
    thumb.tap("details.check:has-text('filters renewed') > summary")
    thumb.tap("details.check:has-text('filters renewed') >> label:has-text('there')")
    thumb.tap("button:has-text('Save what I looked at')")
    page.wait_for_selector(".last >> text=there")
    page.wait_for_selector("#live[data-working=no]")
    thumb.shot("case")
    assert page.locator(".donext .step").count() == 1, "one big step"
    assert page.locator("#else .other").count() == 2, "and two alternatives, folded"
    assert page.evaluate("document.documentElement.scrollHeight") < 4 * 844, "four screens at most"

    thumb.tap("[data-fold=work] > summary")
    thumb.tap("text=Write down work")
    page.locator("#f-cause").select_option("return_regulator")
    thumb.taps += 2  # opening the list and choosing
    thumb.shot("work")
    thumb.tap("button:has-text('Save the work')")
    page.wait_for_url(f"**/cases/{case_id}*")
    thumb.tap("[data-fold=proof] > summary")
    thumb.tap("#proof a:text-is('Measure again')")
    for i, (rpm, digits) in enumerate(AFTER):
        page.wait_for_selector(f"input[name=rpm][value='{rpm}']:checked", state="attached")
        thumb.keys(digits)
        last = i == len(AFTER) - 1
        thumb.tap("button:text-is('Save')" if last else "button:has-text('Save, next')")
        page.wait_for_url("**/cases/*/reading?*saved=*" if not last else f"**/cases/{case_id}*")
    page.wait_for_selector("#live[data-working=no]")
    thumb.tap("[data-fold=proof] > summary")
    page.wait_for_selector("#proof details.numbers")
    thumb.tap("text=The customer’s word")
    thumb.tap("label:has-text('gone')")
    thumb.tap("button:text-is('Save')")
    page.wait_for_url(f"**/cases/{case_id}*")
    page.wait_for_selector("#live[data-working=no]")
    thumb.tap("[data-fold=paper] > summary")
    thumb.tap("text=Customer’s report")
    page.wait_for_url("**/report")
    body = page.locator("body").inner_text()
    thumb.shot("report")
    assert "low fuel pressure, lazy up grades" in body

    machine = (time.monotonic() - thumb.started) / 60
    with capsys.disabled():
        print(
            f"\nTwo complaints, one to its report, on a 390 px page: {thumb.taps} taps, "
            f"{thumb.characters} typed characters, {thumb.minutes():.1f} minutes for a person "
            f"(keystroke-level model); the browser itself took {machine:.1f} minutes."
        )
    assert thumb.taps <= 60
    assert thumb.characters <= 250
    assert thumb.minutes() < 5
    case = shop.case(case_id)
    assert [d.value for _, d in case.of(ReadingData)] == [f"{d} psi" for _, d in BEFORE + AFTER]
    assert [d.point.rpm for _, d in case.of(ReadingData)] == [r for r, _ in BEFORE + AFTER]
    assert sum(1 for _ in case.of(WorkData)) == 1
    assert [d.gone for _, d in case.of(OutcomeData)] == [True]


class Keys:
    """A person without a mouse: Tab until the thing has the focus, then Enter or Space."""

    def __init__(self, page):
        self.page = page

    def reach(self, selector):
        for _ in range(250):
            if self.page.evaluate("s => document.activeElement?.matches(s)", selector):
                seen = self.page.evaluate(
                    "() => getComputedStyle(document.activeElement).outlineStyle !== 'none' || "
                    "document.activeElement.nextElementSibling !== null"
                )
                assert seen, f"the focus cannot be seen on {selector}"
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{selector} cannot be reached by keyboard on {self.page.url}")

    def press(self, selector, key="Enter"):
        self.reach(selector)
        self.page.keyboard.press(key)

    def write(self, selector, text):
        self.reach(selector)
        self.page.keyboard.type(text)


@pytest.mark.slow
def test_the_same_by_keyboard_alone(browser, bench):
    shop, address = bench
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    keys = Keys(page)
    page.goto(address)
    keys.press("a[href='/new']")
    page.wait_for_url("**/new")
    keys.write("#f-words", "low fuel pressure")
    keys.write("#f-label", "unit 7")
    keys.press("input[value=fuel_low]", "Space")
    keys.press("button.go")
    page.wait_for_url("**/cases/*")
    case_id = page.url.rsplit("/", 1)[-1]
    for i, (_, digits) in enumerate(BEFORE[:2]):
        if i == 0:
            keys.press(".quick a[href$='/reading']")
        page.wait_for_url("**/reading*")
        keys.write("#dial", digits)
        keys.press("button[value=next]")
        page.wait_for_selector(f"[role=status] >> text={digits} psi")
        page.wait_for_load_state()
    page.goto(f"{address}/cases/{case_id}")
    keys.press("[data-fold=work] > summary")
    keys.press("#work a[href$='/add/work']")
    page.wait_for_url("**/add/work*")
    keys.reach("#f-cause")
    page.keyboard.type("Return")
    keys.press("button.go")
    page.wait_for_url(f"**/cases/{case_id}*")
    keys.press("[data-fold=proof] > summary")
    page.wait_for_selector("text=Measure again")
    keys.press("#proof a[href$='/reading']")
    page.wait_for_url("**/reading*")
    keys.write("#dial", "76")
    keys.press("button[value=done]")
    page.wait_for_url(f"**/cases/{case_id}*")
    page.wait_for_selector("#live[data-working=no]")
    keys.press("[data-fold=proof] > summary")
    page.wait_for_selector("#proof details.numbers")
    keys.press("[data-fold=paper] > summary")
    keys.press("#paper a[href$='/report']")
    page.wait_for_url("**/report")
    case = shop.case(case_id)
    assert [d.value for _, d in case.of(ReadingData)] == ["50 psi", "65 psi", "76 psi"]
    assert [d.cause for _, d in case.of(WorkData)] == ["return_regulator"]


def test_skip_link_leads_to_the_content(browser, bench):
    _, address = bench
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.goto(address)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


class Words(Thumb):
    """A thumb that says lines: one field, then the cards that the line means."""

    def say(self, line, takes=()):
        """Type a line, read it, tick what is not ticked, and save; waits for the case again."""
        self.type("#say-line", line)
        self.tap(".say button")
        self.page.wait_for_selector("button:has-text('Save what is chosen')")
        for card in takes:
            self.tap(f"#card-{card} label:has-text('Take it')")
        self.tap("button:has-text('Save what is chosen')")
        self.page.wait_for_url(CASE)
        self.page.wait_for_selector("#live[data-working=no]")


@pytest.mark.slow
def test_two_complaints_to_the_first_outcome_with_the_line_field(browser, bench, capsys):
    """Checked in, measured, one step answered, repaired, measured again, the complaint gone."""
    shop, address = bench
    page = phone(browser)
    thumb = Words(page)
    page.goto(address)
    thumb.tap("text=New complaint")
    thumb.type("#f-words", "low fuel pressure")
    thumb.type("#f-label", "unit 7")
    thumb.tap("label:has-text('Low fuel supply pressure')")
    thumb.tap("button:has-text('Open the case')")
    page.wait_for_url(CASE)
    case_id = page.url.rsplit("/", 1)[-1]
    thumb.tap(".quick >> text=More")
    thumb.tap("#add >> text=Another complaint")
    thumb.type("#f-words", "shakes at 58")
    thumb.tap("label:has-text('Vibration at road speed')")
    thumb.tap("button:has-text('Save')")
    page.wait_for_url(CASE)
    thumb.say("gallery 50 psi idle, 65 at 1000, 76 at 1500, filters new last week", takes=[4])
    thumb.tap(".fork button:not(.unsure) >> nth=-1")  # nothing of the kind was found
    page.wait_for_selector(".last >> text=Test:")
    thumb.say("renewed return regulator, 20 min", takes=[1])
    thumb.say("gallery 76 psi idle, 83 at 1000, 95 at 1500")
    thumb.say("problem gone", takes=[1])
    page.goto(f"{address}/cases/{case_id}")
    assert page.locator(".tabs .gone").count() == 1, "one of the two is gone"
    with capsys.disabled():
        print(
            f"\nTwo complaints to the first outcome on a 390 px page, with the line field: "
            f"{thumb.taps} taps, {thumb.characters} typed characters."
        )
    assert thumb.taps <= 30
    assert thumb.characters <= 250
    case = shop.case(case_id)
    psi = [d.value for _, d in case.of(ReadingData)]
    assert psi == ["50 psi", "65 psi", "76 psi", "76 psi", "83 psi", "95 psi"]
    assert [d.cause for _, d in case.of(WorkData)] == ["return_regulator"]
    assert [d.gone for _, d in case.of(OutcomeData)] == [True]


def test_a_drive_is_watched_on_a_tablet_while_it_is_recorded(browser, bench):
    """A bus in this process; what the browser's own voice is given to say is noted down."""
    shop, address = bench
    words = {"words": "oil lamp flickers (invented)", "families": ["oil_press"]}
    shop.new_case("cab", [entry_line("truck", {"label": "7"}), entry_line("complaint", words)])
    oil, over = ["FFFFFF30FFFFFFFF"], threading.Event()

    def talk():
        with can.Bus(interface="virtual", channel="cab") as speaker:
            while not over.wait(0.05):
                for identifier, data in (
                    (0x0CF00400, "FF7D7DE015FFFF7D"),
                    (0x18FEEE00, "82FFFFFFFFFFFFFF"),
                    (0x18FEEF00, oil[0]),
                ):
                    frame = bytes.fromhex(data)
                    speaker.send(can.Message(time.time(), identifier, True, data=frame))

    thread = threading.Thread(target=talk)
    thread.start()
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    page = context.new_page()
    page.add_init_script("""window.spoken = [];
      speechSynthesis.speak = (said) => window.spoken.push(said.text);""")
    try:
        page.goto(f"{address}/cases/cab")
        page.wait_for_selector("#live[data-working=no]")
        page.goto(f"{address}/cases/cab/drive")
        assert "For the passenger" in page.inner_text("main")
        page.fill("[name=bus]", "virtual:cab")
        page.click("text=Begin to record")
        page.wait_for_selector(".fig:has-text('engine oil pressure') >> text=27.9")
        page.click("#drive-speak")
        assert page.locator("#drive-stop").is_hidden()
        assert page.evaluate("() => window.spoken")[0].startswith(("Next: ", "Nothing more"))
        page.wait_for_selector("#drive-points .done >> text=Done: warm idle")
        oil[0] = "FFFFFF06FFFFFFFF"
        page.wait_for_selector("#drive-stop:not([hidden]) >> text=Engine oil pressure 3.48 psi")
        page.wait_for_function("() => window.spoken.some(s => s.startsWith('Pull over'))")
        if KEEP_SCREENS:
            page.screenshot(path=SCREENS / "drive-820.png")
        page.click("text=Stop and keep")
        page.wait_for_selector("text=The recording is in the case")
        assert [d.holds for _, d in shop.case("cab").of(RecordingData)] == ["bus"]
    finally:
        over.set()
        thread.join()
        context.close()


def test_an_apprentice_practises_on_a_phone(browser, tmp_path):
    """He foretells a result, sees the truck's, mends the right thing, reads what it took."""
    shop = new_practice(tmp_path / "truck", "lights_trailer", seed=12, at_the_end=review)
    hidden = shop.truck.families["lights_trailer"]
    with served(shop) as address:
        page = phone(browser)
        thumb = Thumb(page)
        page.goto(f"{address.rstrip('/')}/cases/{PRACTICE}")
        page.wait_for_selector("#live[data-working=no]")
        assert "hidden fault" in page.inner_text(".practice")
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert violations(page) == [], scheme
        step = page.get_attribute(".fork input[name=step]", "value")
        buttons = page.locator(".fork button[name=result]")
        said = buttons.first.get_attribute("value")
        thumb.tap(buttons.first)
        page.wait_for_selector(".last")
        [made] = [e for e in shop.case(PRACTICE).entries if e.kind == "test"]
        family = load_knowledge().families["lights_trailer"]
        assert (made.data.test, shop.predictions()[made.id]) == (step, said)
        assert made.data.result == shop.truck.result(family, family.test(step))
        page.wait_for_selector("#live[data-working=no]")
        page.goto(f"{address.rstrip('/')}/cases/{PRACTICE}/add/work")
        page.locator("#f-cause").select_option(hidden)
        thumb.tap("button:has-text('Save the work')")
        page.wait_for_selector(".practice >> text=It was")
        told = page.inner_text(".practice")
        assert "yours: 1 look or test, 1 repair" in told
        assert "the program's:" in told
        assert "You foretold" in told
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
    shop.close()
