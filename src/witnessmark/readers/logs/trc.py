"""TRC text logs, versions 1.0 to 2.1."""

from __future__ import annotations

import re

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.logs.lines import LONG_LENGTHS, LineReader, Shape
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import ReaderSettings

_FRAME = re.compile(
    rb"\s*(?:(?P<number>\d{1,10})\)?\s+)?(?P<whole>\d{1,12})(?:\.(?P<part>\d{1,6}))?\s+"
    rb"(?:(?P<type>DT|RR|FD|FB|FE|BI)\s+)?(?:(?P<bus>\d{1,2})\s+)?(?:(?:Rx|Tx)\s+)?"
    rb"(?P<id>[0-9A-Fa-f]{3,8})\s+(?:(?:Rx|Tx)\s+)?(?:-\s+)?(?P<count>\d{1,2})"
    rb"(?:\s+(?P<remote>RTR)|(?P<data>(?:\s+[0-9A-Fa-f]{2}(?=\s|$)){0,64}))\s*"
)
_OTHER = re.compile(rb"\s*(?:;.*|\d+\)?\s+[\d.]+\s+(?:\d\s+)?(?:ST|EC|ER|EV|Warng|Error)\b.*)")
_ERROR = re.compile(rb"\s*\d+\)?\s+[\d.]+\s+(?:\d\s+)?(?:ER|Error)\b")
_START = re.compile(rb";\$STARTTIME=(\d+(?:\.\d+)?)")
_PAIR = re.compile(rb"[0-9A-Fa-f]{2}(?=\s|$)")
#: Days from the epoch of spreadsheets to 1970.
_SHEET_DAYS = 25569.0


def recognises(head: bytes) -> bool:
    """Say whether it is a TRC log: comments with semicolons, then numbered frames."""
    if b"\0" in head[:512]:
        return False
    lines = [line for line in head[:16384].splitlines()[:80] if line.strip()]
    body = [line for line in lines if not line.lstrip().startswith(b";")][:20]
    if len(lines) == len(body) and not any(b")" in line[:12] for line in body):
        return False
    if len(body) > 1 and len(head) > 16000:
        body = body[:-1]
    good = sum(_shape(line) not in {None, "comment"} for line in body)
    return good > 0 and good >= 0.5 * len(body)


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read a TRC log."""
    log = BusLog(source, settings, "TRC")
    reader = LineReader(_shape, source.trouble, scale=1e-3)
    for frames in reader.read(source.text()):
        log.add(frames)
    log.lines_read(reader)
    start = _START.search(source.head[:4096])
    if start is not None:
        log.started((float(start[1]) - _SHEET_DAYS) * 86400.0)
    return log.recording()


def _shape(line: bytes) -> Shape | str | None:
    match = _FRAME.fullmatch(line)
    if match is None:
        if _ERROR.match(line):
            return "error frame"
        return "comment" if _OTHER.fullmatch(line) or not line.strip() else None
    start = match.start("data")
    places = tuple(start + m.start() for m in _PAIR.finditer(match["data"] or b""))
    remote = match["remote"] is not None or match["type"] == b"RR"
    if not remote and len(places) not in _lengths(int(match["count"])):
        return None
    extended = match.end("id") - match.start("id") > 4
    if int(match["id"], 16) >= (2**29 if extended else 2**11):
        return None
    if match["number"] is None and match["type"] is None:
        return None
    loose = [match.span("number")] if match["number"] is not None else []
    return Shape(
        length=len(line),
        whole=match.span("whole"),
        part=match.span("part") if match["part"] else None,
        base=0,
        identifier=match.span("id"),
        extended=extended,
        data=() if remote else places,
        bus=int(match["bus"] or 0),
        loose=tuple(loose),
        remote=remote,
    )


def _lengths(count: int) -> tuple[int, ...]:
    """Return the numbers of data bytes that stand behind a count, which may be a code."""
    if count <= 8:
        return (count,)
    if count <= 15:
        return (LONG_LENGTHS[count - 9], count) if count in LONG_LENGTHS else (
            LONG_LENGTHS[count - 9],
        )  # fmt: skip
    return (count,) if count in LONG_LENGTHS else ()


READER = Reader("TRC text", recognises, read)
