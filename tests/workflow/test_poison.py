"""No entry can break a case: refused at the door, or left out and named while the rest goes on."""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from pathlib import Path

import pytest

from web.bench_page import Client
from witnessmark.analyses.inspecting.places import places_of
from witnessmark.errors import EntryRefused, InputRefused, NotFound
from witnessmark.model.entries.case import read_case
from witnessmark.model.entries.entry import parse_entry
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.web.app import create_app
from witnessmark.web.bench.desk import Desk
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.dossier.around_poison import around_poison, hiding
from witnessmark.workflow.shop.worker import Died, Worker

AT = "2026-03-02T08:00:00Z"


def line(data: str, kind: str = "note") -> str:
    return f'{{"kind":"{kind}","id":"x1","at":"{AT}","data":{data}}}'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (line('{"words":"\\ud800"}'), "half a character"),
        (line('{"words":"a\\u0000b"}'), "control character U\\+0000"),
        (line('{"words":"x","more":{"\\u001b":1}}'), "control character U\\+001B"),
        (line('{"words":"x","more":' + "[" * 40 + "]" * 40 + "}"), "nested deeper"),
        (line('{"words":"x","more":[' + "1," * 30_000 + "1]}"), "more than"),
        (line('{"words":"x","more":"' + "y" * 200_000 + '"}'), "more than"),
        (line('{"words":"x","more":1' + "0" * 400 + "}"), "more digits"),
        (line('{"words":"x","more":' + "[" * 100_000), "nested too deeply|not whole JSON"),
        (line('{"words":"x","more":' + "1" * 5000 + "}"), "not whole JSON|more digits"),
        (line('{"words":"x","due":{"hours":false}}'), "data.due.hours: a number is needed"),
        (line('{"did":"x","minutes":true}', "work"), "data.minutes: a number is needed"),
        (line('{"path":"x","on_report":0}', "photo"), "data.on_report: true or false is needed"),
        (line('{"words":"x"}').replace("2026", "9999"), "not a date and time"),
        (line('{"words":"x"}').replace("2026", "0001"), "not a date and time"),
        (line('{"words":"x"}').replace("2026", "1899"), "not a date and time"),
    ],
)
def test_what_breaks_readers_is_refused_at_the_door_and_damaged_where_it_lies(text, words):
    with pytest.raises(EntryRefused, match=words):
        parse_entry(text)
    case = read_case("c1", [text, entry_line("note", {"words": "good"}, entry_id="e2", at=AT)])
    assert [e.id for e in case.entries] == ["e2"]
    assert case.damaged == ((0, text),)
    assert len(case.problems) == 1


def _no_odds(_: str):
    raise InputRefused("No odds are needed here.")


@pytest.fixture
def shop(tmp_path: Path):
    found = open_shop(tmp_path / "shop", create=True)
    found.new_case("c1", [entry_line("note", {"words": "first"}, entry_id="e1", at=AT)])
    yield found
    found.close()


@pytest.mark.parametrize(
    ("words", "taken"),
    [
        ("paid \u202e05 DSU", False),
        ("\u2066open for ever", False),
        ("closed \u2069 without opening", False),
        ("\u2068\u05d0\u05d1\u2069 a name between its marks", True),
        ("\u05d0\u05d1 plain", True),
        ("\u202a\u202b\u202a\u202b\u202ax\u202c\u202c\u202c\u202c\u202c", False),
    ],
)
def test_marks_that_turn_the_direction_of_reading(shop: Shop, words: str, taken: bool) -> None:
    if taken:
        shop.add("c1", "note", {"words": words})
    else:
        with pytest.raises(EntryRefused, match="direction of reading"):
            shop.add("c1", "note", {"words": words})
    assert shop.casebook.count("c1") == 1 + taken


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("clock", {"does": "start", "person": "Ann", "job": "diagnosis"}),
        ("certificate", {"inspector": "Ann", "accurate": True}),
    ],
)
@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00"])
def test_a_time_at_the_ends_of_the_calendar_closes_no_page(shop: Shop, kind, data, at) -> None:
    shop.new_case("c2", [json.dumps({"kind": kind, "id": "x1", "at": at, "data": data})])
    client = Client(create_app(shop, assess=_no_odds))
    try:
        for page in ("/", "/clock", "/cases/c2", "/cases/c2/inspection", "/cases/c2/shift"):
            assert client.get(page).status_code == 200, page
        assert "not a date and time" in client.get("/cases/c2").text
    finally:
        client.close()


def test_an_answer_beside_a_reading_that_is_no_figure_is_passed_over(shop: Shop) -> None:
    head = {"vehicle": "tractor", "axles": 2}
    read = {"point": "stroke", "value": "1 in", "place": "a1l", "given": {"tanks": "plenty"}}
    shop.append(
        "c1",
        [
            entry_line("inspection", head, entry_id="h", at=AT),
            entry_line("inspect", read, entry_id="r", at=AT),
        ],
    )
    client = Client(create_app(shop, assess=_no_odds))
    try:
        for page in ("", "/paper", "/sign", "/read/stroke"):
            assert client.get(f"/cases/c1/inspection{page}").status_code == 200, page
    finally:
        client.close()


@pytest.mark.parametrize(("vehicle", "taken"), [("tractor", False), ("trailer", True)])
def test_a_head_without_a_steering_axle_closes_no_inspection(shop: Shop, vehicle, taken) -> None:
    head = {"vehicle": vehicle, "axles": 2, "steer_axles": 0}
    text = json.dumps({"kind": "inspection", "id": "h", "at": AT, "data": head})
    shop.new_case("c2", [text])
    assert bool(shop.case("c2").damaged) is not taken
    client = Client(create_app(shop, assess=_no_odds))
    try:
        assert client.get("/cases/c2/inspection").status_code == 200
    finally:
        client.close()
    assert places_of("steer_sides", InspectionData(vehicle="trailer", axles=2)) == ("",)


def test_a_case_name_that_is_none_reaches_no_database(shop: Shop) -> None:
    for name in ("\x00", "a\x00b", "\ud800", "../x", "x" * 500, "a b", ""):
        for ask in (shop.case, shop.casebook.count, shop.casebook.lines):
            with pytest.raises(NotFound):
                ask(name)
        with pytest.raises(NotFound):
            shop.add(name, "note", {"words": "x"})


def test_the_entries_that_break_the_work_are_found_and_left_out() -> None:
    ids = [f"e{n}" for n in range(200)]
    tried = []

    def work(hidden: frozenset[str]) -> frozenset[str]:
        tried.append(hidden)
        if {"e17", "e150"} - hidden:
            raise ZeroDivisionError
        return hidden

    assert around_poison(work, ids) == {"e17", "e150"}
    assert len(tried) < 30


def test_a_fault_that_no_entry_makes_is_passed_on() -> None:
    def work(_: frozenset[str]) -> None:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        around_poison(work, ["a", "b"])

    def all_of_them(hidden: frozenset[str]) -> None:
        if len(hidden) < 99:
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        around_poison(all_of_them, [f"e{n}" for n in range(99)])


def test_what_is_left_out_is_named(shop: Shop) -> None:
    shop.add("c1", "note", {"words": "second"}, entry_id="e2", at=AT)
    found = hiding(shop, frozenset({"e1"})).case("c1")
    assert [e.id for e in found.entries] == ["e2"]
    (problem,) = found.problems
    assert problem.where == "e1"
    assert "damaged" in problem.what


def test_a_worker_that_dies_says_so_and_is_not_started_again_and_again(shop: Shop) -> None:
    complaint = {"words": "oil pressure low (invented)", "families": ["oil_press"]}
    shop.append("c1", [entry_line("complaint", complaint, entry_id="c", at=AT)])
    worker = Worker(shop.folder)
    calls = []

    def work(case_id: str):
        calls.append(case_id)

        def end():
            while worker._child is None:
                time.sleep(0.01)
            os.kill(worker._child.pid, signal.SIGKILL)

        threading.Thread(target=end, daemon=True).start()
        return worker(case_id)

    desk = Desk(shop, work, worker.stop)
    try:
        found = desk.look("c1", wait_s=60)
        assert "ended by itself (signal 9)" in found.trouble
        for _ in range(50):
            assert desk.look("c1").trouble
        assert calls == ["c1"]
    finally:
        desk.close()


def test_a_case_that_takes_too_long_is_given_up(shop: Shop) -> None:
    worker = Worker(shop.folder, limit_s=0.05)
    with pytest.raises(Died, match="not worked out within"):
        worker("c1")
    worker.stop()


def test_a_stored_poison_entry_is_shown_and_the_rest_goes_on(tmp_path: Path) -> None:
    """Lines that an earlier version let in, written past the door."""
    from witnessmark.workflow.dossier.around_poison import assess_around_poison

    shop = open_shop(tmp_path / "old", create=True)
    bad = line('{"words":"\\ud800"}')
    good = entry_line("note", {"words": "good"}, entry_id="e2", at=AT)
    shop.new_case("c1", [bad, good])
    found = assess_around_poison(shop, "c1", lambda a: a)
    assert [e.id for e in found.case.entries] == ["e2"]
    assert any("half a character" in p.what for p in found.problems)
    assert json.loads(shop.export("c1").splitlines()[0])["id"] == "x1"
    shop.close()


def test_what_stands_in_one_case_breaks_no_other(tmp_path: Path, monkeypatch) -> None:
    """Times without an offset, a job of no time at all, and a case whose lesson cannot be read."""
    from witnessmark.inference.shop_history import job_costs, job_times
    from witnessmark.model.entries.case import Case
    from witnessmark.workflow.dossier import learnt_for_case, lessons_kept
    from witnessmark.workflow.shop import ledger_pages
    from witnessmark.workflow.shop.trucks import comebacks

    shop = open_shop(tmp_path / "two", create=True)
    truck = {"label": "unit 7"}
    quote = {"lines": [{"what": "pump", "minutes": 90, "usd": 300, "cause": "pump_worn"}]}

    def visit(name: str, at: str, minutes: float, usd: float) -> None:
        complaint = {"words": "low (invented)", "families": ["oil_press"]}
        part = {"name": "pump", "quantity": 1, "usd": usd}
        work = {"did": "pump", "cause": "pump_worn", "minutes": minutes, "parts": [part]}
        lines = (("truck", truck), ("complaint", complaint), ("quote", quote), ("work", work))
        shop.new_case(name, [entry_line(k, d, entry_id=k, at=at) for k, d in lines])

    visit("plain", "2026-03-02 08:00", 5e-324, 1e-300)
    visit("zoned", "2026-03-04T08:00:00+14:00", 180, 600)
    assert [c.case for c in comebacks(shop, shop.case("zoned"), shop.case)] == ["plain"]
    assert comebacks(shop, shop.case("plain"), shop.case) == ()
    history, _ = learnt_for_case.learnt(shop, Case("", ()))
    assert [len(history.jobs)] == [2]
    for ratio in (job_times(history), job_costs(history)):
        assert ratio is not None
        assert (ratio.jobs, ratio.median) == (1, pytest.approx(2.0))

    whole = learnt_for_case.history_of
    monkeypatch.setattr(
        learnt_for_case,
        "history_of",
        lambda cases, **rest: 1 / 0 if cases[0][0].id == "plain" else whole(cases, **rest),
    )
    monkeypatch.setattr(
        ledger_pages, "row_of", lambda case: 1 / 0 if case.id == "plain" else _row(case)
    )
    lessons_kept._HELD.clear()
    monkeypatch.setenv("WITNESSMARK_CACHE", "")
    history, _ = learnt_for_case.learnt(shop, Case("", ()))
    assert [job.case for job in history.jobs] == ["zoned"]
    assert {row.case for row in ledger_pages.every_row(shop)} == {"plain", "zoned"}
    shop.close()


def _row(case):
    from witnessmark.workflow.shop.ledger import row_of

    return row_of(case)


@pytest.mark.parametrize(
    ("quantity", "value", "asked"),
    [
        ("fuel_gallery_pressure", "6 psi", "read in bar"),
        ("fuel_gallery_pressure", "71 kPa", "read in psi"),
        ("fuel_gallery_pressure", "131 psi", "second gauge"),
        ("fuel_return_flow", "2.2 L/h", "L/min"),
    ],
)
def test_a_fuel_reading_that_hardly_can_be_is_asked_about_at_the_door(shop, quantity, value, asked):
    shop.add("c1", "complaint", {"words": "low", "families": ["fuel_low"]})
    data = {"quantity": quantity, "value": value, "point": {"rpm": 700, "load": "none"}}
    before = len(shop.case("c1").entries)
    with pytest.raises(EntryRefused) as refused:
        shop.add("c1", "reading", data)
    assert asked in refused.value.do
    assert f"'about {value}'" in refused.value.do
    assert len(shop.case("c1").entries) == before
    shop.add("c1", "reading", {**data, "value": f"about {value}"})
    shop.add("c1", "reading", {**data, "quantity": "fuel_gallery_pressure", "value": "66 psi"})
    assert len(shop.case("c1").entries) == before + 2
