"""Money on an estimate: exact, by kinds, by stages; what the customer answered line by line.

Every sum here was added up by hand.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from witnessmark.errors import EntryRefused
from witnessmark.model.answered import offered, refusals
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.entries.entry import parse_entry
from witnessmark.model.quoted import OwnRates, priced
from witnessmark.model.settings import Settings
from witnessmark.planner.estimate.approvals import ledger

RATE = OwnRates(labour_usd_per_hour=137.5)


def quoted(*lines: dict[str, Any], **more: Any) -> QuoteData:
    return QuoteData(lines=lines, **more)  # type: ignore[arg-type]


def case_of(*rows: tuple[str, dict[str, Any]]) -> Case:
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": f"2026-03-{n + 1:02d}T08:00:00Z", "data": d})
        for n, (kind, d) in enumerate(rows)
    ]
    case = read_case("made-up", lines)
    assert not case.problems
    return case


def test_the_sum_is_exact_where_binary_fractions_are_not() -> None:
    thirds = quoted(*({"what": f"washer {n}", "usd": 0.1} for n in range(3)))
    assert priced(thirds, OwnRates()).total_usd == Decimal("0.30")
    assert priced(quoted({"what": "a", "usd": 1.005}), OwnRates()).total_usd == Decimal("1.01")
    # 20 min at 137.50 an hour are 45.8333; each line is rounded once, and the sum is of the lines
    three = quoted(*({"what": f"job {n}", "minutes": 20} for n in range(3)))
    assert priced(three, RATE).total_usd == Decimal("137.49")


def test_the_bill_of_the_sketch_adds_up_by_kinds() -> None:
    """55 and 35 min at 150, a seal 9.80, supplies 7.50, 6 % tax on parts and supplies only."""
    bill = quoted(
        {"what": "Finding the fault", "minutes": 55, "kind": "labour"},
        {"what": "Lid seal renewed, primed", "minutes": 35, "kind": "labour"},
        {"what": "Seal", "usd": 9.80, "kind": "part", "condition": "new"},
        {"what": "Shop supplies", "usd": 7.50, "kind": "supplies"},
        {"what": "Tax", "kind": "tax", "percent": 6, "on": ["part", "supplies"]},
    )
    found = priced(bill, OwnRates(labour_usd_per_hour=150.0))
    assert [line.usd for line in found.lines] == [
        Decimal("137.50"), Decimal("87.50"), Decimal("9.80"), Decimal("7.50"), Decimal("1.04"),
    ]  # fmt: skip
    assert found.total_usd == Decimal("243.34")


def test_a_deposit_is_in_the_sum_and_not_taxed() -> None:
    bill = quoted(
        {"what": "Compressor", "usd": 495, "kind": "part", "condition": "rebuilt"},
        {"what": "Its deposit", "usd": 120, "kind": "core"},
        {"what": "Gaskets", "usd": 2.5, "quantity": 4, "kind": "part"},
        {"what": "Tax", "kind": "tax", "percent": 10},
    )
    found = priced(bill, OwnRates())
    assert found.total_usd == Decimal("675.50")  # 495 + 120 + 10 + 50.50
    assert found.deposits_usd() == Decimal(120)


def test_stages_are_added_up_apart() -> None:
    staged = quoted(
        {"what": "Find out", "usd": 150, "kind": "labour", "stage": "find out first"},
        {"what": "Seal", "usd": 9.8, "stage": "then decide"},
        {"what": "Hose", "usd": 60, "stage": "then decide"},
    )
    assert priced(staged, OwnRates()).stages() == (
        ("find out first", Decimal(150)), ("then decide", Decimal("69.80")),
    )  # fmt: skip
    assert priced(quoted({"what": "a", "usd": 1}), OwnRates()).stages() == ()


def test_a_total_rounded_by_hand_shows_what_it_was_rounded_by() -> None:
    found = priced(quoted({"what": "a", "usd": 368.75}, total_usd=369), OwnRates())
    assert (found.total_usd, found.rounding_usd, found.given) == (Decimal(369), Decimal("0.25"),
                                                                  False)  # fmt: skip


@pytest.mark.parametrize(
    "line",
    [
        {"what": "a", "usd": -1},
        {"what": "a", "usd": 1e12},
        {"what": "a", "usd": 5, "percent": 6, "kind": "tax"},
        {"what": "a", "percent": 6},
        {"what": "a", "percent": 600, "kind": "tax"},
        {"what": "a", "kind": "labour", "condition": "used", "minutes": 5},
        {"what": "a", "quantity": 0},
        {"what": "a", "kind": "gift"},
        {"what": "a", "usd": "NaN"},
    ],
)
def test_a_line_that_cannot_be_is_refused_in_words(line: dict[str, Any]) -> None:
    text = json.dumps({"kind": "quote", "id": "q", "at": "2026-03-02T08:00:00Z",
                       "data": {"lines": [line]}})  # fmt: skip
    with pytest.raises(EntryRefused) as refused:
        parse_entry(text)
    assert "data.lines[0]" in refused.value.what


LINES = {
    "lines": [
        {"what": "Pump", "usd": 700, "cause": "pump_worn", "risk": "do not drive"},
        {"what": "Hose", "usd": 60.5, "cause": "suction_line", "risk": "soon"},
        {"what": "Cap", "usd": 9},
    ],
    "total_usd": 769.5,
}


def yes(**more: Any) -> tuple[str, dict[str, Any]]:
    return "approval", {"by": "A. Example", "how": "phone", "called": "555 0100", **more}


def test_a_yes_line_by_line_holds_for_those_lines_and_their_sum() -> None:
    answer = yes(quote="e0", lines=[{"line": 2, "granted": False, "words": "not today"}])
    case = case_of(("quote", LINES), answer)
    assert ledger(case, Settings()).approved_usd == 709.0
    [left] = refusals(case)
    assert (left.what, left.risk, left.words) == ("Hose", "soon", "not today")
    over = case_of(("quote", LINES), answer, ("work", {"did": "hose", "cause": "suction_line"}))
    assert any("declined by A. Example" in p.what for p in ledger(over, Settings()).problems)
    fine = case_of(("quote", LINES), answer, ("work", {"did": "pump", "cause": "pump_worn"}))
    assert not ledger(fine, Settings()).problems


def test_a_bill_above_the_yes_stops_with_a_sentence_until_a_further_yes() -> None:
    bill = ("quote", {"lines": [{"what": "Pump", "usd": 709.01}], "final": True})
    answer = yes(quote="e0", limit_usd=709)
    [stop] = ledger(case_of(("quote", LINES), answer, bill), Settings()).problems
    assert stop.what == "The bill comes to 709.01 USD and 709.00 USD are approved."
    assert "Call the customer" in stop.do
    more = yes(limit_usd=710, words="go on")
    assert not ledger(case_of(("quote", LINES), answer, bill, more), Settings()).problems


def test_a_later_sum_for_the_whole_truck_takes_the_place_of_what_was_agreed() -> None:
    case = case_of(yes(limit_usd=300), ("quote", LINES), yes(quote="e1", limit_usd=800))
    assert ledger(case, Settings()).approved_usd == 1100
    case = case_of(yes(limit_usd=300), ("quote", LINES), yes(quote="e1"), yes(limit_usd=900))
    assert ledger(case, Settings()).approved_usd == 900


def test_a_revised_estimate_takes_the_place_of_the_one_before() -> None:
    again = ("quote", {**LINES, "total_usd": 801, "replaces": "e0"})
    case = case_of(("quote", LINES), yes(quote="e0"), again, yes(quote="e2"))
    assert ledger(case, Settings()).approved_usd == 801
    assert {line.quote for line in offered(case)} == {"e2"}


def test_an_answer_dated_before_its_estimate_does_not_count_and_is_kept() -> None:
    early = case_of(yes(quote="e1", limit_usd=800), ("quote", LINES))
    found = ledger(early, Settings())
    assert found.approved_usd == 0
    assert "before its estimate" in found.problems[0].what
    assert len(early.live()) == 2


def test_every_line_is_done_declined_or_named() -> None:
    answer = yes(quote="e0", lines=[{"line": 2, "granted": False}])
    work = ("work", {"did": "pump", "cause": "pump_worn"})
    states = [x.state for x in offered(case_of(("quote", LINES), answer, work))]
    assert states == ["done", "declined", "not written down"]
    bill = ("quote", {"lines": [{"what": "Pump", "usd": 700}, {"what": "Cap", "usd": 9}],
                      "final": True})  # fmt: skip
    states = [x.state for x in offered(case_of(("quote", LINES), answer, work, bill))]
    assert states == ["done", "declined", "done"]


def test_what_was_declined_by_itself_is_kept_with_its_risk() -> None:
    case = case_of(("decline", {"words": "shocks, rear", "risk": "do_not_drive"}))
    [no] = refusals(case)
    assert (no.what, no.words, no.risk) == ("", "shocks, rear", "do not drive")
    assert no.entry == "e0"
