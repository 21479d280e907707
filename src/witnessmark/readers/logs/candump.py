"""candump text in its dialects.

Log form ``(1557265716.818982) can0 0CFF0686#F22700F2FFFFFF5F``, screen form with and without
time stamps, interface, direction and flags ``can0  RX - -  0CFF0686   [8]  F2 27 ...``, and the
oldest form ``<0x0cf00400> [8] ff ff ...``.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime
from threading import Lock

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.logs.lines import LONG_LENGTHS, LineReader, Shape
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings

_TIME = (
    rb"[(\[]?(?:(?P<date>\d{4}-\d\d-\d\d \d\d:\d\d:)?(?P<whole>\d{1,12})\.(?P<part>\d{1,9}))[)\]]?"
)
_LOG = re.compile(
    rb" *(?:" + _TIME + rb" +)?(?:(?P<bus>[\w*-][\w.-]{0,15}) +)?"
    rb"(?P<id>[0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})#"
    rb"(?P<fd>#[0-9A-Fa-f])?(?P<remote>R\d?)?(?P<data>(?:[0-9A-Fa-f]{2}\.?){0,64})"
    rb"(?P<dlc>_[0-9A-F])?(?: +[TR])?[ \t]*"
)
_SCREEN = re.compile(
    rb" *(?:" + _TIME + rb" +)?(?:(?P<bus>[A-Za-z][\w.-]{0,15}) +)?(?:(?:RX|TX)(?: +[-BE]){0,2} +)?"
    rb"(?P<id>[0-9A-Fa-f]{8}|[0-9A-Fa-f]{3}) +[\[{](?P<count>\d{1,2})[\]}] *"
    rb"(?:(?P<remote>remote request)|(?P<data>(?: *[0-9A-Fa-f]{2}(?![0-9A-Fa-f]))*))"
    rb"(?P<tail> +(?:'[^\r\n]*'?|ERRORFRAME))?[ \t]*"
)
_OLD = re.compile(
    rb" *(?:(?P<bus>[A-Za-z][\w.-]{0,15}) +)?<(?:0x)?(?P<id>[0-9A-Fa-f]{1,8})> +"
    rb"\[(?P<count>\d)\] *(?P<data>(?:[0-9A-Fa-f]{2}(?: +|$))*)(?P<remote>remote request)?[ \t]*"
)
_PAIR = re.compile(rb"[0-9A-Fa-f]{2}")
_BANNER = re.compile(rb"interface *=.*|#.*|//.*")
_ERROR_BIT = 0x20000000


class Dialect:
    """Reads single lines; remembers the interfaces it met."""

    def __init__(self) -> None:
        self.interfaces: list[bytes] = []
        self._lock = Lock()

    def read(self, line: bytes) -> Shape | str | None:
        """Return the shape of one line (see :data:`witnessmark.readers.logs.lines.ReadLine`)."""
        for expression in (_LOG, _SCREEN, _OLD):
            match = expression.fullmatch(line)
            if match is not None:
                return self._shape(match, expression)
        return "comment" if _BANNER.fullmatch(line.strip()) else None

    def _shape(self, match: re.Match[bytes], expression: re.Pattern[bytes]) -> Shape | str | None:
        group = match.groupdict()
        identifier = int(group["id"], 16)
        if len(group["id"]) == 8 and identifier & _ERROR_BIT and expression is not _OLD:
            return "error frame"
        digits = match.span("id")
        extended = len(group["id"]) == 8 or (expression is _OLD and digits[1] - digits[0] > 3)
        start = match.start("data")
        places = tuple(start + m.start() for m in _PAIR.finditer(group["data"] or b""))
        if len(places) > 8 and len(places) not in LONG_LENGTHS:
            return None
        remote = bool(group.get("remote"))
        if not remote and group.get("count") and int(group["count"]) != len(places):
            return None
        if identifier >= 2**29 or (not extended and identifier >= 2**11):
            return None
        spans = [match.span("tail")] if group.get("tail") else []
        whole = match.span("whole") if group.get("whole") else None
        return Shape(
            length=len(match.string),
            whole=whole,
            part=match.span("part") if whole else None,
            base=_date(group.get("date")),
            identifier=digits,
            extended=extended,
            data=places,
            bus=self._bus(group.get("bus") or b""),
            loose=tuple(spans),
            remote=remote,
        )

    def name(self, number: int) -> str:
        """Return the name of an interface by its number."""
        found = self.interfaces[number] if number < len(self.interfaces) else b""
        return found.decode("latin-1") or "without a name"

    def _bus(self, name: bytes) -> int:
        with self._lock:  # lines are read by two threads
            if name not in self.interfaces:
                if len(self.interfaces) >= 255:
                    return 255
                self.interfaces.append(name)
            return self.interfaces.index(name)


def recognises(head: bytes) -> bool:
    """Say whether the text is candump output: most of its first lines are frames."""
    lines = [line for line in head[:8192].splitlines()[:41] if line.strip()]
    if len(lines) > 1 and len(head) >= 8192:
        lines = lines[:-1]
    dialect = Dialect()
    good = sum(dialect.read(line) not in {None, "comment"} for line in lines)
    return good > 0 and good >= 0.5 * len(lines)


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read a candump log."""
    dialect = Dialect()
    reader = LineReader(dialect.read, source.trouble)
    log = BusLog(source, settings, "candump", dialect.name)
    running = False
    for number, frames in enumerate(reader.read(source.text())):
        if number == 0 and _are_steps(frames):
            running = True
            source.trouble.add(
                "steps",
                "The time stamps are steps from frame to frame; they are added up.",
                do="Frames that were filtered out before are missing from the time.",
            )
        log.add(log.counted_on(frames) if running else frames)
    log.lines_read(reader)
    if reader.origin:
        log.started(float(reader.origin))
    return log.recording()


def _are_steps(frames: Frames) -> bool:
    """Say whether the stamps are steps (candump -t d): small, and as often falling as rising."""
    time = frames.time_s[:2000]
    if time.size < 20 or np.isnan(time[0]):
        return False
    steps = np.diff(time)
    if float(np.median(time)) >= 2.0 or float(time.min()) < 0.0:
        return False
    if np.count_nonzero(steps < 0) > 0.2 * time.size:
        return True
    # Steps that hardly differ neither rise nor fall in the long run; times of day rise.
    rising = np.count_nonzero(steps > 0)
    return bool(rising < 0.3 * steps.size and time[-1] <= 3.0 * np.median(time) and time[-1] > 0.0)


def _date(text: bytes | None) -> int:
    if not text:
        return 0
    try:
        moment = datetime.strptime(text.decode() + "00", "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
    except ValueError:
        return 0
    return int(moment.timestamp())


READER = Reader("candump text", recognises, read)
