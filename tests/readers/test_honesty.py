"""What looks like a reading and is none, on the bus and in tables: marked, with its span, or said.

One drive of two minutes; each test spoils one thing in it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from readers.compliance import assert_honest
from witnessmark.model.recording import Quality, Recording
from witnessmark.readers import read_recording

COUNT = 1200
TIME = np.arange(COUNT) * 0.1
_random = np.random.default_rng(3)
SPEED = np.interp(
    TIME, [0, 20, 25, 50, 55, 80, 90, 120], [700, 700, 1500, 1500, 1800, 1800, 700, 700]
)
SPEED = SPEED + _random.normal(0, 4, COUNT)
OIL_KPA = 130 + 0.2 * (SPEED - 700) + _random.normal(0, 3, COUNT)
FUEL_KPA = 400 + 0.05 * (SPEED - 700) + _random.normal(0, 4, COUNT)
COOLANT = 80 + TIME * 0.05
ROAD_KMH = np.clip((SPEED - 800) * 0.06, 0, None)

NAMES = ("time", "speed", "oil", "fuel", "coolant", "road")
Series = dict[str, np.ndarray]
Write = Callable[..., Recording]


def drive() -> Series:
    every = (TIME, SPEED, OIL_KPA, FUEL_KPA, COOLANT, ROAD_KMH)
    return dict(zip(NAMES, (one.copy() for one in every), strict=True))


def _word(value: float) -> bytes:
    return round(float(value)).to_bytes(2, "little")


def bus_lines(series: Series, rows: np.ndarray) -> list[str]:
    lines = []
    for n in rows:
        frames = [
            (0x0CF00400, b"\xff\x7d\x7d" + _word(series["speed"][n] * 8) + b"\xff" * 3),
            (0x18FEF100, b"\xff" + _word(series["road"][n] * 256) + b"\xff" * 5),
        ]
        if n % 5 == 0:
            fuel, oil = (int(series[k][n] / 4) for k in ("fuel", "oil"))
            frames.append((0x18FEEF00, bytes([fuel, 255, 255, oil] + [255] * 4)))
        if n % 10 == 0:
            frames.append((0x18FEEE00, bytes([int(series["coolant"][n] + 40)] + [255] * 7)))
        for k, (identifier, data) in enumerate(frames):
            stamp = series["time"][n] + k * 5e-4
            lines.append(f"({stamp:.6f}) can0 {identifier:08X}#{data.hex().upper()}")
    return lines


def table_lines(series: Series, rows: np.ndarray) -> list[str]:
    lines = ["Time [s],RPM,Oil Pressure [kPa],Fuel Pressure [kPa],Coolant Temp [C],"
             "Vehicle Speed [km/h]"]  # fmt: skip
    return lines + [",".join(f"{series[k][n]:.2f}" for k in NAMES) for n in rows]


@pytest.fixture(params=["bus", "table"])
def write(request: pytest.FixtureRequest, tmp_path: Path) -> Write:
    def one(series: Series, rows: np.ndarray | None = None, *, cut: int = 0) -> Recording:
        every = np.arange(COUNT) if rows is None else rows
        lines = (bus_lines if request.param == "bus" else table_lines)(series, every)
        data = ("\n".join(lines) + "\n").encode()
        path = tmp_path / "drive"
        path.write_bytes(data[: len(data) - cut])
        found = read_recording(path)
        assert_honest(found)
        return found

    return one


def said(found: Recording, words: str) -> bool:
    return any(words in p.what for p in found.problems)


def marked(found: Recording, name: str, quality: Quality) -> list[tuple[float, float]]:
    channel = found.channel(name)
    assert channel is not None
    spans = [(f.start_s, f.end_s) for f in found.flags
             if f.channel == name and f.quality == quality]  # fmt: skip
    assert bool(spans) == (channel.count(quality) > 0)
    return spans


def test_a_clean_drive_is_clean(write: Write) -> None:
    found = write(drive())
    assert not found.problems
    assert not found.flags


@pytest.mark.parametrize(("name", "value"), [("coolant", -40.0), ("coolant", 0.0), ("oil", 0.0)])
def test_start_up_defaults(write: Write, name: str, value: float) -> None:
    series = drive()
    series[name][:11] = value
    found = write(series)
    quantity = {"coolant": "coolant_temperature", "oil": "oil_pressure"}[name]
    (start, end), *_ = marked(found, quantity, Quality.START_UP)
    assert start == pytest.approx(0.0, abs=0.01)
    assert end == pytest.approx(1.0, abs=0.1)
    channel = found.channel(quantity)
    assert channel is not None
    assert float(np.nanmin(channel.values)) > 70.0


@pytest.mark.parametrize(
    ("name", "quantity"),
    [("oil", "oil_pressure"), ("fuel", "fuel_delivery_pressure"), ("speed", "engine_speed"),
     ("road", "road_speed")],
)  # fmt: skip
def test_frozen_values(write: Write, name: str, quantity: str) -> None:
    series = drive()
    series[name][300:900] = series[name][300]
    found = write(series)
    (start, end), *_ = marked(found, quantity, Quality.SUBSTITUTED)
    assert start == pytest.approx(30.0, abs=1.0)
    assert end == pytest.approx(90.0, abs=1.0)
    assert said(found, "still") or said(found, "frozen")


def test_a_substituted_value_all_along(write: Write) -> None:
    series = drive()
    series["oil"][:] = 276.0
    found = write(series)
    channel = found.channel("oil_pressure")
    assert channel is not None
    assert channel.count(Quality.SUBSTITUTED) == channel.values.size


def test_a_wild_engine_speed(write: Write) -> None:
    series = drive()
    series["speed"][700] = 7500.0
    found = write(series)
    assert marked(found, "engine_speed", Quality.IMPLAUSIBLE) == [(70.0, 70.0)]


def test_a_temperature_that_jumps_is_said(write: Write) -> None:
    series = drive()
    series["coolant"][600:631] = 140.0
    found = write(series)
    spans = [(f.start_s, f.end_s) for f in found.flags if f.channel == "coolant_temperature"]
    assert spans
    assert said(found, "no liquid does that")


def test_stamps_twice(write: Write) -> None:
    series = drive()
    series["time"][600:605] = series["time"][600]
    assert said(write(series), "same time stamp") or said(write(series), "backwards")


def test_stamps_backwards(write: Write) -> None:
    series = drive()
    series["time"][600:] -= 30.0
    found = write(series)
    assert said(found, "set back")
    assert found.duration_s == pytest.approx(119.9, abs=0.2)


@pytest.mark.parametrize("wrap", [65.536, 4294.967296, 6553.6])
def test_a_counter_that_wraps(write: Write, wrap: float) -> None:
    series = drive()
    series["time"] = (TIME + wrap - 40.0) % wrap
    found = write(series)
    assert said(found, "counter wrapped")
    assert found.duration_s == pytest.approx(119.9, abs=0.5)


def test_a_gap(write: Write) -> None:
    found = write(drive(), np.r_[0:400, 440:COUNT])
    assert said(found, "gaps of more than 1 s")
    (start, end), *_ = [
        (f.start_s, f.end_s) for f in found.flags if f.quality == Quality.NOT_AVAILABLE
    ]
    assert (start, end) == (pytest.approx(39.9, abs=0.2), pytest.approx(44.0, abs=0.2))


def test_dropped_frames(write: Write, request: pytest.FixtureRequest) -> None:
    if "table" in request.node.name:
        pytest.skip("rows of a table are not frames")
    found = write(drive(), np.array([n for n in range(COUNT) if n % 37]))
    assert said(found, "were dropped")


@pytest.mark.parametrize("cut", [1, 3, 6, 9])
def test_a_cut_file_gives_what_is_whole(write: Write, cut: int) -> None:
    found = write(drive(), cut=cut + 1)
    for name in ("engine_speed", "oil_pressure", "coolant_temperature", "road_speed"):
        channel = found.channel(name)
        assert channel is not None
        assert channel.count(Quality.VALID) == channel.values.size
    assert said(found, "cut off") or said(found, "are no frames") or found.frames == COUNT * 2 + 360


def test_codes_of_the_bus_kept_as_numbers(tmp_path: Path) -> None:
    """0xFE and 0xFF of SPN 100 are 1016 and 1020 kPa, of SPN 110 214 and 215 degC (J1939-71)."""
    series = drive()
    series["oil"][500:520], series["oil"][600:610] = 1016.0, 1020.0
    series["coolant"][500:520], series["coolant"][600:610] = 214.0, 215.0
    path = tmp_path / "codes.csv"
    path.write_text("\n".join(table_lines(series, np.arange(COUNT))) + "\n")
    found = read_recording(path)
    for name in ("oil_pressure", "coolant_temperature"):
        channel = found.channel(name)
        assert channel is not None
        assert channel.count(Quality.ERROR) == 20
        assert channel.count(Quality.NOT_AVAILABLE) == 10
        assert marked(found, name, Quality.ERROR)[0] == pytest.approx((50.0, 51.9))


def test_damaged_rows_are_left_out(tmp_path: Path) -> None:
    data = bytearray(("\n".join(table_lines(drive(), np.arange(COUNT))) + "\n").encode())
    data[5000:5300] = b"\0" * 300
    path = tmp_path / "damaged.csv"
    path.write_bytes(bytes(data))
    found = read_recording(path)
    assert said(found, "are damaged")
    assert COUNT - 15 < found.frames < COUNT
