"""What a gauge would show next, on posteriors of a few invented draws: every figure by hand.

Small errors of a gallery reading of 75 psi (the room's own figures, ``fuel_observations``): flutter
1 psi, what the model leaves out 1 psi, gauge 1.6 psi and half a per cent of the reading, error in
shape of the model's curve 5 per cent of it, 3.75 psi. Variance 1 + 1 + 2.56 + 0.140625 + 14.0625 =
18.763125 psi^2; all but the flutter is shared by a second reading of the same gauge at the same
point: 17.763125. At 1,500 r/min exp(-(ln(1500 / 650) / 0.6)^2 / 2) = 0.3784 of the error in
shape is shared with 650: 5.3215 psi^2.
"""

from __future__ import annotations

from statistics import NormalDist
from types import SimpleNamespace as Made

import numpy as np
import pytest

from witnessmark.inference.fuel import fuel_forecast
from witnessmark.inference.fuel.draws.fuel_samples import WRONG_PART
from witnessmark.inference.fuel.fuel_forecast import (
    gallery_points,
    predict_readings,
    repair_forecasts,
    resample,
)
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    GALLERY,
    PREFILTER,
    Key,
    Observation,
)
from witnessmark.physics.fuel.supply_circuit import PSI, Circuit, CircuitState

MANY = 4000
WHOLE, SHARED, FAR = 18.763125, 17.763125, 5.3215
SHAPE = 14.0625 + 1.0  #: of a true pressure: the error in shape, and 1 psi left out
IDLE = Key(650.0)


def circuits(gallery, bias=0.0, gain=0.0):
    """Circuits whose field ``lift`` stands for the gallery pressure they make."""
    n = len(gallery)
    fields = {name: np.ones(n) for name in Circuit.__slots__}
    fields |= {"lift": np.asarray(gallery, float)}
    fields |= {"gauge_bias": np.full(n, bias), "gauge_gain": np.full(n, gain)}
    return Circuit(**fields)


@pytest.fixture(autouse=True)
def solved(monkeypatch):
    """The solver gives each circuit's own pressure; returns what it was asked."""
    asked = []

    def solve(circuit, rpm, load=0.0, *, throttled=False, viscosity=1.0):
        asked.append(Key(rpm, load, throttled, viscosity))
        one = circuit.lift
        return CircuitState(one, one + 5 * PSI, one, one, one, one)

    monkeypatch.setattr(fuel_forecast, "solve", solve)
    return asked


def posterior(now, *, weight=None, faulty=0, seen=(), predicted=()):
    n = len(now)
    made = circuits(now)
    batch = Made(
        circuits=made, types=made, labels=np.full((1, n), faulty),
        predictions=np.tile(np.asarray(predicted, float), (n, 1)),
    )  # fmt: skip
    weight = np.full(n, 1 / n) if weight is None else np.asarray(weight)
    return Made(batch=batch, weight=weight, observations=tuple(seen))


def reading(psi, key=IDLE, **more):
    return Observation(GALLERY, key, psi * PSI, **more)


# Draws of equal weight.


def test_a_draw_comes_as_often_as_it_weighs():
    given = posterior([1, 2, 3], weight=[0.5, 0.25, 0.25])
    assert resample(given, 4).tolist() == [0, 0, 1, 2]
    assert np.bincount(resample(given, 400), minlength=3).tolist() == [200, 100, 100]
    # Weights that miss one by rounding still give a draw that is there.
    short = posterior([1, 2, 3], weight=[0.5, 0.25, 0.2499])
    assert resample(short, 1000).max() == 2
    assert np.bincount(resample(posterior([1, 2], weight=[0.0, 1.0]), 10)).tolist() == [0, 10]


# Readings not yet taken.


def test_a_reading_spreads_by_its_gauge_the_model_and_the_needle():
    index = np.zeros(MANY, np.intp)
    drawn = predict_readings(
        posterior([80 * PSI]), [reading(75)], circuits([80 * PSI] * MANY), index
    )
    assert drawn.shape == (MANY, 1)
    assert drawn.mean() / PSI == pytest.approx(80.0, abs=0.25)
    assert drawn.std() / PSI == pytest.approx(np.sqrt(WHOLE), rel=0.04)


def test_the_error_seen_at_a_point_is_carried_over_to_the_next_reading_there():
    """Read 75 where 70 was expected: 5 * 17.763125 / 18.763125 = 4.734 psi of it stays."""
    given = posterior([80 * PSI], seen=[reading(75)], predicted=[70 * PSI])
    index = np.zeros(MANY, np.intp)
    drawn = predict_readings(given, [reading(75)], circuits([80 * PSI] * MANY), index)
    assert drawn.mean() / PSI == pytest.approx(84.734, abs=0.1)
    left = WHOLE - SHARED**2 / WHOLE
    assert drawn.std() / PSI == pytest.approx(np.sqrt(left), rel=0.04)
    # Far from it on another gauge only the error in shape is shared, and little of that.
    other = reading(75, Key(1500.0), gauge="second", main=False)
    far = predict_readings(given, [other], circuits([80 * PSI] * MANY), index)
    assert far.mean() / PSI == pytest.approx(80.0 + 5 * FAR / WHOLE, abs=0.25)


def test_each_draw_carries_its_own_miss():
    given = posterior([80 * PSI] * 2, seen=[reading(75)])
    given.batch.predictions = np.array([[65.0], [85.0]]) * PSI
    index = np.repeat([0, 1], MANY)
    drawn = predict_readings(given, [reading(75)], circuits([80 * PSI] * 2 * MANY), index)[:, 0]
    step = 10 * SHARED / WHOLE
    assert drawn[:MANY].mean() / PSI == pytest.approx(80 + step, abs=0.1)
    assert drawn[MANY:].mean() / PSI == pytest.approx(80 - step, abs=0.1)


def test_a_point_is_solved_once_and_a_check_of_the_gauge_not_at_all(solved):
    made = circuits([80 * PSI] * 3, bias=2 * PSI, gain=0.02)
    shut = Key(1500.0, 0.5, throttled=True, viscosity=1.8)
    wanted = [
        reading(75), Observation(PREFILTER, IDLE, 75 * PSI), reading(75, shut),
        Observation(CHECK, Key(0.0), 0.0),
    ]  # fmt: skip
    held = {}
    index = np.zeros(3, np.intp)
    drawn = predict_readings(posterior([80 * PSI]), wanted, made, index, solved=held)
    assert solved == [IDLE, shut]
    assert set(held) == {IDLE, shut}
    predict_readings(posterior([80 * PSI]), wanted, made, index, solved=held)
    assert len(solved) == 2
    noise = predict_readings(posterior([0.0]), wanted, circuits([0.0] * 3), index)
    # 80 psi and 2 per cent and 2 psi; 85 before the filter; 75 psi * 2 per cent + 2 psi of a check
    # (the zero circuits make 5 psi before their filter).
    gauge = np.array([80 * 1.02 + 2, 85 * 1.02 + 2 - 5, 80 * 1.02 + 2, 75 * 0.02 + 2]) * PSI
    assert (drawn - noise) == pytest.approx(np.tile(gauge, (3, 1)), rel=1e-9)


# After a repair.


@pytest.fixture
def renewed(monkeypatch):
    """A new part of group g makes 80 + 10 g psi."""
    asked = []

    def renew(circuit, _types, group, z):
        asked.append((group, z.shape[0]))
        return circuit.with_(lift=np.full(len(circuit.lift), (80.0 + 10 * group) * PSI))

    monkeypatch.setattr(fuel_forecast, "renew", renew)
    return asked


def forecast(given, share=1.0, group=0, band=None, **more):
    point = reading(75)
    bands = {} if band is None else {IDLE: tuple(b and b * PSI for b in band)}
    found = repair_forecasts(given, {"it": (group, share)}, [point], bands, count=MANY, **more)
    (one,) = found["it"]
    return one


def test_a_repair_that_meets_the_fault_shows_the_new_part(renewed):
    one = forecast(posterior([60 * PSI] * 4, faulty=0b1))
    assert renewed == [(0, MANY)]
    assert one.value / PSI == pytest.approx(80.0, abs=0.2)
    # 5 and 95 per cent of a normal: 1.645 standard deviations; 4 % of the parts were the wrong one.
    assert one.high / PSI == pytest.approx(80 + 1.645 * np.sqrt(WHOLE), abs=0.6)
    assert one.low / PSI < 80 - 1.645 * np.sqrt(WHOLE)
    assert one.in_band is None
    assert one.quantity == GALLERY
    assert (one.point.rpm, one.point.load) == (650.0, 0.0)


@pytest.mark.usefixtures("renewed")
def test_a_repair_beside_the_fault_shows_what_was_there():
    """A share of nothing: the group is at fault, and this cause is never the faulty part of it."""
    assert forecast(posterior([60 * PSI] * 4, faulty=0b1), share=0.0).value / PSI == (
        pytest.approx(60.0, abs=0.2)
    )
    # Another group is at fault: a new part of this one is in, and shows what new parts show.
    assert forecast(posterior([60 * PSI] * 4, faulty=0b10)).value / PSI == (
        pytest.approx(80.0, abs=0.2)
    )
    assert forecast(posterior([60 * PSI] * 4, faulty=0b10), group=1, share=0.0).value / PSI == (
        pytest.approx(60.0, abs=0.2)
    )
    assert forecast(posterior([60 * PSI] * 4, faulty=0b10), group=1).value / PSI == (
        pytest.approx(90.0, abs=0.2)
    )


@pytest.mark.usefixtures("renewed")
@pytest.mark.parametrize(
    "band",
    [(80, None), (None, 81), (79, 81), (79, 82), (70, 75)],
)
def test_the_chance_to_be_in_band_is_of_the_true_pressure(band):
    """A new part makes 80 psi, what the curve may be off left open: a normal about it."""
    normal = NormalDist(80.0, np.sqrt(SHAPE))
    low, high = band
    chance = (1.0 if high is None else normal.cdf(high)) - (0.0 if low is None else normal.cdf(low))
    one = forecast(posterior([60 * PSI] * 4, faulty=0b0), band=band)
    assert one.in_band == pytest.approx(chance, abs=0.001)


@pytest.mark.usefixtures("renewed")
def test_half_a_chance_to_meet_the_fault_is_half_a_chance_to_be_in_band():
    one = forecast(posterior([60 * PSI] * 4, faulty=0b1), share=0.5, band=(70, 90))
    assert one.in_band == pytest.approx(0.5 * (1 - WRONG_PART), abs=0.03)


@pytest.mark.usefixtures("renewed")
def test_every_cause_at_every_point_has_a_forecast_in_words():
    points = [reading(75), reading(95, Key(1500.0, 0.5))]
    given = posterior([60 * PSI] * 4)
    found = repair_forecasts(
        given, {"a": (3, 1.0), "b": (1, 1.0)}, points, {IDLE: (79 * PSI, 121 * PSI)}, count=MANY
    )
    assert [len(found[c]) for c in "ab"] == [2, 2]
    assert [round(f.value / PSI) for f in (*found["a"], *found["b"])] == [110, 110, 90, 90]
    first, second = found["b"]
    assert first.words.startswith("would read 90 (83 to 97) psi at 650 rpm")
    assert first.words.endswith("; chance to be in band over 99 %")
    assert second.in_band is None
    assert "band" not in second.words


# Where.


def test_a_repair_is_forecast_where_the_gallery_was_read():
    """Speeds within the same 50 r/min and loads within the same tenth are one point, read last."""
    first, again = reading(60, Key(1490.0, 0.02)), reading(61, Key(1510.0, 0.04))
    seen = [
        first, again, reading(62, Key(1560.0)), reading(63, Key(1510.0, 0.1)),
        reading(64, main=False), Observation(PREFILTER, Key(900.0), 60 * PSI),
    ]  # fmt: skip
    assert gallery_points(posterior([1], seen=seen)) == (again, seen[2], seen[3])


def test_without_a_reading_idle_and_1500_are_forecast():
    for seen in ((), [reading(64, main=False)], [Observation(PREFILTER, IDLE, 60 * PSI)]):
        points = gallery_points(posterior([1], seen=seen))
        assert [(o.quantity, o.key.rpm, o.key.load) for o in points] == [
            (GALLERY, 650.0, 0.0), (GALLERY, 1500.0, 0.0),
        ]  # fmt: skip
        assert [o.value / PSI for o in points] == pytest.approx([75.0, 95.0])
