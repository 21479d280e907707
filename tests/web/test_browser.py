"""The page in a real browser: every page at three widths, by touch and by keyboard."""

from __future__ import annotations

import re
import time

import httpx
import pytest

from patience import PATIENCE_S
from web.accessible import violations
from web.bench_page import KEEP_SCREENS, SCREENS, fuel_lines, served
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.inspecting.inspect_case import begin
from workflow.inspecting_lines import HEAD

pytestmark = pytest.mark.browser

PAGES = {
    "ledger": "/",
    "new": "/new",
    "case": "/cases/unit7",
    "case_after_work": "/cases/unit8",
    "reading": "/cases/unit7/reading",
    "looked": "/cases/unit7/looked",
    "shift": "/cases/unit7/shift",
    "trucks": "/trucks",
    "due": "/due",
    "after": "/after",
    "add_visit": "/cases/unit7/add/visit",
    "add_close": "/cases/unit7/add/close",
    "photo": "/cases/unit7/photo",
    "recording": "/cases/unit7/recording",
    "trace": "/cases/unit7/recordings/rec1?other=rec2",
    "road_test": "/cases/unit7/road-test",
    "drive": "/cases/unit7/drive",
    "torque_card": "/cases/unit8/torque-card",
    "hand_over": "/cases/unit7/hand-over",
    "add_complaint": "/cases/unit7/add/complaint",
    "add_code": "/cases/unit7/add/code",
    "add_truck": "/cases/unit7/add/truck",
    "add_work": "/cases/unit7/add/work?cause=return_regulator",
    "add_outcome": "/cases/unit8/add/outcome",
    "add_quote": "/cases/unit7/add/quote?cause=return_regulator",
    "add_approval": "/cases/unit7/add/approval",
    "add_note": "/cases/unit7/add/note",
    "say": "/cases/unit7/say",
    "said": "/cases/unit7/say?line=gallery+61+psi+idle,+oil+pressure+30,+block+test+stayed+blue,"
    "+spn+94+fmi+18+active,+filters+new+last+week,+ordered+a+hose,+barn",
    "override": "/cases/unit7/override",
    "phone": "/phone",
    "phone_of_case": "/cases/unit7/phone",
    "about": "/cases/unit7/about/e2",
    "suspects": "/cases/unit7/suspects/e2",
    "add_retract": "/cases/unit7/add/retract",
    "from_entry": "/cases/unit7/from/entry/r0",
    "from_finding": "/cases/unit7/from/finding/0",
    "from_cause": "/cases/unit7/from/cause/fuel_low/pump_worn",
    "from_step": "/cases/unit7/from/step/0",
    "knowledge": "/knowledge",
    "family": "/knowledge/fuel_low",
    "learnt": "/learnt",
    "truck": "/trucks/unit%207",
    "settings": "/settings",
    "clock": "/clock",
    "add_clock": "/cases/unit7/add/clock",
    "add_labour": "/cases/unit7/add/labour",
    "add_decline": "/cases/unit7/add/decline",
    "add_inspect": "/cases/unit7/add/inspect",
    "parts": "/cases/unit7/parts",
    "job_cards": "/cases/unit7/job-cards",
    "inspection_to_begin": "/cases/unit7/inspection/begin",
    "inspection": "/cases/unit9/inspection",
    "inspection_read": "/cases/unit9/inspection/read/tread",
    "inspection_repaired": "/cases/unit9/inspection/repaired/lamps",
    "inspection_sign": "/cases/unit9/inspection/sign",
    "api": "/api",
    "login": "/login",
    "certificate": "/certificate",
    "not_here": "/cases/nobody",
}
#: What is no page of the bench: files, streams and papers for the customer, which run no script;
#: and one's own page, which loopback does not have.
NO_PAGES = re.compile(
    r"/(c/|static/|files/|uploads/|certificate/|health$|sw\.js$|me$|ledger-version$|events$)"
    r"|.*/(events|version|window|report|paper|tests|[a-z-]+\.(jsonl|pdf|csv|svg|zip))$|/api/"
)
WIDTHS = (390, 820, 1280)
#: Everything that is tapped is at least this large [px].
TARGET = 44

SMALL = """() => [...document.querySelectorAll(
  'a, button, input:not([type=hidden]), select, textarea, summary')].filter(e => {
    if (e.closest('[hidden]') || e.classList.contains('skip')) return false;
    const r = e.getBoundingClientRect();
    if (r.width === 0 && r.height === 0) return false;
    const box = e.type === 'radio' || e.type === 'checkbox' ? e.closest('label') : e;
    const b = box.getBoundingClientRect();
    return b.width < 43.5 || b.height < 43.5;
}).map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A served shop with a case, one after work, and two recordings."""
    shop = open_shop(tmp_path_factory.mktemp("served") / "shop", create=True)
    shop.new_case("unit7", fuel_lines())
    shop.new_case("unit8", fuel_lines("unit 8"))
    work = {
        "cause": "return_regulator",
        "did": "renewed",
        "minutes": 20,
        "parts": [{"name": "regulator", "usd": 58}, {"name": "O-ring", "usd": 4}],
        "torques": [{"location": "plug", "value": "45 N·m"}],
    }
    after = {
        "quantity": "fuel_gallery_pressure",
        "value": "75 psi",
        "point": {"rpm": 700, "load": "none", "warm": True},
        "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
    }
    quote = {"lines": [{"what": "regulator", "minutes": 20, "usd": 62}], "total_usd": 112}
    lines = [
        entry_line("work", work, entry_id="w1"),
        entry_line("reading", after, entry_id="s1"),
        entry_line("quote", quote, entry_id="q1"),
    ]
    shop.append("unit8", lines)
    for i, wave in enumerate(("700", "720")):
        path = shop.folder / f"idle {i}.csv"
        rows = [f"{t / 10},{wave if t % 9 else 650},{90 + t % 5}" for t in range(2000)]
        head = "time (s),engine_speed (rpm),coolant_temperature (degC)"
        path.write_text("\n".join([head, *rows]) + "\n")
        data = {"path": path.name, "sha256": shop.store_file(path, path.name), "holds": "table"}
        shop.append("unit7", [entry_line("recording", data, entry_id=f"rec{i + 1}")])
    shop.new_case("unit9", [entry_line("truck", {"label": "unit 9", "vin": "INVENTED9"})])
    begin(shop, "unit9", {**HEAD, "axles": 2, "dual_axles": []})
    with served(shop) as where:
        # The odds are worked out before anything is looked at: the pages are then complete.
        for case in ("unit7", "unit8"):
            end = time.monotonic() + PATIENCE_S
            while httpx.get(f"{where}/cases/{case}/version", timeout=PATIENCE_S).json()["working"]:
                assert time.monotonic() < end
                time.sleep(0.3)
        yield where
    shop.close()


@pytest.fixture
def watched(browser):
    """Open a page at a width; whatever the browser complains of fails the test."""
    opened = []
    said = []

    def open_page(width, *, dark=False, **options):
        context = browser.new_context(
            viewport={"width": width, "height": 844 if width < 800 else 1000},
            has_touch=width < 1000,
            is_mobile=width < 800,
            color_scheme="dark" if dark else "light",
            **options,
        )
        page = context.new_page()
        page.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: said.append(str(e)))
        opened.append(context)
        return page

    yield open_page
    for context in opened:
        context.close()
    unexpected = [text for text in said if "404" not in text and "ERR_" not in text]
    assert not unexpected, unexpected


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_fits_is_reachable_and_accessible(address, watched, width):
    """axe-core finds nothing, nothing scrolls sideways, every target can be hit with a thumb."""
    page = watched(width, dark=width == 820)
    if KEEP_SCREENS:
        SCREENS.mkdir(parents=True, exist_ok=True)
    faults = []
    for name, where in PAGES.items():
        page.goto(address + where)
        if name == "trace":
            page.wait_for_selector("#chart[data-ready]")
        for summary in page.query_selector_all("details:not([open]) > summary"):
            summary.evaluate("e => { e.parentElement.open = true; }")
        if KEEP_SCREENS:
            page.screenshot(path=SCREENS / f"{name}-{width}.png", full_page=True)
        # Not against innerWidth: a phone zooms out until what is too wide fits.
        wide = page.evaluate("document.documentElement.scrollWidth") - width
        if wide > 0:
            faults.append(f"{name}: {wide} px too wide")
        faults += [f"{name}: small target {text}" for text in page.evaluate(SMALL)]
        for violation in violations(page):
            where_at = [n["html"][:120] for n in violation["nodes"][:3]]
            faults.append(f"{name}: {violation['id']}: {where_at}")
    assert not faults, "\n".join(faults)


def test_every_page_of_the_bench_is_in_the_list(shop):
    """A new page is looked at, too."""
    walked = [where.split("?")[0] for where in PAGES.values()]
    for path in _paths(create_app(shop).routes):
        form = re.sub(r"\{[^}]+:path\}", ".+", path)
        form = re.sub(r"\{[^}]+\}", "[^/]+", form)
        assert NO_PAGES.match(path) or any(re.fullmatch(form, w) for w in walked), path


def _paths(routes):
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from _paths(inner.routes)
        elif "GET" in (getattr(route, "methods", None) or ()):
            yield route.path


def test_the_looks_for_faults_find_faults(address, watched):
    """The check above can fail: a page with known faults is found out."""
    page = watched(390)
    page.goto(address + "/login")
    page.evaluate("""() => {
      const main = document.querySelector('main');
      main.append(document.createElement('img'));
      const small = document.createElement('button'); small.textContent = 'x';
      small.style.cssText = 'min-height:0;min-width:0;height:20px;width:20px;padding:0';
      const wide = document.createElement('div');
      wide.style.width = '900px'; wide.textContent = '-';
      main.append(small, wide);
    }""")
    assert page.evaluate(SMALL)
    assert page.evaluate("document.documentElement.scrollWidth") > 390
    assert {v["id"] for v in violations(page)} >= {"image-alt"}
