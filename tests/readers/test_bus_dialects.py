"""One log of a bus, written in the dialects of many recorders."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording

COUNT = 200
#: 1,772,438,399 s after 1970.
EPOCH = 1772438399
FRAMES = [
    (n * 0.02, 0x0CF00400, b"\xff\x7d\x7d" + (5200 + 8 * n).to_bytes(2, "little") + b"\xff" * 3)
    for n in range(COUNT)
]  # fmt: skip

Line = Callable[[float, int, bytes], str]


def spaced(data: bytes) -> str:
    return data.hex(" ").upper()


def text(line: Line, above: str = "", below: str = "") -> str:
    return above + "".join(line(*frame) + "\n" for frame in FRAMES) + below


def stamp(t: float) -> str:
    return f"{datetime(2026, 3, 2, 23, 59, 58) + timedelta(seconds=t):%Y-%m-%d %H:%M:%S.%f}"


def steps(line: Line) -> str:
    """The same with steps from frame to frame instead of times."""
    return "".join(line(0.02 if n else 0.0, i, d) + "\n" for n, (_, i, d) in enumerate(FRAMES))


def log(t: float, i: int, d: bytes) -> str:
    return f"({EPOCH + t:.6f}) can0 {i:08X}#{d.hex().upper()}"


def asc(t: float, i: int, d: bytes) -> str:
    return f"{t:11.6f} 1  {i:X}x       Rx   d 8 {spaced(d)}"


def head(
    base: str = "hex", date: str = "Mon Mar 2 08:00:00.000 am 2026", how: str = "absolute"
) -> str:
    return f"date {date}\nbase {base}  timestamps {how}\n"


BLOCK = "Begin Triggerblock Mon Mar 2 08:00:00 2026\n   0.000000 Start of measurement\n"
TRC = ";$FILEVERSION={}\n;$STARTTIME=46083.25\n;{}\n"
DIALECTS = {
    "log": text(log),
    "log, small letters": text(lambda t, i, d: log(t, i, d).lower()),
    "log with direction": text(lambda t, i, d: log(t, i, d) + " R"),
    "log with points": text(lambda t, i, d: f"({t:.6f}) vcan0 {i:08X}#{d.hex('.').upper()}"),
    "log, nanoseconds": text(lambda t, i, d: f"({EPOCH + t:.9f}) can0 {i:08X}#{d.hex()}"),
    "log, numbered interface": text(lambda t, i, d: f"({t:.6f}) 0 {i:08X}#{d.hex()}"),
    "log, any interface": text(lambda t, i, d: f"({t:.6f}) * {i:08X}#{d.hex()}"),
    "log, bare times": text(lambda t, i, d: f"{t:.6f} can0 {i:08X}#{d.hex()}"),
    "log, other brackets": text(lambda t, i, d: f"[{t:.6f}] can0 {i:08X}#{d.hex()}"),
    "log with a byte mark": "\ufeff" + text(log),
    "screen, from zero": text(lambda t, i, d: f" ({t:010.6f})  can0  {i:08X}   [8]  {spaced(d)}"),
    "screen, dates": text(lambda t, i, d: f" ({stamp(t)})  can0  {i:08X}   [8]  {spaced(d)}"),
    "screen, flags": text(lambda t, i, d: f" ({t:.6f})  can0  RX B E  {i:08X}   [8]  {spaced(d)}"),
    "screen, letters": text(
        lambda t, i, d: f" ({t:.6f})  can0  {i:08X}   [8]  {spaced(d)}   '..}}'.'"),
    "screen, lengths of two digits": text(
        lambda t, i, d: f" ({t:.6f})  can0  {i:08X}  {{08}}  {spaced(d)}"),
    **{
        f"ASC, {date}": text(asc, head(date=date) + "internal events logged\n")
        for date in ("Mon Mar 2 08:00:00.000 am 2026", "Mo Mär 2 08:00:00 2026",
                     "lun. mars 2 08:00:00.000 2026", "Fri Dez 18 10:59:22 am 2026", "2026-03-02")
    },
    "ASC, blocks": text(asc, head() + BLOCK, "End TriggerBlock\n"),
    "ASC, decimal": text(
        lambda t, i, d: f"{t:.6f} 1 {i}x Rx d 8 " + " ".join(f"{b:3d}" for b in d), head("dec")),
    "ASC, sent": text(lambda t, i, d: asc(t, i, d).replace("Rx", "Tx"), head()),
    "ASC, lengths": text(lambda t, i, d: asc(t, i, d) + f"  Length = 270 BitCount = 140 ID = {i}x",
                         head()),
    "ASC, four decimals": text(lambda t, i, d: f"{t:.4f} 1  {i:x}x Rx d 8 {d.hex(' ')}", head()),
    "ASC, comma": text(lambda t, i, d: asc(t, i, d).replace(".", ","), head()),
    "ASC, long remark above": text(asc, "// " + "x" * 3000 + "\n" + head()),
    "ASC without its head": text(asc),
    "TRC 1.0": ";a\n" + "".join(
        f"{n + 1:6d}) {t * 1000:10.0f}      {i:08X}  8  {spaced(d)} \n"
        for n, (t, i, d) in enumerate(FRAMES)),
    "TRC 1.1": text(lambda t, i, d: f"  7) {t * 1000:11.1f}  Rx     {i:08X}  8  {spaced(d)} ",
                    TRC.format("1.1", "")),
    "TRC 1.3": text(lambda t, i, d: f"  7) {t * 1000:11.3f} 1  Rx     {i:08X} -  8    {spaced(d)} ",
                    TRC.format("1.3", "")),
    "TRC 2.0": text(lambda t, i, d: f"  7 {t * 1000:13.3f} DT     {i:08X} Rx 8  {spaced(d)} ",
                    TRC.format("2.0", "$COLUMNS=N,O,T,I,d,l,D")),
    "TRC 2.1": text(
        lambda t, i, d: f"  7 {t * 1000:13.3f} DT 1      {i:08X} Rx -  8    {spaced(d)} ",
                    TRC.format("2.1", "$COLUMNS=N,O,T,B,I,d,R,L,D")),
    "TRC 2.1 without numbers": text(
        lambda t, i, d: f"{t * 1000:13.3f} DT 1      {i:08X} Rx 8    {spaced(d)} ",
        TRC.format("2.1", "$COLUMNS=O,T,B,I,d,l,D")),
    "ASC, relative": head(how="relative") + steps(asc),
}  # fmt: skip
TIMELESS = {
    "log": text(lambda _, i, d: f"can0 {i:08X}#{d.hex()}"),
    "bare": text(lambda _, i, d: f"{i:08X}#{d.hex()}"),
    "screen": text(lambda _, i, d: f"  can0  {i:08X}   [8]  {spaced(d)}"),
    "old": text(lambda _, i, d: f"<0x{i:08x}> [8] {d.hex(' ')} "),
}


def read(folder: Path, data: str | bytes) -> Recording:
    path = folder / "log.csv"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_recording(path)


def assert_log(found: Recording, *, timed: bool = True) -> None:
    assert (found.kind, found.frames) == ("bus", COUNT), found.problems
    speed = found.channel("engine_speed")
    assert speed is not None
    assert speed.values == pytest.approx(650.0 + np.arange(COUNT))
    if timed:
        assert speed.time_s == pytest.approx(np.arange(COUNT) * 0.02, abs=6e-4)
    else:
        assert found.duration_s is None


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_dialects_of_logs(tmp_path: Path, dialect: str, end: str) -> None:
    assert_log(read(tmp_path, DIALECTS[dialect].replace("\n", end)))


@pytest.mark.parametrize("dialect", TIMELESS)
def test_logs_without_times(tmp_path: Path, dialect: str) -> None:
    assert_log(read(tmp_path, TIMELESS[dialect]), timed=False)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
@pytest.mark.parametrize("dialect", ["log", "screen, flags", "ASC, blocks", "TRC 2.1"])
def test_logs_in_wide_text(tmp_path: Path, dialect: str, encoding: str) -> None:
    assert_log(read(tmp_path, DIALECTS[dialect].encode(encoding)))


def test_other_lines_are_counted_not_read(tmp_path: Path) -> None:
    lines = text(asc, head() + BLOCK).splitlines()
    others = [
        "   0.100000 1  Statistic: D 10 R 0 XD 100 XR 0 E 0 O 0 B 12.4%",
        "   0.200000 1  ErrorFrame",
        "   0.300000 CAN 1 Status:chip status error active",
        "   0.400000 log trigger event",
        "   0.500000 1  18FEEE00x       Rx   r 8",
        "   0.600000 1  J1939TP FEE3p 6 00 FF d 39 39 00 00",
    ]
    for n, line in enumerate(others):
        lines.insert(10 + 5 * n, line)
    found = read(tmp_path, "\n".join(lines) + "\n")
    speed = found.channel("engine_speed")
    assert speed is not None
    assert speed.values == pytest.approx(650.0 + np.arange(COUNT))
    assert found.facts["error_frames"] == 1
    assert found.facts["remote_frames"] == 1
