"""Steady operating points and the road-test card on an invented drive."""

from __future__ import annotations

import numpy as np
import pytest

from witnessmark.analyses.road import road_test
from witnessmark.analyses.road.road_test import CardLine
from witnessmark.analyses.steady import gear_at, steady_points
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.recording import Channel, Recording

TRUCK = TruckData(
    label="unit 7", gears={"9": 1.0, "10": 0.73}, axle_ratio=3.55, tyre_rev_per_mile=500
)


def speed_in(gear: float, rpm: float) -> float:
    """Road speed [m/s]: rpm / (gear * axle) turns of the tyre a minute, 500 to the mile."""
    return rpm / (gear * 3.55) / 500 * 1609.344 / 60


def drive(*pieces: tuple[float, float, float, float, float], name: str = "drive") -> Recording:
    """Build a recording of pieces (seconds, rpm, load %, road speed m/s, coolant degC)."""
    random = np.random.default_rng(5)
    columns: dict[str, list[np.ndarray]] = {}
    for seconds, rpm, load, road, coolant in pieces:
        n = int(seconds * 10)
        for key, value, noise in (
            ("engine_speed", rpm, 4.0 if rpm else 0.0), ("engine_load", load, 0.5 if load else 0.0),
            ("road_speed", road, 0.0), ("coolant_temperature", coolant, 0.0),
        ):  # fmt: skip
            columns.setdefault(key, []).append(
                value + random.normal(0, noise, n) if noise else np.full(n, float(value))
            )
    channels = []
    for key, parts in columns.items():
        values = np.concatenate(parts)
        time = np.arange(values.size) * 0.1
        quality = np.zeros(values.size, np.uint8)
        channels.append(Channel(key, "", time, values.clip(0, 8000), quality, source=0))
    duration = float(channels[0].time_s[-1])
    return Recording(name, "0" * 64, "bus", "invented", duration, tuple(channels))


FULL = drive(
    (20, 0, 0, 0, 20), (40, 650, 20, 0, 30), (2, 900, 30, 0, 60), (30, 650, 22, 0, 80),
    (10, 1500, 25, 0, 82),
    (15, 1500, 100, speed_in(1.0, 1500), 85), (12, 1480, 100, speed_in(0.73, 1480), 86),
    (15, 1400, 0, speed_in(0.73, 1400), 85), (40, 0, 0, 0, 88),
)  # fmt: skip


def test_points_are_found_and_named() -> None:
    found = steady_points(FULL, TRUCK)
    names = [p.name for p in found]
    assert names == ["engine off", "idle", "idle", "no load", "pull", "pull", "coast", "hot soak"]
    pull = found[4]
    assert (pull.gear, pull.warm) == ("9", True)
    assert pull.rpm == pytest.approx(1500, abs=3)
    assert pull.load == pytest.approx(1.0, abs=0.01)
    assert pull.end_s - pull.start_s == pytest.approx(15, abs=1)
    assert found[5].gear == "10"
    assert (found[1].warm, found[2].warm) == (False, True)
    assert found[1].gear is None


def test_bands_are_25_rpm_and_5_points_of_load() -> None:
    """The band is the agreed one: ±25 rpm, ±5 points, at least 5 s."""
    assert not steady_points(drive((4.5, 1500, 50, 20, 80), (0.5, 0, 0, 0, 80)))
    swinging = drive(*[(2.0, rpm, 50, 20, 80) for rpm in (1400, 1500, 1400, 1500, 1400)])
    assert not [p for p in steady_points(swinging) if p.end_s - p.start_s > 5]
    load = drive(*[(2.0, 1500, part, 20, 80) for part in (40, 60, 40, 60, 40)])
    assert not [p for p in steady_points(load) if p.end_s - p.start_s > 5]
    inside = drive(*[(2.0, rpm, part, 20, 80) for rpm, part in ((1490, 47), (1510, 52)) * 3])
    assert len(steady_points(inside)) == 1


def test_without_load_or_time_nothing_is_invented() -> None:
    bare = Recording("a", "0" * 64, "bus", "x", None, FULL.channels)
    assert steady_points(bare) == ()
    only_speed = Recording("a", "0" * 64, "bus", "x", FULL.duration_s, FULL.channels[:1])
    point = steady_points(only_speed)[1]
    assert (point.load, point.gear, point.warm) == (None, None, None)


def test_gear_from_ratios() -> None:
    assert gear_at(TRUCK, 1500, speed_in(1.0, 1500)) == "9"
    assert gear_at(TRUCK, 1500, speed_in(0.73, 1500)) == "10"
    assert gear_at(TRUCK, 1500, speed_in(0.85, 1500)) is None  # between two gears: not told
    assert gear_at(TRUCK, 1500, 0.0) is None
    assert gear_at(None, 1500, 20.0) is None


def road_test_card(*given: object) -> tuple[CardLine, ...]:
    return road_test.road_test_card(*given, knowledge=load_knowledge())  # type: ignore[arg-type]


def line(card: tuple[CardLine, ...], point: str) -> CardLine:
    return next(x for x in card if x.point == point)


def test_card_says_what_is_covered_and_what_to_drive_next() -> None:
    card = road_test_card(["vib_load", "fuel_low"], [FULL], TRUCK)
    assert card[0].point == "pull_two_gears"
    assert line(card, "pull_two_gears").covered
    assert line(card, "no_load_1500").covered
    assert not line(card, "no_load_1800").covered
    assert line(card, "no_load_1800").missing == "1,800 rpm, no load for 5 s is missing"
    assert line(card, "idle").families == ("fuel_low", "vib_load")


def test_missing_pull_names_gear_and_seconds() -> None:
    short = drive((30, 650, 20, 0, 80), (6, 1500, 100, speed_in(1.0, 1500), 85))
    card = road_test_card(["low_power"], [short], TRUCK)
    assert card[0].missing == (
        "1,300 to 1,700 rpm, full load in gear 9 for 10 s is missing (the longest was 6 s)"
    )
    one = road_test_card(["vib_load"], [drive((15, 1500, 100, speed_in(1.0, 1500), 85))], TRUCK)
    assert "in a gear other than 9" in one[0].missing


def test_what_was_not_recorded_cannot_be_covered() -> None:
    bare = Recording("a", "0" * 64, "bus", "x", FULL.duration_s, FULL.channels[:1])
    pull = road_test_card(["low_power"], [bare])[0]
    assert not pull.covered
    assert "not recorded: engine load, road speed" in pull.missing


def test_every_family_of_the_pack_has_points() -> None:
    knowledge = load_knowledge()
    for family in knowledge.families.values():
        assert family.drive_points
        assert set(family.drive_points) <= set(knowledge.drive_points)


def test_gears_are_told_apart_without_ratios() -> None:
    """Three gears of unknown ratios: 1.37, 1.0 and 0.73 of the same axle."""
    pieces = [(8, 1400, 60, speed_in(gear, 1400), 85) for gear in (1.37, 1.0, 0.73, 1.0)]
    found = [p for p in steady_points(drive(*pieces)) if p.group]
    assert [p.group for p in found] == [
        "1 of 3 by ratio", "2 of 3 by ratio", "3 of 3 by ratio", "2 of 3 by ratio",
    ]  # fmt: skip
    assert all(p.gear is None for p in found)
    # 1400 r/min in direct gear: 1400 / 3.55 / 500 miles a minute = 76.2 km/h
    assert found[1].rpm_per_kmh == pytest.approx(1400 / 76.16, rel=0.01)
    known = steady_points(drive(*pieces), TRUCK)
    assert [p.gear for p in known] == [None, "9", "10", "9"]


def test_holding_one_speed_is_no_sweep_and_no_rise() -> None:
    held = drive((30, 650, 20, 0, 85), (40, 1400, 40, 25.0, 85))
    card = {line.point: line for line in road_test_card(["vib_load", "vib_speed"], [held])}
    assert not card["sweep"].covered
    assert not card["rise"].covered
    steps = [(3, 650 + 100 * n, 20, 0, 85) for n in range(16)]
    rise = [(4, 1000 + 40 * n, 40, 18.0 + n, 85) for n in range(14)]
    swept = drive(*steps, *rise)
    card = {line.point: line for line in road_test_card(["vib_load", "vib_speed"], [swept])}
    assert card["sweep"].covered
    assert card["rise"].covered


def test_a_card_says_when_warm_was_not_recorded() -> None:
    whole = drive((15, 650, 20, 0, 85))
    bare = Recording(
        "bare", "0" * 64, "bus", "invented", whole.duration_s,
        tuple(c for c in whole.channels if c.name != "coolant_temperature"),
    )  # fmt: skip
    line = next(x for x in road_test_card(["electrical"], [bare]) if x.point == "idle")
    assert line.covered
    assert "warm is not recorded" in line.words
