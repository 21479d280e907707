"""What the shop has learnt, as a person reads it: shares, times, costs, seals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from conftest import Run
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.shop.experience import experience_of, family_shares
from workflow.closed_cases import fuel_case


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three proven closings by two people, and one that the customer has not confirmed."""
    folder = tmp_path / "shop"
    shop = open_shop(folder, create=True)
    shop.new_case("a", fuel_case(minutes=60, quoted=(50, 20)), by="Ann")
    shop.new_case("b", fuel_case(minutes=90, quoted=(50, 40)), by="Ann")
    shop.new_case("c", fuel_case(minutes=75, quoted=(50, 80)), by="Bo")
    shop.new_case("d", fuel_case(flow=False, minutes=500), by="Bo")
    shop.close()
    return folder


def opened(folder: Path) -> Shop:
    return open_shop(folder)


def test_only_proven_closings_move_the_shares(folder: Path) -> None:
    found = family_shares(opened(folder), "fuel_low")
    assert (found.proven, found.unproven) == (3, 1)
    relief = next(c for c in found.causes if c.cause == "pump_relief")
    assert relief.proven == 3
    # (20 x pack's share + 3) / 23: twenty pseudo-cases a family, hardly faded
    assert relief.share == pytest.approx((20 * relief.prior + 3) / 23, rel=2e-2)
    assert relief.low < relief.share < relief.high


def test_times_and_costs_by_job_and_by_person(folder: Path) -> None:
    rows = experience_of(opened(folder)).jobs
    everybody, *people = rows
    assert (everybody.cause, everybody.technician, everybody.done) == ("pump_relief", "", 4)
    assert everybody.times is not None
    assert everybody.costs is not None
    assert everybody.times.median == pytest.approx(1.5, rel=0.02)  # 60, 75, 90 over 50
    assert everybody.costs.median == pytest.approx(1.0, rel=0.05)  # 40 over 20, 40, 80
    assert [r.part for r in everybody.renewals] == ["spring"]
    assert [p.technician for p in people] == ["Ann", "Bo"]
    assert people[0].times is not None
    assert people[0].times.jobs == 2


def test_the_command_says_it_in_words_and_in_json(folder: Path, witnessmark: Run) -> None:
    told = witnessmark("history", folder)
    assert told.returncode == 0, told.stderr
    assert "this shop's proven closings: 3" in told.stdout
    assert "Closed without proof, and left out: 1" in told.stdout
    assert "pump_relief by Ann: done 2 times, 75 min on average" in told.stdout
    document = json.loads(witnessmark("history", folder, "--json").stdout)
    assert document["families"][0]["family"] == "fuel_low"
    assert document["families"][0]["unproven_left_out"] == 1


def test_an_empty_shop_says_so(tmp_path: Path, witnessmark: Run) -> None:
    open_shop(tmp_path / "new", create=True).close()
    told = witnessmark("history", tmp_path / "new")
    assert told.returncode == 0
    assert told.stdout.startswith("No complaint is closed yet")
    missing = witnessmark("history", tmp_path / "nowhere")
    assert missing.returncode == 2
    assert "Traceback" not in missing.stderr
