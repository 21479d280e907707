"""Raw frames in the dialects of tables, adapters and relative stamps."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import numpy as np
import pytest

from conftest import Run
from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording

COUNT = 300
STEP = 0.02
TIME = np.arange(COUNT) * STEP
RPM = 700.0 + np.arange(COUNT) * 0.5
ENGINE = 0x0CF00400


def data(n: int) -> bytes:
    raw = int(RPM[n] / 0.125)
    return bytes([0xF0, 0x7D, 0x7D, raw & 0xFF, raw >> 8, 0xFF, 0xF4, 0xFF])


def one_cell_a_byte() -> str:
    head = "Time Stamp,ID,Extended,Dir,Bus,LEN,D1,D2,D3,D4,D5,D6,D7,D8\n"
    return head + "".join(
        f"{5_000_000 + n * 20_000},{ENGINE:08X},true,Rx,0,8,"
        + ",".join(f"{b:02X}" for b in data(n)) + "\n"
        for n in range(COUNT)
    )  # fmt: skip


def hex_text_with_semicolons() -> str:
    head = "Timestamp [s];BusChannel;ID;IDE;DLC;DataLength;Dir;DataBytes\n"
    return head + "".join(
        f"{1700000000 + TIME[n]:.6f};1;{ENGINE:X};1;8;8;0;{data(n).hex().upper()}\n"
        for n in range(COUNT)
    )


def decimal_cells() -> str:
    head = "time_ms,can_id,dlc," + ",".join(f"byte{k}" for k in range(8)) + "\n"
    return head + "".join(
        f"{n * 20}.000,{ENGINE},8," + ",".join(str(b) for b in data(n)) + "\n" for n in range(COUNT)
    )


def blanks_between_bytes() -> str:
    head = '"Time (s)"\t"CAN ID (hex)"\t"Data (hex)"\n'
    return head + "".join(
        f"{TIME[n]:.3f}\t0x{ENGINE:X}\t{' '.join(f'{b:02x}' for b in data(n))}\n"
        for n in range(COUNT)
    )


def library_table() -> str:
    head = "timestamp,arbitration_id,extended,remote,error,dlc,data\n"
    return head + "".join(
        f"{1700000000.5 + TIME[n]:.6f},{ENGINE:#x},1,0,0,8,{base64.b64encode(data(n)).decode()}\n"
        for n in range(COUNT)
    )


def adapter_text() -> str:
    return "".join(
        f"T{ENGINE:08X}8{data(n).hex().upper()}{n * 20 % 60000:04X}\r" for n in range(COUNT)
    )


def adapter_text_with_stamps() -> str:
    return "".join(
        f"({1700000000 + TIME[n]:.6f}) T{ENGINE:08X}8{data(n).hex().upper()}\n"
        for n in range(COUNT)
    )


def stamps_from_frame_to_frame() -> str:
    return "".join(
        f" ({0.0 if n == 0 else STEP:010.6f})  can0  {ENGINE:08X}   [8]  "
        + " ".join(f"{b:02X}" for b in data(n)) + "\n"
        for n in range(COUNT)
    )  # fmt: skip


def relative_with_errors() -> str:
    """Every tenth line is an error frame in the middle of the step."""
    lines = ["date Mon Mar 2 08:00:00.000 2026", "base hex  timestamps relative"]
    for n in range(COUNT):
        step = 0.0 if n == 0 else STEP
        if n % 10 == 5:
            lines.append(f"   {step / 2:.6f} 1  ErrorFrame")
            step /= 2
        words = " ".join(f"{b:02X}" for b in data(n))
        lines.append(f"   {step:.6f} 1  {ENGINE:X}x       Rx   d 8 {words}")
    return "\n".join(lines) + "\n"


DIALECTS = {
    f.__name__: f
    for f in (
        one_cell_a_byte, hex_text_with_semicolons, decimal_cells, blanks_between_bytes,
        library_table, adapter_text, adapter_text_with_stamps, stamps_from_frame_to_frame,
        relative_with_errors,
    )
}  # fmt: skip


def read(folder: Path, text: str) -> Recording:
    path = folder / "raw.txt"
    path.write_bytes(text.encode())
    return read_recording(path)


@pytest.mark.parametrize("dialect", DIALECTS)
def test_raw_frames_are_a_bus_log(tmp_path: Path, dialect: str) -> None:
    found = read(tmp_path, DIALECTS[dialect]())
    assert (found.kind, found.frames) == ("bus", COUNT), found.problems
    speed = found.channel("engine_speed", source=0)
    assert speed is not None
    assert speed.values == pytest.approx(np.floor(RPM / 0.125) * 0.125)
    assert speed.time_s == pytest.approx(TIME, abs=2e-6)


def test_identifiers_that_can_be_read_two_ways_are_asked_about(tmp_path: Path) -> None:
    text = "time_s,can_id,data\n" + "".join(
        f"{n * 0.01:.2f},{12345678},00112233{n % 100:02d}445566\n" for n in range(50)
    )
    found = read(tmp_path, text)
    assert not found.channels
    assert any("hexadecimal" in p.what for p in found.problems)


def test_damaged_rows_are_counted(tmp_path: Path) -> None:
    lines = one_cell_a_byte().splitlines()
    lines[50] = lines[50].replace("0CF00400", "0CFZZ400")
    lines[60] = lines[60][:25]
    found = read(tmp_path, "\n".join(lines) + "\n")
    assert found.frames == COUNT - 2
    assert found.facts["bad_lines"] == 2


def test_error_frames_are_a_finding_in_screen_too(witnessmark: Run, tmp_path: Path) -> None:
    path = tmp_path / "errors.asc"
    text = relative_with_errors()
    path.write_text(text.replace("0.020000 1  CF00400x", "0.020000 1  CF004#0x", 5))
    found = read_recording(path)
    assert found.facts["error_frames"] == 30
    assert found.facts["bad_lines"] == 5
    rows = json.loads(witnessmark("screen", "--json", path).stdout)
    codes = {f["code"] for row in rows for f in row["findings"]}
    assert {"bus_error_frames", "log_damaged_lines"} <= codes
