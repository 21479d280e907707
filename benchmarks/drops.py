"""The link is cut at twelve moments: is every entry and photo in the casebook, once?

    python benchmarks/drops.py [--out benchmarks/drops.md]

A real browser at 390 px, the shop's machine behind a link that is cut (TCP reset) at the moment,
seven entries a moment: a reading, a look and a test, work, a note, a line, a photo, the customer's
word. After the moment the link is mended, the queue empties by itself, and the casebook is
counted: each entry by words or bytes that only it has. The entries go through the page's own forms.
"""

from __future__ import annotations

import argparse
import logging
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

from playwright.sync_api import Page, sync_playwright  # noqa: E402

from web.bench_page import CHROMIUM, FLAGS, served  # noqa: E402
from web.dropping_link import ANSWERING, SENDING, STORED, Link  # noqa: E402
from witnessmark.model.entries.entry_data import PhotoData  # noqa: E402
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop  # noqa: E402

KINDS = ("reading", "looked", "work", "note", "line", "photo", "outcome")
MOMENTS = (
    "before the page is opened",
    "while it is typed, and the page is loaded again",
    "as it is saved",
    "within the sending",
    "stored, before the answer",
    "within the answer",
    "as the next page opens",
    "waiting: the page closed",
    "waiting: the browser killed",
    "waiting: the shop's machine off and on",
    "waiting: two tabs send at once",
    "waiting: cut again within the sending",
)


class Bench:
    """The shop, the link and a browser with a profile of its own."""

    def __init__(self, folder: Path, play: Any) -> None:
        self.folder, self.play = folder, play
        self.shop: Shop = open_shop(folder / "shop", create=True)
        self.stack = ExitStack()
        self.port = urlsplit(self.stack.enter_context(served(self.shop))).port or 0
        self.link = Link(self.port)
        self.open_browser()

    def open_browser(self) -> None:
        """Open the browser with its profile."""
        self.context = self.play.chromium.launch_persistent_context(
            str(self.folder / "profile"), executable_path=str(CHROMIUM), args=FLAGS,
            viewport={"width": 390, "height": 844},
        )  # fmt: skip
        self.context.set_default_timeout(300_000)
        self.page: Page = self.context.pages[0]

    def kill_browser(self) -> None:
        """End the browser as a flat battery does: its own processes alone, by their profile."""
        mine = str(self.folder / "profile").encode()
        for entry in Path("/proc").iterdir():
            try:
                if entry.name.isdigit() and mine in (entry / "cmdline").read_bytes():
                    os.kill(int(entry.name), signal.SIGKILL)
            except OSError:
                continue
        self.open_browser()

    def restart_shop(self) -> None:
        """Stop the shop's machine and start it anew at the same port."""
        self.stack.close()
        self.stack.enter_context(served(self.shop, self.port))

    def close(self) -> None:
        """Stop everything."""
        self.context.close()
        self.link.close()
        self.stack.close()
        self.shop.close()


def main() -> None:
    """Run every moment and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path)
    options = parser.parse_args()
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    rows = []
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        bench = Bench(Path(folder), play)
        for place, moment in enumerate(MOMENTS):
            rows.append((moment, *_moment(bench, place)))
            print(rows[-1], flush=True)
        version = bench.context.browser.version if bench.context.browser else CHROMIUM.name
        bench.close()
    text = _table(rows, version)
    print(text)
    if options.out:
        options.out.write_text(text, encoding="utf-8")


def _moment(bench: Bench, place: int) -> tuple[int, int, int, int, int]:
    case = f"drop{place + 1}"
    bench.shop.new_case(case, _begun(place))
    before = len(bench.shop.case(case).entries)
    bench.link.mend()
    base = f"{bench.link.address}/cases/{case}"
    bench.page.goto(base)
    if place < 2:  # only these open a page while the link is down
        bench.page.wait_for_selector(f"body[data-holds='/cases/{case}']", state="attached")
    for kind in KINDS:
        _one(bench, place, base, kind)
        bench.link.mend()
        bench.page.goto(base)
        end = time.monotonic() + 60
        while bench.page.evaluate("async () => (await window.WmKept.all()).length"):
            if time.monotonic() > end:
                break
            bench.page.evaluate("() => window.WmKept.flush()")
            time.sleep(0.2)
    return _counted(bench.shop, case, before)


def _begun(place: int) -> list[str]:
    complaint = {"words": "oil lamp flickers (invented)", "families": ["oil_press"]}
    return [entry_line("truck", {"label": f"{place + 1}"}), entry_line("complaint", complaint)]


def _one(bench: Bench, place: int, base: str, kind: str) -> None:
    """Enter one thing; the link is cut at the moment of that place."""
    page, link = bench.page, bench.link
    if place == 0:
        link.drop()
        _fill(page, base, kind)()
        _waits(page)
    elif place == 1:
        _fill(page, base, kind)
        link.drop()
        page.reload()
        # A file cannot be kept before it is saved: it is chosen anew. Typed words are back.
        _fill(page, "" if kind not in {"photo", "line"} else base, kind, typed=kind == "photo")()
        _waits(page)
    elif place in {3, 4, 5}:
        save = _fill(page, base, kind, read=True)
        link.cut_at = (SENDING, STORED, ANSWERING)[place - 3]
        save()
        _waits(page)
    elif place == 6:
        save = _fill(page, base, kind, read=True)
        with page.expect_response(lambda r: r.request.method == "POST"):
            save()
        link.drop()
        page.wait_for_timeout(300)
    else:
        save = _fill(page, base, kind)
        link.drop()
        save()
        _waits(page)
        _later(bench, place, base)


def _later(bench: Bench, place: int, base: str) -> None:
    if place == 7:
        other = bench.context.new_page()
        bench.page.close()
        bench.page = other
    elif place == 8:
        bench.kill_browser()
    elif place == 9:
        bench.restart_shop()
    elif place == 10:
        second = bench.context.new_page()
        second.goto(base)
        bench.link.mend()
        for page in (bench.page, second):
            page.evaluate("() => { window.WmKept.flush(); }")
        bench.page.wait_for_timeout(300)
        second.close()
    elif place == 11:
        bench.link.mend()
        bench.link.cut_at = STORED
        bench.page.evaluate("() => window.WmKept.flush()")


def _waits(page: Page) -> None:
    page.wait_for_selector("#queue:not([hidden]) li", state="attached")


def _fill(
    page: Page, base: str, kind: str, *, read: bool = False, typed: bool = True
) -> Callable[[], None]:
    """Open the form of a kind, fill it in and return what saves it; without *base* as it stands."""
    forms = {"reading": "reading", "looked": "looked", "work": "add/work", "note": "add/note"}
    forms |= {"line": "", "photo": "photo", "outcome": "add/outcome"}
    if base:
        page.goto(f"{base}/{forms[kind]}".rstrip("/"))
    if base and typed:
        if kind == "reading":
            page.fill("#dial", "31")
        elif kind == "looked":
            page.locator("input[name^='test.'][value$='/negative']").first.evaluate(
                "e => { e.checked = true; e.dispatchEvent(new Event('input', { bubbles: true })); }"
            )
        elif kind == "work":
            page.fill("[name=part_0]", "clamp of this moment")
        elif kind == "note":
            page.fill("[name=words]", "the note of this moment")
        elif kind == "outcome":
            page.locator("input[name=gone][value=partly]").evaluate(
                "e => { e.checked = true; e.dispatchEvent(new Event('input', { bubbles: true })); }"
            )
            page.fill("[name=words]", "the word of this moment")
        elif kind == "photo":
            page.set_input_files("#f-photo", _picture(base))
    if kind == "line":
        page.fill("#say-line", "the line of this moment, nobody knows it")
        if read:
            page.press("#say-line", "Enter")
            page.wait_for_url("**/say?*")
        else:
            return lambda: page.press("#say-line", "Enter")
    return lambda: page.click("main form[data-draft] .stay button:last-of-type")


def _picture(base: str) -> dict[str, Any]:
    content = b"\x89PNG\r\n\x1a\n" + base.encode() * 3000
    return {"name": "IMG.png", "mimeType": "image/png", "buffer": content}


def _counted(shop: Shop, case_id: str, before: int) -> tuple[int, int, int, int, int]:
    """Return (entries made, entries stored once, photos whole, lost, stored twice)."""
    case = shop.case(case_id)
    fresh = case.entries[before:]
    counts = {
        "reading": sum(e.kind == "reading" for e in fresh),
        "looked": sum(e.kind == "test" for e in fresh),
        "work": sum("clamp of this moment" in e.line for e in fresh),
        "note": sum("the note of this moment" in e.line for e in fresh),
        "line": sum("the line of this moment" in e.line for e in fresh),
        "outcome": sum("the word of this moment" in e.line for e in fresh),
        "photo": sum(e.kind == "photo" for e in fresh),
    }
    whole = sum(
        shop.recording_path(case_id, e).read_bytes().startswith(b"\x89PNG")
        and len(shop.recording_path(case_id, e).read_bytes()) > 80_000
        for e, _ in case.of(PhotoData)
    )
    once = sum(n == 1 for n in counts.values())
    lost = sum(n == 0 for n in counts.values())
    return len(counts), once, whole, lost, sum(n > 1 for n in counts.values())


def _table(rows: list[tuple[Any, ...]], version: str) -> str:
    lines = [
        "# The link is cut at twelve moments",
        "",
        f"`benchmarks/drops.py`, Chromium {version}, 390 px, one run. Seven entries a "
        "moment: reading, walk round, work, note, line, photo, the customer's word.",
        "",
        "| cut | entered | stored once | photos whole | lost | stored twice |",
        "|---|---|---|---|---|---|",
        *(f"| {' | '.join(map(str, row))} |" for row in rows),
    ]
    sums = [sum(row[i] for row in rows) for i in range(1, 6)]
    lines.append(f"| **all** | {' | '.join(map(str, sums))} |")
    lines += [
        "",
        "A photo that is chosen but not saved is no entry yet: when the page is loaded again it "
        "is chosen anew. Typed words come back. A line that waits is a note in the case, in words.",
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
