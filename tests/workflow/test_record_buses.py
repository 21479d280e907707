"""Two buses on one clock, a full disk, files that follow each other."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import can
import pytest

from witnessmark.readers import read_recording
from witnessmark.workflow.recordings.line_file import DiskFull, LineFile
from witnessmark.workflow.recordings.record_bus import record


def talk(bus: can.BusABC, rpm: float, seconds: float) -> None:
    raw = int(rpm / 0.125)
    data = bytes([0xFF, 0x7D, 0x7D, raw & 0xFF, raw >> 8, 0xFF, 0xFF, 0x7D])
    begin = time.monotonic()
    while time.monotonic() - begin < seconds:
        bus.send(can.Message(time.time(), 0x0CF00400, True, data=data))
        time.sleep(0.01)


def test_two_buses_are_recorded_together_and_kept_apart(tmp_path: Path) -> None:
    out = tmp_path / "both.log"
    with (
        can.Bus(interface="virtual", channel="apart_a") as first,
        can.Bus(interface="virtual", channel="apart_b") as second,
    ):
        threads = [threading.Thread(target=talk, args=(first, 700.0, 1.5)),
                   threading.Thread(target=talk, args=(second, 1800.0, 1.5))]  # fmt: skip
        for thread in threads:
            thread.start()
        end = record(["virtual:apart_a", "virtual:apart_b"], out, seconds=2.0)
        for thread in threads:
            thread.join()
    assert set(end.listens_only) == {"virtual:apart_a", "virtual:apart_b"}
    found = read_recording(out)
    speeds = {c.bus: c.values for c in found.channels if c.name == "engine_speed"}
    assert set(speeds) == {"apart_a", "apart_b"}
    assert set(speeds["apart_a"]) == {700.0}
    assert set(speeds["apart_b"]) == {1800.0}
    assert not any("backwards" in p.what for p in found.problems)


def test_a_full_disk_keeps_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = LineFile(tmp_path / "drive.log")
    room = [70]
    write = os.write

    def nearly_full(handle: int, data: bytes) -> int:
        if room[0] <= 0:
            raise OSError(28, "No space left on device")
        done = write(handle, data[: room[0]])
        room[0] -= done
        return done

    monkeypatch.setattr(os, "write", nearly_full)
    for number in range(10):
        file.write(b"line number %02d\n" % number)
    with pytest.raises(DiskFull, match="No space"):
        file.flush()
    file.close()
    assert file.saved == 4
    assert (tmp_path / "drive.log").read_bytes() == b"".join(
        b"line number %02d\n" % n for n in range(4)
    )


def test_a_full_disk_is_said_with_what_is_saved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "drive.log"
    write = os.write

    def full(handle: int, data: bytes) -> int:
        if out.is_file() and os.fstat(handle).st_ino == out.stat().st_ino and (
            out.stat().st_size > 500
        ):  # fmt: skip
            raise OSError(28, "No space left on device")
        return write(handle, data[:300] if len(data) > 300 else data)

    monkeypatch.setattr(os, "write", full)
    with can.Bus(interface="virtual", channel="full") as speaker:
        thread = threading.Thread(target=talk, args=(speaker, 700.0, 1.5))
        thread.start()
        end = record("virtual:full", out, seconds=5.0)
        thread.join()
    assert "disk is full" in end.stopped
    lines = out.read_bytes().split(b"\n")
    assert lines[-1] == b""
    assert f"{len(lines) - 1:,} frames are saved" in end.stopped
    assert all(line.startswith(b"(") and b"#" in line for line in lines[:-1])


def test_files_follow_each_other_and_lose_nothing(tmp_path: Path) -> None:
    file = LineFile(tmp_path / "week.log", rotate_bytes=1000)
    lines = [b"(%010d.000000) can0 0CF00400#FF7D7DE02EFFFF7D\n" % n for n in range(200)]
    for number, line in enumerate(lines):
        file.write(line)
        if number % 5 == 4:
            file.flush()
    file.close()
    assert file.files[1].name == "week-0002.log"
    assert len(file.files) > 8
    assert b"".join(path.read_bytes() for path in file.files) == b"".join(lines)
    assert all(path.stat().st_size < 1300 for path in file.files)


def test_a_week_keeps_no_more_than_two_hours_of_values() -> None:
    from witnessmark.readers.bus import live

    values = live.LiveValues()
    data = bytes.fromhex("FF7D7DE02EFFFF7D")
    for n in range(3 * live._MOST):
        values.feed(n * 0.1, 0x0CF00400, True, data)
    (channel,) = values.recording("week").channels
    assert live._MOST <= channel.values.size < 2 * live._MOST
    assert values.last_s == pytest.approx((3 * live._MOST - 1) * 0.1)
