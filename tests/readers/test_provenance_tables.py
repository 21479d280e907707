"""Facts about real tables; source of every figure: ../shared/data/PROVENANCE.md."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.readers import read_recording
from witnessmark.units import from_house


def named(recording: Recording, name: str) -> Channel:
    channel = recording.channel(name)
    assert channel is not None, name
    return channel


def reaches(channel: Channel, value: float) -> float:
    valid = channel.valid()
    return float(channel.time_s[valid][np.argmax(channel.values[valid] >= value)])


@pytest.mark.parametrize(
    ("name", "rows", "seconds", "coolant", "reached"),
    [
        ("car_2018-03-23_jam_warmup", 38_509, 3738.1, (16, 94), (521.9, 742.3, 903.4)),
        ("car_2017-07-26_badheader_hotend", 21_618, 3440.8, (25, 101), (268.2, 361.4, 398.4)),
        ("car_2018-02-26_short_coldstart", 11_534, 980.6, (4, 72), (565.5,)),
    ],
)
def test_car(
    shared: Path,
    name: str,
    rows: int,
    seconds: float,
    coolant: tuple[int, int],
    reached: tuple[float, ...],
) -> None:
    car = read_recording(shared / f"data/obd_csv/{name}.csv.gz")
    assert car.kind == "table"
    assert car.frames == rows
    assert car.duration_s == pytest.approx(seconds, abs=0.06)
    channel = named(car, "coolant_temperature")
    assert channel.values[0] == coolant[0]
    assert np.nanmax(channel.values) == coolant[1]
    for limit, at in zip((60, 80, 90), reached, strict=False):
        assert reaches(channel, limit) == pytest.approx(at, abs=0.06)
    assert car.facts["carried_forward"] is True
    # One column of ten refreshed a row: one in ten is a reading, the rest is marked as carried.
    assert channel.count(Quality.VALID) == pytest.approx(rows / 10, abs=2)
    assert channel.count(Quality.VALID) + channel.count(Quality.REPEATED) == rows
    assert not any(p.what.startswith("The column") for p in car.problems)


def test_jam_ranges(shared: Path) -> None:
    car = read_recording(shared / "data/obd_csv/car_2018-03-23_jam_warmup.csv.gz")
    assert np.nanmin(named(car, "coolant_temperature").values) == 14
    assert np.nanmax(named(car, "engine_speed").values) == 3404
    manifold = named(car, "intake_manifold_pressure").values / 1e3
    assert (np.nanmin(manifold), np.nanmax(manifold)) == (36, 230)
    fastest = float(np.nanmax(named(car, "road_speed").values))
    assert from_house("road_speed", fastest, "km/h") == pytest.approx(125)
    intake = named(car, "intake_air_temperature").values
    assert (np.nanmin(intake), np.nanmax(intake)) == (-4, 134)


def test_bad_header_is_repaired(shared: Path) -> None:
    car = read_recording(shared / "data/obd_csv/car_2017-07-26_badheader_hotend.csv.gz")
    assert named(car, "coolant_temperature").label == "Engine Coolant Temperature [°C]"
    assert np.nanargmax(named(car, "coolant_temperature").values) > 0.9 * car.frames
    fastest = float(np.nanmax(named(car, "road_speed").values))
    assert from_house("road_speed", fastest, "km/h") == pytest.approx(170)
    assert np.median(np.diff(named(car, "engine_speed").time_s)) == pytest.approx(0.135, abs=0.01)


def test_cold_start_ambient(shared: Path) -> None:
    car = read_recording(shared / "data/obd_csv/car_2018-02-26_short_coldstart.csv.gz")
    ambient = named(car, "ambient_temperature")
    known = ambient.values[~np.isnan(ambient.values)]
    assert known[0] == 1
    assert np.median(known) == -10
    assert np.nanmax(named(car, "engine_speed").values) == 2539


def test_speed_without_unit_is_asked_for_not_guessed(shared: Path) -> None:
    path = shared / "data/obd_csv/truck_gps_speed_10Hz.csv"
    truck = read_recording(path)
    assert truck.frames == 7390
    assert truck.duration_s == pytest.approx(753.1, abs=0.05)
    assert truck.channel("road_speed") is None
    speed = named(truck, "speed")
    assert (speed.unit, speed.values.max()) == ("", 19.59)
    assert np.diff(speed.time_s).max() == pytest.approx(0.103, abs=0.0005)
    assert any("no unit" in p.what for p in truck.problems)


def test_speed_named_once(shared: Path) -> None:
    """PROVENANCE.md: the speeds are m/s, not km/h."""
    from witnessmark.readers import ReaderSettings

    path = shared / "data/obd_csv/truck_gps_speed_10Hz.csv"
    key = str(read_recording(path).facts["header_key"])
    truck = read_recording(
        path, settings=ReaderSettings(columns={key: {"speed": "road_speed [m/s]"}})
    )
    assert named(truck, "road_speed").values.max() == pytest.approx(19.59)


@pytest.mark.parametrize(
    ("name", "rows", "seconds"),
    [
        ("engine1_running_36-2-1_crank_cam", 2047, 1.289),
        ("engine1_running_one_false_edge", 2049, 1.289),
        ("engine2_cranking_crank_cam", 977, 9.83),
        ("engine2_cranking_B", 384, 7.56),
        ("engine3_cranking_24x", 134, 1.45),
        ("engine4_cranking_36-2_noheader", 538, 1.50),
    ],
)
def test_pickups(shared: Path, name: str, rows: int, seconds: float) -> None:
    pickup = read_recording(shared / f"data/crank/{name}.csv")
    assert pickup.kind == "tooth_timing"
    assert pickup.frames == rows
    assert pickup.duration_s == pytest.approx(seconds, abs=0.006)


def test_running_engine_edges(shared: Path) -> None:
    pickup = read_recording(shared / "data/crank/engine1_running_36-2-1_crank_cam.csv")
    crank, cam = pickup.channels
    rising = crank.time_s[1:][np.diff(crank.values) > 0]
    # 1,005 rising edges; the first row already stands high.
    assert rising.size + int(crank.values[0]) == pytest.approx(1005, abs=2)
    rises = cam.time_s[1:][np.diff(cam.values) > 0]
    assert rises.size == pytest.approx(17, abs=1)


def test_analogue_sensor(shared: Path) -> None:
    sensor = read_recording(shared / "data/crank/analog_sensor_10kHz_A.csv.gz")
    assert sensor.kind == "waveform"
    channel = sensor.channels[0]
    assert channel.values.size == 60_000
    assert channel.rate_hz == pytest.approx(10_000, rel=1e-4)
    assert (channel.values.min(), channel.values.max()) == (2.14, 4.98)
    spectrum = np.abs(np.fft.rfft(channel.values - channel.values.mean()))
    strongest = np.fft.rfftfreq(60_000, 1e-4)[np.argmax(spectrum)]
    assert strongest == pytest.approx(160.3, abs=0.2)


@pytest.mark.parametrize(
    ("step", "rate", "first", "second"),
    [(0, 1305.63, 25.57, 8.43), (1, 2072.68, 24.83, 8.20), (2, 2209.68, 35.45, 11.74),
     (3, 2635.79, 47.22, 15.65), (4, 3448.51, 26.94, 8.98), (5, 2038.73, 45.02, 15.08)],
)  # fmt: skip
def test_scope_capture_with_many_header_lines(
    shared: Path, step: int, rate: float, first: float, second: float
) -> None:
    scope = read_recording(shared / f"data/shaft/shaft_speed_step_{step}.csv")
    assert scope.kind == "waveform"
    assert [c.values.size for c in scope.channels] == [1200, 1200]
    assert [c.unit for c in scope.channels] == ["V", "V"]
    for channel, peak in zip(scope.channels, (first, second), strict=True):
        assert channel.rate_hz == pytest.approx(rate, abs=0.006)
        window = np.hanning(1200) * (channel.values - channel.values.mean())
        spectrum = np.abs(np.fft.rfft(window, 1 << 17))
        found = np.fft.rfftfreq(1 << 17, 1 / rate)[np.argmax(spectrum)]
        assert found == pytest.approx(peak, abs=0.5)
