"""CAN FD: frames of more than eight bytes, in every format, against cantools and python-can."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import can
import cantools
import numpy as np
import pytest

from witnessmark.model.recording import Recording
from witnessmark.readers import ReaderSettings, read_recording

_IDENTIFIER = 0x18FF2000
_DBC = f"""VERSION ""
BS_:
BU_:
BO_ {0x80000000 | _IDENTIFIER} Wide: 64 X
 SG_ Low : 8|16@1+ (0.5,-10) [0|0] "V" X
 SG_ Across : 60|12@1+ (1,0) [0|0] "" X
 SG_ Behind : 96|16@1- (0.25,0) [0|0] "A" X
 SG_ Turned : 167|24@0+ (1,5) [0|0] "" X
 SG_ Last : 504|8@1+ (1,0) [0|0] "" X
"""
_LENGTHS = (8, 12, 16, 20, 24, 32, 48, 64, 5, 64)


def frames() -> list[can.Message]:
    """Every length in turns, classical frames of the engine speed in between."""
    random = np.random.default_rng(20261125)
    found = []
    for number in range(400):
        length = _LENGTHS[number % len(_LENGTHS)]
        data = random.integers(0, 0xF0, length).astype(np.uint8).tobytes()
        stamp = 1_700_000_000.0 + 0.01 * number
        found.append(
            can.Message(timestamp=stamp, arbitration_id=_IDENTIFIER, data=data, is_fd=True,
                        bitrate_switch=number % 3 == 0, channel=0)
        )  # fmt: skip
        speed = int(8 * (700 + number)).to_bytes(2, "little")
        found.append(
            can.Message(timestamp=stamp + 0.005, arbitration_id=0x0CF00400, channel=0,
                        data=b"\xff\xff\xff" + speed + b"\xff\xff\xff")
        )  # fmt: skip
    return found


def written(folder: Path, kind: str, messages: list[can.Message]) -> Path:
    path = folder / f"log.{kind}"
    if kind == "screen":
        lines = []
        for m in messages:
            flags = ("B" if m.bitrate_switch else "-") + " -"
            data = " ".join(f"{b:02X}" for b in m.data)
            lines.append(f" ({m.timestamp:.6f})  can0  RX {flags}  {m.arbitration_id:08X}  "
                         f"[{len(m.data):02d}]  {data}\n")  # fmt: skip
        path.write_text("".join(lines))
    elif kind == "trc":
        lines = [";$FILEVERSION=2.1\n;$STARTTIME=45000.5\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n"]
        for n, m in enumerate(messages, 1):
            word = ("FB" if m.bitrate_switch else "FD") if m.is_fd else "DT"
            data = " ".join(f"{b:02X}" for b in m.data)
            at = 1e3 * (m.timestamp - messages[0].timestamp)
            lines.append(f"{n:>7} {at:13.3f} {word} 1      {m.arbitration_id:08X} Rx -  "
                         f"{len(m.data)}    {data} \n")  # fmt: skip
        path.write_text("".join(lines))
    else:
        writer: Any = can.Logger(path)
        for message in messages:
            writer(message)
        writer.stop()
    return path


def values(recording: Recording, name: str) -> np.ndarray:
    channel = next(c for c in recording.channels if c.name == name)
    assert channel.valid().all()
    return channel.values


@pytest.mark.parametrize("kind", ["log", "screen", "asc", "trc", "blf", "mf4"])
def test_long_frames_are_decoded_as_the_dbc_says(tmp_path: Path, kind: str) -> None:
    messages = frames()
    path = written(tmp_path, kind, messages)
    (tmp_path / "own.dbc").write_text(_DBC)
    recording = read_recording(path, settings=ReaderSettings(dbc=(tmp_path / "own.dbc",)))
    assert recording.frames == len(messages)
    wide = cantools.database.load_file(tmp_path / "own.dbc").get_message_by_name("Wide")
    long = [m for m in messages if m.is_fd]
    for signal, need in (("Low", 3), ("Across", 9), ("Behind", 14), ("Turned", 23), ("Last", 64)):
        known = [
            wide.decode(bytes(m.data).ljust(64, b"\0"), decode_choices=False)[signal]
            for m in long
            if len(m.data) >= need
        ]
        assert values(recording, f"Wide.{signal}") == pytest.approx(np.array(known)), signal
    speed = next(c for c in recording.channels if c.name == "engine_speed")
    assert speed.values == pytest.approx(700.0 + np.arange(400))
    assert not any("no frames, such as" in p.what for p in recording.problems)
    told = next(p for p in recording.problems if "CAN FD" in p.what)
    assert told.what.startswith(f"{sum(len(m.data) > 8 for m in long)} frames")


def test_without_a_dbc_they_are_counted_and_said(tmp_path: Path) -> None:
    messages = frames()
    recording = read_recording(written(tmp_path, "log", messages))
    assert recording.frames == len(messages)
    told = next(p for p in recording.problems if "CAN FD" in p.what)
    assert "320 of them carry no message that is known here" in told.what
    assert "J1939-22" in told.do


def test_stamps_out_of_order_come_in_order(tmp_path: Path) -> None:
    messages = frames()
    messages[100], messages[110] = messages[110], messages[100]
    (tmp_path / "own.dbc").write_text(_DBC)
    settings = ReaderSettings(dbc=(tmp_path / "own.dbc",))
    recording = read_recording(written(tmp_path, "log", messages), settings=settings)
    straight = read_recording(written(tmp_path, "blf", frames()), settings=settings)
    for name in ("Wide.Low", "Wide.Turned", "engine_speed"):
        one, other = (next(c for c in r.channels if c.name == name) for r in (recording, straight))
        assert (np.diff(one.time_s) >= 0.0).all()
        assert one.time_s == pytest.approx(other.time_s, abs=1e-5)
        assert np.array_equal(one.values, other.values)
