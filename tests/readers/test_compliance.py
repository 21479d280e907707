"""Every reader passes the compliance suite; every reader must have a row here."""

from __future__ import annotations

import wave
from pathlib import Path

import can
import numpy as np
import pytest

from readers.compliance import ReaderCase, assert_compliant
from witnessmark.readers import READERS


def _frames(count: int = 200) -> list[can.Message]:
    data = bytes.fromhex("FF7D7D204EFFFF7D")
    return [can.Message(1e9 + n * 0.01, 0x0CF00400, True, data=data) for n in range(count)]


def _written(writer: type) -> object:
    def make(path: Path) -> None:
        with writer(path.with_suffix(SUFFIX[writer])) as out:
            for message in _frames():
                out.on_message_received(message)
        path.with_suffix(SUFFIX[writer]).rename(path)

    return make


SUFFIX = {
    can.CanutilsLogWriter: ".log", can.ASCWriter: ".asc", can.TRCWriter: ".trc",
    can.BLFWriter: ".blf", can.MF4Writer: ".mf4", can.CSVWriter: ".csv",
}  # fmt: skip


def _table(path: Path) -> None:
    rows = [f"{n * 0.1:.1f},{650 + n % 7},{80 + n % 3}" for n in range(200)]
    path.write_text("Time [s],Engine RPM,Coolant Temperature [degC]\n" + "\n".join(rows) + "\n")


def _sound(path: Path) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes((9000 * np.sin(np.arange(8000) / 9)).astype("<i2").tobytes())


def _edges(path: Path) -> None:
    marks = [n for n in range(36 * 20) if n % 36 < 34]
    path.write_text("".join(f"{n * 0.002:.6f}\n" for n in marks))


def _events(path: Path) -> None:
    marks = [n for n in range(36 * 20) if n % 36 < 34]
    rows = [(n * 0.002, "crank") for n in marks] + [(n * 0.144, "cam") for n in range(10)]
    path.write_text("time_s,edge\n" + "".join(f"{t:.6f},{name}\n" for t, name in sorted(rows)))


BUS = {"engine_speed": 200, "engine_torque": 200}


def _adapter(path: Path) -> None:
    """Write the frames of a log as a serial adapter sends them, with the recorder's stamps."""
    log = path.with_name("first.log")
    _written(can.CanutilsLogWriter)(log)
    lines = []
    for line in log.read_text().splitlines():
        stamp, _, frame = line.split()[:3]
        identifier, data = frame.split("#")
        lines.append(f"{stamp} T{identifier}{len(data) // 2}{data}\n")
    path.write_text("".join(lines))


CASES = [
    ReaderCase("candump text", _written(can.CanutilsLogWriter), "bus", BUS),
    ReaderCase("ASC text", _written(can.ASCWriter), "bus", BUS),
    ReaderCase("table of raw frames", _written(can.CSVWriter), "bus", BUS),
    ReaderCase("adapter text", _adapter, "bus", BUS),
    ReaderCase("TRC text", _written(can.TRCWriter), "bus", BUS),
    ReaderCase("BLF", _written(can.BLFWriter), "bus", BUS, text=False),
    ReaderCase("MF4", _written(can.MF4Writer), "bus", BUS, text=False),
    ReaderCase("table (CSV, TSV)", _table, "table", {"engine_speed": 200}),
    ReaderCase("sound (WAV, FLAC)", _sound, "waveform", {"sound": 8000}, text=False),
    ReaderCase("list of edges", _edges, "tooth_timing", {"pickup": 2 * 34 * 20}),
    ReaderCase("list of events", _events, "tooth_timing", {"crank": 2 * 34 * 20, "cam": 20}),
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.reader)
@pytest.mark.filterwarnings("ignore")
def test_reader_complies(case: ReaderCase, tmp_path: Path) -> None:
    assert_compliant(case, tmp_path)


def test_every_reader_has_a_case() -> None:
    assert {reader.name for reader in READERS} == {case.reader for case in CASES}
