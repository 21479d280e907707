"""ASC text logs."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.logs.lines import MAX_LINE, NO_FRAME, LineReader, Shape
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings

_HEADER = re.compile(rb"(?im)^\s*base\s+(hex|dec)\s+timestamps\s+(absolute|relative)")
_FRAME = re.compile(
    rb"\s*(?P<whole>\d{1,12})[.,](?P<part>\d{1,9})\s+(?P<bus>\d{1,3})\s+"
    rb"(?P<id>[0-9A-Fa-f]{1,8})(?P<x>x?)\s+(?:Rx|Tx|TxRq)\s+(?P<kind>[dr])\b\s*"
    rb"(?P<count>[0-9A-Fa-f](?=\s|$))?(?P<data>(?:\s+[0-9A-Fa-f]{2}(?=\s|$)){0,8})(?P<tail>\s+.*)?"
)
_LONG = re.compile(
    rb"\s*(?P<whole>\d{1,12})\.(?P<part>\d{1,9})\s+CANFD\s+(?P<bus>\d{1,3})\s+(?:Rx|Tx|TxRq)\s+"
    rb"(?P<id>[0-9A-Fa-f]{1,8})(?P<x>x?)\s+(?P<name>\S*\D\S*\s+)?(?P<switches>[01]\s+[01])\s+"
    rb"[0-9A-Fa-f]\s+(?P<count>\d{1,2})(?P<data>(?:\s+[0-9A-Fa-f]{2}(?=\s|$)){0,64})(?P<tail>\s+.*)?"
)
_DECIMAL = re.compile(
    rb"\s*(\d{1,12}[.,]\d{1,9})\s+(\d{1,3})\s+(\d{1,10})(x?)\s+(?:Rx|Tx|TxRq)\s+d\s+(\d)"
    rb"((?:\s+\d{1,3}(?=\s|$)){0,8}).*"
)
_OTHER = re.compile(
    rb"(?is)\s*(?:date\b.*|base\b.*|internal events.*|no internal.*|//.*|(?:begin|end) ?trigger.*|"
    rb"\d+\.\d+\s+(?:start of measurement|statistic:.*|\d+\s+(?:statistic:|.*errorframe).*|"
    rb"canfd.*|\S+\s+.*|.*errorframe.*))"
)
_MEANT = re.compile(rb"\s*\d+[.,]\d+\s+\d{1,3}\s+\S+\s+(?:Rx|Tx|TxRq)\s+[dr]\b")
_STAMP = re.compile(rb"\s*(?P<whole>\d{1,8})[.,](?P<part>\d{1,9})(?=\s|$)")
_PAIR = re.compile(rb"[0-9A-Fa-f]{2}(?=\s|$)")


def recognises(head: bytes) -> bool:
    """Say whether it is an ASC log: it says the base of its numbers, or most lines are frames."""
    if b"\0" in head[:512]:
        return False
    if _HEADER.search(head[:8192]) is not None:
        return True
    lines = [line for line in head[:8192].splitlines()[:40] if line.strip()]
    good = sum(_FRAME.fullmatch(line) is not None for line in lines)
    return good > 0 and good >= 0.5 * len(lines)


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read an ASC log."""
    header = _HEADER.search(source.head[:8192])
    relative = header is not None and header[2].lower() == b"relative"
    log = BusLog(source, settings, "ASC")
    if header is not None and header[1].lower() == b"dec":
        for frames in _decimal(source, relative=relative):
            log.add(frames)
        return log.recording()
    reader = LineReader(_timed if relative else _shape, source.trouble)
    for frames in reader.read(source.text()):
        if relative:
            counted = log.counted_on(frames)
            log.add(counted.where(counted.length != NO_FRAME))
        else:
            log.add(frames)
    log.lines_read(reader)
    return log.recording()


def _timed(line: bytes) -> Shape | str | None:
    """Read a line of a log whose stamps are steps: the time of every line counts."""
    found = _shape(line)
    if isinstance(found, Shape):
        return found
    stamp = _STAMP.match(line)
    if stamp is None or len(line) > MAX_LINE:
        return found
    kind = found if found is not None and found != "comment" else "comment"
    if found is None:
        kind = "damaged line"
    behind = stamp.end("part")
    return Shape(
        length=len(line),
        whole=stamp.span("whole"),
        part=stamp.span("part"),
        base=0,
        identifier=stamp.span("whole"),
        extended=False,
        data=(),
        bus=0,
        loose=((behind, len(line)),) if behind < len(line) else (),
        kind=kind,
    )


def _shape(line: bytes) -> Shape | str | None:
    match = _FRAME.fullmatch(line)
    if match is None:
        if b"ErrorFrame" in line:
            return "error frame"
        if b"CANFD" in line[:40] and (match := _LONG.fullmatch(line)) is not None:
            return _long_shape(match)
        if _MEANT.match(line):
            return None  # it was meant to be a frame
        return "comment" if _OTHER.fullmatch(line) or not line.strip() else None
    start = match.start("data")
    places = tuple(start + m.start() for m in _PAIR.finditer(match["data"]))
    remote = match["kind"] == b"r"
    if not remote and (match["count"] is None or int(match["count"], 16) != len(places)):
        return None
    if int(match["id"], 16) >= (2**29 if match["x"] else 2**11):
        return None
    loose = [match.span("tail")] if match["tail"] else []
    return Shape(
        length=len(line),
        whole=match.span("whole"),
        part=match.span("part"),
        base=0,
        identifier=match.span("id"),
        extended=bool(match["x"]),
        data=() if remote else places,
        bus=min(int(match["bus"]), 255),
        loose=tuple(loose) if not remote else (*loose, *([match.span("data")] * bool(places))),
        remote=remote,
    )


def _long_shape(match: re.Match[bytes]) -> Shape | None:
    """Return the shape of a line of the newer kind, which may hold up to 64 bytes."""
    count = int(match["count"])
    start = match.start("data")
    # Numbers behind the data look like data bytes; the count says where they begin.
    places = tuple(start + m.start() for m in _PAIR.finditer(match["data"]))[:count]
    if len(places) != count or int(match["id"], 16) >= (2**29 if match["x"] else 2**11):
        return None
    behind = places[-1] + 2 if places else start
    loose = [match.span("switches"), (behind, len(match.string))]
    if match["name"]:
        loose.append(match.span("name"))
    return Shape(
        length=len(match.string),
        whole=match.span("whole"),
        part=match.span("part"),
        base=0,
        identifier=match.span("id"),
        extended=bool(match["x"]),
        data=places,
        bus=min(int(match["bus"]), 255),
        loose=tuple(loose),
        remote=count == 0,
    )


def _decimal(source: FileSource, *, relative: bool) -> Iterator[Frames]:
    """Read the rare logs whose identifiers and data are decimal, line by line."""
    before = 0.0
    for block in source.lines():
        found = []
        for line in block.splitlines():
            match = _DECIMAL.fullmatch(line)
            stamp = _STAMP.match(line) if relative else None
            if stamp is not None:
                before += float(stamp["whole"] + b"." + stamp["part"])
            if match is None:
                continue
            data = [int(b) for b in match[6].split()]
            if len(data) != int(match[5]) or any(b > 255 for b in data) or int(match[3]) >= 2**29:
                continue
            word = int.from_bytes(bytes(data + [255] * (8 - len(data))), "little")
            time = before if relative else float(match[1].replace(b",", b"."))
            found.append((time, int(match[3]), bool(match[4]), len(data), word,
                          min(int(match[2]), 255)))  # fmt: skip
        if found:
            times, identifier, extended, length, data_words, bus = zip(*found, strict=True)
            yield Frames(
                np.array(times, np.float64),
                np.array(identifier, np.uint32),
                np.array(extended, np.bool_),
                np.array(length, np.uint8),
                np.array(data_words, np.uint64),
                np.array(bus, np.uint8),
            )


READER = Reader("ASC text", recognises, read)
