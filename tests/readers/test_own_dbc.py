"""Multiplexed and extended-multiplexed DBC definitions, equal to cantools frame by frame."""

from __future__ import annotations

from pathlib import Path

import cantools
import numpy as np
import pytest
from tests.readers.random_dbc import definition

from conftest import Run
from witnessmark.model.recording import Quality
from witnessmark.readers import ReaderSettings, read_recording

FRAMES = 400


@pytest.mark.parametrize("seed", range(50))
def test_equal_to_cantools(tmp_path: Path, seed: int) -> None:
    text, messages = definition(seed)
    dbc = tmp_path / "own.dbc"
    dbc.write_text(text)
    noise = np.random.default_rng(1000 + seed)
    database = cantools.database.load_file(dbc)
    wanted: dict[tuple[str, int], list[tuple[float, float]]] = {}
    lines = []
    for n in range(FRAMES):
        identifier = int(noise.choice(list(messages)))
        data = told_apart(database, identifier, noise)
        lines.append(f"({n * 0.01:.6f}) can0 {identifier:08X}#{data.tobytes().hex().upper()}\n")
        decoded = database.decode_message(identifier, data.tobytes(), decode_choices=False)
        name = database.get_message_by_frame_id(identifier).name
        for signal, value in decoded.items():
            key = (f"{name}.{signal}", identifier & 0xFF)
            wanted.setdefault(key, []).append((n * 0.01, float(value)))
    log = tmp_path / "own.log"
    log.write_text("".join(lines))
    found = read_recording(log, settings=ReaderSettings(dbc=(dbc,)))
    mine = {(c.name, c.source): c for c in found.channels}
    assert set(mine) == set(wanted)
    for key, rows in wanted.items():
        channel = mine[key]
        times, values = (np.array(column) for column in zip(*rows, strict=True))
        assert channel.time_s + lines_start(lines) == pytest.approx(times, abs=1e-6), key
        valid = channel.quality == Quality.VALID
        assert channel.values[valid] == pytest.approx(values[valid]), key
        assert set(channel.quality[~valid].tolist()) <= CODES, key


def told_apart(
    database: cantools.database.Database, identifier: int, noise: np.random.Generator
) -> np.ndarray:
    """Return data whose switches stand on a branch: cantools refuses to read any other."""
    while True:
        data = noise.integers(0, 256, 8, dtype=np.uint8)
        data[:2] &= np.uint8(noise.choice([0x07, 0x03, 0xFF]))
        try:
            database.decode_message(identifier, data.tobytes(), decode_choices=False)
        except cantools.database.errors.DecodeError:
            continue
        return data


#: What J1939-71 keeps for error and not available is no reading, whatever a DBC file scales it to.
CODES = {int(Quality.ERROR), int(Quality.NOT_AVAILABLE), int(Quality.RESERVED)}


def lines_start(lines: list[str]) -> float:
    return float(lines[0][1:].split(")")[0])


MULTIPLEXED = """VERSION ""
NS_ :
BS_:
BU_: Engine
BO_ 2566889728 Rotating: 8 Engine
 SG_ Which M : 0|8@1+ (1,0) [0|250] "" Engine
 SG_ Pump m1 : 8|16@1+ (0.5,0) [0|32127] "rpm" Engine
 SG_ Valve m2 : 8|16@1+ (0.25,-10) [0|16000] "kPa" Engine
"""


def test_a_multiplexed_value_is_never_another_ones(tmp_path: Path) -> None:
    dbc, log = tmp_path / "own.dbc", tmp_path / "own.log"
    dbc.write_text(MULTIPLEXED)
    identifier = 2566889728 & 0x1FFFFFFF
    log.write_text(
        "".join(
            f"({n * 0.1:.6f}) can0 {identifier:08X}"
            f"#0{1 + n % 2}{(1000 + n).to_bytes(2, 'little').hex()}FFFFFFFFFF\n"
            for n in range(100)
        )
    )
    found = {c.name: c for c in read_recording(log, settings=ReaderSettings(dbc=(dbc,))).channels}
    assert found["Rotating.Pump"].values.size == found["Rotating.Valve"].values.size == 50
    raw = [1000 + n for n in range(100)]
    assert found["Rotating.Pump"].values == pytest.approx([0.5 * r for r in raw[0::2]])
    assert found["Rotating.Valve"].values == pytest.approx([0.25 * r - 10 for r in raw[1::2]])


def test_a_log_that_only_the_dbc_explains_is_a_success(witnessmark: Run, tmp_path: Path) -> None:
    dbc, log = tmp_path / "own.dbc", tmp_path / "own.log"
    dbc.write_text(MULTIPLEXED)
    identifier = 2566889728 & 0x1FFFFFFF
    log.write_text(
        "".join(f"({n * 0.1:.6f}) can0 {identifier:08X}#01{n:04X}FFFFFFFFFF\n" for n in range(100))
    )
    done = witnessmark("look", log, "--dbc", dbc)
    assert done.returncode == 0, done.stderr
    assert witnessmark("look", log).returncode == 3


SHORT_IDENTIFIER = """VERSION ""
NS_ :
BS_:
BU_: Engine
BO_ 288 Gauge: 8 Engine
 SG_ Pressure : 7|16@0+ (0.1,0) [0|6000] "kPa" Engine
"""


def test_messages_with_11_bits_are_read_too(tmp_path: Path) -> None:
    dbc, log = tmp_path / "own.dbc", tmp_path / "own.log"
    dbc.write_text(SHORT_IDENTIFIER)
    log.write_text("".join(f"({n * 0.1:.6f}) can0 120#{n + 500:04X}0000\n" for n in range(100)))
    found = read_recording(log, settings=ReaderSettings(dbc=(dbc,)))
    (channel,) = found.channels
    assert channel.name == "Gauge.Pressure"
    assert channel.values == pytest.approx([(n + 500) * 0.1 for n in range(100)])


GROUP_NULL = """VERSION ""
NS_ :
BS_:
BU_: Box
BO_ 2348810243 Asked: 8 Box
 SG_ Speed : 8|16@1+ (0.125,0) [0|8031] "rpm" Box
"""


def test_not_available_is_no_reading_in_group_0_either(tmp_path: Path) -> None:
    """Parameter group 0 is a group of J1939 too (the torque and speed that a box asks for)."""
    dbc, log = tmp_path / "own.dbc", tmp_path / "own.log"
    dbc.write_text(GROUP_NULL)
    raw = [0xFFFF if n % 10 == 0 else 8000 + n for n in range(100)]
    log.write_text(
        "".join(
            f"({n * 0.1:.6f}) can0 0C000003#FF{v & 255:02X}{v >> 8:02X}FFFFFFFFFF\n"
            for n, v in enumerate(raw)
        )
    )
    (channel,) = read_recording(log, settings=ReaderSettings(dbc=(dbc,))).channels
    assert channel.values[channel.valid()].max() == pytest.approx(8099 * 0.125)
