"""Damaged files: real and invented recordings with bytes and lines changed, cut, doubled."""

from __future__ import annotations

import gzip
import io
import struct
from collections.abc import Iterator
from pathlib import Path

import can
import numpy as np

from readers.columns_file import columns

_TOKENS = [b"", b"\0" * 9, b"\xff" * 17, b"999999999999999999999", b"-1", b"nan", b"1e400", b'"',
           b"\r", b"\n\n\n", b";;;;", b",,,,", b"\t", b"(", b"#", b"0x", b"\xef\xbb\xbf",
           b"12:61:99.9",
           b"2026-13-45", b"1,5", b"1.234.567,8", b"##DZ", b"##DL", b"LOBJ",
           b"FFFFFFFFFFFFFFFF"]  # fmt: skip


def seeds(shared: Path | None) -> dict[str, bytes]:
    """Return small files to start from: invented ones, and the heads of the real ones."""
    asc = b" %d.%06d 1  CF00400x       Rx   d 8 FF 7D 7D 20 4E 00 FF 7D\n"
    trc = b"%6d)  %9d.0  Rx  0CF00400  8  FF 7D 7D 20 4E 00 FF 7D\n"
    log = b"(100.%06d) can0 0CF00400#FF7D7D204E%02XFF7D\n"
    count = range(60)
    found = {
        "candump": b"".join(log % (n * 10000, n) for n in count),
        "asc": b"date x\nbase hex timestamps absolute\n"
        + b"".join(asc % (n // 50, n * 20000 % 10**6) for n in count),
        "trc": b";$FILEVERSION=1.1\n" + b"".join(trc % (n, n * 20) for n in count),
        "semicolon": b"Zeit;Motordrehzahl [1/min];Oeldruck [bar]\n[s];;\n"
        + b"".join(b"%d,5;1 %03d,25;3,%d\n" % (n, n, n % 10) for n in count),
        "clock": b"Time,Coolant [degC],RPM\n"
        + b"".join(b"23:59:%02d.5,%d,\n" % (n, 60 + n % 20) for n in count),
        "one column": b"Edge time (us)\n" + b"".join(b"%d\n" % (n * 2400) for n in range(90)),
        "samples": b"fs=5000\nvolts\n" + b"".join(b"%.3f\n" % (n % 7 - 3) for n in range(90)),
        "two buses": b"".join(
            b"(100.%06d) can%d 0CF00400#FF7D7D20%02X%02XFF7D\n" % (n * 9000, n % 2, n, 30 + n % 2)
            for n in range(120)
        ),
        "adapter": b"".join(
            b"(7.%06d) T0CF004008FF7D7D204E%02XFF7D\n" % (n * 9000, n) for n in count
        ),
        "raw cells": b"time_ms,can_id,dlc,byte0,byte1,byte2,byte3,byte4,byte5,byte6,byte7\n"
        + b"".join(b"%d.5,217056256,8,255,125,125,%d,78,0,255,125\n" % (n * 20, n) for n in count),
        "relative asc": b"date x\nbase hex timestamps relative\n"
        + b"".join(b" 0.010000 1  ErrorFrame\n" if n % 9 == 5 else asc % (0, 20000) for n in count),
        "fixed width": b"Time s      Engine Speed rpm    Coolant Temp degC\n"
        + b"".join(b"%-12.1f%-20.1f%-10.1f\n" % (n / 2, 700 + n, 60 + n / 4) for n in count),
        "events": b"time;channel\n" + b"".join(b"%.4f;%d\n" % (n / 500, n % 2) for n in count),
        "behind": b"Time,RPM,Coolant\n"
        + b"".join(b"%d.5 s,%d rpm,%d degC\n" % (n, 700 + n, 20 + n) for n in count),
        "dates": b"Date,Time,RPM\n"
        + b"".join(b"20260228,2359%02d.5,1.%03d\n" % (n, n) for n in count),
        "sound": _sound(),
        "long": b"".join(
            b"(100.%06d) can0 18FF2000##1%s\n(100.%06d) can0 0CF00400#FF7D7D204E%02XFF7D\n"
            % (n * 9000, b"5A" * (8, 12, 64, 24)[n % 4], n * 9000 + 50, n)
            for n in count
        ),
        "long asc": b"base hex timestamps absolute\n"
        + b"".join(
            b" %d.%06d CANFD   1 Rx   18FF2000x      1 0 a 16 %s 0 0 3000 0 0\n"
            % (n // 50, n * 20000 % 10**6, b" ".join([b"5A"] * 16))
            for n in count
        ),
        "long blf": _blf(),
        "packets": b"".join(b"(100.%06d) can0 %s\n" % (n * 9000, PACKETS[n % 8]) for n in count),
        "columns": columns(invalid=True, packed=False, first=True),
        "edges": b"time,crank\n" + b"".join(b"%.6f,%d\n" % (n * 0.001, n % 2) for n in range(120)),
    }
    if shared is None:
        return found
    for path in sorted((shared / "data").rglob("*")):
        if path.parent.name not in {"j1939", "obd_csv", "crank", "shaft"}:
            continue
        data = path.read_bytes()
        if data[:2] == b"\x1f\x8b":
            data = gzip.decompress(data)
        # A head ends within a line or block, as a copy that was cut off does.
        found[path.name] = data[: 20_000 if path.suffix != ".mf4" else 60_000]
    return found


#: Codes in packets, by broadcast and addressed, run into each other; an identification.
PACKETS = (
    b"1CECFF00#20120003FFCAFE00", b"1CEC0003#10120003FFCAFE00", b"1CEBFF00#0100FF5B0003015C",
    b"1CEB0003#0100FF5B0003015C", b"1CEBFF00#020004025D000503", b"18FEEC00#3147324133423443",
    b"1CEB0003#020004025D000503", b"1CEBFF00#035E000604FFFFFF",
)  # fmt: skip


def _blf() -> bytes:
    file = _Open()
    writer = can.BLFWriter(file)
    for n in range(60):
        data = bytes([0x5A]) * (8, 12, 64, 24)[n % 4]
        writer(can.Message(timestamp=1e9 + n / 50, arbitration_id=0x18FF2000, data=data, is_fd=True,
                           channel=0))  # fmt: skip
    writer.stop()
    return file.getvalue()


class _Open(io.BytesIO):
    """Bytes that can still be read when the writer has closed them."""

    def close(self) -> None:
        """Stay open."""


def _sound() -> bytes:
    samples = bytes(range(256)) * 16
    head = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 2, 8000, 32000, 4, 16)
    body = b"WAVE" + head + b"data" + struct.pack("<I", len(samples)) + samples
    return b"RIFF" + struct.pack("<I", len(body)) + body


def mutants(files: dict[str, bytes], count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """Yield *count* damaged files with a name that says what they came from."""
    random = np.random.default_rng(seed)
    names = sorted(files)
    for number in range(count):
        name = names[number % len(names)]
        data = bytearray(files[name])
        for _ in range(int(random.integers(1, 6))):
            _damage(data, random)
        whole = bytes(data)
        if number % 11 == 0:
            whole = gzip.compress(whole, 1, mtime=0)
            if number % 22 == 0:
                broken = bytearray(whole)
                _damage(broken, random)
                whole = bytes(broken)
        yield f"{name}-{number}", whole


def _damage(data: bytearray, random: np.random.Generator) -> None:
    if not data:
        data += b"x"
    at = int(random.integers(0, len(data)))
    length = int(random.integers(1, 200))
    kind = int(random.integers(0, 8))
    if kind == 0:
        del data[at : at + length]
    elif kind == 1:
        data[at : at + length] = random.bytes(length)
    elif kind == 2:
        data[at] ^= 1 << int(random.integers(0, 8))
    elif kind == 3:
        data[at:at] = data[at : at + length]
    elif kind == 4:
        data[at:at] = _TOKENS[int(random.integers(0, len(_TOKENS)))]
    elif kind == 5:
        del data[at:]
    elif kind == 6:
        # A field of a binary header, or a number of a text, becomes absurd.
        early = int(random.integers(0, min(len(data), 4000)))
        data[early : early + 8] = b"\xff" * int(random.integers(1, 9))
    else:
        lines = data.split(b"\n")
        first, second = (int(i) for i in random.integers(0, len(lines), 2))
        lines[first], lines[second] = lines[second], lines[first]
        data[:] = b"\n".join(lines)
