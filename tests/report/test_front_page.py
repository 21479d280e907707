"""The customer's one page: what stands on it, what never does, in both languages and on paper."""

from __future__ import annotations

import html
import io
import re

import pypdf
import pytest

from report.paper_material import HOSTILE, after, assessed, before, entry, hostile_lines, work
from witnessmark.model.quoted import OwnRates
from witnessmark.model.settings import Settings
from witnessmark.model.shop_head import ShopHead
from witnessmark.report.as_html import paper_html
from witnessmark.report.front.lay_out import one_page_html, one_page_pdf
from witnessmark.report.front.make_page import one_page
from witnessmark.report.front.one_page import OnePage
from witnessmark.words.tongue import Tongue
from witnessmark.workflow.papers.case_papers import paper_of
from witnessmark.workflow.papers.front_page import agreed_of

SHOP = ShopHead("Invented Truck Repair", "12 Example Road", "555 0100", "0000", "90 days.")
NAMES = {"pump_relief": "Relief valve weak", "suction_line": "Suction hose collapsed"}
LINES = [
    {"what": "relief kit", "minutes": 60, "usd": 100, "cause": "pump_relief"},
    {"what": "new hose", "usd": 60.5, "cause": "suction_line", "risk": "soon"},
]
FULL = [
    entry("truck", "t", label="Testbarley 7", customer="Testbarley", vin="INVENTED0001",
          miles=640000, miles_out=640021, phone="555 0199"),
    *before()[1:],
    entry("quote", "q", lines=LINES, total_usd=298.5),
    entry("approval", "a1", by="R. Testbarley", how="phone", called="555 0199", quote="q",
          lines=[{"line": 2, "granted": False, "words": "not today"}], limit_usd=300),
    work(torques=[{"location": "relief plug"}],
         parts=[{"name": "relief kit", "usd": 100, "condition": "new",
                 "old_part": "kept for the customer"}]),
    *after(),
    entry("quote", "b", at="2026-03-03T08:00:00Z", final=True, lines=[
        {"what": "relief kit", "minutes": 62, "kind": "labour"},
        {"what": "kit", "usd": 100, "kind": "part"}]),
]  # fmt: skip


def page(lines: list[str], language: str = "en", **more: object) -> OnePage:
    assessment = assessed(lines)
    usual = {"shop": SHOP, "names": NAMES, "rates": OwnRates(138.0),
             "agreed": agreed_of(assessment.case, Settings())}  # fmt: skip
    return one_page(assessment, Tongue(language), **(usual | more))  # type: ignore[arg-type]


def words(found: OnePage) -> str:
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", one_page_html(found), flags=re.S)
    return re.sub(r"\s+", " ", text.replace("&#39;", "'").replace("\u00a0", " "))


def test_the_page_holds_all_that_a_customer_asks_for() -> None:
    said = words(page(FULL))
    for part in [
        "Invented Truck Repair", "12 Example Road · 555 0100 · licence 0000", "INVENTED0001",
        "640,000", "640,021", "555 0199", "low fuel pressure, lazy up grades",
        "The cause: Relief valve weak.", "relief spring renewed. 62 min.", "relief kit (new)",
        "proven by measurement after the work", "700 rpm, no load, warm: 65 before, 75 psi after",
        "It should be", "pulls again", "new hose. You said not today.", "soon", "The bill",
        "$142.60", "$242.60", "you agreed to up to $300.00, phone, 2026-03-02",
        "relief kit: kept for the customer", "90 days.", "Picked up by, date",
    ]:  # fmt: skip
        assert part in said, part


def test_no_odds_no_mistyped_entry_and_no_remark_on_fields_stand_on_it() -> None:
    lines = [*FULL, entry("reading", "wrong", quantity="fuel_gallery_pressure", value="7500 psi"),
             entry("retract", "x", entry="wrong", why="mistyped"),
             entry("note", "n", words="ours", mood="odd")]  # fmt: skip
    assert assessed(lines).case.problems, "an unknown field is remarked on"
    said = words(page(lines))
    for part in ("7500", "mistyped", "mood", "[r1]", "sha256", "interval"):
        assert part not in said, part
    assert not re.search(r"\d\s?%", said)
    assert "likely" not in said


def test_before_any_work_the_page_claims_nothing() -> None:
    said = words(page(before()))
    assert "What we found so far" in said
    assert "is not decided" in said
    assert "Next to settle it" in said
    assert "No price is written down." in said
    assert "proven by measurement" not in said


def test_work_without_a_reading_is_not_called_the_cause() -> None:
    said = words(page([*before(), work()]))
    assert "Whether it was the cause is not shown yet." in said
    assert "too little was measured after the work" in said
    assert "The cause:" not in said


def test_a_bill_above_the_yes_is_said_on_the_page() -> None:
    bill = entry("quote", "b", final=True, lines=[{"what": "kit", "usd": 300.01}])
    assert "above the $300.00 that you agreed to" in words(page([*FULL[:-1], bill]))


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_pdf_is_one_tagged_page_in_its_language(language: str) -> None:
    made = one_page_pdf(page(FULL, language))
    reader = pypdf.PdfReader(io.BytesIO(made))
    assert len(reader.pages) == 1
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == language
    assert "/StructTreeRoot" in root
    text = reader.pages[0].extract_text()
    assert {"en": "What we found and did", "es": "Qué encontramos y qué hicimos"}[language] in text
    assert one_page_pdf(page(FULL, language)) == made


def test_spanish_says_what_it_lacks() -> None:
    said = words(page(FULL, "es", names={"pump_relief": "A cause nobody translated"}))
    assert re.search(r"Sin traducir: [^.]*A cause nobody translated\.", said)
    assert "low fuel pressure, lazy up grades" in said, "the driver's words stay his"
    assert "Usted nos dijo" in said
    assert "The bill" not in said


def test_it_can_be_read_when_it_is_printed_grey() -> None:
    svg = page(FULL).picture
    assert 'fill="url(' in svg or "<pattern" in svg or "hatch" in svg, "the range is hatched"
    assert "before" in svg
    assert "after" in svg
    told = one_page_html(page(FULL))
    colours = set(re.findall(r"#[0-9a-f]{6}\b", re.sub(r"<svg.*?</svg>", "", told, flags=re.S)))
    for colour in colours:
        red, green, blue = (int(colour[n : n + 2], 16) for n in (1, 3, 5))
        assert max(red, green, blue) - min(red, green, blue) < 25, colour


@pytest.mark.parametrize("language", ["en", "es"])
def test_hostile_text_is_only_text(language: str) -> None:
    found = page(hostile_lines(), language, shop=ShopHead(HOSTILE, HOSTILE, HOSTILE, HOSTILE))
    told = one_page_html(found)
    assert "<script>" not in told
    assert "<img" not in told
    text = " ".join(
        p.extract_text() for p in pypdf.PdfReader(io.BytesIO(one_page_pdf(found))).pages
    )
    assert '#panic("pwned")' in text.replace("\n", " ")


def test_nothing_left_undone_is_said_only_when_every_line_is_done_or_declined() -> None:
    sentence = "known to be left undone"
    done = [line for line in FULL if '"torques"' not in line]
    plain = [*done[:-5], work(), *after(), FULL[-1]]
    assert sentence not in words(page(plain)), "the hose was declined"
    alone = entry("quote", "q", lines=LINES[:1], total_usd=238)
    yes = entry("approval", "a1", by="R. Testbarley", how="phone", quote="q")
    bare = [*before(), alone, yes, work(), *after()]
    assert sentence in words(page(bare))
    two = entry("quote", "q", lines=[*LINES[:1], {"what": "washer", "usd": 4}], total_usd=242)
    said = words(page([*before(), two, yes, work(), *after()]))
    assert sentence not in said
    assert "washer. Offered; whether it was done is not written down." in said


def test_another_instrument_after_the_work_is_said_on_page_and_appendix() -> None:
    other = [line.replace('"G1"', '"G2"') for line in after()]
    lines = [*before(), work(), *other]
    assert "Read with G1 before and with G2 after" in words(page(lines))
    assert "Same gauge" not in words(page(lines))
    appendix = paper_html(paper_of(assessed(lines)))
    assert "was read with G1 before and with G2 after the work" in appendix


def test_the_appendix_names_every_cause_that_was_weighed() -> None:
    assessment = assessed(FULL)
    text = html.unescape(paper_html(paper_of(assessment)))
    weighed = text[text.index("Weighed before work 1:") :].partition("</p>")[0]
    causes = [c for odds in assessment.odds_before(0) for c in odds.causes]
    assert len(causes) > 5
    for cause in causes:
        assert cause.name in weighed


def test_the_odometer_of_the_visit_and_what_was_declined_stand_on_the_page() -> None:
    lines = [*FULL, entry("visit", "v", odometer_in=640100, odometer_out="640121 mi"),
             entry("decline", "d", words="rear shocks", risk="watch")]  # fmt: skip
    said = words(page(lines))
    assert "640,100" in said
    assert "640,121" in said
    assert "You said no: rear shocks watch" in said
