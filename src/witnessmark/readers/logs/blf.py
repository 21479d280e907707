"""BLF: binary logs of objects in packed containers, by our own reader.

Layout from the open descriptions used by several open-source readers; tests compare with one.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings, Words64, joined

_CONTAINER, _MESSAGE, _MESSAGE2, _FD, _FD64 = 10, 1, 86, 100, 101
_ERRORS = {2, 73}
#: A container unpacks to at most this.
_MOST_BYTES = 64 * 2**20


def recognises(head: bytes) -> bool:
    """Say whether it is a BLF file."""
    return head[:4] == b"LOGG"


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read a BLF file."""
    log = BusLog(source, settings, "BLF")
    rest = b""
    for content in _containers(source):
        data = rest + content
        frames, end = _frames(data, source, log)
        rest = data[end:]
        if frames is not None:
            log.add(frames)
    start = _start(source.head)
    if start is not None:
        log.started(start)
    return log.recording()


def _containers(source: FileSource) -> Iterator[bytes]:
    """Yield the unpacked content of every container."""
    with source.seekable() as file:
        head = file.read(144)
        if len(head) < 16:
            raise RecordingRefused(
                "The log is cut off within its header.", where=source.name, do="Copy it again."
            )
        size = struct.unpack_from("<I", head, 4)[0]
        file.seek(max(size, 16))
        while True:
            base = file.read(16)
            if len(base) < 16:
                if base.strip(b"\0"):
                    _cut(source)
                return
            mark, _, _, object_size, kind = struct.unpack("<4sHHII", base)
            if mark != b"LOBJ" or object_size < 16 or object_size > 2 * _MOST_BYTES:
                _cut(source)
                return
            body = file.read(object_size - 16)
            file.seek(object_size % 4, 1)
            if len(body) < object_size - 16:
                _cut(source)
            if kind != _CONTAINER:
                yield base + body + b"\0" * (object_size % 4)
                continue
            if len(body) < 16:
                return
            method, unpacked = struct.unpack_from("<H6xI", body)
            if unpacked > _MOST_BYTES:
                raise RecordingRefused(
                    f"A container of the log would unpack to {unpacked:,} bytes.",
                    where=source.name,
                    do="The file is damaged or not what it seems.",
                )
            if method == 0:
                yield body[16:]
            else:
                engine = zlib.decompressobj()
                try:
                    yield engine.decompress(body[16:], _MOST_BYTES)
                except zlib.error:
                    _cut(source)


def _frames(data: bytes, source: FileSource, log: BusLog) -> tuple[Frames | None, int]:
    """Read the objects of a stretch; return the frames and where an unfinished one begins."""
    starts: dict[int, list[int]] = {}
    at = 0
    total = len(data)
    unpack = struct.Struct("<4sHHII").unpack_from
    while at + 16 <= total:
        mark, _, _, size, kind = unpack(data, at)
        if mark != b"LOBJ" or size < 16:
            found = data.find(b"LOBJ", at + 1)
            if found < 0:
                if at + 16 < total - 3:
                    _cut(source)
                at = max(at, total - 3)
                break
            if data[at:found].strip(b"\0"):
                _cut(source)
            at = found
            continue
        if at + size > total:
            if size > _MOST_BYTES:
                _cut(source)
                at += 16
                continue
            break
        starts.setdefault(kind, []).append(at)
        at += size + (0 if kind == _FD64 else size % 4)
    errors = sum(len(starts.get(kind, ())) for kind in _ERRORS)
    if errors:
        log.facts["error_frames"] = int(str(log.facts.get("error_frames", 0))) + errors
    pieces = [
        _messages(data, np.array(starts[kind], np.int64), kind, log)
        for kind in (_MESSAGE, _MESSAGE2, _FD, _FD64)
        if kind in starts
    ]
    return _in_order(pieces), min(at, total)


def _messages(
    data: bytes, at: npt.NDArray[np.int64], kind: int, log: BusLog
) -> tuple[Frames, npt.NDArray[np.int64]]:
    padded = data + b"\xff" * 128
    header = _u16(padded, at + 4).astype(np.int64)
    flags, stamp = _u32(padded, at + 16), _u64(padded, at + 24)
    scale = np.where(flags == 1, 1e-5, 1e-9)
    body = np.minimum(at + header, len(data))
    if kind in {_MESSAGE, _MESSAGE2}:
        bus, bits, length = _u16(padded, body), _u8(padded, body + 2), _u8(padded, body + 3)
        length = np.minimum(length, 8)  # the codes from 9 on mean eight bytes here
        identifier, words = _u32(padded, body + 4), _u64(padded, body + 8)
        remote = (bits & 0x80) != 0
    elif kind == _FD:
        bus, bits = _u16(padded, body), _u8(padded, body + 2)
        identifier, length = _u32(padded, body + 4), _u8(padded, body + 14)
        words = _u64(padded, body + 20)
        remote = (bits & 0x80) != 0
    else:
        bus, length = _u8(padded, body).astype(np.uint16), _u8(padded, body + 2)
        identifier, words = _u32(padded, body + 4), _u64(padded, body + 40)
        remote = (_u32(padded, body + 12) & 0x10) != 0
    length = np.where(remote, 0, np.minimum(length, 64)).astype(np.uint8)
    long = np.flatnonzero(length > 8)
    more = None
    if long.size:
        first = body[long] + {_FD: 28, _FD64: 48}.get(kind, 16)
        wide = np.stack([_u64(padded, first + 8 * n) for n in range(7)], axis=1)
        more = wide.astype("<u8").view(np.uint8)
        more[np.arange(8, 64) >= length[long, None]] = 0xFF
    shift = np.minimum(length.astype(np.uint64) * np.uint64(8), np.uint64(63))
    beyond = np.where(length >= 8, np.uint64(0), np.uint64(2**64 - 1) << shift)
    frames = Frames(
        stamp.astype(np.float64) * scale,
        (identifier & np.uint32(0x1FFFFFFF)).astype(np.uint32),
        (identifier & np.uint32(0x80000000)) != 0,
        length,
        words | beyond,
        np.minimum(bus, 255).astype(np.uint8),
        more,
    )
    if remote.any():
        before = int(str(log.facts.get("remote_frames", 0)))
        log.facts["remote_frames"] = before + int(remote.sum())
    return frames, at


def _in_order(pieces: list[tuple[Frames, npt.NDArray[np.int64]]]) -> Frames | None:
    if not pieces:
        return None
    if len(pieces) == 1:
        return pieces[0][0]
    order = np.argsort(np.concatenate([at for _, at in pieces]), kind="stable")
    return joined([frames for frames, _ in pieces]).where(order)


def _u8(data: bytes, at: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
    return np.frombuffer(data, np.uint8)[at]


def _u16(data: bytes, at: npt.NDArray[np.int64]) -> npt.NDArray[np.uint16]:
    return np.ndarray((len(data) - 1,), np.dtype("<u2"), data, 0, (1,))[at]


def _u32(data: bytes, at: npt.NDArray[np.int64]) -> npt.NDArray[np.uint32]:
    return np.ndarray((len(data) - 3,), np.dtype("<u4"), data, 0, (1,))[at]


def _u64(data: bytes, at: npt.NDArray[np.int64]) -> Words64:
    return np.ndarray((len(data) - 7,), np.dtype("<u8"), data, 0, (1,))[at]


def _start(head: bytes) -> float | None:
    """Return the start of the recording, which the header gives as a date and time."""
    try:
        year, month, _, day, hour, minute, second, milli = struct.unpack_from("<8H", head, 40)
        when = datetime(year, month, day, hour, minute, second, milli * 1000, tzinfo=UTC)
    except (struct.error, ValueError):
        return None
    return when.timestamp()


def _cut(source: FileSource) -> None:
    if not source.trouble.count("cut"):
        source.trouble.add(
            "cut",
            "The log is cut off or damaged; what can be read is used.",
            do="Copy it from the recorder again.",
        )


READER = Reader("BLF", recognises, read)
