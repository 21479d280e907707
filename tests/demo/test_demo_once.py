"""``witnessmark demo --once``: the whole job on every invented truck, from complaint to proof."""

from __future__ import annotations

import html
import io
import json
import re
from pathlib import Path
from typing import Any

import pypdf
import pytest

from witnessmark.demo.demo_shop import stories
from witnessmark.model.entries.case import read_case
from witnessmark.words.plain import LONGEST, sentences
from witnessmark.workflow.dossier.assess_case import assess

pytestmark = pytest.mark.slow

#: What no customer reads: odds and their kin, ids, packs, expected totals.
_TOOLS_OWN = re.compile(
    r"\b(odds|bits?|draws|conformity|posterior|prior|packs?|judged tables|expected total|"
    r"none of the listed|[a-z]+_[a-z_]+)\b"
)
TRUTH = {s.case_id: s.truth for s in stories()}


@pytest.fixture(scope="module")
def done(apart, tmp_path_factory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("demo") / "out"
    run = apart("demo", "--once", folder, timeout=900)
    assert run.returncode == 0, run.stderr
    return folder, run.stdout


@pytest.fixture(scope="module")
def told(done) -> dict[str, dict[str, Any]]:
    folder, _ = done
    return {c: json.loads((folder / f"{c}.json").read_text(encoding="utf-8")) for c in TRUTH}


def _lead(odds: list[dict[str, Any]], family: str) -> tuple[str, float]:
    [causes] = [o["causes"] for o in odds[:9] if o["family"] == family][:1]
    return causes[0]["cause"], causes[0]["probability"]


def test_summary_is_readable_and_tells_every_truck(done) -> None:
    folder, said = done
    assert "Everything in it is invented." in said
    for story in stories():
        assert story.title in said
        assert f"Tempting: {story.tempting}." in said
    assert said.count("PROVEN.") == 14
    assert "Traceback" not in said
    assert str(folder) in said


def test_every_paper_is_there_and_holds_the_complaint(done) -> None:
    folder, _ = done
    for story in stories():
        case = read_case(story.case_id, story.lines)
        words = case.complaints()[0][1].words
        page = (folder / f"{story.case_id}-report.html").read_text(encoding="utf-8")
        assert words in page.replace("&#39;", "'")
        pages = pypdf.PdfReader(folder / f"{story.case_id}-report.pdf").pages
        text = " ".join(" ".join(p.extract_text() for p in pages).split())
        assert words in text
        assert len(pages) == 1, story.case_id
        assert "proven by measurement after the work" in text
        assert "INVENTED" in text
        assert "12 Example Road, Notown" in text
        assert "you agreed to up to $" in text
        appendix = (folder / f"{story.case_id}-appendix.html").read_text(encoding="utf-8")
        assert "PROVEN by measurement after the work." in appendix
        assert "Where the numbers come from" in appendix
        estimate = (folder / f"{story.case_id}-estimate.pdf").read_bytes()
        assert pypdf.PdfReader(io.BytesIO(estimate)).pages


def test_every_case_can_be_assessed_again_from_its_file(done) -> None:
    folder, _ = done
    for story in stories():
        text = (folder / f"{story.case_id}.jsonl").read_text(encoding="utf-8")
        assert text == "".join(f"{line}\n" for line in story.lines)
        for name, content in story.files.items():
            assert (folder / name).read_bytes() == content


def test_every_fact_of_every_truck_has_a_row_that_says_what_it_did(told) -> None:
    for story in stories():
        case = read_case(story.case_id, story.lines)
        facts = [e.id for e in case.live() if e.kind in {"reading", "clue", "test", "code"}]
        rows = told[story.case_id]["known"]
        assert [k["entry"] for k in rows] == facts
        assert all(k["what"] and k["sentence"].endswith(".") for k in rows)


@pytest.mark.parametrize(
    ("case_id", "family", "work", "cause", "at_least"),
    [
        ("gravel-31", "fuel_low", 0, "pump_relief", 0.8),
        ("sawmill-14", "vib_load", 0, "damper_aged", 0.6),
        ("sawmill-14", "vib_load", 1, "engine_mounts", 0.6),
        ("rescue-5", "cool_unstable", 0, "ct_shared", 0.6),
        ("rescue-5", "coolant_cross", 1, "xc_cap", 0.4),
        ("movers-9", "crankcase", 0, "cc_breather", 0.5),
        ("movers-9", "crankcase", 1, "cc_comp", 0.4),
        ("gritter-6", "fuel_low", 1, "air_ingress", 0.6),
        ("placeholder-19", "cool_unstable", 0, "ct_thermostat", 0.4),
        ("dairy-13", "def_derate", 0, "df_filter", 0.8),
        ("mulch-16", "air_supply", 0, "as_chamber", 0.8),
        ("laundry-8", "no_crank", 0, "nc_ground", 0.9),
        ("orchard-27", "wheel_end", 0, "we_nuts", 0.9),
    ],
)
def test_the_right_cause_leads_before_its_repair(
    told, case_id: str, family: str, work: int, cause: str, at_least: float
) -> None:
    lead, probability = _lead(told[case_id]["odds_before_each_work"][work], family)
    assert lead == cause
    assert probability >= at_least


def test_the_first_look_suggested_something_else(told) -> None:
    for case_id, family in [
        ("gravel-31", "fuel_low"),
        ("rescue-5", "cool_unstable"),
        ("movers-9", "crankcase"),
        ("placeholder-19", "cool_unstable"),
        ("laundry-8", "no_crank"),
    ]:
        lead, _ = _lead(told[case_id]["odds_at_check_in"], family)
        assert lead not in TRUTH[case_id], case_id


def test_two_causes_are_suspected_where_there_are_two_in_the_fuel_circuit(told) -> None:
    odds = told["gritter-6"]["odds_before_each_work"][0]
    [fuel] = [o for o in odds if o["family"] == "fuel_low"]
    assert fuel["two_causes"] > 0.5
    single = told["gravel-31"]["odds_before_each_work"][0][0]
    assert single["two_causes"] < 0.3


def test_every_complaint_is_proven_in_the_end(told) -> None:
    for case_id, document in told.items():
        assert {p["verdict"] for p in document["proof"]} == {"proven"}, case_id
        assert document["next"] == [], case_id


def test_the_lying_display_is_told_from_the_thermostat_that_cycles(told) -> None:
    def seen(case_id: str, stage: int) -> set[str]:
        return {
            f["code"]
            for f in told[case_id]["findings"]
            if f["outcome"] == "seen" and f["stage"] == stage
        }

    assert "coolant_temperature_jumps" in seen("rescue-5", 0)
    assert "coolant_temperature_thermostat_cycling" not in seen("rescue-5", 0)
    assert "coolant_temperature_thermostat_cycling" in seen("placeholder-19", 0)
    assert "coolant_temperature_jumps" not in seen("placeholder-19", 0)
    for case_id in ("rescue-5", "placeholder-19"):
        last = len(TRUTH[case_id])
        moving = {"coolant_temperature_jumps", "coolant_temperature_thermostat_cycling"}
        assert not moving & seen(case_id, last)


@pytest.mark.parametrize("case_id", ["movers-9", "gritter-6"])
def test_the_first_repair_alone_is_not_called_a_cure(case_id: str) -> None:
    [story] = [s for s in stories() if s.case_id == case_id]
    works = [k for k, line in enumerate(story.lines) if json.loads(line)["kind"] == "work"]
    recordings = [k for k in range(works[1]) if json.loads(story.lines[k])["kind"] == "recording"]
    lines = [line for k, line in enumerate(story.lines[: works[1]]) if k not in recordings]
    after_first = assess(read_case(case_id, lines), {})
    assert "proven" not in {p.verdict for p in after_first.proofs}
    assert after_first.steps


def test_nothing_on_the_bench_pages_papers_names_a_place_on_this_machine(done) -> None:
    folder, _ = done
    for page in folder.glob("*.html"):
        assert str(folder) not in page.read_text(encoding="utf-8")


def test_a_file_in_the_place_of_the_folder_is_refused(apart, tmp_path) -> None:
    place = tmp_path / "taken"
    place.write_text("x", encoding="utf-8")
    run = apart("demo", "--once", place)
    assert run.returncode == 2
    assert "is a file" in run.stderr
    assert place.read_text(encoding="utf-8") == "x"


def _front(page: str) -> list[str]:
    """Return the sentences of a paper before its appendix, without what people wrote themselves."""
    main = page[page.index("<main>") : page.index("</main>")].partition('<div class="newpage">')[0]
    main = re.sub(r"<svg.*?</svg>", "", main, flags=re.S)
    told = re.findall(r"<(p|li)\b[^>]*>(.*?)</\1>", main, flags=re.S)
    return [s for _, t in told for s in sentences(html.unescape(re.sub(r"<[^>]+>", "", t)))]


def test_the_papers_speak_in_short_sentences_and_without_the_tools_own_words(done) -> None:
    folder, _ = done
    lengths = []
    for path in sorted(folder.glob("*-*.html")):
        for said in _front(path.read_text(encoding="utf-8")):
            lengths.append(len(said.split()))
            assert lengths[-1] <= LONGEST, f"{path.name}: {said}"
            assert not _TOOLS_OWN.search(said), f"{path.name}: {said}"
    assert len(lengths) > 100
    assert sum(lengths) / len(lengths) <= 14
