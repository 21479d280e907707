"""Steady points to the edge of each limit; courses without noise, each worked by hand.

The limits are common practice, no source: a span of 50 r/min and of 10 points of load in all, at
least 5 s, warm from 70 degC. The grid has a step of 0.2 s.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from witnessmark.analyses.steady import gear_at, ratio_of, steady_points, trace_of
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.recording import Channel, Quality, Recording

#: The rate of the grid itself: its time stamps fall on the edges of the cells.
RATE = 5.0


def channel(name, values, time=None, quality=None):
    values = np.asarray(values, float)
    clock = np.arange(values.size) / RATE if time is None else np.asarray(time, float)
    kind = np.full(values.size, int(Quality.VALID), np.uint8) if quality is None else quality
    return Channel(name, "", clock, values, kind, source=0)


def recording(rpm, time=None, **others):
    """Return a recording; others are a value held or one for each sample."""
    names = {"load": "engine_load", "road": "road_speed", "coolant": "coolant_temperature",
             "pedal": "pedal_position", "gear": "current_gear"}  # fmt: skip
    first = channel("engine_speed", rpm, time)
    more = [
        channel(names[k], np.broadcast_to(np.asarray(v, float), first.values.shape).copy(), time)
        for k, v in others.items()
    ]
    return Recording("a", "0" * 64, "bus", "x", float(first.time_s[-1]), (first, *more))


def held(rpm, seconds, **others):
    return recording(np.full(round(seconds * RATE) + 1, float(rpm)), **others)


def spans(found):
    return [(p.start_s, p.end_s) for p in steady_points(found)]


def jumping(*pieces):
    """A value for so many samples, one piece after the other."""
    return np.concatenate([np.full(n, float(v)) for v, n in pieces])


# Least duration, and spans.


@pytest.mark.parametrize(("seconds", "found"), [(5.0, [(0.0, 5.0)]), (4.8, [])])
def test_five_seconds_from_the_first_to_the_last_sample_are_enough(seconds, found):
    assert spans(held(1500, seconds)) == found
    # The same within a longer recording that is not steady before and after.
    rising = 700 + 40.0 * np.arange(10)
    middle = np.full(round(seconds * RATE) + 1, 1500.0)
    rpm = np.r_[rising, middle, 1700 + 40 * np.arange(10)]
    assert [(s - 2.0, e - 2.0) for s, e in spans(recording(rpm))] == [
        (pytest.approx(s), pytest.approx(e)) for s, e in found
    ]


def swinging(low, high, count=41):
    return np.where(np.arange(count) % 2, float(high), float(low))


@pytest.mark.parametrize(("high", "count"), [(1550.0, 1), (1550.5, 0)])
def test_a_span_of_fifty_rpm_is_steady_and_more_is_not(high, count):
    assert len(spans(recording(swinging(1500, high)))) == count


@pytest.mark.parametrize(("high", "count"), [(60.0, 1), (60.5, 0)])
def test_a_span_of_ten_points_of_load_is_steady_and_more_is_not(high, count):
    rpm = np.full(41, 1500.0)
    assert len(spans(recording(rpm, load=swinging(50, high)))) == count


def test_a_stretch_ends_where_the_band_is_left_and_the_next_begins_there():
    rpm = jumping((1500, 30), (1550, 30), (1601, 30))
    # 1500 and 1550 lie in one band; 1601 is 101 off the first and begins anew.
    assert spans(recording(rpm)) == [(0.0, 11.8), (12.0, 17.8)]
    # A short excursion belongs to no stretch: 12 samples are less than five seconds.
    rpm = jumping((1500, 30), (1800, 12), (1500, 30))
    assert spans(recording(rpm)) == [(0.0, 5.8), (8.4, 14.2)]


def test_a_change_of_gear_ends_a_stretch_and_one_gears_own_slip_does_not():
    """Road speed over engine speed moves by 0.09 (natural log), then by 0.11."""
    rpm = np.full(60, 1500.0)
    within = jumping((10.0, 30), (10.0 * math.exp(0.09), 30))
    beyond = jumping((10.0, 30), (10.0 * math.exp(0.11), 30))
    assert len(spans(recording(rpm, road=within, load=50))) == 1
    assert spans(recording(rpm, road=beyond, load=50)) == [(0.0, 5.8), (6.0, 11.8)]


# Short disturbances.


@pytest.mark.parametrize(
    ("second", "gap", "joined"),
    [
        (1500.0, 4, True),  # the last sample before and the first after are a second apart
        (1500.0, 5, False),
        (1512.0, 3, True),  # half of 25 r/min off is the same place
        (1513.0, 3, False),
    ],
)
def test_a_short_disturbance_does_not_make_two_points(second, gap, joined):
    rpm = jumping((1500, 30), (1900, gap), (second, 30))
    found = spans(recording(rpm))
    assert len(found) == (1 if joined else 2)
    if joined:
        assert found == [(0.0, pytest.approx((60 + gap - 1) / RATE))]


@pytest.mark.parametrize(("second", "joined"), [(52.0, True), (53.0, False)])
def test_another_load_is_another_place(second, joined):
    rpm = jumping((1500, 30), (1900, 3), (1500, 30))
    load = jumping((50, 30), (90, 3), (second, 30))
    assert len(spans(recording(rpm, load=load))) == (1 if joined else 2)


def test_another_warmth_name_or_ratio_is_another_place():
    rpm = jumping((1500, 30), (1900, 3), (1500, 30))
    assert len(spans(recording(rpm, coolant=jumping((69, 32), (71, 31))))) == 2
    assert len(spans(recording(rpm, road=jumping((0, 32), (10, 31)), load=50))) == 2
    ratio = math.exp(0.06)
    assert len(spans(recording(rpm, road=jumping((10, 32), (10 * ratio, 31)), load=50))) == 2
    ratio = math.exp(0.04)
    assert len(spans(recording(rpm, road=jumping((10, 32), (10 * ratio, 31)), load=50))) == 1


# What a point says.


@pytest.mark.parametrize(("coolant", "warm"), [(69.9, False), (70.0, True), (np.nan, None)])
def test_warm_is_from_seventy_degrees(coolant, warm):
    (point,) = steady_points(held(650, 8, coolant=coolant))
    assert point.warm is warm


@pytest.mark.parametrize(
    ("rpm", "others", "name"),
    [
        (0, {}, "engine off"),
        (99, {"coolant": 69}, "engine off"),
        (99, {"coolant": 70}, "hot soak"),
        (100, {"coolant": 80}, "cranking"),
        (399, {}, "cranking"),
        (400, {}, "idle"),
        (900, {}, "idle"),
        (901, {}, "no load"),
        (1500, {"load": 40}, "no load"),  # without road speed: 40 % may be idling, more is not
        (1500, {"load": 41}, ""),
        (1500, {"load": 89}, ""),
        (1500, {"load": 90}, "pull"),
        (1500, {"road": 0.6, "load": 95}, "no load"),  # standing: the bus's load is no road load
        (1500, {"road": 0.7, "load": 90}, "pull"),
        (1500, {"road": 20}, "road"),
        (1500, {"road": 20, "load": 89}, "road"),
        (1500, {"road": 20, "load": 80, "pedal": 95}, "pull"),
        (1500, {"road": 20, "load": 79, "pedal": 95}, "road"),
        (1500, {"road": 20, "load": 80, "pedal": 94}, "road"),
        (1500, {"road": 20, "load": 5}, "coast"),
        (1500, {"road": 20, "load": 6}, "road"),
        (1500, {"road": 20, "load": 5, "pedal": 1}, "coast"),
        (1500, {"road": 20, "load": 5, "pedal": 2}, "road"),
    ],
)
def test_the_name_of_a_point(rpm, others, name):
    (point,) = steady_points(held(rpm, 8, **others))
    assert point.name == name


def test_the_figures_of_a_point():
    """1500 r/min at 20 m/s: 1500 / 72 km/h = 20.83 r/min per km/h; load in parts of one."""
    (point,) = steady_points(held(1500.04, 8, road=20, load=62.5))
    assert (point.rpm, point.load, point.rpm_per_kmh) == (1500.0, 0.625, 20.83)
    assert (point.start_s, point.end_s) == (0.0, 8.0)
    for slow in (held(399, 8, road=20), held(1500, 8, road=0.6)):
        assert steady_points(slow)[0].rpm_per_kmh is None
    assert steady_points(held(400, 8, road=20))[0].rpm_per_kmh == pytest.approx(5.56)


def test_a_channel_known_for_half_of_a_stretch_says_something():
    """41 samples: 21 known are half and more, 20 are not; each reaches 4 s beyond where it ends."""
    for known, told in ((21, True), (5, True)):
        load = jumping((50, known), (np.nan, 41 - known))
        assert (steady_points(held(1500, 8, load=load))[0].load is not None) == told
    load = np.r_[np.full(5, 50.0), np.full(96, np.nan)]  # 0.8 s known and 4 s after, of 20 s
    assert steady_points(held(1500, 20, load=load))[0].load is None


# Gears.

TRUCK = TruckData(
    label="unit 7", gears={"9": 1.0, "10": 0.73}, axle_ratio=3.55, tyre_rev_per_mile=500
)


def at(ratio, rpm=1500.0):
    """Road speed [m/s] of an observed ratio of the gearbox."""
    return rpm / (ratio * 3.55) / 500 * 1609.344 / 60


def test_a_gear_is_told_within_four_per_cent():
    assert gear_at(TRUCK, 1500, at(1 / 1.039)) == "9"
    assert gear_at(TRUCK, 1500, at(1 / 1.041)) is None
    assert gear_at(TRUCK, 1500, at(1 / 0.961)) == "9"
    assert gear_at(TRUCK, 1500, at(1 / 0.959)) is None
    assert gear_at(TRUCK, 1500, at(0.73 / 1.039)) == "10"
    assert gear_at(TRUCK, 0.0, 20.0) is None
    # Standing still, though the speed would fit a gear.
    crawl = 0.6 * 3.55 * 500 / 1609.344 * 60
    assert gear_at(TRUCK, crawl, 0.6) is None
    assert gear_at(TRUCK, crawl * 1.01, 0.606) == "9"
    for missing in ("gears", "axle_ratio", "tyre_rev_per_mile"):
        bare = TRUCK.model_copy(update={missing: None})
        assert gear_at(bare, 1500, at(1.0)) is None


def test_the_gear_the_bus_sends_stands_where_no_ratio_tells():
    assert steady_points(held(1500, 8, road=20, load=50, gear=11))[0].gear == "11"
    assert steady_points(held(1500, 8, road=20, load=50, gear=1))[0].gear == "1"
    assert steady_points(held(1500, 8, road=20, load=50, gear=0.9))[0].gear is None
    assert steady_points(held(1500, 8, road=0.6, gear=11))[0].gear is None
    assert steady_points(held(1500, 8, load=50, gear=11))[0].gear is None
    (known,) = steady_points(held(1500, 8, road=at(1.0), load=50, gear=11), TRUCK)
    assert (known.gear, known.group) == ("9", "")


def test_gears_of_unknown_ratio_are_apart_by_more_than_five_per_cent():
    def groups(*steps):
        road = jumping(*((20.0 * math.exp(-s), 30) for s in steps))
        rpm = np.full(road.size, 1500.0)
        return [p.group for p in steady_points(recording(rpm, road=road, load=50))]

    # 0.11 apart ends a stretch; 0.04 between the two outer ones' neighbours is one gear.
    assert groups(0.0, 0.11, 0.26) == ["3 of 3 by ratio", "2 of 3 by ratio", "1 of 3 by ratio"]
    assert groups(0.0, 0.2, 0.04) == ["2 of 2 by ratio", "1 of 2 by ratio", "2 of 2 by ratio"]
    assert groups(0.0, 0.2, 0.06) == ["3 of 3 by ratio", "1 of 3 by ratio", "2 of 3 by ratio"]


# The grid.


def test_a_pause_of_more_than_two_seconds_is_not_bridged():
    def with_pause(seconds):
        time = np.r_[np.arange(31) / RATE, 6.0 + seconds + np.arange(31) / RATE]
        return spans(recording(np.full(62, 1500.0), time))

    assert len(with_pause(1.8)) == 1
    assert len(with_pause(2.6)) == 2


def test_the_grid_holds_the_mean_of_each_fifth_of_a_second():
    time = np.arange(40) / 10.0 + 3.0
    rpm = 1500.0 + np.tile([0.0, 10.0], 20)
    trace = trace_of(recording(rpm, time))
    assert trace.time_s[:3] == pytest.approx([3.0, 3.2, 3.4])
    assert trace.rpm[1:-1] == pytest.approx(np.full(trace.rpm.size - 2, 1505.0), abs=5.01)
    assert trace_of(recording([1500.0, 1500.0])) is None
    assert trace_of(recording([1500.0, 1500.0, 1500.0])) is not None


def test_the_nearest_sample_within_four_seconds_stands_for_a_channel():
    rpm = np.full(101, 1500.0)
    found = recording(rpm)
    coolant = channel("coolant_temperature", [80.0, 90.0], [5.0, 7.0])
    trace = trace_of(
        Recording("a", "0" * 64, "bus", "x", 20.0, (*found.channels, coolant))
    )  # fmt: skip
    known = dict(zip(np.round(trace.time_s, 1).tolist(), trace.coolant.tolist(), strict=True))
    assert math.isnan(known[0.8])
    assert known[1.2] == known[5.8] == 80.0
    assert known[6.2] == known[7.0] == known[10.8] == 90.0
    assert math.isnan(known[11.2])
    one = channel("coolant_temperature", [80.0], [5.0])
    alone = trace_of(Recording("a", "0" * 64, "bus", "x", 20.0, (*found.channels, one)))
    assert np.isnan(alone.coolant).all()


def test_samples_that_are_no_readings_are_left_out():
    quality = np.full(41, int(Quality.VALID), np.uint8)
    quality[10], quality[20] = Quality.IMPLAUSIBLE, Quality.REPEATED
    rpm = np.full(41, 1500.0)
    rpm[10] = 9000.0
    odd = Recording(
        "a", "0" * 64, "bus", "x", 8.0, (channel("engine_speed", rpm, quality=quality),)
    )
    assert spans(odd) == [(0.0, 8.0)]


def test_the_ratio_is_nothing_at_a_stand_and_unknown_without_a_road_speed():
    trace = trace_of(recording([1000.0] * 4, road=[0.6, 0.61, 20.0, np.nan]))
    ratio = ratio_of(trace)
    assert ratio[0] == 0.0
    assert ratio[1] == pytest.approx(math.log(0.61))
    assert ratio[2] == pytest.approx(math.log(20.0))
