"""Build MF4 files of version 4.2 that keep each channel in a column, block by block."""

from __future__ import annotations

import struct
import zlib

import numpy as np

ROWS = 5000
TIME = np.arange(ROWS) * 0.01
SPEED = (700 + 100 * np.sin(TIME)).astype("<f4")


class File:
    """Blocks one after the other; a block is written once all it links to are."""

    def __init__(self) -> None:
        head = b"MDF     4.20    test    " + b"\0" * 4 + struct.pack("<H", 420)
        self.content = bytearray(head.ljust(64, b"\0") + b"\0" * 104)

    def block(self, name: bytes, links: list[int], body: bytes) -> int:
        self.content += b"\0" * (-len(self.content) % 8)
        at = len(self.content)
        self.content += struct.pack("<4sIQQ", name, 0, 24 + 8 * len(links) + len(body), len(links))
        self.content += struct.pack(f"<{len(links)}Q", *links) + body
        return at

    def text(self, words: str) -> int:
        return self.block(b"##TX", [], words.encode() + b"\0")

    def data(self, name: bytes, raw: bytes, *, packed: bool) -> int:
        if not packed:
            return self.block(name, [], raw)
        body = zlib.compress(raw)
        return self.block(
            b"##DZ", [], struct.pack("<2sBBIQQ", name[2:], 0, 0, 0, len(raw), len(body)) + body
        )

    def group(
        self, following: int, channel: tuple[str, str, int, int], pieces: list[int],
        invalid: list[int], master: int,
    ) -> tuple[int, int]:  # fmt: skip
        """Write a data group with one channel; return the places of DG and CG."""
        name, unit, kind, size = channel
        body = struct.pack("<BBBBIIIIBBH6d", kind, kind // 2, 4, 0, 0, 8 * size,
                           2 if invalid else 0, 0, 0, 0, 0, *[0.0] * 6)  # fmt: skip
        links = [0, 0, self.text(name), 0, 0, 0, self.text(unit), 0]
        cn = self.block(b"##CN", links, body)
        flags = 8 if master else 0
        cg_body = struct.pack("<QQHHIII", 0, ROWS, flags, 46, 0, size, bool(invalid))
        cg_links = [0, cn, self.text(name), 0, 0, 0] + [master] * bool(master)
        cg = self.block(b"##CG", cg_links, cg_body)
        ld_flags = 1 | (1 << 31 if invalid else 0)
        ld = self.block(
            b"##LD", [0, *pieces, *invalid], struct.pack("<IIQ", ld_flags, len(pieces), 1200)
        )
        data = self.block(b"##HL", [ld], struct.pack("<HB5x", 1, 0))
        return self.block(b"##DG", [following, cg, data, 0], struct.pack("<B7x", 0)), cg


def columns(*, invalid: bool, packed: bool, first: bool) -> bytes:
    file = File()

    def pieces(raw: bytes, size: int, name: bytes) -> list[int]:
        step = 1200 * size
        return [file.data(name, raw[at : at + step], packed=packed)
                for at in range(0, len(raw), step)]  # fmt: skip

    bits = (np.arange(ROWS) % 7 == 0).astype(np.uint8).tobytes()
    times = pieces(TIME.astype("<f8").tobytes(), 8, b"##DV")
    speeds = pieces(SPEED.tobytes(), 4, b"##DV")
    marks = pieces(bits, 1, b"##DI") if invalid else []
    time, cg = file.group(0, ("t", "s", 2, 8), times, [], 0)
    speed, _ = file.group(time if first else 0, ("Engine RPM", "rpm", 0, 4), speeds, marks, cg)
    if not first:  # the times stand before the values
        file.content[time + 24 : time + 32] = struct.pack("<Q", speed)
    header = struct.pack("<4sIQQ6Q", b"##HD", 0, 104, 6, speed if first else time, *[0] * 5)
    header += struct.pack("<QhhBBBB2d", 1_700_000_000 * 10**9, 0, 0, 0, 0, 0, 0, 0.0, 0.0)
    file.content[64 : 64 + len(header)] = header
    return bytes(file.content)
