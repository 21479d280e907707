"""Every page answers, says what it knows, and works without script."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from patience import PATIENCE_S
from web.bench_page import Client, fuel_lines, remembering, settled
from witnessmark.cli.main import cli
from witnessmark.model.entries.entry_data import ClueData, ReadingData, TestData, WorkData
from witnessmark.workflow.case.locks import customer_token
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_settings import Person, save_person, save_settings
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.shop.trucks import trucks
from witnessmark.workflow.shop.walk_round import walk_round

PAGES = [
    "/",
    "/new",
    "/cases/unit7",
    "/cases/unit7/reading",
    "/cases/unit7/looked",
    "/cases/unit7/tests",
    "/cases/unit7/photo",
    "/cases/unit7/shift",
    "/trucks",
    "/cases/unit7/recording",
    "/cases/unit7/road-test",
    "/cases/unit7/torque-card",
    "/cases/unit7/hand-over",
    "/cases/unit7/add/complaint",
    "/cases/unit7/add/code",
    "/cases/unit7/add/truck",
    "/cases/unit7/add/work",
    "/cases/unit7/add/outcome",
    "/cases/unit7/add/quote",
    "/cases/unit7/add/approval",
    "/cases/unit7/add/note",
    "/cases/unit7/override",
    "/cases/unit7/phone",
    "/phone",
    "/cases/unit7/say",
    "/cases/unit7/say?line=gallery+61+psi+idle,+oil+30,+spn+94+fmi+18+active,+block+test+neg",
    "/cases/unit7/add/retract",
    "/cases/unit7/from/entry/r0",
    "/cases/unit7/from/finding/0",
    "/knowledge",
    "/learnt",
    "/knowledge/fuel_low",
    "/trucks/unit%207",
    "/settings",
    "/api",
    "/login",
]


@pytest.mark.parametrize("page", PAGES)
def test_page_answers_without_anything_inline(client, page):
    answer = client.get(page)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    text = answer.text.lower()
    assert "<style" not in text
    assert " style=" not in text
    assert "<script>" not in text
    assert "http://" not in text.replace("http://testserver", "").replace(
        "http://www.w3.org", ""
    ), "a page asks for nothing from elsewhere"
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


def test_the_case_answers_first_and_folds_the_rest_by_question(client):
    text = settled(client)
    first = ("complaint", "think", "next")
    folded = ("odds", "else", "stops", "known", "work", "proof", "paper", "add", "entries")
    places = [text.index(f'id="{name}"') for name in first + folded]
    assert places == sorted(places)
    assert text.count('<details class="fold"') == len(folded), "folds need no script"
    assert '<details class="fold" open' not in text
    assert "low fuel pressure, lazy up grades" in text
    assert "50\u00a0psi" in text


def test_one_tap_on_a_result_answers_the_step(client, shop):
    text = settled(client)
    fork = text[text.index('action="/cases/unit7/answer"') :].split("</form>")[0]
    step = re.findall(r'name="step" value="([^"]+)"', fork)[0]
    result = re.findall(r'name="result" value="([^"]+)"', fork)[0]
    form = {"entry_id": "e-tap", "step": step, "result": result}
    for _ in range(2):
        assert client.post("/cases/unit7/answer", data=form).status_code == 303
    stored = [(e.id, d.test, d.result) for e, d in shop.case("unit7").of(TestData)]
    assert stored == [("e-tap", step, result)], "sent twice, it is stored once"
    text = settled(client)
    assert "/cases/unit7/add/retract?entry=e-tap" in text, "the last entry can be taken back"
    for bad in ({"step": step, "result": "nonsense"}, {"step": "nonsense", "result": "renewed"}):
        assert client.post("/cases/unit7/answer", data=bad).status_code == 422
    done = {"step": "return_regulator", "result": "renewed"}
    client.post("/cases/unit7/answer", data=done)
    assert [(d.cause, d.did) for _, d in shop.case("unit7").of(WorkData)] == [
        ("return_regulator", "renewed")
    ]


def test_the_handover_says_state_next_and_dont(client, shop):
    shop.add("unit7", "note", {"words": "left it on the lift"}, by="Ina Example")
    step = re.findall(r'class="step">([^<]+)<', settled(client))[0]
    text = client.get("/cases/unit7/shift").text
    places = [text.index(f"<h2>{head}</h2>") for head in ("State now", "Next", "Don’t")]
    assert places == sorted(places)
    assert "left it on the lift" in text[: places[1]]
    assert "Ina Example" in text
    assert step in text[places[1] : places[2]]


def test_one_complaint_at_a_time(client, shop):
    shop.add(
        "unit7",
        "complaint",
        {"words": "shakes at 58", "families": ["vib_speed"]},
        entry_id="e9",
    )
    # The one whose step stands first is in front: the look for fuel that may stop the truck.
    text = settled(client)
    assert 'href="/cases/unit7?c=e2" aria-current="true"' in text
    other = client.get("/cases/unit7?c=e9").text
    assert 'href="/cases/unit7?c=e9" aria-current="true"' in other
    assert other != text
    assert 'href="/cases/unit7?c=e2" aria-current' in client.get("/cases/unit7?c=nobody").text


def test_ledger_says_what_a_case_waits_for(client, shop):
    client.get("/cases/unit7")
    shop.add("unit7", "quote", {"lines": [{"what": "regulator"}], "total_usd": 120})
    assert "Waits for approval" in client.get("/").text
    shop.add("unit7", "approval", {"by": "J. Example", "how": "phone"})
    shop.add("unit7", "note", {"words": "spring", "about": "part_ordered"})
    assert "Waits for a part" in client.get("/").text
    shop.add("unit7", "work", {"cause": "return_regulator", "did": "renewed"})
    assert "Waits for proof" in client.get("/").text
    shop.add("unit7", "outcome", {"complaint": "e2", "gone": True})
    text = client.get("/").text
    assert "No case is open" in text
    assert "1 closed case" in text


def test_a_reading_is_stored_with_point_unit_and_instrument_of_the_last(client, shop):
    page = client.get("/cases/unit7/reading").text
    assert not re.search(r'name="rpm" value="[^"]+" checked', page), "a speed is told, not assumed"
    form = {
        "entry_id": "abc1",
        "quantity": "fuel_gallery_pressure",
        "number": "72",
        "unit": "psi",
        "rpm": "1500",
        "load": "full",
        "warm": "yes",
        "instrument": "g1",
        "then": "next",
    }
    answer = client.post("/cases/unit7/reading", data=form)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/cases/unit7/reading?quantity=")
    entry = shop.case("unit7").entries[-1]
    assert isinstance(entry.data, ReadingData)
    assert entry.data.value == "72 psi"
    assert entry.data.point.load == "full"
    assert entry.data.instrument is not None
    assert entry.data.instrument.accuracy == "1 % of span"
    again = client.post("/cases/unit7/reading", data=form)
    assert again.status_code == 303
    assert len(shop.case("unit7").entries) == 7, "sent twice, stored once"
    changed = client.post("/cases/unit7/reading", data=form | {"number": "73"})
    assert changed.status_code == 409


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        ("", "No value was typed"),
        ("74 psi; 3", "not one number with one unit"),
        ("9**9**9", "not one number"),
        ("1,500", "can be read as"),
        ("74 degF", "is a pressure"),
        ("99999", "cannot be"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_a_sentence_and_kept_in_the_form(
    client, shop, number, sentence
):
    form = {"quantity": "fuel_gallery_pressure", "number": number, "unit": "psi", "rpm": "700"}
    answer = client.post("/cases/unit7/reading", data=form)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert "Traceback" not in answer.text
    assert len(shop.case("unit7").entries) == 6


def test_after_work_the_same_points_come_again_in_the_same_order(client, shop):
    shop.add("unit7", "work", {"cause": "return_regulator", "did": "renewed"})
    page = client.get("/cases/unit7/reading").text
    assert "the same points as before the work" in page
    assert 'value="700" checked' in page
    data = {"quantity": "fuel_gallery_pressure", "value": "75 psi"}
    shop.add("unit7", "reading", data | {"point": {"rpm": 700, "load": "none", "warm": True}})
    assert 'value="1000" checked' in client.get("/cases/unit7/reading").text


def test_before_the_first_reading_nothing_is_assumed(client, shop):
    shop.new_case("unit9", fuel_lines("unit 9")[:2])
    page = client.get("/cases/unit9/reading?quantity=fuel_gallery_pressure").text
    fields = page[page.index('id="reading"') :]
    chosen = re.findall(r'name="(rpm|load|warm|engine)" value="([^"]*)" checked', fields)
    assert {value for _, value in chosen} == {""}, chosen
    form = {"quantity": "fuel_gallery_pressure", "number": "swings 60 to 75", "unit": "psi"}
    form["rpm"] = "idle"
    client.post("/cases/unit9/reading", data={**form, "then": "next"})
    [read] = [d for _, d in shop.case("unit9").of(ReadingData)]
    assert read.value == "swings 60 to 75 psi"
    assert read.point.model_dump(exclude_none=True) == {"engine": "idle"}, "and nothing else"


def test_looked_not_there_and_not_looked_are_three_things(client, shop):
    form = {
        "entry_id": "look1",
        "clue.filters_recent": "yes",
        "clue.filters_overdue": "no",
        "clue.bad_fuel": "",
        "clue.orig_paint": "yes",
        "cause.orig_paint": "return_regulator",
    }
    assert client.post("/cases/unit7/looked", data=form).status_code == 303
    assert client.post("/cases/unit7/looked", data=form).status_code == 303
    found = [(d.clue, d.seen, d.cause) for _, d in shop.case("unit7").of(ClueData)]
    assert sorted(found, key=str) == [
        ("filters_overdue", False, None),
        ("filters_recent", True, None),
        ("orig_paint", True, "return_regulator"),
    ]


def test_a_test_that_was_not_made_is_not_stored(client, shop):
    form = {"entry_id": "t1", "test.f_sight": "negative", "test.f_dp": ""}
    client.post("/cases/unit7/tests", data=form)
    assert [(d.test, d.result) for _, d in shop.case("unit7").of(TestData)] == [
        ("f_sight", "negative")
    ]


def test_one_refused_field_of_a_page_of_looks_or_tests_stores_none_of_them(client, shop):
    before = len(shop.case("unit7").entries)
    for where, good, bad in (
        ("looked", {"clue.filters_recent": "yes"}, {"clue.zz_nobody": "yes"}),
        ("tests", {"test.f_dp": "negative"}, {"test.f_sight": "sideways"}),
    ):
        refused = client.post(f"/cases/unit7/{where}", data={"entry_id": where, **good, **bad})
        assert refused.status_code == 422
        assert next(iter(bad)).partition(".")[2].split("_")[0] in refused.text
        assert len(shop.case("unit7").entries) == before
        assert client.post(f"/cases/unit7/{where}", data={"entry_id": where, **good})
        before += 1
        assert len(shop.case("unit7").entries) == before


def test_blank_prices_and_torques_stay_blank(client, shop):
    form = {
        "cause": "return_regulator",
        "did": "renewed",
        "part_0": "regulator",
        "part_0_usd": "58",
        "part_1": "O-ring",
        "part_1_usd": "",
        "torque_0": "plug",
        "torque_0_value": "45 N·m",
    }
    assert client.post("/cases/unit7/add/work", data=form).status_code == 303
    stored = json.loads(shop.case("unit7").entries[-1].line)["data"]
    assert stored["parts"][1] == {"name": "O-ring", "quantity": 1}
    assert "minutes" not in stored
    card = client.get("/cases/unit7/torque-card").text
    assert "<strong>not read from the manual</strong>" in card
    assert "45 N·m (33.2 lbf·ft)" in card


def test_a_new_complaint_opens_one_case_however_often_it_is_sent(client, shop):
    form = {
        "entry_id": "enew42",
        "words": "shakes at 60",
        "label": "Unit 12 / B",
        "families": ["vib_speed", "vib_load"],
    }
    first = client.post("/new", data=form)
    second = client.post("/new", data=form)
    assert first.headers["location"] == second.headers["location"]
    assert len(shop.list_cases()) == 2
    case = shop.case(first.headers["location"].rsplit("/", 1)[-1])
    assert case.families() == ("vib_speed", "vib_load")
    assert client.post("/new", data={"words": "x"}).status_code == 422


def test_a_trailer_is_a_vehicle_of_its_own_by_page_and_command(client, shop):
    form = {
        "entry_id": "etrail",
        "words": "wheel stays locked",
        "label": "Box 9",
        "families": ["brakes"],
        "vehicle": "trailer",
        "vin": "INVENTED9",
        "plate": "TR 9",
    }
    where = client.post("/new", data=form).headers["location"]
    case = shop.case(where.rsplit("/", 1)[-1])
    truck = case.truck()
    assert truck is not None
    assert (truck.vehicle, truck.vin, truck.plate) == ("trailer", "INVENTED9", "TR 9")
    assert truck.engine.cylinders is None
    page = settled(client, case.id)
    assert "hardly covered" in page
    assert "INVENTED9" in client.get(f"{where}/add/truck").text
    dossier = assess_in_shop(shop, case.id)
    assert not [p for p in dossier.problems if "complaint of a truck" in p.what]
    coupled = {s.step: s.needs for s in dossier.steps}
    assert "tractor coupled" in coupled["r_needles"]
    assert "tractor coupled" not in coupled["r_drumout"]
    given = ["case", "new", str(shop.folder), "t9", "--vehicle", "trailer"]
    given += ["--vin", "INVENTED9", "--words", "will not charge", "--family", "charging"]
    assert CliRunner().invoke(cli, given).exit_code == 0
    wrong = [p for p in assess_in_shop(shop, "t9").problems if "complaint of a truck" in p.what]
    assert len(wrong) == 1


def test_what_drivers_and_files_say_is_never_executed(client, shop):
    evil = '<script>alert(1)</script><img src=x onerror="alert(2)">'
    shop.add("unit7", "complaint", {"words": evil, "families": ["smoke"]})
    shop.add("unit7", "note", {"words": evil, "about": evil[:100]})
    for page in ("/", "/cases/unit7", "/cases/unit7/road-test", "/trucks/unit%207"):
        text = client.get(page).text
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "&lt;script&gt;" in text


def test_the_table_for_spreadsheets_holds_no_formula(client, shop):
    shop.add("unit7", "note", {"words": '=HYPERLINK("x")', "about": "+1"})
    shop.add("unit7", "reading", {"quantity": "gauge_check_difference", "value": "-4 psi"})
    import csv
    import io

    text = client.get("/cases/unit7/readings.csv").content.decode("utf-8-sig")
    for row in csv.reader(io.StringIO(text)):
        assert all(cell[:1] not in ("=", "+", "-", "@", "\t") for cell in row), row


def test_where_from_leads_back_to_the_line(client):
    text = client.get("/cases/unit7/from/finding/0").text
    assert "/cases/unit7/from/entry/r0" in text
    entry = client.get("/cases/unit7/from/entry/r0").text
    assert "&#34;50 psi&#34;" in entry
    assert "Exactly as it is stored" in entry
    text = client.get("/cases/unit7/from/cause/fuel_low/pump_worn").text
    assert "judgement" in text


def test_the_finished_page_is_sent_once_and_pressed(client):
    settled(client)
    first = client.get("/cases/unit7", headers={"accept-encoding": "gzip"})
    assert first.headers["content-encoding"] == "gzip"
    again = client.get("/cases/unit7", headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    client.post("/cases/unit7/add/note", data={"words": "new"})
    fresh = client.get("/cases/unit7", headers={"if-none-match": first.headers["etag"]})
    assert fresh.status_code == 200


def test_no_page_shows_a_traceback(client, monkeypatch):
    from witnessmark.web.pages import pages_cases

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr(pages_cases, "ledger_page", broken)
    answer = client.get("/")
    assert answer.status_code == 500
    assert "secret inside" not in answer.text
    assert "Traceback" not in answer.text
    assert "failed on its own account" in answer.text


def test_odds_that_cannot_be_worked_out_leave_the_entries_readable(shop):
    from witnessmark.web.app import create_app

    def broken(_: str) -> None:
        raise ZeroDivisionError

    found = Client(create_app(shop, assess=broken))
    text = settled(found)
    assert "could not be worked out" in text
    assert "low fuel pressure, lazy up grades" in text
    found.close()


def test_stopping_and_resuming_the_work_on_the_odds(shop, monkeypatch):
    import threading

    from witnessmark.web.app import create_app
    from witnessmark.web.pages import pages_paper

    monkeypatch.setattr(pages_paper, "_PAPER_WAIT_S", 0.0)

    gate = threading.Event()
    assess = remembering(shop)

    def slow(case_id: str):
        gate.wait(PATIENCE_S)
        return assess(case_id)

    found = Client(create_app(shop, assess=slow))
    assert "Working out the odds" in found.get("/cases/unit7").text
    assert found.get("/cases/unit7/version").json()["working"] is True
    early = found.get("/cases/unit7/report")  # it comes by itself; nothing has to be tapped
    assert (early.status_code, early.headers["refresh"]) == (202, "3")
    assert "still being worked out" in found.get("/cases/unit7/torque-card").text
    found.post("/cases/unit7/stop")
    assert "was stopped" in found.get("/cases/unit7").text
    gate.set()
    found.post("/cases/unit7/resume")
    assert "Not clear yet" in settled(found)
    found.close()


def test_a_figure_that_the_shop_never_typed_is_not_saved_as_its_own(client, shop):
    from witnessmark.model.settings import Settings
    from witnessmark.workflow.case.shop_settings import own_figures, own_rates, settings_of

    def as_shown():
        page = client.get("/settings").text
        form = page[page.index('action="/settings/figures"') :]
        shown = re.findall(r'<input id="f-\w+" name="(\w+)" type="text" value="([^"]*)"', form)
        return dict(shown)

    shown = as_shown()
    assert set(shown.values()) == {""}
    assert f"({Settings().labour_usd_per_hour:g})" in client.get("/settings").text
    typed = {**shown, "labour_usd_per_hour": "126.5"}
    assert client.post("/settings/figures", data=typed).status_code == 303
    assert own_figures(shop) == {"labour_usd_per_hour": 126.5}
    assert own_rates(shop).diagnostic_fee_usd is None
    assert as_shown()["labour_usd_per_hour"] == "126.5"
    client.post("/settings/figures", data={**as_shown(), "tax_percent_parts": "0"})
    assert own_figures(shop) == {"labour_usd_per_hour": 126.5, "tax_percent_parts": 0.0}
    client.post("/settings/figures", data={**as_shown(), "labour_usd_per_hour": " "})
    assert settings_of(shop).labour_usd_per_hour == Settings().labour_usd_per_hour


def test_settings_are_kept_and_nonsense_is_refused(client, shop):
    from witnessmark.workflow.case.shop_settings import instruments_of, settings_of

    assert client.post("/settings/figures", data={"labour_usd_per_hour": "165"}).status_code == 303
    assert settings_of(shop).labour_usd_per_hour == 165
    assert client.post("/settings/figures", data={"labour_usd_per_hour": "abc"}).status_code == 422
    assert client.post("/settings/figures", data={"tax_percent_parts": "-1"}).status_code == 422
    form = {"id": "g2", "span": "60 psi", "accuracy": "2 % of span", "calibrated": "2026-01-05"}
    assert client.post("/settings/instruments", data=form).status_code == 303
    assert instruments_of(shop)[0].calibrated == "2026-01-05"
    assert client.post("/settings/instruments", data={"id": "g3", "span": "60"}).status_code == 422
    assert client.post("/settings/nonsense", data={}).status_code == 404


def test_the_owner_changes_a_share_with_a_reason_and_the_odds_follow(client):
    settled(client)
    before = client.get("/api/cases/unit7/assessment").json()
    form = {"cause": "return_regulator", "share": "60", "why": "four of the last six"}
    assert client.post("/knowledge/fuel_low", data=form | {"why": ""}).status_code == 422
    assert client.post("/knowledge/fuel_low", data=form).status_code == 303
    settled(client)
    after = client.get("/api/cases/unit7/assessment").json()

    def chance(found):
        rows = found["odds"][0]["causes"]
        return next(r["probability"] for r in rows if r["cause"] == "return_regulator")

    assert chance(after) > chance(before)
    assert "four of the last six" in client.get("/knowledge/fuel_low").text


def test_report_and_estimate_as_page_and_pdf(client, shop):
    settled(client)
    answer = client.get("/cases/unit7/report")
    assert answer.status_code == 200
    assert "low fuel pressure, lazy up grades" in answer.text
    assert "script" not in answer.headers["content-security-policy"]
    assert "sandbox" in answer.headers["content-security-policy"]
    assert "<script" not in answer.text
    for page in ("/cases/unit7/report.pdf", "/cases/unit7/report.pdf?quote=1"):
        paper = client.get(page)
        assert paper.headers["content-type"] == "application/pdf"
        assert paper.content.startswith(b"%PDF")
    shop.add("unit7", "complaint", {"words": "<script>alert(3)</script>", "families": []})
    settled(client)
    assert "<script" not in client.get("/cases/unit7/report").text
    assert client.get("/cases/unit7/report?quote=1").status_code == 200


def _sums(text):
    return set(re.findall(r"\$[\d,.]*\d", text))


def test_the_form_of_an_estimate_puts_no_price_into_a_line(client):
    page = client.get("/cases/unit7/add/quote?cause=return_regulator").text
    filled = re.findall(r'name="(line_\d+_(?:minutes|usd)|total_usd)"[^>]*value="([^"]*)"', page)
    assert len(filled) > 4
    assert {value for _, value in filled} == {""}


def test_an_estimate_has_a_sum_once_somebody_has_priced_every_line(client, shop):
    form = {"line_0": "regulator", "line_0_usd": "61", "line_1": "drive it again"}
    assert client.post("/cases/unit7/add/quote", data=form).status_code == 303
    stored = json.loads(shop.case("unit7").entries[-1].line)["data"]
    assert "total_usd" not in stored, "missing is not zero"
    assert "no sum yet" in client.get("/cases/unit7").text
    settled(client)
    paper = client.get("/cases/unit7/report?quote=1").text
    assert "not priced yet" in paper
    assert _sums(paper) == {"$61.00"}
    save_settings(shop, {"labour_usd_per_hour": "126"})
    form["line_1_minutes"] = "20"
    assert client.post("/cases/unit7/add/quote", data={**form, "rate": "126"}).status_code == 303
    assert json.loads(shop.case("unit7").entries[-1].line)["data"]["total_usd"] == 103
    settled(client)
    paper = client.get("/cases/unit7/report?quote=1").text
    assert "not priced yet" not in paper
    assert _sums(paper) == {"$61.00", "$42.00", "$103.00", "$126.00"}


def test_what_the_customer_s_link_shows_holds_no_money(client, shop):
    settled(client)
    form = {"line_0": "regulator", "line_0_usd": "61"}
    client.post("/cases/unit7/add/quote", data=form)
    seen = client.get(f"/c/{customer_token(shop, 'unit7', 3)}")
    assert seen.status_code == 200
    assert not _sums(seen.text)


def test_what_work_usually_comes_to_stands_at_the_bench_only(client):
    settled(client)
    bench = client.get("/cases/unit7/add/quote?cause=return_regulator").text
    assert "advice for the shop, on no paper" in bench
    assert _sums(bench)
    paper = client.get("/cases/unit7/report?quote=1").text
    assert not _sums(paper)


def test_a_complaint_without_a_family_is_asked_what_it_is_about(client, shop):
    form = {"entry_id": "enew43", "words": "runs hot on the hill", "label": "Unit 13"}
    where = client.post("/new", data=form).headers["location"]
    assert where.endswith("/about/enew43")
    case_id = where.split("/")[2]
    assert shop.case(case_id).families() == ()
    text = client.get(where).text
    assert "True overheating" in text
    assert "heard: " in text
    assert " checked" not in text, "nothing is ticked before a person says so"
    assert "What is it about?" in client.get(f"/cases/{case_id}").text
    sent = {"entry_id": "eabout1", "families": ["overheat"]}
    assert client.post(where, data=sent).headers["location"] == f"/cases/{case_id}"
    client.post(where, data=sent)
    case = shop.case(case_id)
    assert case.families() == ("overheat",)
    assert [d.words for _, d in case.complaints()] == ["runs hot on the hill"]
    assert "No family was named" in client.post(f"/cases/{case_id}/about/eabout1").text


def test_a_second_complaint_starts_empty(client):
    text = client.get("/cases/unit7/add/complaint").text
    assert 'name="families"' in text
    assert " checked" not in text


def test_a_link_on_loopback_says_so_and_offers_the_network_s_address(client, monkeypatch):
    monkeypatch.setattr("witnessmark.web.pages.pages_paper.own_address", lambda: "192.0.2.44")
    made = client.post("/cases/unit7/hand-over", data={"days": "3"}).text
    assert "works on this machine only" in made
    assert "Do not send it like this" in made
    assert "https://192.0.2.44" in made
    monkeypatch.setattr("witnessmark.web.pages.pages_paper.own_address", lambda: "127.0.0.1")
    assert "in no network now" in client.get("/cases/unit7/hand-over").text


def test_a_trouble_code_is_written_down_and_said(client, shop):
    form = {"spn": "94", "fmi": "18", "count": "2", "active": "yes", "lamp": "amber warning"}
    answer = client.post("/cases/unit7/add/code", data={"entry_id": "ecode1", **form})
    assert answer.headers["location"] == "/cases/unit7"
    stored = next(e for e in shop.case("unit7").live() if e.id == "ecode1")
    assert json.loads(stored.line)["data"] == {
        "spn": 94, "fmi": 18, "count": 2, "active": True, "lamp": "amber warning",
    }  # fmt: skip
    text = settled(client, "unit7")
    assert "SPN 94 FMI 18 (active, 2 times, amber warning lamp on): fuel supply pressure" in text
    assert "Trouble code: SPN 94 FMI 18" in text
    for wrong, said in (({"fmi": "x"}, "not a whole number"), ({"spn": ""}, "one is missing"),
                        ({"fmi": "40"}, "less than or equal to 31")):  # fmt: skip
        refused = client.post("/cases/unit7/add/code", data={**form, **wrong})
        assert refused.status_code == 422
        assert said in refused.text


def test_what_the_engine_did_is_told_and_no_speed_is_made_of_it(client, shop):
    form = {
        "quantity": "battery_voltage", "number": "9.8", "unit": "V", "rpm": "700",
        "load": "none", "warm": "no", "engine": "cranking", "then": "done",
    }  # fmt: skip
    answer = client.post("/cases/unit7/reading", data={"entry_id": "ecrank1", **form})
    assert answer.status_code == 303
    stored = next(e for e in shop.case("unit7").live() if e.id == "ecrank1")
    assert json.loads(stored.line)["data"]["point"] == {"engine": "cranking", "warm": False}
    wrong = client.post("/cases/unit7/reading", data={**form, "engine": "flying"})
    assert wrong.status_code == 422


def test_take_it_back_takes_back_that_entry_or_nothing(client, shop):
    before = len(shop.case("unit7").entries)
    page = client.get("/cases/unit7/add/retract?entry=no_such").text
    assert " selected" not in page[page.index('id="f-entry"') :].split("</select>")[0]
    for entry in ("", "no_such"):
        form = {"entry_id": "eback0", "entry": entry, "why": "gauge not zeroed"}
        refused = client.post("/cases/unit7/add/retract", data=form)
        assert refused.status_code == 422
        assert "gauge not zeroed" in refused.text, "what was typed stays typed"
    assert len(shop.case("unit7").entries) == before
    form = {"entry_id": "eback1", "entry": "r0", "why": "gauge not zeroed"}
    for _ in range(2):
        assert client.post("/cases/unit7/add/retract", data=form).status_code == 303
    again = client.post("/cases/unit7/add/retract", data=form | {"entry_id": "eback2"})
    assert again.status_code == 422
    assert len(shop.case("unit7").entries) == before + 1


def test_the_walk_round_shows_a_check_of_several_families_once(client, shop):
    shop.add(
        "unit7",
        "complaint",
        {"words": "no pull", "families": ["low_power", "egr_fault"]},
        entry_id="e9",
    )
    knowledge = knowledge_of(shop, shop.case("unit7"))
    own = {t.id: t for f in shop.case("unit7").families() for t in knowledge.families[f].tests}
    pairs = [(a, b) for a in own for b in own[a].same_as if b in own]
    assert pairs, "the two families share a check"
    text = client.get("/cases/unit7/looked").text
    shown = re.findall(r'<details class="check" id="([^"]+)"', text)
    assert len(shown) == len(set(shown))
    for a, b in pairs:
        assert (a in shown) != (b in shown), "once"
        assert f'id="{a}"' in text, "and a link to the other leads there too"
        assert f'id="{b}"' in text
    rows = walk_round(shop.case("unit7"), knowledge)
    checks = [c for r in rows for _, group in r.places for c in group]
    assert {i for c in checks for i in (c.id, *c.alike)} == set(own), "none is lost"
    states = [r.words for r in rows]
    assert states[0] == "Engine off", "as one walks: first what needs nothing"
    form = {"entry_id": "w1"}
    check = next(c for c in checks if c.alike)
    test, result, _ = check.options[-1]
    form |= {f"test.{check.id}": f"{test}/{result}", f"value.{check.id}": "12 psi"}
    form[f"note.{check.id}"] = "left side"
    for _ in range(2):
        assert client.post("/cases/unit7/looked", data=form).status_code == 303
    [made] = [d for _, d in shop.case("unit7").of(TestData)]
    assert (made.test, made.result, made.value, made.note) == (test, result, "12 psi", "left side")
    found = client.get("/cases/unit7/looked?q=nothing+says+this").text
    assert "No look or test says" in found
    found = client.get("/cases/unit7/looked?q=" + check.test.name.split()[0]).text
    assert f'id="{check.id}"' in found, "found without script"
    assert found.count('class="check"') < text.count('class="check"')


def test_one_job_may_deal_with_several_causes(client, shop):
    form = {
        "entry_id": "w1",
        "cause": "return_regulator",
        "also": ["pump_relief", "return_regulator"],
        "did": "renewed",
        "minutes": "50",
    }
    for _ in range(2):
        assert client.post("/cases/unit7/add/work", data=form).status_code == 303
    made = [(d.cause, d.did, d.minutes) for _, d in shop.case("unit7").of(WorkData)]
    assert made == [("return_regulator", "renewed", 50.0), ("pump_relief", "renewed", None)]


def test_parts_job_cards_the_day_after_and_what_leaves_the_shop(client, shop):
    settled(client)
    shop.add("unit7", "quote", {"lines": [{"what": "relief valve", "usd": 88, "risk": "soon",
                                           "cause": "pump_relief"}]})  # fmt: skip
    part = {"name": "plug seal", "state": "ordered", "cause": "pump_relief", "core_usd": "20"}
    assert client.post("/cases/unit7/add/part", data=part).status_code == 303
    parts = client.get("/cases/unit7/parts").text
    assert "plug seal" in parts
    assert "ask the counter" in parts
    cards = client.get("/cases/unit7/job-cards").text
    assert "Order of work" in cards
    assert "Pressurised fuel goes through skin" in cards
    assert "plug seal" in client.get("/after").text
    invoice = client.get("/cases/unit7/invoice.csv")
    assert "relief valve" in invoice.text
    assert client.post("/cases/unit7/add/part", data={"state": "ordered"}).status_code == 422
    settled(client)
    assert client.get("/cases/unit7/warranty.zip").content.startswith(b"PK")
    assert "The estimate (not the bill)" in client.get("/cases/unit7/report").text
    assert "Usted nos dijo" in client.get("/cases/unit7/report?language=es").text


def test_a_yes_comes_by_file_and_by_link_and_a_spoiled_one_is_refused(client, shop):
    shop.add("unit7", "quote", {"lines": [{"what": "relief valve", "usd": 88}, {"what": "hose"}]})
    page = client.post("/cases/unit7/ask", data={"days": "3"})
    assert page.headers["content-disposition"].startswith("attachment")
    known = json.loads(re.search(r'id="known">(.*?)</script>', page.text)[1])
    lines = [{"line": 1, "granted": True}, {"line": 2, "granted": False}]
    saved = json.dumps(known | {"name": "R. Sample", "lines": lines})
    sent = client.post("/cases/unit7/customer-answer", files={"answer": ("answer.json", saved)})
    assert sent.status_code == 303, sent.text
    stored = json.loads(shop.case("unit7").entries[-1].line)["data"]
    assert (stored["by"], stored["lines"]) == ("R. Sample", lines)
    count = len(shop.case("unit7").entries)
    spoiled = client.post("/cases/unit7/customer-answer", files={"answer": ("answer.json", "{}")})
    assert spoiled.status_code == 422
    assert len(shop.case("unit7").entries) == count
    link = f"/c/{customer_token(shop, 'unit7', 3)}/estimate"
    shown = client.get(link)
    assert "script" not in shown.headers["content-security-policy"]
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', shown.text))
    form = fields | {"name": "R. Sample", "line_1": "no", "line_2": "no"}
    assert client.post(link, data=form).status_code == 200
    assert json.loads(shop.case("unit7").entries[-1].line)["data"]["granted"] is False
    assert client.post(link, data=fields | {"name": "R. Sample"}).status_code == 422
    assert link.split("/")[2] not in shop.export("unit7"), "the link's secret is stored nowhere"


def test_the_ledger_knows_parts_days_and_closings(client):
    post = client.post
    part = {"name": "regulator", "state": "promised", "on": "2026-03-04"}
    assert post("/cases/unit7/add/part", data={**part, "entry_id": "p1"}).status_code == 303
    assert "regulator, promised for 2026-03-04" in client.get("/").text
    post("/cases/unit7/add/part", data={**part, "state": "arrived", "entry_id": "p2"})
    assert "Waits for a part" not in client.get("/").text
    for kind, form, said in (
        ("visit", {"odometer_in": "640,120"}, "640,120 mi in"),
        ("labour", {"start": "07:15", "job": "wiring"}, "Hours: from 07:15, wiring"),
        ("inspect", {"point": "tire left front", "value": "9/32 in"}, "tire left front: 9/32 in"),
        ("decline", {"words": "shocks", "risk": "watch"}, "Declined: shocks (watch it)"),
    ):
        assert client.get(f"/cases/unit7/add/{kind}").status_code == 200
        assert post(f"/cases/unit7/add/{kind}", data=form).status_code == 303
        assert said in settled(client)
        assert post(f"/cases/unit7/add/{kind}", data={}).status_code == 422
    close = {"complaint": "e2", "how": "not_found", "why": "not there on two drives"}
    assert post("/cases/unit7/add/close", data=close).status_code == 303
    assert "1 closed case" in client.get("/").text


def test_a_truck_by_two_names_is_merged_and_what_comes_back_is_said(client, shop):
    earlier = [
        line.replace("2026-03-02T08:00:00Z", "2026-01-20T08:00:00Z")
        for line in fuel_lines("no. 7")[:2]
    ]
    shop.new_case("older", earlier)
    text = settled(client)
    assert "Was here 41 days before" in text, "20 January to 2 March"
    assert "with the same complaint" in text
    classed = "/cases/unit7/add/outcome?earlier_case=older"
    assert f'href="{classed}"' in text
    form = client.get(classed).text
    assert "<details open><summary>It came back" in form
    assert 'name="earlier_case" type="text" value="older"' in form
    assert "Was here" not in settled(client, "older")
    page = client.get("/trucks").text
    assert "The same as unit 7: call it that" in page
    merge = {"label": "no. 7", "into": "unit 7"}
    assert client.post("/trucks-merge", data=merge).status_code == 303
    assert [r.label for r in trucks(shop)] == ["unit 7"]
    assert trucks(shop)[0].visits == 2
    assert client.post("/trucks-merge", data=merge).status_code == 422


def test_who_works_at_this_machine_signs_every_entry(client, shop):
    save_person(shop, Person("Ina Example"))
    client.post("/worker", data={"worker": "Ina Example", "back": "/"})
    client.post("/cases/unit7/add/note", data={"words": "heard it too", "entry_id": "n1"})
    assert ("n1", "Ina Example") in [(i, by) for i, _, by in shop.casebook.log("unit7")]
    client.post("/worker", data={"worker": "Nobody Known", "back": "/"})
    client.post("/cases/unit7/add/note", data={"words": "and again", "entry_id": "n2"})
    assert ("n2", None) in [(i, by or None) for i, _, by in shop.casebook.log("unit7")]


def test_answers_line_by_line_are_those_of_the_chosen_estimate(client, shop):
    lines = [{"what": "relief valve", "usd": 88}, {"what": "hose", "usd": 60}]
    first = shop.add("unit7", "quote", {"lines": lines}).id
    last = shop.add("unit7", "quote", {"lines": lines[::-1]}).id
    page = client.get("/cases/unit7/add/approval").text
    assert f'name="lines_of" value="{last}"' in page
    form = {"by": "A. Example", "how": "phone", "called": "555 0100", "granted": "yes",
            "answer_2": "no", "answer_2_risk": "soon", "lines_of": last}  # fmt: skip
    count = len(shop.case("unit7").entries)
    wrong = client.post("/cases/unit7/add/approval", data=form | {"quote": first})
    assert wrong.status_code == 422
    assert "another estimate" in wrong.text
    assert len(shop.case("unit7").entries) == count
    right = client.post("/cases/unit7/add/approval", data=form | {"quote": last})
    assert right.status_code == 303
    stored = json.loads(shop.case("unit7").entries[-1].line)["data"]
    assert stored["lines"] == [{"line": 2, "granted": False, "risk": "soon"}]
    assert stored["called"] == "555 0100"
    assert (
        f"/c/{(token := customer_token(shop, 'unit7', 3))}/estimate"
        in client.get(f"/c/{token}").text
    )


def test_the_head_of_the_papers_is_the_shop_s_own(client):
    settled(client)
    head = {"address": "12 Example Road <b>", "phone": "555 0100", "licence": "0000",
            "warranty": "90 days"}  # fmt: skip
    assert client.post("/settings/paper", data=head).status_code == 303
    settled(client)
    page = client.get("/cases/unit7/report").text
    assert "12 Example Road &lt;b&gt; · 555 0100 · licence 0000" in page
    assert "90 days" in page
    long = client.post("/settings/paper", data=head | {"warranty": "x" * 401})
    assert long.status_code == 422
    assert "90 days" in client.get("/settings").text


def _late(entry_id, waited_s=0, unseen_s=0, own=""):
    headers = {"x-witnessmark": "queue", "x-witnessmark-entry": entry_id}
    headers |= {"x-witnessmark-age": str(waited_s), "x-witnessmark-seen": str(unseen_s)}
    return headers | {"x-witnessmark-own": own}


def _read_idle(client, entry_id, number, **late):
    form = {"entry_id": entry_id, "quantity": "fuel_gallery_pressure", "number": number}
    form |= {"unit": "psi", "rpm": "idle", "then": "done"}
    return client.post("/cases/unit7/reading", data=form, headers=_late(entry_id, **late)).json()


def test_two_devices_that_did_not_see_each_other_are_both_kept_and_said(client, shop):
    assert "met" not in _read_idle(client, "e1a", "50", waited_s=10, unseen_s=0)
    assert "met" not in _read_idle(client, "e1b", "50", unseen_s=600), "the same is no conflict"
    assert "met" not in _read_idle(client, "e1c", "52", unseen_s=600, own="e1a,e1b"), "its own"
    met = _read_idle(client, "e1d", "61", waited_s=500, unseen_s=600, own="")["met"]
    assert "after the secondary filter 52 psi at idle”" in met
    again = _read_idle(client, "e1d", "61", waited_s=900, unseen_s=1000)
    assert again["met"] == met, "sent twice it is stored once"
    case = shop.case("unit7")
    assert [e.id for e in case.entries if e.id[:2] == "e1" and len(e.id) == 3] == [
        "e1a", "e1b", "e1c", "e1d"
    ]  # fmt: skip
    made = next(e for e in case.entries if e.id == "e1d")
    before = next(e for e in case.entries if e.id == "e1c")
    assert made.at < before.at, "it was made before it came in"
    page = settled(client)
    assert "Entered on two devices, not alike" in page
    shop.add("unit7", "retract", {"entry": "e1c", "why": "read again"})
    assert "Entered on two devices" not in settled(client), "until one of them is taken back"


def test_a_reading_that_waited_over_the_work_says_on_which_side_it_stands(client, shop):
    shop.add("unit7", "work", {"cause": "filter", "did": "renewed"}, entry_id="w1")
    met = _read_idle(client, "e2a", "50", waited_s=500, unseen_s=600)["met"]
    assert "came in after it" in met
    assert "met" not in _read_idle(client, "e2b", "50", waited_s=0, unseen_s=600)


def test_a_line_that_waited_is_a_note_until_it_is_read(client):
    form = {"entry_id": "e3", "about": "said_line", "words": "oil pressure 31 psi hot idle"}
    assert client.post("/cases/unit7/add/note", data=form, headers=_late("e3")).json()
    page = settled(client)
    assert "A line waits to be read" in page
    assert 'href="/cases/unit7/say?line=oil%20pressure%2031%20psi%20hot%20idle&amp;of=e3"' in page
