"""The blocks of an MDF 4 file (ASAM MDF 4.1): groups, channels, conversions and data.

Every link is checked against the size of the file and followed once, so a damaged file ends in
a sentence and never in an endless chain.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from isal import igzip_lib, isal_zlib

from witnessmark.errors import RecordingRefused
from witnessmark.readers.told import Trouble

__all__ = ["ChannelBlock", "Conversion", "DataGroup", "Mdf", "RecordGroup"]

_REFUSED = cast("type[Exception]", igzip_lib.IsalError)
#: Flag of a group whose times stand in another group.
_REMOTE_MASTER = 8
#: Blocks a file may chain before it is taken for damaged.
_MOST_BLOCKS = 200_000
#: A single data block expands to at most this many bytes.
_MOST_BYTES = 2**30


@dataclass(frozen=True, slots=True)
class Conversion:
    """Raw to value: kind as the standard numbers it, its numbers, whether it gives text."""

    kind: int
    numbers: tuple[float, ...]
    text: bool


@dataclass(frozen=True, slots=True)
class ChannelBlock:
    """One CN block."""

    name: str
    kind: int
    sync: int
    data_type: int
    bit_offset: int
    byte_offset: int
    bits: int
    flags: int
    invalid_bit: int
    conversion: Conversion | None
    unit: str
    data_link: int


@dataclass(slots=True)
class RecordGroup:
    """One CG block with its channels; *master_link* names another group that holds its times."""

    link: int
    number: int
    size: int
    invalid_size: int
    flags: int
    name: str
    channels: list[ChannelBlock] = field(default_factory=list)
    master_link: int = 0

    @property
    def variable(self) -> bool:
        """Return whether its records carry their own length."""
        return bool(self.flags & 1)


@dataclass(slots=True)
class DataGroup:
    """One DG block: the groups whose records are mixed in its data."""

    id_size: int
    data_link: int
    groups: list[RecordGroup] = field(default_factory=list)


class Mdf:
    """An MDF 4 file in memory (usually a memory map)."""

    def __init__(self, content: memoryview, trouble: Trouble) -> None:
        self.content = content
        self.trouble = trouble
        self.blocks = 0
        if len(content) < 168 or bytes(content[64:68]) != b"##HD":
            raise RecordingRefused(
                "The measurement file has no header.",
                where=trouble.name,
                do="It is cut off or damaged; copy it from the recorder again.",
            )
        self.version = bytes(content[8:16]).decode("latin-1").strip(" \0")
        if not self.version.startswith("4"):
            raise RecordingRefused(
                f"This is MDF version {self.version}; version 4 is read.",
                where=trouble.name,
                do="Convert it to MF4 with the recorder's software.",
            )
        start = self._fields(64, 6, "<Q")
        self.started_ns = start[0] if start is not None else 0

    def data_groups(self) -> list[DataGroup]:
        """Return the data groups that can be read."""
        found: list[DataGroup] = []
        link = self._link(64, 0)
        for at in self._chain(link, b"##DG"):
            fields = self._fields(at, 4, "<B")
            if fields is None:
                break
            group = DataGroup(fields[0], self._link(at, 2))
            for cg in self._chain(self._link(at, 1), b"##CG"):
                values = self._fields(cg, 6, "<QQHHIII")
                if values is None:
                    break
                record = RecordGroup(
                    link=cg,
                    number=values[0],
                    size=values[5],
                    invalid_size=values[6],
                    flags=values[2],
                    name=self._text(self._link(cg, 2)),
                    master_link=self._link(cg, 6) if values[2] & _REMOTE_MASTER else 0,
                )
                self._channels(self._link(cg, 1), record.channels)
                group.groups.append(record)
            found.append(group)
        return found

    def data(self, link: int, *, invalid: bool = False) -> Iterator[bytes | memoryview]:
        """Yield the data behind a DG or CN link, in order, unpacked.

        With *invalid* the invalidation bytes that stand apart from the data (version 4.2).
        """
        yield from self._data(link, depth=0, invalid=invalid)

    def in_columns(self, link: int) -> bool:
        """Say whether the data stand apart from their invalidation bytes (version 4.2)."""
        if self._is(link, b"##HL"):
            link = self._link(link, 0)
        return self._is(link, b"##LD") or self._is(link, b"##DV")

    def _channels(self, link: int, found: list[ChannelBlock], depth: int = 0) -> None:
        for at in self._chain(link, b"##CN"):
            values = self._fields(at, 8, "<BBBBIIII")
            if values is None:
                return
            found.append(
                ChannelBlock(
                    name=self._text(self._link(at, 2)),
                    kind=values[0],
                    sync=values[1],
                    data_type=values[2],
                    bit_offset=values[3],
                    byte_offset=values[4],
                    bits=values[5],
                    flags=values[6],
                    invalid_bit=values[7],
                    conversion=self._conversion(self._link(at, 4)),
                    unit=self._text(self._link(at, 6)) or self._conversion_unit(at),
                    data_link=self._link(at, 5),
                )
            )
            inner = self._link(at, 1)
            if inner and depth < 4 and self._is(inner, b"##CN"):
                self._channels(inner, found, depth + 1)

    def _conversion_unit(self, at: int) -> str:
        link = self._link(at, 4)
        return self._text(self._link(link, 1)) if link and self._is(link, b"##CC") else ""

    def _conversion(self, link: int) -> Conversion | None:
        if not link or not self._is(link, b"##CC"):
            return None
        start = link + 24 + 8 * self._links(link)
        try:
            kind, _, _, _, count = struct.unpack_from("<BBHHH", self.content, start)
            count = min(count, 4096)
            numbers = struct.unpack_from(f"<{count}d", self.content, start + 24)
        except struct.error:
            return None
        return Conversion(kind, numbers, kind >= 7 or kind == 3)

    def _data(
        self, link: int, depth: int, *, invalid: bool = False
    ) -> Iterator[bytes | memoryview]:
        if depth > 3:
            return
        seen: set[int] = set()
        while link:
            if link in seen or not self._inside(link, 24):
                self._cut()
                return
            seen.add(link)
            name = bytes(self.content[link : link + 4])
            if name in {b"##DT", b"##DV", b"##SD", b"##RD", b"##DI"}:
                yield self._plain(link)
                return
            if name == b"##DZ":
                piece = self._packed(link)
                if piece is not None:
                    yield piece
                return
            if name == b"##HL":
                link = self._link(link, 0)
                continue
            if name not in {b"##DL", b"##LD"}:
                self._cut()
                return
            for number in self._parts(link, lists=name == b"##LD", invalid=invalid):
                part = self._link(link, number)
                if part:
                    yield from self._data(part, depth + 1)
            link = self._link(link, 0)

    def _parts(self, link: int, *, lists: bool, invalid: bool) -> range:
        """Return which links of a list of blocks lead to data."""
        count = self._links(link)
        if not lists:
            return range(1, 1 if invalid else count)
        fields = self._fields(link, 0, "<4BI")
        if fields is None:
            return range(0)
        apart = bool(fields[3] & 0x80)
        blocks = min(fields[4], (count - 1) // (2 if apart else 1))
        if invalid:
            return range(1 + blocks, 1 + 2 * blocks) if apart else range(0)
        return range(1, 1 + blocks)

    def _plain(self, link: int) -> memoryview:
        length = struct.unpack_from("<Q", self.content, link + 8)[0]
        start = link + 24 + 8 * self._links(link)
        end = link + length
        if end > len(self.content) or (length <= 24 and len(self.content) > start):
            if end > len(self.content):
                self._cut()
            end = len(self.content)
        return self.content[start:end]

    def _packed(self, link: int) -> bytes | None:
        try:
            values = struct.unpack_from("<2sBBIQQ", self.content, link + 24)
        except struct.error:
            self._cut()
            return None
        _, kind, _, columns, original, size = values
        if original > _MOST_BYTES or original > 1100 * max(size, 1):
            raise RecordingRefused(
                f"A block of the file would unpack to {original:,} bytes.",
                where=self.trouble.name,
                do="The file is damaged or not what it seems.",
            )
        start = link + 48
        if start + size > len(self.content):
            self._cut()
        whole = _unpacked(self.content[start : start + size], original or 1)
        if whole is None:
            self._cut()
            return None
        if len(whole) != original:
            self._cut()
            if kind == 1:
                return None
        if kind == 1 and columns > 1:
            rows = original // columns
            body = np.frombuffer(whole, np.uint8, rows * columns).reshape(columns, rows)
            whole = body.T.tobytes() + whole[rows * columns :]
        return whole

    def _chain(self, link: int, name: bytes) -> Iterator[int]:
        seen: set[int] = set()
        while link:
            if link in seen or not self._is(link, name):
                self._cut()
                return
            seen.add(link)
            self.blocks += 1
            if self.blocks > _MOST_BLOCKS:
                raise RecordingRefused(
                    "The measurement file has an absurd number of blocks.",
                    where=self.trouble.name,
                    do="It is damaged; copy it from the recorder again.",
                )
            yield link
            link = self._link(link, 0)

    def _is(self, link: int, name: bytes) -> bool:
        return self._inside(link, 24) and bytes(self.content[link : link + 4]) == name

    def _inside(self, link: int, size: int) -> bool:
        return 0 < link <= len(self.content) - size

    def _links(self, link: int) -> int:
        if not self._inside(link, 24):
            return 0
        count = int(struct.unpack_from("<Q", self.content, link + 16)[0])
        return min(count, (len(self.content) - link - 24) // 8)

    def _link(self, link: int, number: int) -> int:
        if number >= self._links(link):
            return 0
        return int(struct.unpack_from("<Q", self.content, link + 24 + 8 * number)[0])

    def _fields(self, link: int, links: int, form: str) -> tuple[int, ...] | None:
        start = link + 24 + 8 * max(self._links(link), links)
        try:
            return struct.unpack_from(form, self.content, start)
        except struct.error:
            self._cut()
            return None

    def _text(self, link: int) -> str:
        if not link or not self._inside(link, 24):
            return ""
        if bytes(self.content[link : link + 4]) not in {b"##TX", b"##MD"}:
            return ""
        length = struct.unpack_from("<Q", self.content, link + 8)[0]
        raw = bytes(self.content[link + 24 : link + min(length, 4096)])
        text = raw.split(b"\0", 1)[0].decode("utf-8", "replace").strip()
        if text.startswith("<"):
            inner = text.partition("<TX>")[2].partition("</TX>")[0]
            return inner.strip()
        return text

    def _cut(self) -> None:
        if not self.trouble.count("cut"):
            self.trouble.add(
                "cut",
                "The measurement file is cut off or damaged; what can be read is used.",
                do="Copy it from the recorder again.",
            )


def _unpacked(packed: memoryview, most: int) -> bytes | None:
    """Unpack a block by the fast library; what it refuses is left to the usual one."""
    try:
        return bytes(isal_zlib.decompressobj().decompress(packed, most))
    except _REFUSED:
        pass
    try:
        return zlib.decompressobj().decompress(packed, most)
    except zlib.error:
        return None
