"""The customer's report and the estimate: what they say, and what they never claim."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import pypdf
import pytest

from report.paper_material import (
    HOSTILE,
    POINT_1500,
    POINT_IDLE,
    after,
    assessed,
    before,
    entry,
    hostile_lines,
    reading,
    work,
)
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.standing import Standing
from witnessmark.model.estimate import EstimateLine
from witnessmark.model.quoted import OwnRates
from witnessmark.model.shop_record import History, Job
from witnessmark.report.as_html import paper_html
from witnessmark.report.as_pdf import paper_pdf
from witnessmark.workflow.dossier.advice import usual_price
from witnessmark.workflow.papers.case_papers import paper_of


class _Page(HTMLParser):
    """Collects tags, attributes and text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words = ""
        self.feed(text)
        self.words = re.sub(r"\s+", " ", self.words.replace("\u00a0", " "))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words += f" {data}"


def _html(lines: list[str], **more: object) -> _Page:
    return _Page(paper_html(paper_of(assessed(lines), **more)))  # type: ignore[arg-type]


def _pdf_text(lines: list[str], **more: object) -> str:
    made = paper_pdf(paper_of(assessed(lines), **more))  # type: ignore[arg-type]
    pages = pypdf.PdfReader(io.BytesIO(made)).pages
    text = " ".join(page.extract_text() for page in pages)
    return re.sub(r"\s+", " ", text.replace("\u00a0", " "))


FULL = [
    *before(),
    entry("quote", "q", lines=[{"what": "relief kit", "minutes": 60, "usd": 100,
                                "cause": "pump_relief"},
                               {"what": "new hose", "usd": 60, "cause": "suction_line"}],
          total_usd=381, limit_usd=420, expires="2026-03-09"),
    entry("approval", "a1", by="R. Testbarley", how="text", limit_usd=420, quote="q"),
    entry("approval", "a2", by="R. Testbarley", how="text", granted=False,
          words="second hose; risk explained"),
    entry("note", "n1", words="Second hose at the next service", about="recheck"),
    work(torques=[{"location": "relief plug"}, {"location": "banjo bolt", "value": "30 N·m"},
                  {"location": "cap", "value": "9 N·m", "source": "page 4-12, 2026-03-01"}]),
    *after(),
]  # fmt: skip


@pytest.mark.parametrize("render", [lambda lines: _html(lines).words, _pdf_text])
def test_report_holds_every_part(render) -> None:
    said = render(FULL)
    for words in [
        "low fuel pressure, lazy up grades",  # complaint in the driver's words
        "Cause", "Correction", "relief spring renewed", "relief kit", "62 min",
        "Before", "After", "95 % interval",
        "PROVEN by measurement after the work.",
        "pulls again",  # the customer's word
        "What was not done", "second hose; risk explained", "Quoted, not done: new hose",
        "Deferred, and to be looked at again", "Second hose at the next service",
        "50 to 100 miles",
        "Cautions", "pressure let down",
        "Who approved what", "R. Testbarley", "agreed, up to $420", "declined",
        "Where the numbers come from", "65 psi at 700 rpm, no load [r1]", "G1, 160 psi",
        "calibrated 2026-01-12",
        "maker's manual, local code and licensed practice come first",
        "Torque card", "not read from the manual", "page 4-12, 2026-03-01",
    ]:  # fmt: skip
        assert words in said, words


def test_before_and_after_stand_in_table_and_picture() -> None:
    page = _html(FULL)
    assert page.tags.count("svg") >= 3  # the mark, the pressure, the flow
    assert "65 \u2192 75 psi" in page.words
    assert re.search(
        r"Fuel gallery pressure \[psi\] 1500 rpm, no load, warm 78 95 \+17", page.words
    )
    assert "inside: 90 to 100 psi" in page.words


def test_a_part_renewed_without_a_reading_is_flagged_and_never_called_a_cure() -> None:
    page = _html([*before(), work(did="replaced pump", cause="pump_worn")])
    assert "Nothing was measured between this work and the next" in page.words
    assert "no proof that it helped" in page.words
    assert "Whether that was the cause is not shown yet." in page.words
    assert "NOT ENOUGH EVIDENCE" in page.words
    assert "Still missing before this complaint counts as proven" in page.words
    assert "PROVEN by measurement" not in page.words
    assert "the cause lay there" not in page.words


def test_the_customers_happy_word_alone_proves_nothing() -> None:
    said = entry("outcome", "o", complaint="c", gone=True, after_days=3, words="runs good")
    page = _html([*before(), work(), said])
    assert "runs good" in page.words
    assert "PROVEN by measurement" not in page.words


def test_a_reading_that_speaks_against_it_is_not_proven() -> None:
    worse = [reading("r4", "60 psi", POINT_IDLE), reading("r5", "70 psi", POINT_1500)]
    page = _html([*before(), work(), *worse])
    assert "NOT PROVEN" in page.words
    assert "the cause lay there" not in page.words


def test_no_change_is_called_no_change() -> None:
    same = [reading("r4", "66 psi", POINT_IDLE), reading("r5", "79 psi", POINT_1500)]
    page = _html([*before(), work(), *same])
    assert "no change shown" in page.words


def test_before_any_work_the_report_is_open_and_shows_the_readings_in_their_band() -> None:
    page = _html(before())
    assert "open: no work has been done yet" in page.words
    assert "No work has been done on this complaint." in page.words
    assert "78 psi · outside" in page.words
    assert "passes 80 %" in page.words
    assert "PROVEN" not in page.words
    assert "Next, if you want it settled" in page.words


def test_blank_torque_stays_blank() -> None:
    text = paper_html(paper_of(assessed(FULL)))
    card = text[text.index("Torque card") :]
    rows = re.findall(r"<tr>(.*?)</tr>", card, re.S)
    cells = [re.findall(r"<td[^>]*>(.*?)</td>", row, re.S) for row in rows]
    plug = next(c for c in cells if "relief plug" in c)
    assert plug[2:5] == ["__________", "__________", "__________"]
    bolt = next(c for c in cells if "banjo bolt" in c)
    assert bolt[2:4] == ["30 N·m (22.1 lbf·ft)", "not read from the manual"]


def test_a_retracted_reading_is_named_and_not_used() -> None:
    lines = [*before(), entry("retract", "x", entry="r2", why="gauge not zeroed")]
    page = _html(lines)
    assert "Taken back and not used: r2 (2026-03-02): gauge not zeroed" in page.words
    assert "78 psi at 1500" not in page.words


def test_si_units_on_request() -> None:
    page = _html(FULL, si=True)
    assert "Fuel gallery pressure [kPa]" in page.words
    assert re.search(r"448 \u2192 517 kPa", page.words)


def test_a_case_without_a_complaint_or_a_truck_still_makes_a_paper() -> None:
    assert "No complaint has been written down" in _html([]).words
    assert paper_pdf(paper_of(assessed([]))).startswith(b"%PDF")


def test_page_asks_for_nothing_from_elsewhere() -> None:
    text = paper_html(paper_of(assessed(FULL)))
    page = _Page(text)
    assert "script" not in page.tags
    assert not {"link", "iframe", "object", "img"} & set(page.tags)
    places = [v or "" for k, v in page.attributes if k in {"src", "href", "action"}]
    assert places == []
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")


def test_hostile_text_in_every_field_is_only_text_on_the_page() -> None:
    lines = hostile_lines()
    for quote in (False, True):
        text = paper_html(paper_of(assessed(lines), quote=quote, shop=HOSTILE))
        page = _Page(text)
        assert not {"script", "img"} & set(page.tags)
        assert not [k for k, _ in page.attributes if k.startswith("on")]
        assert "<script>alert(1)</script>" in page.words
        assert "{{ 7*7 }}" in page.words
        # a pack's digest may begin with anything
        assert " 49" not in re.sub(r"49\s(psi|%)|\b[0-9a-f]{8}\b", "", page.words)


def test_hostile_text_in_every_field_is_only_text_on_paper() -> None:
    lines = hostile_lines()
    assert not read_problems(lines)
    said = _pdf_text(lines, shop=HOSTILE)
    # set as it was typed: not run, not read from the disk, not turned into markup
    assert '#panic("pwned")' in said
    assert '#read("/etc/hostname")' in said
    assert "*bold*" in said
    assert "$ x^2 $" in said
    assert _pdf_text(lines, quote=True, shop=HOSTILE)


def read_problems(lines: list[str]) -> list[str]:
    """Return the lines of the hostile case that the entry format refuses: none may be lost."""
    return [p.what for p in assessed(lines).case.problems]


def test_same_case_gives_the_same_bytes() -> None:
    paper = paper_of(assessed(FULL), shop="Invented Truck Repair")
    assert paper_pdf(paper) == paper_pdf(paper)
    assert paper_html(paper) == paper_html(paper)


def test_letters_of_other_scripts_and_odd_spaces_are_kept() -> None:
    lines = [entry("complaint", "c", words="Öldruck fällt, давление\u00a0падает")]
    said = _pdf_text(lines)
    assert "Öldruck fällt" in said
    assert "давление падает" in said
    assert "\ufffd" not in said


def test_estimate_shows_the_quoted_lines_their_sum_and_the_risk() -> None:
    lines = FULL[:-5]  # before the work
    page = _html(lines, quote=True)
    for words in [
        "Estimate", "relief kit", "new hose", "total $381.00", "limit $420.00",
        "good until 2026-03-09",
        "still there after this work", "Nothing beyond the sum you approve", "Approved up to",
    ]:  # fmt: skip
        assert words in page.words, words
    assert "Estimate" in _pdf_text(lines, quote=True)


def _dollars(text: str) -> set[str]:
    return set(re.findall(r"\$[\d,.]*\d", text))


def test_the_estimate_holds_no_money_that_nobody_typed() -> None:
    """Neither the page nor the PDF: of the tool's own figures not one is on a customer's paper."""
    lines = FULL[:-5]
    typed = {"$381.00", "$420.00", "$100.00", "$60.00"}
    for text in (_html(lines, quote=True).words, _pdf_text(lines, quote=True)):
        assert _dollars(text) <= typed
        assert text.count("$381") == 1, "one sum"
        for words in ("Quoted", "Typical", "usually comes to", "comes to more"):
            assert words not in text


def test_without_a_quote_every_line_is_not_priced_yet_and_there_is_no_sum() -> None:
    lines = before()
    for text in (_html(lines, quote=True).words, _pdf_text(lines, quote=True)):
        assert not _dollars(text)
        assert "not priced yet" in text
        assert "there is no sum yet" in text
        assert "Quoted" not in text


def test_a_line_without_a_price_says_so_and_the_sum_leaves_it_out() -> None:
    rows = [{"what": "relief kit", "usd": 88}, {"what": "new hose"}, {"what": "washer", "usd": 4}]
    lines = [*before(), entry("quote", "q", lines=rows)]
    for text in (_html(lines, quote=True).words, _pdf_text(lines, quote=True)):
        assert "total $92.00" in text
        assert _dollars(text) == {"$88.00", "$4.00", "$92.00"}
        assert "1 line is not priced yet, and it is not in the total. Not priced: new hose." in text


def test_labour_is_in_a_price_only_at_a_rate_of_the_shop() -> None:
    rows = [{"what": "relief kit", "minutes": 30, "usd": 88}, {"what": "hill again", "minutes": 60}]
    lines = [*before(), entry("quote", "q", lines=rows)]
    page = _html(lines, quote=True).words
    assert "total $88.00" in page
    assert "30 min of work stand beside prices that do not hold them" in page
    assert "1 line is not priced yet, and it is not in the total. Not priced: hill again." in page
    own = _html(lines, quote=True, rates=OwnRates(labour_usd_per_hour=124.0)).words
    assert "total $274.00" in own  # 62 + 88 and 124
    assert "$124.00 an hour" in own
    assert "not priced yet" not in own


def test_estimate_of_a_settled_truck_prices_nothing() -> None:
    lines = [*before(), work(), *after()]
    page = _html(lines, quote=True)
    assert "there is no repair to price" in page.words
    assert "Quoted" not in page.words


def test_command_writes_a_paper_and_refuses_other_kinds(witnessmark, tmp_path) -> None:
    case = tmp_path / "case.jsonl"
    case.write_text("".join(f"{line}\n" for line in FULL), encoding="utf-8")
    done = witnessmark("report", case, "--out", tmp_path / "a.pdf", "--quote", "--json")
    assert done.returncode == 0, done.stderr
    assert '"paper": "estimate"' in done.stdout
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    done = witnessmark("report", case, "--out", tmp_path / "a.docx")
    assert done.returncode == 2
    assert "pdf or .html" in done.stderr
    assert "Traceback" not in done.stderr
    done = witnessmark("report", tmp_path / "none.jsonl", "--out", tmp_path / "b.pdf")
    assert done.returncode == 2
    assert not (tmp_path / "b.pdf").exists()


def test_what_work_usually_comes_to_uses_the_shops_own_times_and_says_so() -> None:
    assessment = assessed(before())
    job = next(s for s in assessment.steps if s.kind == "repair")
    took = 2 * job.minutes.typical
    jobs = tuple(Job("c", job.step, "Ann", took, days_ago=9.0) for _ in range(30))

    def labour(**more: object) -> EstimateLine:
        found = usual_price(assessment, job.step, Standing(load_knowledge(), **more))  # type: ignore[arg-type]
        assert found is not None
        return next(line for line in found.lines if line.kind == "labour")

    plain, own = labour(), labour(history=History(jobs=jobs), technician="Ann")
    assert "the pack's figures (judgement)" in plain.note
    assert "30 jobs of this shop, 30 of them by Ann" in own.note
    assert plain.minutes is not None
    assert own.minutes is not None
    assert own.minutes.typical == pytest.approx(2 * plain.minutes.typical, rel=0.1)
