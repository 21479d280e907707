"""The estimate and the approvals ledger."""

import json

import numpy as np
import pytest

from witnessmark.model.entries.case import read_case
from witnessmark.model.settings import Settings
from witnessmark.model.step import Spread
from witnessmark.planner.estimate.approvals import ledger
from witnessmark.planner.estimate.quote import QuoteJob, access_minutes, estimate, overlap_minutes

SETTINGS = Settings()
DAMPER = QuoteJob(
    "damper_aged",
    "Renew the damper",
    Spread(180, 240, 360),
    Spread(600, 900, 1400),
    ("damper bolts", "front seal"),
    3,
    "front_end",
    0.84,
    0.0,
    "never pry or hammer the damper",
)
SEAL = QuoteJob(
    "ol_front",
    "Renew the front seal",
    Spread(180, 240, 400),
    Spread(60, 120, 200),
    (),
    3,
    "front_end",
)


def test_an_estimate_has_every_kind_of_line():
    found = estimate([DAMPER, SEAL], SETTINGS)
    kinds = [line.kind for line in found.lines]
    assert kinds.count("labour") == 2
    assert kinds.count("overlap") == 1
    assert kinds.count("seal") == 2
    assert kinds.count("consumables") == 1
    assert found.total.low < found.total.typical < found.total.high
    assert found.cautions == ("never pry or hammer the damper",)
    assert found.diagnostic_fee_usd == SETTINGS.diagnostic_fee_usd
    assert any("ask before" in sentence for sentence in found.contingency)


def test_shared_disassembly_is_billed_once():
    settings = Settings(consumables_percent=0.0)
    sure = Spread(240, 240, 240)
    first = QuoteJob("a", "Damper", sure, Spread(900, 900, 900), (), 3, "front_end")
    second = QuoteJob("b", "Front seal", sure, Spread(120, 120, 120), (), 3, "front_end")
    alone = sum(estimate([job], settings).total.typical for job in (first, second))
    both = estimate([first, second], settings).total.typical
    saved = access_minutes(240, 3) / 60 * settings.labour_usd_per_hour
    assert overlap_minutes([first, second]) == [0.0, pytest.approx(access_minutes(240, 3))]
    assert alone - both == pytest.approx(saved, rel=0.03)
    other = QuoteJob("x", "Elsewhere", Spread(60, 60, 60), Spread(0, 0, 0), access_group="rear")
    assert overlap_minutes([first, other]) == [0.0, 0.0]


def test_shared_disassembly_is_credited_as_the_plan_counts_it():
    long, short = Spread(200, 250, 300), Spread(20, 25, 30)
    opening = Spread(60, 90, 120)
    one = QuoteJob("a", "Damper", long, Spread(9, 9, 9), (), 3, "engine_front", opening=opening)
    two = QuoteJob("b", "Front seal", long, Spread(9, 9, 9), (), 3, "engine_front", opening=opening)
    look = QuoteJob("c", "Bolts", short, Spread(9, 9, 9), (), 3, "engine_front", opening=opening)
    assert overlap_minutes([one, two]) == pytest.approx([0.0, 90.0])
    assert overlap_minutes([one, look]) == pytest.approx([0.0, 22.5])  # never all of its time


def test_totals_agree_with_random_draws():
    """Against plain simulation of the stated model (two-piece normals with the given 10, 50 and
    90 % points, labour with a common log-normal factor of 0.15)."""
    jobs = [DAMPER, QuoteJob("y", "Mounts", Spread(120, 180, 300), Spread(200, 350, 600))]
    settings = Settings(consumables_percent=0.0)
    found = estimate(jobs, settings)
    rng = np.random.default_rng(4)

    def draw(spread, n=200_000):
        z = rng.standard_normal(n)
        low, high = spread.typical - spread.low, spread.high - spread.typical
        return np.maximum(0, spread.typical + z / 1.28155 * np.where(z < 0, low, high))

    labour = sum(draw(job.minutes) for job in jobs) * 2.5
    labour *= np.exp(0.15 * rng.standard_normal(labour.size))
    seals = [line.usd for line in found.lines if line.kind == "seal"]
    total = labour + sum(draw(job.usd) for job in jobs) + sum(draw(s) for s in seals)
    low, middle, high, quoted = np.quantile(total, [0.1, 0.5, 0.9, 0.8])
    assert found.total.low == pytest.approx(low, rel=0.01)
    assert found.total.typical == pytest.approx(middle, rel=0.01)
    assert found.total.high == pytest.approx(high, rel=0.01)
    assert found.quoted_usd == pytest.approx(quoted, rel=0.01)
    assert found.chance_exceeded == pytest.approx(0.2, abs=0.01)
    tight = estimate(jobs, settings, quoted_usd=float(middle))
    assert tight.chance_exceeded == pytest.approx(0.5, abs=0.015)


def test_more_work_is_named_and_deposits_stand_apart():
    job = QuoteJob(
        "p", "Pump", Spread(90, 120, 180), Spread(300, 380, 500), cures=0.62, core_usd=120.0
    )
    found = estimate([job], SETTINGS)
    assert found.chance_more_work == pytest.approx(0.38)
    assert any("38 %" in sentence for sentence in found.contingency)
    assert found.deposits_usd == 120.0
    without = estimate([QuoteJob("p", "Pump", job.minutes, job.usd, cures=0.62)], SETTINGS)
    assert found.total == without.total


def test_an_empty_estimate_is_said_to_be_empty():
    found = estimate([], SETTINGS)
    assert found.total.high == pytest.approx(0.0, abs=1.0)
    assert found.contingency == ("No work is quoted yet.",)


def entries(*rows):
    lines = [
        json.dumps({"kind": kind, "id": f"e{k}", "at": f"2026-03-0{k + 1}T08:00:00Z", "data": data})
        for k, (kind, data) in enumerate(rows)
    ]
    case = read_case("made-up", lines)
    assert not case.problems
    return case


QUOTE = (
    "quote",
    {"lines": [{"what": "renew the pump", "usd": 700, "cause": "pump_worn"}], "total_usd": 700},
)
WORK = (
    "work",
    {
        "did": "renewed",
        "cause": "pump_worn",
        "minutes": 120,
        "parts": [{"name": "pump", "usd": 380}],
    },
)


def yes(**more):
    return ("approval", {"by": "A. Example", "how": "telephone", **more})


def test_work_inside_the_approval_is_not_blocked():
    found = ledger(entries(QUOTE, yes(quote="e0"), WORK), SETTINGS)
    assert not found.blocked
    assert found.approved_usd == 700
    assert found.billed_usd == pytest.approx(120 / 60 * 150 + 380 + 15)
    assert found.left_usd == pytest.approx(700 - 695)


def test_work_above_the_approval_is_blocked():
    found = ledger(entries(QUOTE, yes(quote="e0", limit_usd=600), WORK), SETTINGS)
    assert found.blocked
    assert "600.00 USD are approved" in found.problems[0].what
    assert not ledger(
        entries(QUOTE, yes(quote="e0", limit_usd=650), WORK), Settings(overrun_percent_allowed=10)
    ).blocked
    assert ledger(entries(WORK), SETTINGS).blocked
    assert ledger(entries(QUOTE, yes(quote="e0")), SETTINGS, planned_usd=701).blocked


def test_the_last_answer_counts_and_a_refusal_stops_the_line():
    no = yes(quote="e0", granted=False, words="declined; risk explained: may stall on the road")
    found = ledger(entries(QUOTE, yes(quote="e0"), no, WORK), SETTINGS)
    assert found.approved_usd == 0
    assert found.refused == (("renew the pump", "declined; risk explained: may stall on the road"),)
    assert any("declined by A. Example" in p.what for p in found.problems)
    assert not found.lines[0].counts


def test_an_approval_without_amount_or_of_a_missing_or_expired_quote_is_said():
    assert "no amount" in ledger(entries(yes()), SETTINGS).problems[0].what
    missing = ledger(entries(yes(quote="zz")), SETTINGS)
    assert missing.approved_usd == 0
    assert "not in the case" in missing.lines[0].note
    late = ("quote", {**QUOTE[1], "expires": "2026-03-01"})
    expired = ledger(entries(late, yes(quote="e0")), SETTINGS)
    assert expired.approved_usd == 0
    assert "expired" in expired.lines[0].note
