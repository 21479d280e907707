"""Every customer's paper in short sentences: fourteen words in the mean, twenty-five at most."""

from __future__ import annotations

from collections.abc import Iterator
from html.parser import HTMLParser

import pytest

from witnessmark.demo.demo_shop import stories
from witnessmark.errors import NotFound
from witnessmark.model.entries.entry_data import (
    ApprovalData,
    ComplaintData,
    NoteData,
    OutcomeData,
    WorkData,
)
from witnessmark.words.plain import LONGEST, sentences
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.inspecting.inspect_case import sheet_now
from witnessmark.workflow.papers.ask_customer import make_ask_page
from witnessmark.workflow.papers.case_papers import report_html
from witnessmark.workflow.papers.inspection_papers import inspection_html

MEAN = 14.0
#: Heads, cells and labels are no sentences; a list of digests is none either.
_APART = frozenset({"td", "th", "dt", "dd", "label", "h1", "h2", "h3", "option", "button", "a"})
_BLOCKS = _APART | {"p", "li", "div", "section", "figcaption", "caption", "summary", "legend"}
_HIDDEN = frozenset({"style", "script", "svg", "title"})
INVENTED = (
    (
        "told-1",
        "overheat",
        "runs hot on the long grade",
        ("clue", {"clue": "topups", "seen": True}),
    ),
    ("told-2", "smoke", "white and sweet", ("clue", {"clue": "white_warm", "seen": True})),
    (
        "told-3",
        "crankcase",
        "oil out of the stick",
        ("work", {"cause": "cc_breather", "did": "renewed here"}),
    ),
)


class _Blocks(HTMLParser):
    """The text of a page, block by block."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self._text, self._tag, self._hidden = "", "", 0
        self.feed(page)
        self._end()

    def _end(self) -> None:
        text = " ".join(self._text.split())
        if text and self._tag not in _APART:
            self.found.append(text)
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        self._hidden += tag in _HIDDEN
        if tag in _BLOCKS or tag == "br":
            self._end()
            self._tag = tag

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in _HIDDEN
        if tag in _BLOCKS:
            self._end()

    def handle_data(self, data: str) -> None:
        self._text += "" if self._hidden else data


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    made = open_shop(tmp_path_factory.mktemp("papers") / "shop", create=True)
    for story in stories()[-3:]:
        made.new_case(story.case_id, story.lines)
    for name, family, words, (kind, data) in INVENTED:
        told = [("complaint", {"words": words, "families": [family]}), (kind, data)]
        lines = [entry_line(k, d) for k, d in told]
        made.new_case(name, lines)
    yield made
    made.close()


def own_words(shop: Shop, name: str) -> str:
    """Return all that a person wrote in a case: nobody cuts that."""
    case = shop.case(name)
    said = [d.words for _, d in case.of(ComplaintData)] + [d.did for _, d in case.of(WorkData)]
    said += [d.words or "" for _, d in case.of(OutcomeData)]
    said += [d.words or "" for _, d in case.of(ApprovalData)]
    return " ".join([*said, *(d.words for _, d in case.of(NoteData))])


def pages(shop: Shop, name: str) -> Iterator[str]:
    yield report_html(shop, name)
    yield report_html(shop, name, quote=True)
    yield report_html(shop, name, appendix=True)
    yield inspection_html(shop, shop.case(name), sheet_now(shop, name), customer=True)
    try:
        yield make_ask_page(shop, name, at="2026-05-02T08:00:00Z")[0]
    except NotFound:
        return  # no estimate, so no page to say yes to


@pytest.mark.parametrize("name", [*(s.case_id for s in stories()[-3:]), *(i[0] for i in INVENTED)])
def test_papers_are_in_short_sentences(shop: Shop, name: str) -> None:
    own = own_words(shop, name)
    for page in pages(shop, name):
        every = [said for block in _Blocks(page).found for said in sentences(block)]
        program = [s for s in every if s.rstrip(".") not in own and "Knowledge packs:" not in s]
        counts = [n for s in program if (n := len(s.split())) >= 3]
        assert len(counts) >= 3
        long = [s for s in program if len(s.split()) > LONGEST]
        assert not long, long
        assert sum(counts) / len(counts) <= MEAN
