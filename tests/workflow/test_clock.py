"""Time by start and stop: a forgotten stop, two at once, corrections, two people, wrong clocks."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from witnessmark.errors import InputRefused
from witnessmark.model.entries.case import Case, read_case
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.clocked import Clocked, clock_of, hands_on_minutes
from witnessmark.workflow.shop.on_the_clock import (
    clock_json,
    clock_rows,
    names_of_jobs,
    on_the_clock,
    press,
)

Row = tuple[str, str, dict[str, Any]]


def at(time: str, day: int = 2) -> str:
    return f"2026-03-{day:02d}T{time}:00Z"


def case_of(*rows: Row) -> Case:
    """Return a case of (id, time, data) clock entries; others say their kind."""
    lines = []
    for identity, time, data in rows:
        kind = data.get("kind", "clock")
        plain = {k: v for k, v in data.items() if k != "kind"}
        lines.append(json.dumps({"kind": kind, "id": identity, "at": time, "data": plain}))
    found = read_case("c", lines)
    assert not found.problems
    return found


def start(job: str = "valve", person: str = "Ann", **more: Any) -> dict[str, Any]:
    return {"does": "start", "person": person, "job": job, **more}


def stop(person: str = "Ann", **more: Any) -> dict[str, Any]:
    return {"does": "stop", "person": person, **more}


def seen(case: Case, now: str) -> Clocked:
    return clock_of(case, datetime.fromisoformat(now), UTC)


def sums(case: Case, now: str = at("18:00")) -> dict[tuple[str, str], float]:
    return {(s.person, s.job): s.minutes for s in seen(case, now).sums()}


def test_a_new_job_ends_the_former_and_a_stop_names_its_job():
    case = case_of(
        ("a", at("08:00"), start()), ("b", at("09:10"), start("diagnosis")),
        ("c", at("09:20"), start("diagnosis")), ("d", at("09:40"), stop(job="diagnosis")),
    )  # fmt: skip
    assert sums(case) == {("Ann", "valve"): 70, ("Ann", "diagnosis"): 30}, "pressed twice is once"
    running = seen(case_of(("a", at("08:00"), start())), at("08:35"))
    assert [(s.minutes, s.state) for s in running.spans] == [(35, "running")]


def test_both_count_half_unless_told_otherwise():
    both = [("a", at("08:00"), start()), ("b", at("09:00"), start("regen", both=True)),
            ("c", at("10:00"), stop(job="regen")), ("d", at("10:30"), stop())]  # fmt: skip
    assert sums(case_of(*both)) == {("Ann", "valve"): 60 + 30 + 30, ("Ann", "regen"): 30}
    assert [s.beside for s in seen(case_of(*both), at("18:00")).spans] == [True, True]
    both[1] = ("b", at("09:00"), start("regen", both=True, share=0.25))
    assert sums(case_of(*both)) == {("Ann", "valve"): 60 + 45 + 30, ("Ann", "regen"): 15}
    three = case_of(*(("abc"[i], at("08:00"), start(f"j{i}", both=i > 0)) for i in range(3)),
                    ("d", at("09:00"), stop()))  # fmt: skip
    assert sums(three) == pytest.approx({("Ann", f"j{i}"): 20 for i in range(3)})


@pytest.mark.parametrize(
    ("begun", "now", "state"),
    [
        (at("06:00"), at("17:59"), "running"),
        (at("06:00"), at("18:01"), "asked"),  # over 12 h
        (at("23:00"), at("23:59"), "running"),
        (at("23:00"), at("00:01", 3), "asked"),  # past midnight
    ],
)
def test_a_forgotten_stop_is_asked_and_counts_nothing_until_answered(begun, now, state):
    case = case_of(("a", begun, start()))
    (span,) = seen(case, now).spans
    assert span.state == state
    assert (span.minutes == 0) == (state == "asked")


def test_the_next_morning_ends_nothing_and_the_answer_counts():
    rows = [("a", at("15:00"), start()), ("b", at("07:30", 3), start("diagnosis")),
            ("c", at("08:00", 3), stop())]  # fmt: skip
    assert sums(case_of(*rows), at("09:00", 3)) == {("Ann", "valve"): 0, ("Ann", "diagnosis"): 30}
    assert [s.why for s in seen(case_of(*rows), at("09:00", 3)).asked] == ["forgotten"]
    said = case_of(*rows, ("d", at("16:45"), stop(of="a")))
    assert sums(said, at("09:00", 3))["Ann", "valve"] == 105
    night = case_of(("a", at("22:00"), start()), ("b", at("02:00", 3), stop(of="a")))
    assert sums(night, at("09:00", 3)) == {("Ann", "valve"): 240}, "said by somebody: by night too"
    days = case_of(("a", at("08:00"), start()), ("b", at("08:01", 3), stop(of="a")))
    assert seen(days, at("09:00", 3)).asked, "nobody works for a day"


def test_the_midnight_is_the_shops_own():
    from zoneinfo import ZoneInfo

    case = case_of(("a", at("23:30"), start()), ("b", at("00:30", 3), stop()))
    now = datetime.fromisoformat(at("09:00", 3))
    assert clock_of(case, now, UTC).asked
    assert clock_of(case, now, ZoneInfo("America/Chicago")).spans[0].minutes == 60


def test_a_later_entry_corrects_and_a_retraction_takes_out():
    rows = [("a", at("08:00"), start()), ("b", at("10:00"), stop())]
    moved = [*rows, ("c", at("08:30"), {"does": "start", "person": "Ann", "of": "a"}),
             ("d", at("09:45"), stop(of="b"))]  # fmt: skip
    assert sums(case_of(*moved)) == {("Ann", "valve"): 75}
    back = ("e", at("11:00"), {"kind": "retract", "entry": "d", "why": "it was right"})
    assert sums(case_of(*moved, back)) == {("Ann", "valve"): 90}
    gone = ("e", at("11:00"), {"kind": "retract", "entry": "a", "why": "not mine"})
    assert sums(case_of(*rows, gone)) == {}


def test_two_people_on_one_job_each_have_their_own_time():
    case = case_of(
        ("a", at("08:00"), start()), ("b", at("08:30"), start(person="Bo")),
        ("c", at("09:00"), stop()), ("d", at("10:00"), stop("Bo")),
        ("q", at("07:00"), {"kind": "quote", "lines": [
            {"what": "Valve renewed", "minutes": 90, "cause": "valve"},
            {"what": "Finding the fault", "minutes": 60, "kind": "labour"}]}),
        ("e", at("11:00"), start("q:2")), ("f", at("12:10"), stop()),
    )  # fmt: skip
    assert sums(case) == {("Ann", "valve"): 60, ("Bo", "valve"): 90, ("Ann", "q:2"): 70}
    rows = clock_rows(case, seen(case, at("18:00")), names_of_jobs(case, lambda job: job))
    assert [r.words for r in rows] == [
        "Ann, valve: clocked 1 h 00. Together clocked 2 h 30 of 1 h 30.",
        "Bo, valve: clocked 1 h 30. Together clocked 2 h 30 of 1 h 30.",
        "Ann, Finding the fault: clocked 1 h 10 of 1 h 00.",
    ]


def test_a_clock_that_goes_backwards_counts_nothing_and_is_asked():
    case = case_of(("a", at("08:00"), start()), ("b", at("07:40"), stop()))
    (span,) = seen(case, at("09:00")).spans
    assert (span.state, span.why, span.minutes) == ("asked", "backwards", 0)
    ahead = seen(case_of(("a", at("11:00"), start())), at("09:00"))
    assert [s.why for s in ahead.spans] == ["backwards"]
    said = case_of(("a", at("08:00"), start()), ("b", at("07:40"), stop()),
                   ("c", at("08:50"), stop(of="a")))  # fmt: skip
    assert sums(said, at("09:00")) == {("Ann", "valve"): 50}


def test_an_entry_that_comes_late_from_a_device_stands_at_its_time():
    late = case_of(("b", at("10:00"), start("diagnosis")), ("a", at("08:00"), start()),
                   ("c", at("10:30"), stop()))  # fmt: skip
    assert sums(late) == {("Ann", "valve"): 120, ("Ann", "diagnosis"): 30}


def test_what_was_clocked_teaches_only_where_no_minutes_were_typed():
    clock = [("a", at("08:00"), start()), ("b", at("08:40"), stop())]
    work = {"kind": "work", "cause": "valve", "did": "renewed"}
    assert hands_on_minutes(case_of(*clock, ("w", at("09:00"), work)), "valve") == 40
    typed = case_of(*clock, ("w", at("09:00"), {**work, "minutes": 55}))
    assert hands_on_minutes(typed, "valve") is None
    asked = case_of(*clock, ("c", at("09:00"), start()), ("w", at("09:00"), work))
    assert hands_on_minutes(asked, "valve") is None, "half of it is not the whole"


def test_a_start_on_another_truck_ends_or_halves_what_runs_here(tmp_path):
    shop = open_shop(tmp_path / "shop", create=True)
    for name in ("one", "two"):
        shop.new_case(name, [])
    today = datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)

    def when(minutes: int) -> str:
        return today.replace(day=1, month=1, year=today.year - 1, hour=8 + minutes // 60,
                             minute=minutes % 60).isoformat()  # fmt: skip

    press(shop, "one", start("a"), at=when(0), entry_id="s1")
    press(shop, "two", start("b"), at=when(60), entry_id="s2")
    press(shop, "two", stop(), at=when(90), entry_id="s3")
    assert clock_of(shop.case("one")).by_job() == {"a": 60}
    assert clock_of(shop.case("two")).by_job() == {"b": 30}
    press(shop, "one", start("a"), at=when(120), entry_id="s4")
    press(shop, "two", start("b", both=True), at=when(180), entry_id="s5")
    press(shop, "two", start("b", both=True), at=when(180), entry_id="s5")
    press(shop, "two", stop(), at=when(240), entry_id="s6")
    press(shop, "one", stop(), at=when(300), entry_id="s7")
    assert clock_of(shop.case("one")).by_job() == {"a": 60 + 60 + 30 + 60}
    assert clock_of(shop.case("two")).by_job() == {"b": 30 + 30}
    assert clock_of(shop.case("one"), zone=UTC).running == ()
    assert on_the_clock(shop) == []
    with pytest.raises(InputRefused, match="could be stopped"):
        press(shop, "one", stop())
    with pytest.raises(InputRefused, match="still to come"):
        press(shop, "one", start("a"), at="2999-01-01T00:00:00Z")
    with pytest.raises(InputRefused, match="no stop"):
        press(shop, "one", stop(of="nothing"))
    press(shop, "one", start("a"), at=when(400), entry_id="s8")
    ((case, _, span),) = on_the_clock(shop, "Ann")
    assert (case, span.entry, span.why) == ("one", "s8", "forgotten")
    assert on_the_clock(shop, "Bo") == []
    assert clock_json(shop, "one")["asked"][0]["entry"] == "s8"
    shop.close()
