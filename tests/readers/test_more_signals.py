"""The 183 signals of the week against their example payloads (../shared/checks/spn_week.json)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from readers.bus_text import candump
from readers.test_j1939_signals import payload_log
from witnessmark.model.recording import Channel, Quality
from witnessmark.readers import read_recording
from witnessmark.readers.bus.j1939_signals import SIGNALS
from witnessmark.units import UNITS, from_house

UNIT = {"fmi": "state", "uS": "µS", "g": "gram"}


@pytest.fixture(scope="module")
def rows(shared: Path) -> list[dict[str, object]]:
    found = json.loads((shared / "checks/spn_week.json").read_text(encoding="utf-8"))["rows"]
    return [r for r in found if r.get("byte_bit")]


def test_every_row_with_a_layout_is_read(rows: list[dict[str, object]], tmp_path: Path) -> None:
    """Source: the row's own count of public tables; place and scale by its example payload."""
    assert len(rows) > 220
    by_spn = {s.spn: s for s in SIGNALS}
    for row in rows:
        signal = by_spn[row["spn"]]
        example = row["example"]
        assert isinstance(example, dict)
        if len(bytes.fromhex(example["payload"])) > 8:
            continue
        word = int.from_bytes(bytes.fromhex(example["payload"]).ljust(8, b"\xff"), "little")
        raw = (word >> signal.start) & ((1 << signal.bits) - 1)
        assert raw == example["raw"], row["spn"]
        unit = UNIT.get(str(row["unit"]), str(row["unit"]))
        if unit in UNITS and UNITS[unit].kind != "number":
            shown = from_house(signal.name, raw * signal.scale + signal.offset, unit)
            assert shown == pytest.approx(example["value"], rel=1e-5, abs=1e-6), row["spn"]
        if signal.sure:
            continue  # the examples leave the status bits at "not available"
        path = payload_log(tmp_path, int(str(row["pgn"])), bytes.fromhex(example["payload"]))
        assert any(c.spn == row["spn"] for c in read_recording(path).channels), row["spn"]


def one(folder: Path, pgn: int, data: str, spn: int) -> Channel:
    path = candump(folder / "one.log", [(1.0 + n, 6 << 26 | pgn << 8, data) for n in range(3)])
    return next(c for c in read_recording(path).channels if c.spn == spn)


@pytest.mark.parametrize(
    ("pgn", "data", "spn", "value"),
    [
        # CODES_CHECK.md, section 3 and the traps of section 6.
        (65213, "FFFEFFFFFFFFFFFF", 977, 14.0),
        (61444, "FEFFFFFFFFFFFFFF", 899, 14.0),
        (61445, "FFFFFFFBFFFFFFFF", 523, 126.0),
        (61445, "FBFFFFFFFFFFFFFF", 524, 126.0),
        (64892, "FFFBFFFFFFFFFFFF", 3700, 2.0),
        (61454, "FFFFFFFFFFFEFFFF", 3222, 30.0),
        (64891, "82FFFFFFFFFFFFFF", 3719, 130.0),
        (61440, "FEFFFFFFFFFFFFFF", 900, 14.0),
        (65110, "FFFFFFFFFFDFFFFF", 5246, 6.0),
    ],
)
def test_codes_that_are_values(tmp_path: Path, pgn: int, data: str, spn: int, value: float) -> None:
    channel = one(tmp_path, pgn, data, spn)
    assert channel.values[0] == pytest.approx(value)
    assert channel.quality[0] == Quality.VALID


@pytest.mark.parametrize(
    ("pgn", "data", "spn", "quality"),
    [
        (65213, "FFFFFFFFFFFFFFFF", 977, Quality.NOT_AVAILABLE),
        (61445, "FFFFFFFEFFFFFFFF", 523, Quality.ERROR),
        (61445, "FFFFFFFCFFFFFFFF", 523, Quality.RESERVED),
        (64892, "FEFFFFFFFFFFFFFF", 3697, Quality.RESERVED),
        (61444, "FFFFFFFFFFFFFEFF", 1675, Quality.RESERVED),
        (65265, "FBFFFFFFFFFFFFFF", 70, Quality.ERROR),
    ],
)
def test_codes_that_are_none(
    tmp_path: Path, pgn: int, data: str, spn: int, quality: Quality
) -> None:
    channel = one(tmp_path, pgn, data, spn)
    assert channel.quality[0] == quality
    assert np.isnan(channel.values).all()


@pytest.mark.parametrize(("status", "counts"), [("D5", True), ("C5", False), ("D1", False),
                                                ("D4", False), ("FF", False)])  # fmt: skip
def test_nox_counts_only_with_its_status_bits(tmp_path: Path, status: str, counts: bool) -> None:
    channel = one(tmp_path, 61454, f"204EFFFF{status}FFFFFF", 3216)
    assert bool(channel.valid().all()) is counts
    if counts:
        assert channel.values[0] == pytest.approx(800.0)


def test_a_tyre_is_never_another_tyre(tmp_path: Path) -> None:
    frames = [
        (n * 0.1, 0x18FEF433, f"{(0x00, 0x01, 0x10, 0x13)[n % 4]:02X}{100 + 10 * (n % 4):02X}"
         "FFFFFFFFFFFF")
        for n in range(200)
    ]  # fmt: skip
    found = read_recording(candump(tmp_path / "tyres.log", frames))
    tyres = [c for c in found.channels if c.name == "tyre_pressure"]
    assert len(tyres) == len({c.label for c in tyres}) == 4
    assert sorted(float(c.values[0]) for c in tyres) == [400e3, 440e3, 480e3, 520e3]
    assert all(np.ptp(c.values) == 0.0 for c in tyres)
    assert not any("disagree" in p.what for p in found.problems)


def test_axles_are_kept_apart(tmp_path: Path) -> None:
    frames = [(n * 0.1, 0x18FEF900, f"FFFF{n % 2:02X}{100 + 50 * (n % 2):02X}FFFFFFFF")
              for n in range(100)]  # fmt: skip
    found = read_recording(candump(tmp_path / "axles.log", frames))
    axles = [c for c in found.channels if c.name == "drive_axle_temperature"]
    assert sorted(float(c.values[0]) for c in axles) == [60.0, 110.0]
    assert all(np.ptp(c.values) == 0.0 for c in axles)
