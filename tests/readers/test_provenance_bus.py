"""Facts about real bus recordings; source of every figure: ../shared/data/PROVENANCE.md."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.readers import read_recording
from witnessmark.units import from_house


def read(shared: Path, name: str) -> Recording:
    return read_recording(shared / "data/j1939" / name)


def of(recording: Recording, spn: int, source: int) -> Channel:
    return next(c for c in recording.channels if (c.spn, c.source) == (spn, source))


def test_ride(shared: Path) -> None:
    ride = read(shared, "ride_A.candump.log.gz")
    assert ride.frames == 65_172
    assert ride.duration_s == pytest.approx(218.61, abs=0.005)
    assert ride.facts["identifiers_29_bit"] == 90
    assert ride.facts["frames_11_bit"] == 0
    assert ride.facts["doubled_time_stamps"] == 565
    counts = ride.facts["frames_by_source"]
    assert isinstance(counts, dict)
    assert list(counts.items())[:7] == [
        ("0", 30253), ("28", 8930), ("11", 6642), ("65", 5715), ("39", 4631), ("135", 4086),
        ("134", 3699),
    ]  # fmt: skip
    speed = of(ride, 190, 0)
    assert speed.values.size == 10_750
    assert (speed.values.min(), speed.values.max()) == (0.0, 3833.75)
    running = speed.time_s[speed.values > 400]  # beyond cranking
    assert running[0] == pytest.approx(2.94, abs=0.03)
    assert running[-1] == pytest.approx(209.3, abs=0.1)
    coolant = of(ride, 110, 0)
    assert coolant.values.size == 215
    assert (coolant.values[0], coolant.values.max()) == (81.0, 102.0)
    assert np.abs(np.diff(coolant.values)).max() == 2.0
    road = of(ride, 84, 11)
    assert road.values.size == 2142
    assert from_house("road_speed", float(road.values.max()), "km/h") == pytest.approx(
        83.38, abs=0.01
    )
    for other in (0, 134, 135):
        assert of(ride, 84, other).count(Quality.VALID) == 0
    fuel = of(ride, 183, 0)
    assert from_house("fuel_rate", float(fuel.values.max()), "L/h") == pytest.approx(19.05)
    volts = of(ride, 168, 0).values
    assert (volts.min(), volts.max()) == (pytest.approx(12.0), pytest.approx(14.6))
    level = of(ride, 96, 0).values
    assert (level.min(), level.max()) == (0.0, pytest.approx(74.8))
    assert np.abs(np.diff(level)).max() == pytest.approx(55.6)
    assert {c.spn for c in ride.channels}.isdisjoint({92, 94, 100, 102})
    for spn in (512, 513):
        assert of(ride, spn, 0).count(Quality.NOT_AVAILABLE) == 10_750


def test_ride_codes(shared: Path) -> None:
    ride = read(shared, "ride_A.candump.log.gz")
    found = {(c.source, c.spn, c.fmi): c for c in ride.trouble_codes}
    assert set(found) == {(39, 520302, 17), (65, 520230, 31)}
    a, b = found[39, 520302, 17], found[65, 520230, 31]
    assert (a.count, a.messages) == (30, 203)
    assert a.first_s == pytest.approx(13.11, abs=0.005)
    assert (b.count, b.messages) == (1, 206)
    assert b.first_s == pytest.approx(12.97, abs=0.005)
    senders = ride.facts["dm1"]
    assert isinstance(senders, dict)
    assert senders["39"]["messages"] == 216
    assert senders["65"]["messages"] == 212
    assert senders["11"]["lit"] == {"amber warning": 25}
    assert senders["11"]["without_code"] == senders["11"]["messages"]


def test_bench_start_up_values_are_no_readings(shared: Path) -> None:
    bench = read(shared, "bench_keyon_faults.candump.log.gz")
    assert bench.frames == 39_740
    assert bench.duration_s == pytest.approx(211.38, abs=0.005)
    assert bench.facts["identifiers_29_bit"] == 106  # 107 with the 11-bit one
    assert bench.facts["identifiers_11_bit"] == 1
    assert bench.facts["frames_11_bit"] == 4
    assert bench.facts["remote_frames"] == 1
    speed = of(bench, 190, 0)
    assert speed.values.size == 8228
    assert not speed.values.any()
    assert of(bench, 110, 0).count(Quality.ERROR) == 83
    for spn, size, defaults in ((94, 166, 1), (100, 166, 1), (102, 165, 2), (105, 165, 1)):
        channel = of(bench, spn, 0)
        assert channel.values.size == size
        assert channel.count(Quality.VALID) == 0
        assert channel.count(Quality.START_UP) == defaults
        assert channel.count(Quality.ERROR) == size - defaults
        assert np.isnan(channel.values).all()
        assert any(f.channel == channel.name for f in bench.flags)
    volts = of(bench, 168, 0).values
    assert (volts.min(), volts.max()) == (pytest.approx(6.35), pytest.approx(11.55))
    assert of(bench, 108, 0).values.max() == pytest.approx(83_500)
    assert of(bench, 917, 0).values.max() == pytest.approx(82_561_930, abs=10)


def test_bench_multi_packet_codes_and_masked_identity(shared: Path) -> None:
    bench = read(shared, "bench_keyon_faults.candump.log.gz")
    assert bench.facts["multi_packet"] == {"announced": 205, "completed": 175}
    from_engine = {(c.spn, c.fmi) for c in bench.trouble_codes if c.source == 0}
    assert from_engine >= {
        (157, 3), (102, 4), (105, 3), (110, 3), (94, 4), (174, 3), (171, 3), (1209, 4), (609, 9),
        (639, 9),
    }  # fmt: skip
    brakes = [c for c in bench.trouble_codes if c.source == 11]
    assert len(brakes) == 8
    assert min(c.first_s for c in brakes) == pytest.approx(48.9, abs=0.1)
    identifiers = bench.facts["identifiers"]
    assert isinstance(identifiers, list)
    vehicle = [i["masked"] for i in identifiers if i["what"] == "vehicle identification"]
    assert len(vehicle) == 1
    assert len(vehicle[0]) == 17
    assert vehicle[0].startswith("*" * 14)


def test_dead_sensors_are_error_coded(shared: Path) -> None:
    dead = read(shared, "hd_24V_keyon_faults.mf4")
    assert dead.frames == 17_674
    assert dead.duration_s == pytest.approx(61.82, abs=0.005)
    assert dead.facts["frames_by_source"] == {"0": 17_004, "41": 670}
    assert dead.facts["identifiers_29_bit"] == 41
    assert "doubled_time_stamps" not in dead.facts
    speed = of(dead, 190, 0)
    assert speed.values.size == 6176
    assert not speed.values.any()
    assert of(dead, 92, 0).values.size == 1236
    assert not of(dead, 92, 0).values.any()
    for spn in (110, 174, 175, 94, 100, 102, 105, 106, 173, 84):
        channel = of(dead, spn, 0)
        assert channel.count(Quality.ERROR) == channel.values.size > 0, spn
    for spn in (109, 101):
        channel = of(dead, spn, 0)
        assert channel.count(Quality.NOT_AVAILABLE) == channel.values.size > 0, spn
    assert of(dead, 98, 0).count(Quality.RESERVED) == of(dead, 98, 0).values.size > 0
    ambient = of(dead, 171, 0)
    assert ambient.count(Quality.NOT_AVAILABLE) == 48
    assert ambient.count(Quality.VALID) + ambient.count(Quality.START_UP) == 14
    assert np.median(of(dead, 168, 0).values) == pytest.approx(22.35)
    assert np.median(of(dead, 108, 0).values) == pytest.approx(97_500)
    codes = {(c.spn, c.fmi): c for c in dead.trouble_codes}
    assert set(codes) >= {(94, 4), (110, 3), (102, 4), (105, 3), (3821, 11), (1247, 11)}
    assert codes[94, 4].messages == 14
    assert codes[94, 4].first_s == pytest.approx(4.55, abs=0.005)
    assert codes[94, 4].source == 0


def test_parked_truck(shared: Path) -> None:
    parked = read(shared, "parked_401s.mf4")
    assert parked.frames == 150_411
    assert parked.duration_s == pytest.approx(401.58, abs=0.005)
    assert parked.facts["frames_11_bit"] == 11_275
    assert parked.facts["doubled_time_stamps"] == 64
    assert int(str(parked.facts["identifiers_29_bit"])) + int(
        str(parked.facts["identifiers_11_bit"])
    ) == 67  # fmt: skip
    assert len(parked.sources) >= 14
    speed = of(parked, 190, 0)
    assert speed.values.size == 3993
    assert not speed.values.any()
    assert of(parked, 92, 0).count(Quality.NOT_AVAILABLE) == of(parked, 92, 0).values.size
    assert of(parked, 92, 33).count(Quality.VALID) == of(parked, 92, 33).values.size
    best = parked.channel("engine_load")
    assert best is not None
    assert best.source == 33
    for spn in (512, 513):
        channel = of(parked, spn, 0)
        assert channel.count(Quality.START_UP) >= 1
        assert np.nanmin(channel.values) == 0.0
    total = of(parked, 917, 23)
    assert np.nanmin(total.values) == pytest.approx(158_910_600)
    assert not parked.trouble_codes
    senders = parked.facts["dm1"]
    assert isinstance(senders, dict)
    assert set(senders) == {"47"}


def test_log_without_time_stamps(shared: Path) -> None:
    log = read(shared, "no_timestamps.candump.txt.gz")
    assert log.duration_s is None
    assert log.frames == 23_617  # 23,618 lines, one of them a banner
    speed = of(log, 190, 0)
    assert speed.values.size == 4244
    assert speed.values.max() == 3310.5
    assert np.isnan(speed.time_s).all()
    counts = log.facts["frames_by_source"]
    assert isinstance(counts, dict)
    assert (counts["0"], counts["33"]) == (14_011, 2055)
    assert set(counts) == {"0", "33", "11", "23", "135", "134", "29"}
    assert any("no time stamps" in p.what for p in log.problems)


@pytest.mark.parametrize(
    ("name", "frames", "seconds", "identifiers"),
    [
        ("other_car_11bit.mf4", 5588, 63.47, ("identifiers_11_bit", 12)),
        ("other_protocol_29bit.mf4", 9600, 59.96, ("identifiers_29_bit", 50)),
    ],
)
def test_other_networks_hold_no_engine_data(
    shared: Path, name: str, frames: int, seconds: float, identifiers: tuple[str, int]
) -> None:
    other = read(shared, name)
    assert other.frames == frames
    assert other.duration_s == pytest.approx(seconds, abs=0.005)
    assert other.facts[identifiers[0]] == identifiers[1]
    assert not other.channels
    assert any(p.what.startswith("No engine data found") for p in other.problems)


def test_mf4_frames_agree_with_a_reference_library(shared: Path) -> None:
    """The bus frames of asammdf, an independent reader, are the same ones."""
    import warnings

    asammdf = pytest.importorskip("asammdf")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with asammdf.MDF(shared / "data/j1939/parked_401s.mf4") as reference:
            sizes = [g.channel_group.cycles_nr for g in reference.groups]
            frames = reference.get("CAN_DataFrame.ID", group=int(np.argmax(sizes)))
    parked = read(shared, "parked_401s.mf4")
    counts = np.bincount((frames.samples & 0xFF).astype(np.int64), minlength=256)
    ours = parked.facts["frames_by_source"]
    assert isinstance(ours, dict)
    assert {int(s): n for s, n in ours.items()} == {
        int(s): int(counts[s]) for s in np.flatnonzero(counts)
    }
