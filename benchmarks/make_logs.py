"""Make the files the reader benchmarks run on: an hour of traffic, a wide table. Deterministic.

An hour of a truck's bus at 250 kbit/s, about 830 frames a second: the messages of J1939-71 at
their usual rates, multi-packet trouble codes, and messages nobody here knows for the rest.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

#: (priority, PGN or PDU1 base, source, milliseconds between two messages)
_KNOWN = (
    (3, 61444, 0, 10), (3, 61443, 0, 50), (3, 61442, 3, 10), (6, 61445, 3, 100),
    (6, 61441, 11, 100), (6, 65265, 0, 100), (6, 65262, 0, 1000), (6, 65263, 0, 500),
    (6, 65270, 0, 500), (6, 65269, 0, 1000), (6, 65266, 0, 100), (6, 65271, 0, 1000),
    (6, 65247, 0, 250), (6, 65215, 11, 100), (6, 65217, 23, 1000), (6, 65253, 0, 1000),
    (6, 65257, 0, 1000), (6, 65276, 49, 1000), (6, 65213, 0, 1000), (6, 65226, 11, 1000),
    (6, 65190, 0, 500), (6, 65245, 0, 1000), (6, 65265, 49, 100), (6, 65272, 3, 1000),
)  # fmt: skip
_UNKNOWN_PER_S = 528
_HEX = np.frombuffer(b"0123456789ABCDEF", np.uint8)


def bus_hour(path: Path, *, seconds: int = 3600, seed: int = 1) -> int:
    """Write ``candump -L`` text; return the number of frames."""
    time, identifier, data = traffic(seconds, seed)
    lines = np.empty((time.size, 51), np.uint8)
    lines[:] = np.frombuffer(b"(1700000000.000000) can0 00000000#0000000000000000\n", np.uint8)
    micro = np.round(time * 1e6).astype(np.int64)
    whole = 1_700_000_000 + micro // 1_000_000
    for digit in range(10):
        lines[:, 10 - digit] = 48 + whole // 10**digit % 10
    part = micro % 1_000_000
    for digit in range(6):
        lines[:, 17 - digit] = 48 + part // 10**digit % 10
    for nibble in range(8):
        lines[:, 32 - nibble] = _HEX[(identifier >> np.uint32(4 * nibble)) & np.uint32(15)]
    letters = data.view(np.uint8).reshape(-1, 8)
    lines[:, 34:50:2] = _HEX[letters >> 4]
    lines[:, 35:50:2] = _HEX[letters & 15]
    with path.open("wb") as file:
        lines.tofile(file)
    return int(time.size)


def long_log(path: Path, hour: Path, hours: int) -> None:
    """Write *hours* of traffic: one hour again and again, its stamps counted on."""
    lines = np.fromfile(hour, np.uint8).reshape(-1, 51)
    first = int(lines[0, 1:11].tobytes())
    powers = 10 ** np.arange(9, -1, -1, dtype=np.int64)
    seconds = (lines[:, 1:11] - 48).astype(np.int64) @ powers - first
    with path.open("wb") as file:
        for number in range(hours):
            whole = first + seconds + 3600 * number
            for digit in range(10):
                lines[:, 10 - digit] = 48 + whole // 10**digit % 10
            lines.tofile(file)


def traffic(
    seconds: int, seed: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.uint32], npt.NDArray[np.uint64]]:
    """Return times, identifiers and data of all frames in order."""
    random = np.random.default_rng(seed)
    times, identifiers, payloads = [], [], []

    def add(
        every_s: float, identifier: int, data: npt.NDArray[np.uint64], phase: float | None = None
    ) -> None:
        count = data.size
        start = random.uniform(0, every_s) if phase is None else phase
        stamps = np.arange(count) * every_s + start
        times.append(stamps + random.normal(0, 1e-4, count).clip(-3e-4, 3e-4) + 0.001)
        identifiers.append(np.full(count, identifier, np.uint32))
        payloads.append(data)

    for priority, pgn, source, every in _KNOWN:
        count = seconds * 1000 // every
        grid = np.linspace(0, seconds, count)
        add(every / 1000, priority << 26 | pgn << 8 | source, _values(pgn, grid, random))
    for number in range(22):
        count = seconds * _UNKNOWN_PER_S // 22
        wild = random.integers(0, 2**63, count, np.int64).astype(np.uint64)
        sender = (0, 3, 11, 49)[number % 4]
        add(22 / _UNKNOWN_PER_S, 6 << 26 | (0xFF10 + number) << 8 | sender, wild)
    _codes(seconds, add)
    time = np.concatenate(times)
    order = np.argsort(time, kind="stable")
    return (
        np.maximum.accumulate(time[order]),
        np.concatenate(identifiers)[order],
        np.concatenate(payloads)[order],
    )


#: Bytes that stand still, by group (high bytes of words, so that the values are possible ones).
_STILL = {
    61444: {4: 0x30, 7: 0xFF}, 65265: {2: 0x40}, 65247: {2: 0x20}, 65262: {3: 0x2C, 5: 0x2D},
    65263: {5: 0x7D}, 65270: {6: 0x30}, 65269: {0: 0xCA, 2: 0x24, 4: 0x24}, 65266: {1: 0x02},
    65271: {3: 0x01, 5: 0x01, 7: 0x01}, 65215: {1: 0x40}, 65190: {1: 0x03}, 65272: {5: 0x2C},
    61442: {2: 0x30, 6: 0x30},
}  # fmt: skip
_COUNTERS = {65217, 65253, 65257}
#: One code, SPN 91 FMI 3, one time, in a single frame.
_ONE_CODE = int.from_bytes(bytes.fromhex("04FF5B000301FFFF"), "little")


def _values(
    pgn: int, grid: npt.NDArray[np.float64], random: np.random.Generator
) -> npt.NDArray[np.uint64]:
    """Return payloads that look like a drive: values move within what is possible."""
    if pgn == 65226:
        return np.full(grid.size, _ONE_CODE, np.uint64)
    if pgn in _COUNTERS:
        low = 3_000_000 + grid.astype(np.uint64)
        return low | low << np.uint64(32)
    letters = np.full((grid.size, 8), 0xFF, np.uint8)
    wave = 0.5 + 0.4 * np.sin(grid / 37.0) + random.normal(0, 0.01, grid.size)
    for byte in range(8):
        letters[:, byte] = (20 + 190 * wave.clip(0, 1)).astype(np.uint8)
    for byte, still in _STILL.get(pgn, {}).items():
        letters[:, byte] = still
    return letters.view("<u8").reshape(-1).astype(np.uint64)


def _codes(seconds: int, add: object) -> None:
    """Announce 18 bytes of codes by broadcast once a second, three packets each."""
    frames = ((0x18ECFF00, "20120003FFCAFE00"), (0x18EBFF00, "0100FF5B0003015C"),
              (0x18EBFF00, "020004025D000503"), (0x18EBFF00, "035E000604FFFFFF"))  # fmt: skip
    assert callable(add)
    for number, (identifier, text) in enumerate(frames):
        word = int.from_bytes(bytes.fromhex(text), "little")
        add(1.0, identifier, np.full(seconds, word, np.uint64), 0.1 + 0.05 * number)


def wide_table(path: Path, *, rows: int = 330_000, columns: int = 40, seed: int = 2) -> None:
    """Write a table of about 105 MB: a time column and 39 channels, two decimals."""
    random = np.random.default_rng(seed)
    names = ["Time [s]", "Engine RPM [rpm]", "Coolant Temperature [°C]", "Oil Pressure [kPa]"]
    names += [f"Channel {n} [V]" for n in range(columns - len(names))]
    with path.open("w", encoding="utf-8") as file:
        file.write(",".join(names) + "\n")
        for start in range(0, rows, 10_000):
            count = min(10_000, rows - start)
            body = random.normal(500, 120, (count, columns)).round(3).clip(1, 3000)
            body[:, 0] = (start + np.arange(count)) * 0.01
            np.savetxt(file, body, "%.3f", ",")
