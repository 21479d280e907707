"""Raw frames in a table: a row a frame, its identifier in one column, its bytes in one or in many.

Which column is which is told by the headings; whether numbers are hexadecimal by what stands in
them. Where both are possible nothing is decoded.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs.frame_recording import BusLog
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import Frames, ReaderSettings

_IDENTIFIER = re.compile(
    r"(can|arb(itration)?|message|msg|frame)?[ _]?id(entifier)?(entity)?( ?\((hex|dec)\))?"
)
_DATA = re.compile(r"(data[ _]?(bytes?)?|payload|message data)( ?\((hex|dec)\))?")
_BYTE = re.compile(r"(?:d|b|byte|data)[ _\[]?(\d)\]?")
_TIME = re.compile(r"(time[ _]?(stamp)?|timestamp\w*|t|epoch)([ _]?[\[(]?(s|ms|us|µs|ns)[\])]?)?")
_LENGTH = re.compile(r"(dlc|len|length|data[ _]?length|size)")
_EXTENDED = re.compile(r"(extended|ide|ext|is_extended(_id)?|eff)")
_BUS = re.compile(r"(bus|channel|buschannel|bus[ _]channel|interface)")
_REMOTE, _ERROR = re.compile(r"(remote|rtr)"), re.compile(r"(error|err)")
_UNIT_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9}
_TRUE = {"1", "true", "yes", "x", "t"}
#: Between two frames passes no less and, typically, no more [s].
_SHORTEST_S, _LONGEST_S = 1e-4, 0.2


@dataclass(frozen=True, slots=True)
class _Plan:
    """Which column is which; ``None`` where there is none."""

    delimiter: str
    first: int
    identifier: int
    data: int | None
    cells: tuple[int, ...]
    time: int | None
    length: int | None
    extended: int | None
    bus: int | None
    remote: int | None
    error: int | None
    unit: str
    hexadecimal: bool | None
    data_form: str


def recognises(head: bytes) -> bool:
    """Say whether the headings of a table are those of raw frames."""
    return _plan(head) is not None


def read(source: FileSource, settings: ReaderSettings) -> Recording:
    """Read the rows."""
    plan = _plan(source.head)
    names: list[str] = []
    log = BusLog(source, settings, "table of raw frames",
                 lambda n: names[n] if n < len(names) else str(n))  # fmt: skip
    if plan is None or plan.hexadecimal is None:
        source.trouble.add(
            "identifiers two ways",
            "The identifiers can be read as hexadecimal or as decimal numbers; nothing is decoded.",
            do="Export them with 0x in front, or with '(hex)' or '(dec)' in the heading.",
        )
        return log.recording()
    bad = [0, 0]
    scale: float | None = None
    for rows in _rows(source, plan, names, bad):
        frames = _frames(rows)
        if scale is None:
            scale = _scale(frames.time_s, plan.unit, source)
        log.add(Frames(frames.time_s * scale, *_others(frames)))
    log.damaged(bad[0])
    if bad[1]:
        log.facts["error_frames"] = bad[1]
    return log.recording()


Row = tuple[float, int, bool, int, int, int]


def _others(frames: Frames) -> tuple[np.ndarray, ...]:
    return frames.identifier, frames.extended, frames.length, frames.data, frames.bus


def _plan(head: bytes) -> _Plan | None:
    text = head[:16384].decode("utf-8", "replace").lstrip("\ufeff")
    if "\0" in text:
        return None
    lines = text.splitlines()
    for first, line in enumerate(lines[:20]):
        for delimiter in (",", ";", "\t", "|"):
            names = [c.strip().strip('"').lower() for c in line.split(delimiter)]
            if len(names) >= 3 and (found := _columns(names, delimiter, first, lines)) is not None:
                return found
    return None


def _columns(names: list[str], delimiter: str, first: int, lines: Sequence[str]) -> _Plan | None:
    def of(pattern: re.Pattern[str]) -> int | None:
        return next((n for n, name in enumerate(names) if pattern.fullmatch(name)), None)

    identifier, data = of(_IDENTIFIER), of(_DATA)
    cells = tuple(n for n, name in enumerate(names) if _BYTE.fullmatch(name))
    if identifier is None or (data is None and not cells):
        return None
    body = [[c.strip().strip('"') for c in row.split(delimiter)] for row in lines[first + 1 : -1]]
    body = [row for row in body if len(row) >= len(names) - 8 and len(row) > identifier][:300]
    if not body:
        return None
    time = of(_TIME)
    unit = _TIME.fullmatch(names[time]) if time is not None else None
    ids = [row[identifier] for row in body]
    if sum(bool(re.fullmatch(r"(0[xX])?[0-9A-Fa-f]{1,10}", i)) for i in ids) < 0.6 * len(ids):
        return None
    return _Plan(
        delimiter, first + 1, identifier, data if not cells else None, cells, time, of(_LENGTH),
        of(_EXTENDED), of(_BUS), of(_REMOTE), of(_ERROR), (unit[4] or "") if unit else "",
        _is_hexadecimal(ids, names[identifier]),
        _data_form(body, data, cells, names),
    )  # fmt: skip


def _is_hexadecimal(ids: Sequence[str], heading: str) -> bool | None:
    """Say how identifiers are written; ``None`` where both ways are possible."""
    if "hex" in heading or any(re.search(r"[xXA-Fa-f]", i) for i in ids):
        return True
    if "dec" in heading:
        return False
    numbers = [i for i in ids if i.isdigit()]
    if any(int(i) >= 2**29 for i in numbers):
        return True
    if any(len(i) > 8 for i in numbers) or any(int(i, 16) >= 2**29 for i in numbers):
        return False
    return None


def _data_form(
    body: Sequence[Sequence[str]], data: int | None, cells: tuple[int, ...], names: Sequence[str]
) -> str:
    if cells:
        found = [row[n] for row in body for n in cells if n < len(row) and row[n]]
        if any(re.search(r"[xXA-Fa-f]", c) for c in found) or all(len(c) == 2 for c in found):
            return "hex"
        return "dec"
    texts = [row[data] for row in body if data is not None and data < len(row) and row[data]]
    if data is not None and "dec" in names[data]:
        return "dec"
    plain = [re.sub(r"[ \-.:]|0[xX]", "", t) for t in texts]
    if all(re.fullmatch(r"([0-9A-Fa-f]{2})*", t) for t in plain):
        return "hex"
    if all(re.fullmatch(r"\d{1,3}( \d{1,3})*", t) for t in texts):
        return "dec"
    return "base64"


def _rows(source: FileSource, plan: _Plan, names: list[str], bad: list[int]) -> Iterator[list[Row]]:
    skip = plan.first
    for block in source.lines():
        rows: list[Row] = []
        for line in block.decode("utf-8", "replace").splitlines():
            if skip:
                skip -= 1
                continue
            if not line.strip():
                continue
            cells = [c.strip().strip('"') for c in line.split(plan.delimiter)]
            try:
                if plan.error is not None and cells[plan.error].lower() in _TRUE:
                    bad[1] += 1
                    continue
                rows.append(_row(cells, plan, names))
            except (ValueError, IndexError, binascii.Error):
                bad[0] += 1
        if rows:
            yield rows


def _row(cells: list[str], plan: _Plan, names: list[str]) -> Row:
    identifier = int(cells[plan.identifier], 16 if plan.hexadecimal else 10)
    extended = (
        cells[plan.extended].lower() in _TRUE if plan.extended is not None
        else identifier > 0x7FF or len(cells[plan.identifier].lower().removeprefix("0x")) == 8
    )  # fmt: skip
    remote = plan.remote is not None and cells[plan.remote].lower() in _TRUE
    data = b"" if remote else _bytes(cells, plan)
    if plan.length is not None and not remote:
        said = int(cells[plan.length])
        if said > len(data) or said > 8:
            raise ValueError("fewer bytes than are said")
        data = data[:said]
    if len(data) > 8 or identifier >= (2**29 if extended else 2**11):
        raise ValueError("no frame")
    time = float(cells[plan.time].replace(",", ".")) if plan.time is not None else np.nan
    bus = 0
    if plan.bus is not None:
        if cells[plan.bus] not in names and len(names) < 255:
            names.append(cells[plan.bus])
        bus = names.index(cells[plan.bus])
    word = int.from_bytes(data.ljust(8, b"\xff"), "little")
    return time, identifier, extended, len(data), word, bus


def _bytes(cells: list[str], plan: _Plan) -> bytes:
    if plan.cells:
        found = [cells[n] for n in plan.cells if n < len(cells) and cells[n]]
        return bytes(int(c, 16 if plan.data_form == "hex" else 10) for c in found)
    assert plan.data is not None  # noqa: S101  (a plan has one or the other)
    text = cells[plan.data]
    if plan.data_form == "hex":
        return bytes.fromhex(re.sub(r"[ \-.:]|0[xX]", "", text))
    if plan.data_form == "dec":
        return bytes(int(c) for c in text.split())
    return base64.b64decode(text, validate=True)


def _frames(rows: list[Row]) -> Frames:
    time, identifier, extended, length, words, bus = zip(*rows, strict=True)
    return Frames(
        np.array(time, np.float64),
        np.array(identifier, np.uint32),
        np.array(extended, np.bool_),
        np.array(length, np.uint8),
        np.array(words, np.uint64),
        np.array(bus, np.uint8),
    )


def _scale(time: np.ndarray, unit: str, source: FileSource) -> float:
    """Return the seconds a unit of the stamps has: as stated, or the only one frames can have."""
    if unit:
        return _UNIT_S[unit]
    steps = np.diff(time)
    steps = steps[steps > 0.0]
    if not steps.size or (time != np.rint(time)).any():
        return 1.0
    usual = float(np.median(steps))
    fits = [(n, s) for n, s in _UNIT_S.items() if n != "µs"
            and _SHORTEST_S <= usual * s <= _LONGEST_S]  # fmt: skip
    if len(fits) == 1:
        source.trouble.add(
            "unit of stamps",
            f"The stamps do not say their unit; only in {fits[0][0]} can they be frames of a bus, "
            "so they are read in that.",
        )
        return fits[0][1]
    source.trouble.add(
        "unit of stamps",
        "The stamps do not say their unit, and more than one is possible; nothing that depends on "
        "time is judged.",
        do="Export them with the unit in the heading, such as 'Time [ms]'.",
    )
    return float("nan")


READER = Reader("table of raw frames", recognises, read)
