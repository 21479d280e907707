"""Write an MF4 bus log the way loggers do: mixed records of two groups in packed blocks."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import numpy.typing as npt

_PIECE = 4 * 2**20


class _File:
    """Blocks one after the other; a block is written once all it links to are."""

    def __init__(self) -> None:
        head = b"MDF     4.11    bench   " + b"\0" * 4 + struct.pack("<H", 411)
        self.content = bytearray(head.ljust(64, b"\0"))
        self.content += b"\0" * 112  # the header block, filled in at the end

    def block(self, name: bytes, links: list[int], body: bytes) -> int:
        self.content += b"\0" * (-len(self.content) % 8)
        at = len(self.content)
        size = 24 + 8 * len(links) + len(body)
        self.content += struct.pack("<4sIQQ", name, 0, size, len(links))
        self.content += struct.pack(f"<{len(links)}Q", *links) + body
        return at

    def text(self, words: str) -> int:
        raw = words.encode() + b"\0"
        return self.block(b"##TX", [], raw + b"\0" * (-len(raw) % 8))

    def channel(self, following: int, name: str, place: tuple[int, int, int], *, kind: int = 0,
                data_type: int = 0, inner: int = 0, conversion: int = 0) -> int:  # fmt: skip
        byte, bit, bits = place
        sync = 1 if kind == 2 else 0
        flags = 0x400 if name.startswith("CAN") else 0
        body = struct.pack("<BBBBIIIIBBH6d", kind, sync, data_type, bit, byte, bits, flags, 0, 0, 0,
                           0, *[0.0] * 6)  # fmt: skip
        links = [following, inner, self.text(name), 0, conversion, 0, 0, 0]
        return self.block(b"##CN", links, body)


def mf4_log(
    path: Path,
    time: npt.NDArray[np.float64],
    identifier: npt.NDArray[np.uint32],
    data: npt.NDArray[np.uint64],
) -> None:
    """Write all frames (29-bit, eight bytes) with a few 11-bit ones of the logger itself."""
    file = _File()
    source = file.block(b"##SI", [0, 0, 0], struct.pack("<BBB5x", 2, 2, 0))
    scale = struct.pack("<BBHHHdd2d", 1, 0, 0, 0, 2, 0.0, 0.0, 0.0, 1e-6)
    micro = file.block(b"##CC", [0, 0, 0, 0], scale)
    groups = []
    following = 0
    for number, bits, start in ((98, 29, 6), (96, 11, 6)):
        after = start + (4 if bits == 29 else 2)
        frame = "CAN_DataFrame"
        fields = [
            (f"{frame}.DataBytes", (after + 1, 0, 64), 10),
            (f"{frame}.DataLength", (after, 0, 4), 0), (f"{frame}.DLC", (after, 0, 4), 0),
            (f"{frame}.BusChannel", (after, 4, 2), 0),
            (f"{frame}.IDE", (start + bits // 8, bits % 8 if bits == 29 else 3, 1), 0),
            (f"{frame}.ID", (start, 0, bits), 0),
        ]  # fmt: skip
        inner = 0
        for name, place, data_type in fields:
            inner = file.channel(inner, name, place, data_type=data_type)
        body = (start, 0, 8 * (after + 9 - start))
        whole = file.channel(0, frame, body, data_type=10, inner=inner)
        master = file.channel(whole, "Timestamp", (0, 0, 48), kind=2, conversion=micro)
        count = int(time.size if bits == 29 else -(-time.size // 50))
        links = [following, master, file.text(frame), source, 0, 0]
        body_bytes = struct.pack("<QQHHIII", number, count, 6, ord("."), 0, after + 9, 0)
        following = file.block(b"##CG", links, body_bytes)
        groups.append(following)
    stream = _records(time, identifier, data)
    blocks = []
    for at in range(0, len(stream), _PIECE):
        raw = stream[at : at + _PIECE]
        packed = zlib.compress(raw, 1)
        body_bytes = struct.pack("<2sBBIQQ", b"DT", 0, 0, 0, len(raw), len(packed)) + packed
        blocks.append(file.block(b"##DZ", [], body_bytes))
    listing = file.block(b"##DL", [0, *blocks], struct.pack("<B3xIQ", 1, len(blocks), _PIECE))
    chain = file.block(b"##HL", [listing], struct.pack("<HB5x", 1, 0))
    group = file.block(b"##DG", [0, following, chain, 0], struct.pack("<B7x", 1))
    comment = file.block(b"##MD", [], b"<FHcomment/>\0\0\0\0")
    history = file.block(b"##FH", [0, comment], struct.pack("<QhhB3x", 0, 0, 0, 0))
    header = struct.pack("<4sIQQ6Q", b"##HD", 0, 104, 6, group, history, 0, 0, 0, 0)
    header += struct.pack("<QhhBBBB2d", 1_700_000_000 * 10**9, 0, 0, 0, 0, 0, 0, 0.0, 0.0)
    file.content[64 : 64 + len(header)] = header
    path.write_bytes(file.content)


def _records(
    time: npt.NDArray[np.float64],
    identifier: npt.NDArray[np.uint32],
    data: npt.NDArray[np.uint64],
) -> bytes:
    micro = np.round(time * 1e6).astype(np.uint64).view(np.uint8).reshape(-1, 8)[:, :6]
    letters = data.astype("<u8").view(np.uint8).reshape(-1, 8)
    long = np.zeros((time.size, 1 + 6 + 4 + 1 + 8), np.uint8)
    long[:, 0] = 98
    long[:, 1:7] = micro
    long[:, 7:11] = (identifier | np.uint32(1 << 29)).astype("<u4").view(np.uint8).reshape(-1, 4)
    long[:, 11] = 0x18
    long[:, 12:20] = letters
    own = long[::50]
    short = np.zeros((own.shape[0], 1 + 6 + 2 + 1 + 8), np.uint8)
    short[:, 0] = 96
    short[:, 1:7] = own[:, 1:7]
    short[:, 7] = 0x21
    short[:, 9] = 0x98 & 0x1F
    short[:, 10:18] = own[:, 12:20]
    pieces = []
    for number in range(own.shape[0]):
        pieces.append(short[number].tobytes())
        pieces.append(long[50 * number : 50 * number + 50].tobytes())
    return b"".join(pieces)
