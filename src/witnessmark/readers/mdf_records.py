"""Records of an MDF 4 data group, sorted apart by their number."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from witnessmark.readers.contract import Words64
from witnessmark.readers.mdf_blocks import ChannelBlock, DataGroup, Mdf, RecordGroup

__all__ = ["Records", "raw_field", "records"]

Bytes2 = npt.NDArray[np.uint8]
#: Repeats of a pattern of records that are looked for at once.
_REPEATS = 8192
#: Data handled at once.
_PIECE = 4 * 2**20


@dataclass(slots=True)
class Records:
    """Records of one group within a piece of the data.

    Attributes:
        group: the group.
        rows: shape (n, size), the records without their number.
        place: shape (n,), where each stood in the piece (for the order between groups).
        payload: for groups of variable length: the first eight bytes, 0xFF behind the end.
        length: for groups of variable length: bytes of each.
    """

    group: RecordGroup
    rows: Bytes2
    place: npt.NDArray[np.int64]
    payload: Words64 = field(default_factory=lambda: np.zeros(0, np.uint64))
    length: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))


def records(mdf: Mdf, group: DataGroup) -> Iterator[list[Records]]:
    """Yield the records of a data group piece by piece."""
    by_number = {g.number: g for g in group.groups}
    rest = b""
    if group.id_size == 0:
        only = group.groups[0] if group.groups else None
        size = only.size + only.invalid_size if only is not None else 0
        if only is None or size == 0:
            return
        for piece in _pieces(mdf, group.data_link):
            whole = rest + bytes(piece) if rest else piece
            count = len(whole) // size
            rows = np.frombuffer(whole, np.uint8, count * size).reshape(count, size)
            rest = bytes(whole[count * size :])
            yield [Records(only, rows, np.arange(count, dtype=np.int64))]
        return
    for piece in _pieces(mdf, group.data_link):
        whole = rest + bytes(piece)
        places, end = _walk(whole, group.id_size, by_number)
        if end < 0:
            mdf.trouble.add(
                "records",
                "A record has a number that the file does not explain; what stands behind it is "
                "lost.",
            )
            yield _sorted(whole, places, group)
            return
        rest = whole[end:]
        yield _sorted(whole, places, group)


def raw_field(rows: Bytes2, channel: ChannelBlock) -> Words64:
    """Return the bits of a channel as unsigned numbers, shape (n,); up to 64 bits."""
    start, size = channel.byte_offset, rows.shape[1]
    count = min((channel.bit_offset + channel.bits + 7) // 8, size - start, 8)
    value = np.zeros(rows.shape[0], np.uint64)
    if count <= 0:
        return value
    wide = np.zeros((rows.shape[0], 8), np.uint8)
    wide[:, :count] = rows[:, start : start + count]
    if channel.data_type in {1, 3, 5}:
        wide[:, :count] = wide[:, :count][:, ::-1].copy()
    value = wide.view("<u8").reshape(-1)
    if channel.bit_offset:
        value = value >> np.uint64(channel.bit_offset)
    if channel.bits < 64:
        value = value & np.uint64((1 << channel.bits) - 1)
    return value


def _pieces(mdf: Mdf, link: int) -> Iterator[bytes | memoryview]:
    """Yield the data in pieces of a few MiB: long blocks are cut, short ones joined."""
    have: list[bytes] = []
    size = 0
    for block in mdf.data(link):
        if len(block) >= _PIECE:
            if have:
                yield b"".join(have)
                have, size = [], 0
            for start in range(0, len(block), _PIECE):
                yield block[start : start + _PIECE]
            continue
        have.append(bytes(block))
        size += len(block)
        if size >= _PIECE:
            yield b"".join(have)
            have, size = [], 0
    if have:
        yield b"".join(have)


def _walk(
    data: bytes, id_size: int, groups: dict[int, RecordGroup]
) -> tuple[npt.NDArray[np.int64], int]:
    """Return the start of every whole record, and where the first unfinished one begins.

    Records come in patterns (a frame, its data, a frame, its data, ...). One turn of the pattern
    is walked; how often it repeats is then seen at once. The end is -1 at an unknown number.
    """
    letters = np.frombuffer(data, np.uint8)
    total = len(data)
    found: list[npt.NDArray[np.int64]] = []
    at = 0
    single: list[int] = []
    skip = 0
    while at < total:
        turn: list[int] = []
        here = at
        for _ in range(4):
            size = _size(data, here, id_size, groups)
            if size < 0 or here + max(size, 1) > total:
                break
            turn.append(here)
            here += size
            if size == 0:
                return _joined(found, single), -1
        if not turn:
            size = _size(data, at, id_size, groups)
            return _joined(found, single), (-1 if size == -1 else at)
        repeats = 0
        if skip == 0 and len(turn) == 4:
            period = here - at
            repeats = _repeats(letters, at, period, turn, id_size, groups, data)
        if repeats > 1:
            found.append(np.array(single, np.int64))
            single = []
            steps = at + period * np.arange(repeats, dtype=np.int64)
            offsets = np.array(turn, np.int64) - at
            found.append((steps[:, None] + offsets).reshape(-1))
            at += period * repeats
        else:
            skip = 2 if skip == 0 else skip - 1
            single.append(turn[0])
            at = turn[1] if len(turn) > 1 else here
    return _joined(found, single), at


def _repeats(
    letters: npt.NDArray[np.uint8],
    at: int,
    period: int,
    turn: list[int],
    id_size: int,
    groups: dict[int, RecordGroup],
    data: bytes,
) -> int:
    """Return how many times in a row the pattern of the first turn stands from *at* on."""
    most = min(_REPEATS, (letters.size - at) // period)
    if most < 2:
        return most
    good = most
    for start in turn:
        number = int.from_bytes(data[start : start + id_size], "little")
        fixed = id_size + (4 if groups[number].variable else 0)
        for place in range(start, start + fixed):
            column = letters[place : place + period * (good - 1) + 1 : period]
            differ = column != letters[place]
            if differ[: min(64, good)].any() or differ.any():
                good = int(np.argmax(differ))
            if good < 2:
                return good
    return good


def _size(data: bytes, at: int, id_size: int, groups: dict[int, RecordGroup]) -> int:
    """Return the size of the record at *at*; -1 unknown number, -2 header not whole."""
    if at + id_size > len(data):
        return -2
    group = groups.get(int.from_bytes(data[at : at + id_size], "little"))
    if group is None:
        return -1
    if not group.variable:
        return id_size + group.size + group.invalid_size
    start = at + id_size
    if start + 4 > len(data):
        return -2
    return id_size + 4 + int.from_bytes(data[start : start + 4], "little")


def _joined(found: list[npt.NDArray[np.int64]], single: list[int]) -> npt.NDArray[np.int64]:
    return np.concatenate([*found, np.array(single, np.int64)])


def _sorted(data: bytes, places: npt.NDArray[np.int64], group: DataGroup) -> list[Records]:
    padded = np.frombuffer(data + b"\xff" * 16, np.uint8)
    width = group.id_size
    number = padded[places].astype(np.uint64)
    for byte in range(1, width):
        number |= padded[places + byte].astype(np.uint64) << np.uint64(8 * byte)
    found = []
    for record in group.groups:
        at = places[number == record.number]
        if not at.size:
            continue
        start = at + width
        if record.variable:
            long = _words(padded, start) & np.uint64(0xFFFFFFFF)
            length = long.astype(np.int64)
            payload = _words(padded, start + 4)
            keep = np.minimum(length, 8).astype(np.uint64)
            beyond = np.where(
                keep >= 8, np.uint64(0), np.uint64(0xFFFFFFFFFFFFFFFF) << (keep * np.uint64(8))
            )
            found.append(
                Records(record, np.zeros((at.size, 0), np.uint8), at, payload | beyond, length)
            )
            continue
        size = record.size + record.invalid_size
        windows = np.lib.stride_tricks.as_strided(
            padded, (max(padded.size - size + 1, 0), size), (1, 1), writeable=False
        )
        found.append(Records(record, windows[start], at))
    return found


def _words(letters: npt.NDArray[np.uint8], at: npt.NDArray[np.int64]) -> Words64:
    words = np.ndarray((letters.size - 7,), np.dtype("<u8"), letters.data, 0, (1,))
    return words[at]
