"""The shop over time: what is due, a truck against itself, comebacks by who did the work."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from conftest import Run
from witnessmark.errors import EntryRefused
from witnessmark.inference.comebacks_by_person import comebacks_by_person
from witnessmark.inference.own_band import own_band, trend_of
from witnessmark.model.entries.entry import parse_entry
from witnessmark.model.shop_record import Closing, Comeback, History, Job
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.shop.due_list import due_of_shop
from witnessmark.workflow.shop.truck_over_time import series_of
from workflow.shop_over_time import dated, shop_over_time

TODAY = date(2031, 5, 20)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return shop_over_time(tmp_path_factory.mktemp("due") / "shop")


def test_everything_that_is_due_stands_in_its_order(shop: Shop) -> None:
    found = due_of_shop(shop, TODAY)
    rows = {(d.kind, d.what.split(",")[0].split(":")[0]): d for d in found}
    assert rows["part", "hub seal"].days == -2
    assert rows["truck", "promised to the customer"].days == -1
    assert (rows["core", "drum"].now, rows["core", "drum"].days) == (False, 12)
    nuts = rows["note", "Tighten again"]
    assert (nuts.now, nuts.at) == (True, "at 100,100 mi, last read 100,020 on 2031-05-02")
    sample = rows["note", "Oil sample"]
    assert (sample.now, sample.days) == (False, 42)
    assert "never read" in sample.at
    assert ("note", "Seal looked at") not in rows  # a later note says it is done
    assert rows["word", "the word of day 7"].since == 8
    gauges = {d.what.split()[1]: d for d in found if d.kind == "gauge"}
    assert (gauges["g1"].now, gauges["g2"].now, gauges["g3"].now) == (True, True, False)
    assert [d.now for d in found] == sorted((d.now for d in found), reverse=True)
    days = [d.days for d in found if d.now and d.days is not None]
    assert days == sorted(days)


def test_a_truck_that_leaves_its_own_band_is_named(shop: Shop) -> None:
    cases = [shop.case(f"visit-{k}") for k in range(5)]
    (series,) = series_of(cases)
    assert series.left
    assert "psi" in series.band_words()
    assert not series_of(cases[:4])[0].left
    assert any(d.kind == "band" and d.truck == "unit 7" for d in due_of_shop(shop, TODAY))


def test_the_band_against_the_prediction_interval_of_a_library() -> None:
    """Student's t from scipy; the table in the program is from memory."""
    values = [101.0, 96.0, 104.0, 99.0, 92.0]
    band = own_band(values)
    assert band is not None
    half = stats.t.ppf(0.975, 4) * np.std(values, ddof=1) * np.sqrt(1 + 1 / 5)
    assert (band.low, band.high) == pytest.approx((98.4 - half, 98.4 + half), rel=2e-3)
    assert own_band([60.0, 61.0]) is None


def test_the_band_holds_the_next_reading_as_often_as_it_says() -> None:
    chance = np.random.default_rng(41)
    rows = chance.normal(100.0, 5.0, (3000, 5))
    inside = sum(
        band.low <= row[4] <= band.high for row in rows if (band := own_band(row[:4])) is not None
    )
    assert inside / 3000 == pytest.approx(0.95, abs=0.015)  # 3.8 standard errors


def test_a_drift_is_shown_only_where_there_is_one() -> None:
    chance = np.random.default_rng(42)
    days = np.arange(0.0, 800.0, 100.0)
    still = trend_of(days, 60.0 + chance.normal(0, 0.5, 8))
    falls = trend_of(days, 60.0 - 0.02 * days + chance.normal(0, 0.5, 8))
    assert still is not None
    assert falls is not None
    assert not still.shown
    assert falls.shown
    assert falls.low < -2.0 < falls.high
    assert trend_of([1.0, 1.1, 1.2, 1.3], [1.0, 2.0, 3.0, 4.0]) is None


@pytest.mark.parametrize("due", [{}, {"on": "2031-13-01"}, {"on": "soon"}, {"miles": -1}])
def test_a_due_note_without_a_sound_time_is_refused(due: dict[str, object]) -> None:
    with pytest.raises(EntryRefused):
        parse_entry(dated("note", "2031-05-01", "n", words="x", due=due))


def _history(back: dict[str, int], each: int = 60) -> History:
    closings, jobs, comebacks = [], [], []
    for person, many in back.items():
        for k in range(each):
            case, came = f"{person}{k}", k < many
            closings.append(Closing(case, "f", ("seal",), not came, 90.0, came_back=came))
            jobs.append(Job(case, "seal", person))
            if came:
                comebacks.append(Comeback(case, "f", "seal", 9.0, "same cause"))
    return History(tuple(closings), tuple(jobs), tuple(comebacks))


def test_nobody_stands_out_inside_the_noise_and_who_does_is_named() -> None:
    even = comebacks_by_person(_history({"Cy": 5, "Ann": 3, "Bo": 4}))
    assert [p.person for p in even] == ["Ann", "Bo", "Cy"]  # by name
    assert {p.told for p in even} == {""}
    apart = {p.person: p for p in comebacks_by_person(_history({"Ann": 1, "Bo": 30, "Cy": 2}))}
    assert apart["Bo"].told == "more"
    assert apart["Bo"].expected == pytest.approx(11.0, abs=0.5)
    assert apart["Ann"].told == "fewer"


def test_who_does_the_repair_that_comes_back_anyway_is_not_blamed() -> None:
    """Bo alone does the job that comes back in any hands: as expected, not more."""
    easy = _history({"Ann": 1}, 60)
    hard = _history({"Bo": 20}, 60)
    moved = History(
        (*easy.closings, *(Closing(c.case, "f", ("gasket",), c.proven, 90.0, came_back=c.came_back)
                           for c in hard.closings)),
        (*easy.jobs, *(Job(j.case, "gasket", j.technician) for j in hard.jobs)),
        (*easy.comebacks, *(Comeback(b.case, "f", "gasket", 9.0, "same cause")
                            for b in hard.comebacks)),
    )  # fmt: skip
    assert {p.person: p.told for p in comebacks_by_person(moved)} == {"Ann": "", "Bo": ""}


def test_by_the_command(shop: Shop, tmp_path: Path, witnessmark: Run) -> None:
    told = witnessmark("due", shop.folder)
    assert told.returncode == 0, told.stderr
    assert "unit 9 (nuts): Tighten again: wheel nuts" in told.stdout
    rows = json.loads(witnessmark("due", shop.folder, "--json").stdout)["due"]
    assert {r["kind"] for r in rows} >= {"note", "part", "core", "gauge", "band"}
    empty = open_shop(tmp_path / "new", create=True)
    assert "Nothing is due." in witnessmark("due", empty.folder).stdout
