"""What looks like a reading and is none, on invented logs."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from readers.bus_text import candump
from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.readers import read_recording

SPEED, PRESSURES, TEMPERATURES, DISTANCE = 0x0CF00400, 0x18FEEF00, 0x18FEEE00, 0x18FEC117


def speed(rpm: float) -> str:
    return "FF7D7D" + int(rpm * 8).to_bytes(2, "little").hex().upper() + "FFFF7D"


def oil(kpa: int) -> str:
    return f"FFFFFF{kpa // 4:02X}FFFFFFFF"


def log(folder: Path, *rows: tuple[float, int, str]) -> Recording:
    return read_recording(candump(folder / "odd.log", sorted(rows)))


def named(recording: Recording, name: str) -> Channel:
    channel = recording.channel(name)
    assert channel is not None
    return channel


def running(rpm: float, seconds: int = 60) -> list[tuple[float, int, str]]:
    return [(n * 0.1, SPEED, speed(rpm + n % 3)) for n in range(seconds * 10)]


def test_default_before_a_real_pressure_at_key_on(tmp_path: Path) -> None:
    rows = [(n * 0.1, SPEED, speed(0)) for n in range(300)]
    rows += [(n * 0.5, PRESSURES, oil(300 if n == 0 else 0)) for n in range(60)]
    channel = named(log(tmp_path, *rows), "oil_pressure")
    assert Quality(channel.quality[0]) is Quality.START_UP
    assert channel.count(Quality.VALID) == 59


def test_pressure_that_falls_as_the_engine_stops_is_real(tmp_path: Path) -> None:
    rows = [(n * 0.1, SPEED, speed(700 if n < 3 else 0)) for n in range(300)]
    rows += [(n * 0.5, PRESSURES, oil(300 if n == 0 else 0)) for n in range(60)]
    assert named(log(tmp_path, *rows), "oil_pressure").count(Quality.VALID) == 60


def test_default_temperature_then_the_real_one(tmp_path: Path) -> None:
    rows = [
        (n * 1.0, TEMPERATURES, f"{(0 if n < 4 else 120):02X}FFFFFFFFFFFFFF") for n in range(60)
    ]
    recording = log(tmp_path, *rows)
    channel = named(recording, "coolant_temperature")
    assert channel.count(Quality.START_UP) == 4
    assert np.nanmin(channel.values) == 80.0
    (flag,) = [f for f in recording.flags if f.quality is Quality.START_UP]
    assert (flag.start_s, flag.end_s) == (0.0, 3.0)


def test_arctic_morning_is_a_reading(tmp_path: Path) -> None:
    """-40 degC that warms up degree by degree was measured."""
    rows = [(n * 1.0, TEMPERATURES, f"{max(0, n - 20):02X}FFFFFFFFFFFFFF") for n in range(90)]
    channel = named(log(tmp_path, *rows), "coolant_temperature")
    assert channel.count(Quality.VALID) == 90


def test_pressure_that_never_moves_is_substituted(tmp_path: Path) -> None:
    sweep = [(n * 0.1, SPEED, speed(700 + 800 * abs(np.sin(n / 60)))) for n in range(900)]
    frozen = [(n * 0.5, PRESSURES, oil(276)) for n in range(180)]
    recording = log(tmp_path, *sweep, *frozen)
    assert named(recording, "oil_pressure").count(Quality.SUBSTITUTED) == 180
    assert any("frozen" in p.what for p in recording.problems)


def test_steady_engine_keeps_its_steady_pressure(tmp_path: Path) -> None:
    rows = [(n * 0.5, PRESSURES, oil(276)) for n in range(120)]
    assert named(log(tmp_path, *running(1400), *rows), "oil_pressure").count(Quality.VALID) == 120


def test_counter_that_wraps_is_said(tmp_path: Path) -> None:
    def total(n: int) -> str:
        return (0xFAFFFFF0 + n if n < 10 else n).to_bytes(4, "little").hex().upper() + "FFFFFFFF"

    recording = log(tmp_path, *[(n * 1.0, DISTANCE, total(n)) for n in range(40)])
    [said] = [p.what for p in recording.problems if "wrapped or was reset" in p.what]
    # From 0xFAFFFFF9 to 10 bits of 5 m (SAE J1939-71), in miles, at the eleventh second.
    assert "falls from 1.308e+07 mi to 0.03107 mi at 10.0 s" in said


def test_impossible_values_are_no_readings(tmp_path: Path) -> None:
    words = ["0000" if n == 30 else "2D2D" for n in range(60)]  # raw 0 is -273 degC
    rows = [(n * 1.0, TEMPERATURES, f"64FF{word}FFFFFFFF") for n, word in enumerate(words)]
    channel = named(log(tmp_path, *rows), "oil_temperature")
    assert Quality(channel.quality[30]) is Quality.IMPLAUSIBLE
    assert channel.count(Quality.VALID) == 59


def test_dropped_messages_and_silences(tmp_path: Path) -> None:
    rows = [r for n, r in enumerate(running(900)) if n % 50 != 7 and not 200 <= n < 260]
    recording = log(tmp_path, *rows)
    assert any(p.what.startswith("Frames were dropped") for p in recording.problems)
    silences = [f for f in recording.flags if "Nothing was sent" in f.note]
    assert silences
    assert silences[0].end_s - silences[0].start_s > 5.9


def test_steps_from_frame_to_frame_are_added_up(tmp_path: Path) -> None:
    random = np.random.default_rng(4)
    steps = random.uniform(0.001, 0.019, 400)
    lines = [f" ({t:010.6f})  can0  0CF00400   [8]  FF 7D 7D 20 4E FF FF 7D" for t in steps]
    path = tmp_path / "delta.log"
    path.write_text("\n".join(lines) + "\n")
    recording = read_recording(path)
    assert recording.duration_s is not None
    assert abs(recording.duration_s - steps[1:].sum()) < 1e-3
    assert any("added up" in p.what for p in recording.problems)
