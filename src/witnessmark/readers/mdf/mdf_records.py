"""Records of an MDF 4 data group, sorted apart by their number."""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from witnessmark.readers.files.ahead import one_ahead
from witnessmark.readers.mdf.mdf_blocks import ChannelBlock, DataGroup, Mdf, RecordGroup
from witnessmark.readers.told import Words64

__all__ = ["Records", "raw_field", "records", "variable_data"]

Bytes2 = npt.NDArray[np.uint8]
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
        more: for groups of variable length: bytes 9 to 64, where any has more than eight.
    """

    group: RecordGroup
    rows: Bytes2
    place: npt.NDArray[np.int64]
    payload: Words64 = field(default_factory=lambda: np.zeros(0, np.uint64))
    length: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    more: Bytes2 | None = None


def records(mdf: Mdf, group: DataGroup) -> Iterator[list[Records]]:
    """Yield the records of a data group piece by piece."""
    by_number = {g.number: g for g in group.groups}
    rest = b""
    if group.id_size == 0:
        only = group.groups[0] if group.groups else None
        size = only.size + only.invalid_size if only is not None else 0
        if only is None or size == 0:
            return
        if mdf.in_columns(group.data_link):
            yield from _columns(mdf, group.data_link, only)
            return
        for piece in one_ahead(_pieces(mdf, group.data_link)):
            whole = rest + bytes(piece) if rest else piece
            count = len(whole) // size
            rows = np.frombuffer(whole, np.uint8, count * size).reshape(count, size)
            rest = bytes(whole[count * size :])
            yield [Records(only, rows, np.arange(count, dtype=np.int64))]
        return
    for piece in one_ahead(_pieces(mdf, group.data_link)):
        whole = rest + bytes(piece)
        runs, end = _walk(whole, group.id_size, by_number)
        if end < 0:
            mdf.trouble.add(
                "records",
                "A record has a number that the file does not explain; what stands behind it is "
                "lost.",
            )
            yield _sorted(whole, runs, group)
            return
        rest = whole[end:]
        yield _sorted(whole, runs, group)


def _columns(mdf: Mdf, link: int, only: RecordGroup) -> Iterator[list[Records]]:
    """Yield records whose invalidation bytes stand in blocks of their own, put behind them."""
    apart = b"".join(bytes(piece) for piece in mdf.data(link, invalid=True))
    width = only.invalid_size
    bits = np.frombuffer(apart, np.uint8)
    bits = bits[: bits.size // width * width].reshape(-1, width) if width else bits[:0, None]
    rest, done = b"", 0
    for piece in _pieces(mdf, link):
        whole = rest + bytes(piece)
        count = len(whole) // only.size
        rows = np.frombuffer(whole, np.uint8, count * only.size).reshape(count, only.size)
        rest = whole[count * only.size :]
        if width:
            here = np.zeros((count, width), np.uint8)
            known = bits[done : done + count]
            here[: known.shape[0]] = known
            rows = np.concatenate([rows, here], axis=1)
        done += count
        yield [Records(only, rows, np.arange(count, dtype=np.int64))]


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


#: Records of one group one behind the other, four numbers each: number, start, distance, count.
#: An array of machine words, because there may be very many.
_Runs: TypeAlias = "array[int]"


def _walk(data: bytes, id_size: int, groups: dict[int, RecordGroup]) -> tuple[_Runs, int]:
    """Return the runs of whole records, and where the first unfinished record begins.

    Records of one kind, or a frame and its data in turns, stand one behind the other many times;
    how often is seen at once. The end is -1 at a number the file does not explain.
    """
    if id_size == 1 and not any(group.variable for group in groups.values()):
        return _walk_fixed(data, groups)
    runs = array("q")
    total = len(data)
    at = 0
    while at < total:
        size = _size(data, at, id_size, groups)
        if size <= 0:
            return runs, (-1 if size in {-1, 0} else at)
        if at + size > total:
            return runs, at
        number = int.from_bytes(data[at : at + id_size], "little")
        head = id_size + (4 if groups[number].variable else 0)
        count = _same(data, at, size, [(at, head)])
        if count < 4:
            second = at + size
            size2 = _size(data, second, id_size, groups)
            if size2 > 0 and second + size2 <= total:
                other = int.from_bytes(data[second : second + id_size], "little")
                head2 = id_size + (4 if groups[other].variable else 0)
                turns = _same(data, at, size + size2, [(at, head), (second, head2)])
                if 2 * turns > count:
                    runs.extend((number, at, size + size2, turns))
                    runs.extend((other, second, size + size2, turns))
                    at += turns * (size + size2)
                    continue
        runs.extend((number, at, size, count))
        at += count * size
    return runs, at


def _walk_fixed(data: bytes, groups: dict[int, RecordGroup]) -> tuple[_Runs, int]:
    """Do the same where every record has a number of one byte and a fixed size."""
    sizes = [0] * 256
    for number, group in groups.items():
        if number < 256:
            sizes[number] = 1 + group.size + group.invalid_size
    letters = [bytes([n]) for n in range(256)]
    runs = array("q")
    total = len(data)
    at, window = 0, 64
    while at < total:
        number = data[at]
        size = sizes[number]
        if size == 0:
            return runs, -1
        seen = data[at : at + size * window : size]
        count = len(seen) - len(seen.lstrip(letters[number]))
        if at + count * size > total:
            count = (total - at) // size
            if count == 0:
                break
        window = min(4 * window, 65536) if count >= window else 64
        runs.extend((number, at, size, count))
        at += count * size
    return runs, at


def _same(data: bytes, at: int, period: int, heads: list[tuple[int, int]]) -> int:
    """Return how often in a row the headers of a turn stand again, *period* bytes apart."""
    most = (len(data) - at) // period
    done, window = 0, 64
    while done < most:
        width = min(window, most - done)
        here = width
        for start, length in heads:
            for place in range(start, start + length):
                first = place + done * period
                seen = data[first : first + period * (here - 1) + 1 : period]
                here = len(seen) - len(seen.lstrip(data[place : place + 1]))
                if not here:
                    return done
        done += here
        if here < width:
            break
        window = min(4 * window, 65536)
    return done


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


def _places(runs: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Return the start of every record of the runs, shape (n, 4)."""
    _, starts, periods, counts = runs.T
    within = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    places: npt.NDArray[np.int64] = np.repeat(starts, counts) + np.repeat(periods, counts) * within
    return places


def _sorted(data: bytes, runs: _Runs, group: DataGroup) -> list[Records]:
    padded = np.frombuffer(data + b"\xff" * 80, np.uint8)
    width = group.id_size
    every = np.frombuffer(runs, np.int64).reshape(-1, 4) if runs else np.zeros((0, 4), np.int64)
    found = []
    for record in group.groups:
        at = _places(every[every[:, 0] == record.number])
        if not at.size:
            continue
        start = at + width
        if record.variable:
            long = _words(padded, start) & np.uint64(0xFFFFFFFF)
            length = long.astype(np.int64)
            none = np.zeros((at.size, 0), np.uint8)
            payload, more = variable_data(padded, start + 4, length)
            found.append(Records(record, none, at, payload, length, more))
            continue
        size = record.size + record.invalid_size
        wide = np.empty((at.size, -(-size // 8)), np.uint64)
        for column in range(wide.shape[1]):
            wide[:, column] = _words(padded, start + 8 * column)
        found.append(Records(record, wide.view(np.uint8)[:, :size], at))
    return found


def variable_data(
    letters: Bytes2, start: npt.NDArray[np.int64], length: npt.NDArray[np.int64]
) -> tuple[Words64, Bytes2 | None]:
    """Return the first eight bytes, and bytes 9 to 64 where any is longer; 0xFF behind the end."""
    keep = np.minimum(length, 8).astype(np.uint64)
    shift = np.minimum(keep * np.uint64(8), np.uint64(63))
    beyond = np.where(keep >= 8, np.uint64(0), np.uint64(0xFFFFFFFFFFFFFFFF) << shift)
    payload = _words(letters, start) | beyond
    if not length.size or length.max() <= 8:
        return payload, None
    last = letters.size - 8
    wide = np.stack([_words(letters, np.minimum(start + 8 * n, last)) for n in range(1, 8)], axis=1)
    more = wide.astype("<u8").view(np.uint8)
    more[np.arange(8, 64) >= length[:, None]] = 0xFF
    return payload, more


def _words(letters: npt.NDArray[np.uint8], at: npt.NDArray[np.int64]) -> Words64:
    words = np.ndarray((letters.size - 7,), np.dtype("<u8"), letters.data, 0, (1,))
    return words[at]
