"""What is frozen, wild, a code or a default, to the edge of each limit; every case worked by hand.

The limits are the module's own (common practice, no source); the bus's codes are SAE J1939-71's:
0xFE.. is "error", 0xFF.. "not available". What is held here is which side of a limit a sample on
the limit falls, and which samples are marked: one too many is a reading lost.
"""

from __future__ import annotations

import numpy as np
import pytest

from witnessmark.model.recording import Channel, Flag, Quality
from witnessmark.readers.honesty import stuck
from witnessmark.readers.told import Trouble

VALID, ERROR = int(Quality.VALID), int(Quality.ERROR)


def channel(name, values, time=None, source=None, bad=()):
    values = np.asarray(values, float)
    clock = np.arange(values.size) * 1.0 if time is None else np.asarray(time, float)
    quality = np.full(values.size, VALID, np.uint8)
    quality[list(bad)] = Quality.NOT_AVAILABLE
    return Channel(name, "", clock, values, quality, source=source)


def marked(found, quality):
    return np.flatnonzero(found.quality == quality).tolist()


def told(rule, *given):
    """Run a rule; return what came back, its flags and its sentences."""
    flags, trouble = list[Flag](), Trouble("x.csv")
    found = rule(*given, flags, trouble)
    return found, flags, [p.what for p in trouble.problems()]


# The bus's codes as numbers.


def test_a_temperatures_codes_are_214_and_215_degrees():
    """One byte, 1 K a step from -40: 0xFE is 254 - 40 = 214, 0xFF is 215."""
    found, flags, said = told(
        stuck.codes_as_numbers,
        channel("coolant_temperature", [80, 214, 81, 215, 215, 213.75, 215.25]),
    )
    assert marked(found, Quality.ERROR) == [1, 5]
    assert marked(found, Quality.NOT_AVAILABLE) == [3, 4, 6]
    assert np.isnan(found.values[[1, 3, 4, 5, 6]]).all()
    assert found.values[[0, 2]].tolist() == [80, 81]
    spans = [(f.quality, f.start_s, f.end_s) for f in flags]
    assert spans == [
        (Quality.ERROR, 1, 1), (Quality.ERROR, 5, 5),
        (Quality.NOT_AVAILABLE, 3, 4), (Quality.NOT_AVAILABLE, 6, 6),
    ]  # fmt: skip
    assert said[0].startswith("5 cells of coolant_temperature")


def test_a_pressures_codes_are_254_and_255_steps_of_4_kpa():
    """1016 and 1020 kPa, good to 0.3 of a step: 1.2 kPa."""
    kpa = [300, 1016, 1017, 1020, 1019]
    found, _, _ = told(stuck.codes_as_numbers, channel("oil_pressure", np.array(kpa) * 1e3))
    assert marked(found, Quality.ERROR) == [1, 2]
    assert marked(found, Quality.NOT_AVAILABLE) == [3, 4]


@pytest.mark.parametrize(("highest", "codes"), [(194.0, 1), (194.5, 0)])
def test_what_lies_within_20_steps_of_other_values_is_no_code(highest, codes):
    found, _, said = told(
        stuck.codes_as_numbers, channel("coolant_temperature", [80, highest, 214])
    )
    assert found.count(Quality.ERROR) == len(said) == codes


def test_a_wide_signals_codes_are_whole_ranges():
    """Two bytes, 1/8 r/min a step: 0xFE00 is 8128, 0xFF00 is 8160, 0xFFFF is 8191.875."""
    found, flags, said = told(
        stuck.codes_as_numbers,
        channel("engine_speed", [700, 8127.875, 8128, 8159.875, 8160, 8191.875]),
    )
    assert marked(found, Quality.ERROR) == [2, 3]
    assert marked(found, Quality.NOT_AVAILABLE) == [4, 5]
    assert [(f.start_s, f.end_s) for f in flags] == [(2, 3), (4, 5)]
    assert said[0].startswith("4 cells")
    # 1/32 K a step from -273: 65024 / 32 - 273 = 1759.
    found, _, _ = told(
        stuck.codes_as_numbers, channel("transmission_oil_temperature", [90, 1758.9, 1759])
    )
    assert marked(found, Quality.ERROR) == [2]


def test_what_a_bus_sent_and_what_is_unknown_is_left_alone():
    for one in (
        channel("coolant_temperature", [80, 214], source=0),
        channel("own_word", [80, 214]),
        channel("coolant_temperature", [80, 81]),
        channel("coolant_temperature", [80, 214], bad=[1]),
    ):
        found, flags, said = told(stuck.codes_as_numbers, one)
        assert found is one
        assert flags == said == []


# Wild values.


def spike(*wild, before=2, after=8, step=0.1, back=700.0, **more):
    values = [700.0] * before + list(wild) + [back] * after
    return channel("engine_speed", values, np.arange(len(values)) * step, **more)


@pytest.mark.parametrize(
    ("given", "wild"),
    [
        (spike(2200.0), []),  # 1500 r/min off is not more than 1500
        (spike(2201.0), [2]),
        (spike(2201.0, 2300.0, 2400.0), [2, 3, 4]),
        (spike(2201.0, 2300.0, 2400.0, 2500.0), []),  # four samples in a row are a course
        (spike(2300.0, 2100.0), []),  # the second is only 1400 off: it came down on its own
        (spike(9000.0, step=0.5), [2]),  # gone after exactly a second
        (spike(9000.0, step=0.625), []),
        (spike(9000.0, back=1199.0), [2]),  # back within a third of 1500
        (spike(9000.0, back=1200.0), []),
        (spike(9000.0, after=0), []),  # nothing after it says that it came back
        (spike(9000.0, before=8, after=1), [8]),
        (spike(9000.0, after=7), [2]),  # ten samples are enough, nine are not
        (spike(9000.0, after=6), []),
        (spike(9000.0, bad=[0]), [2]),
        (spike(9000.0, 9000.0, bad=[2]), [3]),
    ],
)
def test_a_wild_value_is_far_off_and_gone_within_a_second(given, wild):
    found = stuck.wild_values(given)
    assert marked(found, Quality.IMPLAUSIBLE) == wild
    assert np.isnan(found.values[wild]).all()
    kept = [n for n in range(given.values.size) if n not in wild]
    assert found.values[kept].tolist() == given.values[kept].tolist()


def test_other_channels_have_no_wild_values():
    one = channel("oil_pressure", [1e5, 9e9, *[1e5] * 10], np.arange(12) * 0.1)
    assert stuck.wild_values(one) is one


# Jumps of a liquid.


def jumps(*steps, gap=1.0, name="coolant_temperature", count=12):
    """Ten quiet samples, then a step of each given size, *gap* seconds wide."""
    values = np.r_[np.full(count - 1, 80.0), 80.0 + np.cumsum(np.r_[0.0, steps])]
    time = np.r_[np.arange(-count + 1, 0), np.arange(len(steps) + 1) * gap]
    flags, trouble = list[Flag](), Trouble("x.csv")
    stuck.impossible_jumps(channel(name, values, time), flags, trouble)
    return flags, [p.what for p in trouble.problems()]


def test_ten_kelvin_within_a_second_is_no_liquid():
    flags, said = jumps(10.0)
    assert [(f.start_s, f.end_s, f.quality) for f in flags] == [(0.0, 1.0, Quality.IMPLAUSIBLE)]
    assert flags[0].note == "Changes by 10 K within 1.00 s: no liquid does that."
    assert said == [
        "coolant_temperature jumps by 10 K or more within a second, 1 times, first at 0.0 s: no "
        "liquid does that."
    ]
    assert len(jumps(-10.0)[0]) == len(jumps(10.0, gap=1.05)[0]) == 1
    for none in (jumps(9.9), jumps(10.0, gap=1.1), jumps(10.0, name="oil_pressure")):
        assert none == ([], [])


def test_a_few_samples_say_nothing_of_jumps_and_many_jumps_are_counted():
    assert len(jumps(10.0, count=9)[0]) == 1  # ten samples
    assert jumps(10.0, count=8) == ([], [])
    flags, said = jumps(*[10.0, -10.0] * 15)
    assert len(flags) == 20
    assert "30 times" in said[0]


# Frozen speeds.


def middling(low, middle, high, count=21):
    """The 5th and 95th percentile of 21 values are the second lowest and the second highest."""
    return np.r_[low, low, np.full(count - 4, middle), high, high]


def frozen(
    held=1200.0, still=21, step=1.0, road=None, name="engine_speed", lead=5, total=40, every=1
):
    """Return (samples marked, flags): a speed that moves, stands still, and moves again."""
    moving = 1000.0 + 7.0 * np.arange(total)
    moving[lead : lead + still] = held
    time = np.arange(total) * step
    inside = middling(9.0, 10.0, 11.0) if road is None else np.asarray(road, float)
    clock = time[lead] + np.arange(inside.size) * every
    other = "road_speed" if name == "engine_speed" else "engine_speed"
    found, flags, said = told(
        stuck.frozen_speed, channel(name, moving, time), {other: (clock, inside)}
    )
    assert bool(flags) == bool(said)
    return marked(found, Quality.SUBSTITUTED), flags


def test_twenty_seconds_to_the_last_digit_are_frozen():
    found, flags = frozen()
    assert found == list(range(5, 26))  # 21 samples, 20 s from the first to the last
    assert [(f.start_s, f.end_s) for f in flags] == [(5.0, 25.0)]
    assert "road_speed changes" in flags[0].note
    assert frozen(still=20)[0] == []  # 19 s


def test_a_speed_at_rest_is_not_frozen():
    assert frozen(held=300.0)[0] == []
    assert len(frozen(held=301.0)[0]) == 21


@pytest.mark.parametrize(
    ("road", "count"),
    [
        (middling(9.0, 10.0, 11.0), 21),  # 2 m/s of 10: a fifth, and that is enough
        (middling(9.01, 10.0, 11.0), 0),
        (middling(2.0, 3.0, 4.0), 21),  # a middle of 3 m/s counts
        (middling(2.0, 2.9, 4.0), 0),
        ([8.0, 12.0] * 5, 21),  # ten readings of the other are enough
        ([8.0, 12.0] * 4 + [12.0], 0),
    ],
)
def test_the_other_speed_must_change_by_a_fifth(road, count):
    assert len(frozen(road=road)[0]) == count


def test_road_speed_is_frozen_where_the_engine_speed_changes_by_three_tenths():
    """Rests below 2 m/s; engine speed 850 to 1150 round 1000 is three tenths."""
    same = {"name": "road_speed", "held": 20.0}
    assert len(frozen(**same, road=middling(850, 1000, 1150))[0]) == 21
    assert frozen(**same, road=middling(851, 1000, 1150))[0] == []
    assert len(frozen(**same, road=middling(300, 400, 500))[0]) == 21
    assert frozen(**same, road=middling(300, 399, 500))[0] == []
    assert frozen(**same | {"held": 2.0}, road=middling(850, 1000, 1150))[0] == []
    assert len(frozen(**same | {"held": 2.1}, road=middling(850, 1000, 1150))[0]) == 21


def test_few_samples_are_not_called_frozen():
    assert len(frozen(still=15, step=1.5)[0]) == 15
    assert frozen(still=14, step=1.6)[0] == []
    assert len(frozen(total=30)[0]) == 21
    assert frozen(total=29)[0] == []


def test_frozen_needs_the_other_speed():
    one = channel("engine_speed", [1200.0] * 60)
    assert told(stuck.frozen_speed, one, {}) == (one, [], [])
    other = channel("coolant_temperature", [1200.0] * 60)
    speeds = {"road_speed": (np.arange(60.0), np.linspace(5, 20, 60))}
    assert told(stuck.frozen_speed, other, speeds) == (other, [], [])


# No pressure yet.


def early(pressures, time=None, rpm=700.0, at=None, name="oil_pressure"):
    """Return the samples marked as a default from before the sensor was read."""
    one = channel(name, pressures, time)
    clock = one.time_s if at is None else np.asarray(at, float)
    speed = (clock, np.broadcast_to(np.asarray(rpm, float), clock.shape))
    found, flags, said = told(stuck.no_pressure_yet, one, speed)
    assert len(flags) == len(said) == (found.count(Quality.START_UP) > 0)
    return marked(found, Quality.START_UP)


REAL = [2e5] * 5


@pytest.mark.parametrize(
    ("given", "samples"),
    [
        ({"pressures": [0, 0, *REAL]}, [0, 1]),
        ({"pressures": [0, 0, *REAL], "name": "fuel_delivery_pressure"}, [0, 1]),
        ({"pressures": [0, 0, *REAL], "name": "boost_pressure"}, []),
        ({"pressures": [0, 5e4, *REAL]}, [0]),  # half a bar at once
        ({"pressures": [0, 4.9e4, *REAL]}, []),  # it rises: an engine that builds pressure
        ({"pressures": [0, 0, 0, *REAL]}, [0, 1, 2]),  # all there after 3 s
        ({"pressures": [0, 0, 0, 0, *REAL]}, []),  # 4 s without oil pressure are believed
        ({"pressures": [0, *REAL], "time": [0, 1.5, 2, 3, 4, 5]}, [0]),
        ({"pressures": [0, *REAL], "time": [0, 1.6, 2, 3, 4, 5]}, []),
        ({"pressures": [1e3, 0, *REAL]}, []),
        ({"pressures": [0] * 8}, []),
        ({"pressures": [0, 2e5, 2e5, 2e5, 2e5]}, [0]),
        ({"pressures": [0, 2e5, 2e5, 2e5]}, []),  # too few to say
        ({"pressures": [0, *REAL], "rpm": 400.0}, [0]),
        ({"pressures": [0, *REAL], "rpm": 399.0}, []),  # cranked, not running
        # What the engine did up to and with the first reading counts, not what it did later.
        ({"pressures": [0, *REAL], "rpm": [700, 0], "at": [0, 1]}, []),
        ({"pressures": [0, *REAL], "rpm": [700, 0], "at": [0, 1.1]}, [0]),
        ({"pressures": [0, *REAL], "at": [9, 10]}, []),
    ],
)
def test_no_pressure_at_first_and_then_all_of_it_is_a_default(given, samples):
    assert early(**given) == samples


def test_without_engine_speed_a_pressure_of_nothing_stands():
    one = channel("oil_pressure", [0, *REAL])
    assert told(stuck.no_pressure_yet, one, None) == (one, [], [])
