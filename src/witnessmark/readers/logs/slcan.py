"""Text as serial adapters send it: ``T0CF004008F07D7D...`` with or without a stamp.

A letter (t, r for 11 bits, T, R for 29; r and R are requests), the identifier, the number of data
bytes, the data, and where the adapter is told to, four digits of milliseconds that begin anew
every minute. Recorders write their own stamp in front.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings

_FRAME = re.compile(
    rb"[(\[]?(?P<time>\d{1,12}\.\d{1,9})?[)\]]?[ \t,;]*"
    rb"(?:(?P<short>[tr])(?P<id3>[0-7][0-9A-Fa-f]{2})|(?P<long>[TR])(?P<id8>[01][0-9A-Fa-f]{7}))"
    rb"(?P<count>[0-8])(?P<rest>[0-9A-Fa-f]*)"
)
#: What adapters send besides frames: acknowledgements, versions, status.
_OTHER = re.compile(rb"[zZ]?|[VvNFSsOCL]\w{0,16}|\x07")
_MINUTE_MS = 60_000


def recognises(head: bytes) -> bool:
    """Say whether most of the first lines are frames of a serial adapter."""
    lines = [line.strip() for line in re.split(rb"[\r\n]+", head[:8192]) if line.strip()][:40]
    if len(lines) > 1 and len(head) >= 8192:
        lines = lines[:-1]
    good = sum(_taken(line) is not None for line in lines)
    return good >= 3 and good >= 0.6 * len(lines)


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read the text line by line."""
    log = BusLog(source, settings, "adapter text")
    bad = [0]
    for frames in _frames(source, bad):
        log.add(frames)
    log.damaged(bad[0])
    return log.recording()


Row = tuple[float, int, bool, int, int]


def _taken(line: bytes) -> tuple[Row, int | None] | None:
    """Return time, identifier, 29 bits, length and data of a line, and its short stamp [ms]."""
    match = _FRAME.fullmatch(line)
    if match is None:
        return None
    count, rest = int(match["count"]), match["rest"]
    remote = (match["short"] or match["long"]) in {b"r", b"R"}
    digits = 0 if remote else 2 * count
    if len(rest) not in {digits, digits + 4}:
        return None
    word = int.from_bytes(bytes.fromhex(rest[:digits].decode()).ljust(8, b"\xff"), "little")
    stamp = int(rest[digits:], 16) if len(rest) > digits else None
    time = float(match["time"]) if match["time"] else np.nan
    identifier = int(match["id3"] or match["id8"], 16)
    return (time, identifier, match["id8"] is not None, 0 if remote else count, word), stamp


def _frames(source: FileSource, bad: list[int]) -> Iterator[Frames]:
    turns, before = 0, 0
    for block in source.lines():
        rows: list[Row] = []
        for line in re.split(rb"[\r\n]+", block):
            bare = line.strip()
            found = _taken(bare)
            if found is None:
                bad[0] += bool(bare) and _OTHER.fullmatch(bare) is None
                continue
            row, stamp = found
            if np.isnan(row[0]) and stamp is not None:
                turns += stamp < before
                before = stamp
                row = ((turns * _MINUTE_MS + stamp) / 1000.0, *row[1:])
            rows.append(row)
        if rows:
            yield frames_of(rows)


def frames_of(rows: list[Row]) -> Frames:
    """Return rows of time, identifier, 29 bits, length and data word as frames."""
    time, identifier, extended, length, words = zip(*rows, strict=True)
    return Frames(
        np.array(time, np.float64),
        np.array(identifier, np.uint32),
        np.array(extended, np.bool_),
        np.array(length, np.uint8),
        np.array(words, np.uint64),
        np.zeros(len(rows), np.uint8),
    )


READER = Reader("adapter text", recognises, read)
