"""MF4: bus logs and already decoded channels in MDF 4 files, by our own reader."""

from __future__ import annotations

import mmap
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats, Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.mdf.mdf_blocks import ChannelBlock, DataGroup, Mdf, RecordGroup
from witnessmark.readers.mdf.mdf_channels import decoded_channels
from witnessmark.readers.mdf.mdf_records import Records, raw_field, records, variable_data
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings, Words64, joined

_FRAME = "CAN_DataFrame"


def recognises(head: bytes) -> bool:
    """Say whether it is an MDF file (finished or not)."""
    return head[:8] in {b"MDF     ", b"UnFinMF "}


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read the bus log of the file, or its decoded channels where it holds no frames."""
    with (
        source.seekable() as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped,
        memoryview(mapped) as content,
    ):
        mdf = Mdf(content, source.trouble)
        groups = mdf.data_groups()
        log = BusLog(source, settings, "MF4 bus log")
        log.facts["finished_by_recorder"] = bytes(content[:8]) == b"MDF     "
        lanes = [g for g in groups if any(_is_frames(r) for r in g.groups)]
        for frames in _side_by_side([_frames(mdf, lane) for lane in lanes]):
            log.add(frames)
        if not log.frames:
            decoded = decoded_channels(mdf, [g for g in groups if g not in lanes], source)
            if decoded is not None:
                return decoded
        log.started(mdf.started_ns * 1e-9)
        return log.recording()


def _is_frames(group: RecordGroup) -> bool:
    return any(c.name == _FRAME or c.name.startswith(_FRAME + ".") for c in group.channels)


def _merged(pieces: list[Frames]) -> Frames:
    if not pieces:
        return _nothing()
    whole = joined(pieces)
    return whole.where(np.argsort(whole.time_s, kind="stable"))


def _side_by_side(lanes: list[Iterator[Frames]]) -> Iterator[Frames]:
    """Yield the frames of several data groups in order of time, a piece of each in memory."""
    if len(lanes) == 1:
        yield from lanes[0]
        return
    held: dict[int, Frames] = {}
    open_ = dict(enumerate(lanes))
    while open_ or held:
        for number in [n for n in open_ if n not in held]:
            piece = next((p for p in open_[number] if len(p)), None)
            if piece is None:
                del open_[number]
            else:
                held[number] = piece
        ends = [float(held[n].time_s.max()) for n in open_]
        until = min((e for e in ends if not np.isnan(e)), default=np.inf)
        ready, rest = [], {}
        for number, piece in held.items():
            late = piece.time_s > until
            ready.append(piece.where(~late) if late.any() else piece)
            if late.any():
                rest[number] = piece.where(late)
        held = rest
        if ready:
            yield _merged(ready)


def _nothing() -> Frames:
    return Frames(
        np.zeros(0),
        np.zeros(0, np.uint32),
        np.zeros(0, np.bool_),
        np.zeros(0, np.uint8),
        np.zeros(0, np.uint64),
        np.zeros(0, np.uint8),
    )


@dataclass(slots=True)
class _Variable:
    """Data of variable length: what came so far and was not yet asked for."""

    next_offset: int = 0
    offsets: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    payload: Words64 = field(default_factory=lambda: np.zeros(0, np.uint64))
    length: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    more: npt.NDArray[np.uint8] | None = None

    def add(self, found: Records) -> None:
        sizes = found.length + 4
        offsets = self.next_offset + np.cumsum(sizes) - sizes
        self.next_offset += int(sizes.sum())
        if found.more is not None or self.more is not None:
            self.more = np.concatenate(
                [_or_nothing(self.more, self.length.size), _or_nothing(found.more, sizes.size)]
            )
        self.offsets = np.concatenate([self.offsets, offsets])
        self.payload = np.concatenate([self.payload, found.payload])
        self.length = np.concatenate([self.length, found.length])

    def at(self, wanted: npt.NDArray[np.int64]) -> Records | None:
        """Return the data, ``place`` saying whether they were there; forgets what is before."""
        if not self.offsets.size:
            return None
        place = np.minimum(np.searchsorted(self.offsets, wanted), self.offsets.size - 1)
        there = self.offsets[place] == wanted
        more = None if self.more is None else self.more[place]
        found = Records(
            _NO_GROUP, _or_nothing(None, 0), there.astype(np.int64), self.payload[place],
            self.length[place], more,
        )  # fmt: skip
        if wanted.size and there.all():
            keep = int(place.max()) + 1
            self.offsets, self.payload = self.offsets[keep:], self.payload[keep:]
            self.length = self.length[keep:]
            self.more = None if self.more is None else self.more[keep:]
        return found


_NO_GROUP = RecordGroup(0, 0, 0, 0, 0, "")


def _or_nothing(more: npt.NDArray[np.uint8] | None, count: int) -> npt.NDArray[np.uint8]:
    return np.full((count, 56), 0xFF, np.uint8) if more is None else more


def _frames(mdf: Mdf, group: DataGroup) -> Iterator[Frames]:
    """Yield the frames of a data group in the order of the file."""
    variable: dict[int, _Variable] = {}
    waiting: dict[int, Records] = {}
    by_link = {g.link: g.number for g in group.groups if g.variable}
    for found in records(mdf, group):
        for one in found:
            if one.group.variable:
                variable.setdefault(one.group.number, _Variable()).add(one)
        ready: list[tuple[Frames, npt.NDArray[np.int64]]] = []
        for one in found:
            if one.group.variable or not _is_frames(one.group):
                continue
            before = waiting.pop(one.group.number, None)
            rows = one.rows if before is None else np.concatenate([before.rows, one.rows])
            place = one.place if before is None else np.concatenate([before.place - 1, one.place])
            frames, late = _decoded(mdf, one.group, rows, variable, by_link)
            if late.any():
                # The data of the last record may stand in the next piece.
                waiting[one.group.number] = Records(one.group, rows[late], place[late] * 0 - 1)
                frames, place = frames.where(~late), place[~late]
            ready.append((frames, place))
        if len(ready) == 1:
            yield ready[0][0]
        elif ready:
            # Buses are written in turns; between them the time stamp is the order.
            yield _merged([f for f, _ in ready])
    lost = sum(r.rows.shape[0] for r in waiting.values())
    if lost:
        mdf.trouble.add("lost data", f"{lost:,} frames have lost their data; they are left out.")


def _decoded(
    mdf: Mdf,
    group: RecordGroup,
    rows: npt.NDArray[np.uint8],
    variable: dict[int, _Variable],
    by_link: dict[int, int],
) -> tuple[Frames, npt.NDArray[np.bool_]]:
    fields = {c.name.rsplit(".", 1)[-1]: c for c in group.channels}
    master = next((c for c in group.channels if c.kind in {2, 3}), None)
    n = rows.shape[0]
    time = np.full(n, np.nan) if master is None else _linear(raw_field(rows, master), master)
    identifier = _number(rows, fields.get("ID"), 0).astype(np.uint32)
    ide = fields.get("IDE")
    if ide is not None:
        extended = _number(rows, ide, 0) != 0
    else:
        extended = (identifier > 0x7FF) | ((identifier & np.uint32(0x80000000)) != 0)
        identifier = identifier & np.uint32(0x1FFFFFFF)
    length = _number(rows, fields.get("DataLength"), 255).astype(np.int64)
    if "DataLength" not in fields or (length == 255).all():
        length = _number(rows, fields.get("DLC"), 8).astype(np.int64)
    bus = _number(rows, fields.get("BusChannel"), 0).astype(np.uint8)
    late = np.zeros(n, np.bool_)
    data = np.full(n, 0xFFFFFFFFFFFFFFFF, np.uint64)
    more: npt.NDArray[np.uint8] | None = None
    carrier = fields.get("DataBytes")
    if carrier is not None and carrier.kind == 1:
        number = by_link.get(carrier.data_link)
        offsets = raw_field(rows, carrier).astype(np.int64)
        store = variable.get(number) if number is not None else None
        if number is None and carrier.data_link not in variable:
            store = variable[carrier.data_link] = _own_data(mdf, carrier.data_link)
        elif number is None:
            store = variable[carrier.data_link]
        stored = store.at(offsets) if store is not None else None
        if stored is not None:
            data, more = stored.payload, stored.more
            length = np.minimum(length, stored.length)
            late = stored.place == 0
        else:
            late = np.ones(n, np.bool_)
    elif carrier is not None:
        data, more = _payload(rows, carrier, length)
    length = np.clip(length, 0, 64)
    long = length > 8
    if not long.any():
        more = None
    elif more is None:
        length, long = np.minimum(length, 8), np.zeros(n, np.bool_)
    return (
        Frames(
            time,
            identifier,
            extended,
            length.astype(np.uint8),
            data,
            bus,
            None if more is None else more[long],
        ),
        late,
    )


def _own_data(mdf: Mdf, link: int) -> _Variable:
    """Read signal data that stand in a block of their own."""
    whole = b"".join(bytes(piece) for piece in mdf.data(link))
    letters = np.frombuffer(whole + b"\xff" * 80, np.uint8)
    starts, at = [], 0
    while at + 4 <= len(whole):
        starts.append(at)
        at += 4 + int.from_bytes(whole[at : at + 4], "little")
    places = np.array(starts, np.int64)
    words = np.ndarray((letters.size - 7,), np.dtype("<u8"), letters.data, 0, (1,))
    length = (words[places] & np.uint64(0xFFFFFFFF)).astype(np.int64)
    data, more = variable_data(letters, np.minimum(places + 4, letters.size - 80), length)
    return _Variable(at, places, data, length, more)


def _payload(
    rows: npt.NDArray[np.uint8], carrier: ChannelBlock, length: npt.NDArray[np.int64]
) -> tuple[Words64, npt.NDArray[np.uint8] | None]:
    start, size = carrier.byte_offset, rows.shape[1]
    wide = np.full((rows.shape[0], 8), 0xFF, np.uint8)
    count = max(min(8, carrier.bits // 8, size - start), 0)
    wide[:, :count] = rows[:, start : start + count]
    more = None
    behind = min(64, carrier.bits // 8, size - start) - 8
    if behind > 0 and length.size and length.max() > 8:
        more = np.full((rows.shape[0], 56), 0xFF, np.uint8)
        more[:, :behind] = rows[:, start + 8 : start + 8 + behind]
        more[np.arange(8, 64) >= length[:, None]] = 0xFF
    return _padded(wide.view("<u8").reshape(-1), length), more


def _padded(words: Words64, length: npt.NDArray[np.int64]) -> Words64:
    keep = np.clip(length, 0, 8).astype(np.uint64)
    if (keep == 8).all():
        return words
    every = np.uint64(0xFFFFFFFFFFFFFFFF)
    shift = np.minimum(keep * np.uint64(8), np.uint64(63))
    beyond = np.where(keep >= 8, np.uint64(0), every << shift)
    return words | beyond


def _number(
    rows: npt.NDArray[np.uint8], channel: ChannelBlock | None, missing: int
) -> npt.NDArray[np.int64]:
    if channel is None:
        return np.full(rows.shape[0], missing, np.int64)
    if channel.kind in {3, 6}:  # virtual: the value is the row's number, converted
        raw = np.zeros(rows.shape[0], np.uint64)
        return _linear(raw, channel).astype(np.int64)
    return raw_field(rows, channel).astype(np.int64)


def _linear(raw: Words64, channel: ChannelBlock) -> Floats:
    value = raw.astype(np.float64)
    if channel.data_type in {4, 5}:
        value = (
            raw.view(np.float64)
            if channel.bits == 64
            else raw.astype(np.uint32).view(np.float32).astype(np.float64)
        )
    conversion = channel.conversion
    if conversion is not None and conversion.kind == 1 and len(conversion.numbers) >= 2:
        return value * conversion.numbers[1] + conversion.numbers[0]
    return value


READER = Reader("MF4", recognises, read)
