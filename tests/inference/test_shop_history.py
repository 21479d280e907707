"""The shop's own history: shares, times, seals, comebacks."""

import math

import pytest

from witnessmark.inference.shop_history import (
    comeback_rates,
    corrected,
    job_times,
    renewals,
    shares,
)
from witnessmark.model.shop_record import Closing, Comeback, History, Job
from witnessmark.model.step import Spread

PRIORS = {"filter": 0.4, "pump": 0.35, "hose": 0.15, "other": 0.10}


def closings(cause, number, *, proven=True, days_ago=0.0, then=(), family="fuel_low"):
    return tuple(
        Closing(f"{cause}{k}", family, (cause, *then), proven, days_ago) for k in range(number)
    )


def test_without_history_the_pack_speaks():
    found = shares(None, "fuel_low", PRIORS)
    assert found.prior() == pytest.approx(PRIORS)
    assert found.proven == 0
    assert found.two_causes is None


def test_twenty_pseudo_cases():
    """DOMAIN.md section 9: posterior share = (20 * prior + n_cause) / (20 + N)."""
    history = History(closings("hose", 10) + closings("pump", 2))
    found = shares(history, "fuel_low", PRIORS).prior()
    assert found["hose"] == pytest.approx((20 * 0.15 + 10) / 32)
    assert found["pump"] == pytest.approx((20 * 0.35 + 2) / 32)
    assert found["filter"] == pytest.approx(20 * 0.4 / 32)
    assert sum(found.values()) == pytest.approx(1.0)


def test_band_after_forty_cases_is_about_the_stated_width():
    """DOMAIN.md section 9 [C]: after 40 own cases a 15 % share has +-4.6 points (1 sd)."""
    history = History(
        closings("hose", 6) + closings("filter", 16) + closings("pump", 14) + closings("other", 4)
    )
    hose = next(c for c in shares(history, "fuel_low", PRIORS).causes if c.cause == "hose")
    assert hose.share == pytest.approx(0.15)
    assert (hose.high - hose.low) / 2 / 1.645 == pytest.approx(0.046, abs=0.003)


def test_what_cannot_be_told_apart_shares_a_rank_and_keeps_the_packs_order():
    history = History(closings("pump", 3))
    found = shares(history, "fuel_low", PRIORS)
    share = found.prior()
    assert share["pump"] > share["filter"]
    ranks = {c.cause: c.rank for c in found.causes}
    assert ranks["pump"] == ranks["filter"] == 1
    assert [c.cause for c in found.causes][:2] == ["filter", "pump"]
    clear = shares(History(closings("pump", 60)), "fuel_low", PRIORS)
    assert next(c.cause for c in clear.causes) == "pump"
    assert [c.rank for c in clear.causes][:2] == [1, 2]


def test_unproven_other_family_and_unlisted_closings_teach_nothing():
    history = History(
        closings("hose", 9, proven=False)
        + closings("hose", 9, family="oil_leak")
        + closings("gremlin", 2)
    )
    found = shares(history, "fuel_low", PRIORS)
    assert found.prior() == pytest.approx(PRIORS)
    assert (found.proven, found.unproven, found.unlisted) == (0, 9, 2)


def test_old_closings_fade_by_half_every_three_years():
    young = shares(History(closings("hose", 8)), "fuel_low", PRIORS)
    old = shares(History(closings("hose", 16, days_ago=3 * 365.25)), "fuel_low", PRIORS)
    assert old.prior() == pytest.approx(young.prior())


def test_a_second_cause_is_counted_apart():
    history = History(closings("pump", 3, then=("hose",)) + closings("filter", 1))
    found = shares(history, "fuel_low", PRIORS)
    hose = next(c for c in found.causes if c.cause == "hose")
    assert (hose.proven, hose.second) == (0, 3)
    assert found.two_causes == pytest.approx(0.75)


def job(minutes, quoted, **more):
    return Job("c", more.pop("cause", "pump"), minutes=minutes, quoted_minutes=quoted, **more)


def test_times_are_log_ratios_by_operation_and_technician():
    jobs = tuple(job(m, 100.0, technician="ann") for m in (90, 110, 120, 130, 200))
    jobs += (job(50, 100, technician="bob"), job(None, 100), job(300, None))
    found = job_times(History(jobs=jobs), cause="pump", technician="ann")
    assert found.jobs == 5
    assert found.median == pytest.approx(1.2)
    assert 1.3 <= found.p80 <= 2.0
    assert found.low <= found.median <= found.high
    assert job_times(History(jobs=jobs), technician="bob").median == pytest.approx(0.5)
    assert job_times(History(jobs=jobs), technician="bob").low is None
    assert job_times(History(jobs=jobs), cause="hose") is None


def test_recent_jobs_weigh_more():
    jobs = tuple(job(100, 100, days_ago=5000) for _ in range(6))
    jobs += tuple(job(200, 100) for _ in range(3))
    assert job_times(History(jobs=jobs)).median > 1.5


def test_few_jobs_move_a_time_little_and_many_move_it_fully():
    spread = Spread(60, 100, 150)
    few = corrected(spread, job_times(History(jobs=(job(200, 100),))))
    many = corrected(spread, job_times(History(jobs=(job(200, 100),) * 200)))
    assert 100 < few.typical < 130
    assert many.typical == pytest.approx(200, rel=0.03)
    assert few.low <= few.typical <= few.high
    assert corrected(spread, None) is spread


def test_seals_by_co_occurrence():
    jobs = tuple(Job("c", "relief", parts=("Spring kit", "Plug washer")) for _ in range(3))
    jobs += (Job("c", "relief", parts=("spring-kit",)), Job("c", "relief", parts=()))
    found = renewals(History(jobs=jobs), "relief")
    assert [(r.part.lower(), r.share) for r in found] == [
        ("spring-kit", 1.0),
        ("plug washer", 0.75),
    ]
    assert renewals(History(jobs=jobs[:2]), "relief") == ()


def test_comebacks_need_exposure_and_share_ranks_inside_the_noise():
    history = History(
        closings("pump", 40, days_ago=60)
        + closings("hose", 40, days_ago=60)
        + closings("filter", 3, days_ago=60)
        + closings("other", 5, days_ago=3),
        comebacks=(
            *tuple(Comeback("c", "fuel_low", "pump", 9.0) for _ in range(16)),
            Comeback("c", "fuel_low", "hose", 9.0),
            Comeback("c", "fuel_low", "hose", 4, "unrelated"),
        ),
    )
    found = {r.cause: r for r in comeback_rates(history)}
    assert set(found) == {"pump", "hose", "filter"}
    assert found["pump"].rank == 1
    assert found["hose"].rank > 1
    assert found["hose"].comebacks == 1
    assert found["filter"].rate > 0
    assert found["pump"].low < 0.4 < found["pump"].high
    assert math.isclose(found["pump"].rate, 0.4, abs_tol=0.02)
