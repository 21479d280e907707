"""Signals against the outside check values of ../shared/checks (areas "3 J1939" and traps)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from readers.bus_text import candump
from witnessmark.model.recording import Quality
from witnessmark.readers import read_recording
from witnessmark.readers.bus.decode import decode
from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal
from witnessmark.units import from_house

UNITS = {"°C": "degC", "r": "-", "gear": "-"}


@pytest.fixture(scope="module")
def checks(shared: Path) -> dict[str, dict[str, object]]:
    rows = json.loads((shared / "checks/checks.json").read_text(encoding="utf-8"))
    return {row["id"]: row for row in rows}


def payload_log(folder: Path, pgn: int, data: bytes) -> Path:
    """One message as a log; longer ones by broadcast."""
    if len(data) <= 8:
        return candump(folder / "one.log", [(1.0, 6 << 26 | pgn << 8, data.hex())] * 2)
    packets = -(-len(data) // 7)
    control = bytes([32, len(data), 0, packets, 255, *pgn.to_bytes(3, "little")])
    frames = [(1.0, 0x18ECFF00, control.hex())]
    for number in range(packets):
        part = data[7 * number : 7 * number + 7].ljust(7, b"\xff")
        frames.append((1.1 + 0.05 * number, 0x18EBFF00, bytes([number + 1, *part]).hex()))
    return candump(folder / "long.log", frames)


def test_all_71_signals(checks: dict[str, dict[str, object]], tmp_path: Path) -> None:
    """Source of each: the row's own ``source`` (SAE J1939-71 through the tables of CHECKS.md)."""
    tested = 0
    for row in checks.values():
        inputs = row["inputs"]
        if not str(row["id"]).startswith("J-") or "payload_hex" not in dict(inputs):  # type: ignore[call-overload]
            continue
        spn = int(str(row["id"])[2:])
        assert isinstance(inputs, dict)
        path = payload_log(tmp_path, inputs["pgn"], bytes.fromhex(inputs["payload_hex"]))
        channel = next(c for c in read_recording(path).channels if c.spn == spn)
        signal = next(s for s in SIGNALS if s.spn == spn)
        raw = np.array([inputs["raw"]], np.uint64)
        unit = UNITS.get(inputs["unit"], inputs["unit"])
        # Some check values are beyond what an engine can do (2,500 kPa boost); the scale holds.
        value = float(raw[0]) * signal.scale + signal.offset
        assert from_house(signal.name, value, unit) == pytest.approx(row["expected"], abs=1e-6), spn
        if channel.quality[0] == Quality.VALID:
            shown = from_house(channel.name, float(channel.values[0]), unit)
            assert shown == pytest.approx(row["expected"], rel=1e-9, abs=1e-6), spn
        else:
            assert channel.quality[0] == Quality.IMPLAUSIBLE, spn
        # Byte and bit: with every other bit 0 instead of 1 the raw number must not change.
        word = int(inputs["raw"]) << signal.start
        assert (word >> signal.start) & ((1 << signal.bits) - 1) == inputs["raw"]
        assert (signal.start, signal.bits) == (
            8 * (inputs["start_byte"] - 1) + inputs["start_bit"] - 1,
            inputs["bits"],
        )
        tested += 1
    assert tested == 71  # the other 183 are held against spn_week.json in test_more_signals.py
    assert len(SIGNALS) == 71 + 183


def signal(spn: int) -> Signal:
    return next(s for s in SIGNALS if s.spn == spn)


def test_layouts_that_some_tables_have_wrong() -> None:
    """CHECKS.md, trap 1: these four are wrong in one open table each."""
    assert (signal(110).bits, signal(110).scale, signal(110).offset) == (8, 1.0, -40.0)
    assert (signal(114).bits, signal(114).start) == (8, 0)
    assert (signal(115).bits, signal(115).start) == (8, 8)
    assert signal(235).pgn == 65244
    assert (signal(168).start, signal(167).start) == (32, 16)


def test_percent_torque_has_an_offset() -> None:
    """CHECKS.md, trap 3: raw 125 is 0 %, not 125 %."""
    values, _ = decode(np.array([125], np.uint64), signal(513))
    assert values[0] == 0.0


@pytest.mark.parametrize(
    ("spn", "raw", "quality"),
    [
        (110, 0xFA, Quality.VALID), (110, 0xFB, Quality.RESERVED), (110, 0xFD, Quality.RESERVED),
        (110, 0xFE, Quality.ERROR), (110, 0xFF, Quality.NOT_AVAILABLE),
        (190, 0xFAFF, Quality.VALID), (190, 0xFB00, Quality.RESERVED),
        (190, 0xFDFF, Quality.RESERVED), (190, 0xFE00, Quality.ERROR), (190, 0xFEFF, Quality.ERROR),
        (190, 0xFF00, Quality.NOT_AVAILABLE), (190, 0xFFFF, Quality.NOT_AVAILABLE),
        (250, 0xFAFFFFFF, Quality.VALID), (250, 0xFE000000, Quality.ERROR),
        (250, 0xFF000000, Quality.NOT_AVAILABLE),
        (70, 0b01, Quality.VALID), (70, 0b10, Quality.ERROR), (70, 0b11, Quality.NOT_AVAILABLE),
        (899, 0xD, Quality.VALID), (899, 0xE, Quality.VALID), (899, 0xF, Quality.NOT_AVAILABLE),
    ],
)  # fmt: skip
def test_indicator_ranges(spn: int, raw: int, quality: Quality) -> None:
    """Source: J1939-71 range table, check J-na."""
    values, codes = decode(np.array([raw], np.uint64), signal(spn))
    assert codes[0] == quality
    assert np.isnan(values[0]) == (quality != Quality.VALID)


@pytest.mark.parametrize(
    ("spn", "raw", "unit", "highest"),
    [
        (190, 0xFAFF, "rpm", 8031.875), (110, 0xFA, "degC", 210), (100, 0xFA, "kPa", 1000),
        (101, 0xFAFF, "kPa", 251.9921875), (84, 0xFAFF, "km/h", 250.99609375),
        (183, 0xFAFF, "L/h", 3212.75),
    ],
)  # fmt: skip
def test_highest_values(spn: int, raw: int, unit: str, highest: float) -> None:
    """Source: check J-ranges."""
    row = signal(spn)
    assert from_house(row.name, raw * row.scale + row.offset, unit) == pytest.approx(highest)


def test_worked_example(tmp_path: Path) -> None:
    """Source: check J-eec1 (a public quick start): 0x4E20 x 0.125 = 2500 rpm."""
    path = candump(tmp_path / "a.log", [(1.0, 0x0CF00400, "000000204E000000")] * 2)
    speed = read_recording(path).channel("engine_speed")
    assert speed is not None
    assert speed.values.tolist() == [2500.0, 2500.0]


def test_senders_stay_apart_and_the_engine_is_preferred(tmp_path: Path) -> None:
    frames = []
    for n in range(50):
        frames.append((n * 0.1, 0x18FEEE31, "64FFFFFFFFFFFFFF"))  # 60 degC from 0x31
        frames.append((n * 0.1 + 0.01, 0x18FEEE00, "82FFFFFFFFFFFFFF"))  # 90 degC from the engine
    recording = read_recording(candump(tmp_path / "two.log", frames))
    found = [(c.source, c.values[0]) for c in recording.channels if c.spn == 110]
    assert sorted(found) == [(0, 90.0), (0x31, 60.0)]
    best = recording.channel("coolant_temperature")
    assert best is not None
    assert best.source == 0
    assert any("disagree" in p.what for p in recording.problems)


def test_short_frames_carry_only_what_they_carry(tmp_path: Path) -> None:
    frames = [(n * 0.1, 0x0CF00400, "0000000020") for n in range(20)]
    recording = read_recording(candump(tmp_path / "short.log", frames))
    names = {c.name for c in recording.channels}
    assert "engine_speed" in names
    assert "engine_torque_demand" not in names  # byte 8 was never sent
