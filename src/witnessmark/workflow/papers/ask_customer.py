"""The customer is asked for a yes from afar, and his answer is taken in.

The page is one file that needs no network. What was shown is stored whole, by its digest. A note
in the case says which page went out and until when it can be answered; taking that note back
revokes the page.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from witnessmark.errors import Conflict, Forbidden, InputRefused, NotFound
from witnessmark.model.answered import FOLLOWS
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import NoteData
from witnessmark.model.entries.soundness import turns_reading, unsound
from witnessmark.model.shop_head import ShopHead
from witnessmark.report.front.ask_page import ask_page
from witnessmark.workflow.case.locks import HeldLink
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import own_rates, shop_head, shop_name
from witnessmark.workflow.papers.front_page import tongue_of

__all__ = [
    "ASKED",
    "ASKED_NAME",
    "AskedPage",
    "asked_pages",
    "make_ask_page",
    "page_for_link",
    "take_answer",
]

#: What the note is about that says which page went out.
ASKED = "asked for a yes"
#: How the file of such a page is called, by its case.
ASKED_NAME = re.compile(r"asked-(.+)\.html")
LONGEST_DAYS = 90
_LARGEST = 64 << 10
_NOTE = re.compile(r"estimate (\S+), until (\d{4}-\d\d-\d\d), page ([0-9a-f]{16}), sha256 (\w{64})")


@dataclass(frozen=True, slots=True)
class AskedPage:
    """A page that went out.

    Attributes:
        note: entry id of the note that says so.
        quote: estimate entry id.
        until: last day on which it can be answered.
        page: by which the answer is known again.
        sha256: of the page as it was shown.
    """

    note: str
    quote: str
    until: str
    page: str
    sha256: str


def make_ask_page(
    shop: Shop, case_id: str, *, days: int = 14, by: str | None = None, language: str = "",
    action: str = "", at: str | None = None,
) -> tuple[str, AskedPage]:  # fmt: skip
    """Make the page for the last estimate of a case, store it whole, and note that it goes out.

    Args:
        shop: the shop.
        case_id: case id.
        days: how long it can be answered.
        by: who sends it.
        language: empty for that of the truck's owner.
        action: where it posts its answer; empty for a page that saves it as a file.
        at: when, for the entry; now when not given.

    Raises:
        InputRefused: no estimate, or not 1 to 90 days.
    """
    if not 1 <= days <= LONGEST_DAYS:
        raise InputRefused(f"A page is good for 1 to {LONGEST_DAYS} days.", where="days")
    case = shop.case(case_id)
    estimate = _last_estimate(case)
    start = datetime.fromisoformat(at).date() if at else datetime.now(UTC).date()
    until = (start + timedelta(days=days)).isoformat()
    seed = f"{case_id}/{estimate[0].line}/{until}/{sum(1 for _ in case.entries)}/{action}"
    page = hashlib.sha256(seed.encode()).hexdigest()[:16]
    html = _page(shop, case, estimate, page, until, language, action)
    sha256 = shop.store_file(io.BytesIO(html.encode()), f"asked-{case_id}.html")
    words = _sent("sent", estimate[0].id, until, page, sha256)
    note = shop.add(case_id, "note", {"about": ASKED, "words": words}, by=by, at=at)
    return html, AskedPage(note.id, estimate[0].id, until, page, sha256)


def page_for_link(shop: Shop, link: HeldLink, action: str) -> str:
    """Return the page behind a signed link; what is shown is stored and noted once.

    The stored page does not hold the link's secret.

    Raises:
        NotFound: the case has no estimate.
    """
    case = shop.case(link.case_id)
    estimate = _last_estimate(case)
    until = datetime.fromtimestamp(link.ends, UTC).date().isoformat()
    page = hashlib.sha256(f"{case.id}/{estimate[0].line}/{link.id}".encode()).hexdigest()[:16]
    if all(asked.page != page for asked in asked_pages(case)):
        shown = _page(shop, case, estimate, page, until, "", "#")
        sha256 = shop.store_file(io.BytesIO(shown.encode()), f"asked-{case.id}.html")
        words = _sent("opened", estimate[0].id, until, page, sha256)
        shop.add(case.id, "note", {"about": ASKED, "words": words}, by="the customer's link")
    return _page(shop, case, estimate, page, until, "", action)


def asked_pages(case: Case) -> list[AskedPage]:
    """Return the pages that went out and were not revoked, the last one last."""
    found = []
    for entry, note in case.of(NoteData):
        match = _NOTE.search(note.words) if note.about == ASKED else None
        if match:
            found.append(AskedPage(entry.id, *match.groups()))
    return found


def take_answer(
    shop: Shop,
    case_id: str,
    content: bytes | Mapping[str, Any],
    *,
    how: str = "our page, returned as a file",
    by: str | None = None,
    today: date | None = None,
    evidence: str | None = None,
) -> Entry:
    """Take in the answer to a page that went out; what was shown stands beside it.

    Args:
        shop: the shop.
        case_id: case id.
        content: the saved file, or the same fields of a form.
        how: how it came.
        by: who takes it in.
        today: the day; now when not given.
        evidence: photo or recording entry that shows it.

    Raises:
        InputRefused: no such answer, of another case or page, or not every line answered.
        Forbidden: the page was revoked, or ran out.
    """
    answer = _read(content)
    if answer.get("case") != case_id:
        raise InputRefused(
            f"The answer is for case {str(answer.get('case'))[:60]}, not {case_id}.", where="case"
        )
    case = shop.case(case_id)
    asked = next((p for p in asked_pages(case) if p.page == answer.get("page")), None)
    if asked is None or asked.quote != answer.get("quote"):
        raise Forbidden("That page was never sent for this case, or it was revoked.")
    if (today or datetime.now(UTC).date()).isoformat() > asked.until:
        raise Forbidden(f"That page could be answered until {asked.until}. Send a new one.")
    quote = next((d for e, d in case.of(QuoteData) if e.id == asked.quote), None)
    if quote is None:
        raise Conflict("The estimate of that page was taken back. Send a new one.")
    lines = _lines(answer, quote)
    name = str(answer.get("name") or "").strip()
    if not name or len(name) > 120:
        raise InputRefused("The answer has no name.", where="name", do="Ask who answered.")
    data: dict[str, Any] = {
        "by": name,
        "how": how,
        "quote": asked.quote,
        "granted": any(line["granted"] for line in lines),
        "lines": lines,
        "shown": asked.sha256,
    }
    if words := str(answer.get("words") or "").strip()[:1000]:
        data["words"] = words
    if evidence:
        data["evidence"] = evidence
    return shop.add(case_id, "approval", data, by=by)


def _read(content: bytes | Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(content, bytes):
        if len(content) > _LARGEST:
            raise InputRefused("The file is too large for an answer.")
        try:
            found = json.loads(content.decode("utf-8-sig"))
        except (ValueError, RecursionError):
            raise InputRefused(
                "The file is no answer of ours.", do="Take the file that the page saved."
            ) from None
    else:
        found = dict(content)
    if not isinstance(found, dict) or found.get("witnessmark") != "answer/1":
        raise InputRefused(
            "The file is no answer of ours.", do="Take the file that the page saved."
        )
    if fault := unsound(found):
        raise InputRefused(f"The answer cannot be taken: {fault}.")
    if turns_reading(found):
        raise InputRefused("The answer holds marks that turn the direction of reading.")
    return found


def _lines(answer: Mapping[str, Any], quote: QuoteData) -> list[dict[str, Any]]:
    rows = answer.get("lines")
    told: dict[int, bool] = {}
    for row in rows if isinstance(rows, list) else []:
        number, granted = (row.get("line"), row.get("granted")) if isinstance(row, dict) else (0, 0)
        if type(number) is not int or type(granted) is not bool:
            raise InputRefused("A line of the answer is neither a yes nor a no.", where="lines")
        if not 1 <= number <= len(quote.lines) or number in told:
            raise InputRefused(f"The estimate has no line {number}, or it came twice.")
        told[number] = granted
    for number, line in enumerate(quote.lines, start=1):
        if line.kind in FOLLOWS and number not in told:
            told[number] = _goes_with(line.cause, told, quote)
    left = [str(n) for n in range(1, len(quote.lines) + 1) if n not in told]
    if left:
        raise InputRefused(f"Not answered: line {', '.join(left)}.", do="Ask the customer.")
    found: list[dict[str, Any]] = []
    for number, granted in sorted(told.items()):
        risk = quote.lines[number - 1].risk
        more = {"risk": risk} if risk and not granted else {}
        found.append({"line": number, "granted": granted, **more})
    return found


def _goes_with(cause: str | None, told: Mapping[int, bool], quote: QuoteData) -> bool:
    """Whether a tax, deposit or supplies line stands: with the lines of its job, else with any."""
    same = [yes for n, yes in told.items() if cause and quote.lines[n - 1].cause == cause]
    return any(same or told.values())


def _last_estimate(case: Case) -> tuple[Entry, QuoteData]:
    quotes = [(entry, data) for entry, data in case.of(QuoteData) if not data.final]
    if not quotes:
        raise NotFound("The case has no estimate.", do="Write one first.")
    return quotes[-1]


def _sent(done: str, quote: str, until: str, page: str, sha256: str) -> str:
    return f"Page {done}: estimate {quote}, until {until}, page {page}, sha256 {sha256}"


def _page(
    shop: Shop, case: Case, estimate: tuple[Entry, QuoteData], page: str, until: str,
    language: str, action: str,
) -> str:  # fmt: skip
    head = shop_head(shop)
    called = shop_name(shop) or shop.folder.name
    return ask_page(
        case,
        estimate,
        tongue_of(case, language),
        shop=ShopHead(called, head.address, head.phone, head.licence),
        rates=own_rates(shop),
        page_id=page,
        until=until,
        action=action,
    )
