"""Text lines of a bus log, read a block at a time without a loop over the lines.

Lines of one dialect repeat a few shapes: the same length, the same punctuation at the same
places. A regular expression reads the first line of a shape and says where its fields stand;
all other lines of that shape are then checked against it and read with arithmetic on words of
eight characters. A line that fits no shape is read by the expression, or counted as bad.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from threading import Lock

import numpy as np
import numpy.typing as npt

from witnessmark.readers.contract import Frames, Mask, Trouble, Words64

Positions = npt.NDArray[np.int64]

#: Shapes tried for lines of one length before the rest is read one by one.
MAX_SHAPES = 24
#: A longer line is no bus frame.
MAX_LINE = 480

#: numpy leaves the other core free while it computes; so do these two.
_WORKERS = ThreadPoolExecutor(2, thread_name_prefix="lines")
_ONES = 0x0101010101010101
_ZEROS = 0x3030303030303030


@dataclass(frozen=True, slots=True)
class Shape:
    """Where the fields stand in lines of one shape.

    Attributes:
        length: characters of the line without its end.
        whole: (start, end) of the whole seconds (or other unit) of the time, or ``None``.
        part: (start, end) of its decimals, or ``None``.
        base: added to the time before scaling (a date in front).
        identifier: (start, end) of the hexadecimal identifier.
        extended: 29-bit identifier.
        data: start of each data byte's two digits.
        bus: number of the interface.
        loose: spans whose content does not matter.
        remote: a request for data; it carries none.
    """

    length: int
    whole: tuple[int, int] | None
    part: tuple[int, int] | None
    base: int
    identifier: tuple[int, int]
    extended: bool
    data: tuple[int, ...]
    bus: int
    loose: tuple[tuple[int, int], ...] = ()
    remote: bool = False


#: Reads one line: its shape; ``None`` where the line is no frame; a text where it is a line of
#: another kind (remote frame, comment) that is counted under that name.
ReadLine = Callable[[bytes], "Shape | str | None"]


class LineReader:
    """Reads blocks of lines into frames; keeps the shapes it has learnt.

    Args:
        read_line: the dialect.
        trouble: collects the lines that are no frames.
        scale: seconds per unit of the time field.
    """

    def __init__(self, read_line: ReadLine, trouble: Trouble, *, scale: float = 1.0) -> None:
        self.read_line = read_line
        self.trouble = trouble
        self.scale = scale
        self.other: dict[str, int] = {}
        self.lines = 0
        self.first_bad = ""
        self.bad = 0
        self.origin: int | None = None
        self._lock = Lock()
        self._shapes: dict[int, list[tuple[Shape, list[tuple[int, int, int]]]]] = {}

    def read(self, blocks: Iterable[bytes]) -> Iterator[Frames]:
        """Read blocks in order, two at a time; a few are ahead, so memory stays bounded."""
        ahead: deque[Future[Frames]] = deque()
        pieces = iter(blocks)
        for number, block in enumerate(pieces):
            if self.origin is not None or number >= 4:  # the first ones teach the shapes
                ahead.append(_WORKERS.submit(self.frames, block))
                if len(ahead) > 3:
                    yield ahead.popleft().result()
                continue
            yield self.frames(block)
        while ahead:
            yield ahead.popleft().result()

    def frames(self, block: bytes) -> Frames:
        """Read the lines of *block* in order."""
        text = block + b"\n" + b" " * 16
        letters = np.frombuffer(text, np.uint8, len(block) + 1)
        starts, lengths = _lines(letters)
        words = np.ndarray((len(text) - 7,), np.dtype("<u8"), text, 0, (1,))
        n = starts.size
        with self._lock:
            self.lines += n
        once = self._whole_block(starts, lengths, words, text)
        if once is not None:
            return once
        time = np.full(n, np.nan)
        identifier = np.zeros(n, np.uint32)
        extended = np.zeros(n, np.bool_)
        size = np.full(n, 255, np.uint8)
        data = np.zeros(n, np.uint64)
        bus = np.zeros(n, np.uint8)
        for length in np.flatnonzero(np.bincount(np.minimum(lengths, MAX_LINE + 1))):
            every = np.flatnonzero(lengths == length) if length <= MAX_LINE else None
            if every is None:
                self._count_bad(b"(an absurdly long line)", int((lengths > MAX_LINE).sum()))
                continue
            if length == 0:
                continue
            for shape, lines in self._sorted(int(length), every, starts, words, text):
                at = starts[lines]
                uniform = _step(at)
                ok = np.ones(lines.size, np.bool_)
                t = self._time(shape, words, at, uniform, ok)
                i = _hexadecimal(words, at, uniform, shape.identifier, ok)
                d = _payload(words, text, at, uniform, shape.data, ok)
                if not ok.all():
                    for start in at[~ok][:50]:
                        self._count_bad(text[start : start + length])
                    self._count_bad(b"", max(0, int((~ok).sum()) - 50))
                    lines, t, i, d = lines[ok], t[ok], i[ok], d[ok]  # noqa: PLW2901
                time[lines] = t
                identifier[lines] = i
                extended[lines] = shape.extended
                size[lines] = len(shape.data)
                data[lines] = d
                bus[lines] = shape.bus
                if shape.remote:
                    with self._lock:
                        before = self.other.get("remote frame", 0)
                        self.other["remote frame"] = before + lines.size
        found = Frames(time, identifier, extended, size, data, bus)
        good = size != 255
        return found if good.all() else found.where(good)

    def _whole_block(
        self, starts: Positions, lengths: Positions, words: Words64, text: bytes
    ) -> Frames | None:
        """Read a block whose lines all have one known shape; ``None`` for other blocks."""
        if starts.size < 2 or (lengths[:-1] != lengths[0]).any() or lengths[-1]:
            return None
        at = starts[:-1]
        step = _step(at)
        for shape, checks in self._shapes.get(int(lengths[0]), [])[:4]:
            if step is None or shape.remote or not _fits(words, at, checks).all():
                continue
            ok = np.ones(at.size, np.bool_)
            frames = Frames(
                self._time(shape, words, at, step, ok),
                _hexadecimal(words, at, step, shape.identifier, ok),
                np.full(at.size, shape.extended, np.bool_),
                np.full(at.size, len(shape.data), np.uint8),
                _payload(words, text, at, step, shape.data, ok),
                np.full(at.size, shape.bus, np.uint8),
            )
            return frames if ok.all() else None
        return None

    def _sorted(
        self, length: int, lines: Positions, starts: Positions, words: Words64, text: bytes
    ) -> Iterator[tuple[Shape, Positions]]:
        """Yield each shape with the lines that have it; bad lines are counted here."""
        known = self._shapes.setdefault(length, [])
        rest = lines
        for shape, checks in list(known):
            if not rest.size:
                return
            fits = _fits(words, starts[rest], checks)
            if fits.any():
                yield shape, rest[fits]
                rest = rest[~fits]
        while rest.size:
            start = int(starts[rest[0]])
            line = text[start : start + length]
            new = self._read_line(line)
            if new is None:
                rest = rest[1:]
                continue
            if len(known) >= MAX_SHAPES:
                yield new, rest[:1]
                rest = rest[1:]
                continue
            checks = _checks(new, line)
            known.append((new, checks))
            fits = _fits(words, starts[rest], checks)
            yield new, rest[fits]
            rest = rest[~fits]

    def _read_line(self, line: bytes) -> Shape | None:
        shape = self.read_line(line)
        if isinstance(shape, str):
            with self._lock:
                self.other[shape] = self.other.get(shape, 0) + 1
            return None
        if shape is None and line.strip():
            self._count_bad(line)
        return shape

    def _count_bad(self, line: bytes, count: int = 1) -> None:
        if count and not self.bad:
            self.first_bad = re.sub(r"[^ -~]", "?", line.decode("latin-1"))[:60]
        with self._lock:
            self.bad += count

    def _time(
        self, shape: Shape, words: Words64, at: Positions, step: int | None, ok: Mask
    ) -> npt.NDArray[np.float64]:
        if shape.whole is None:
            return np.full(at.size, np.nan)
        whole = _decimal(words, at, step, shape.whole, ok).astype(np.int64) + shape.base
        if self.origin is None:
            self.origin = int(whole[0]) if whole[0] > 10**6 else 0
        time = (whole - self.origin).astype(np.float64)
        if shape.part is not None:
            digits = shape.part[1] - shape.part[0]
            time += _decimal(words, at, step, shape.part, ok).astype(np.float64) * 10.0**-digits
        return time * self.scale if self.scale != 1.0 else time


def _lines(letters: npt.NDArray[np.uint8]) -> tuple[Positions, Positions]:
    """Return start and length of every line; carriage returns end a line too."""
    ends = np.flatnonzero(letters == 10)
    if not (letters[ends[ends > 0] - 1] == 13).any():
        if ends.size <= 2 and (letters == 13).any():
            ends = np.flatnonzero((letters == 10) | (letters == 13))
        starts = np.empty_like(ends)
        starts[0] = 0
        starts[1:] = ends[:-1] + 1
        return starts, ends - starts
    starts = np.empty_like(ends)
    starts[0] = 0
    starts[1:] = ends[:-1] + 1
    lengths = ends - starts
    returns = (lengths > 0) & (letters[ends - 1] == 13)
    return starts, lengths - returns


def _step(at: Positions) -> int | None:
    """Return the distance of the lines where it is the same throughout."""
    if at.size < 3:
        return None
    step = int(at[1] - at[0])
    if int(at[-1] - at[0]) != step * (at.size - 1):
        return None
    return step if bool((np.diff(at) == step).all()) else None


def _load(words: Words64, at: Positions, step: int | None, offset: int) -> Words64:
    """Return the eight characters at *offset* of every line as one word each."""
    if step is None:
        return words[at + offset]
    first = int(at[0]) + offset
    return words[first : first + step * (at.size - 1) + 1 : step].copy()


def _checks(shape: Shape, line: bytes) -> list[tuple[int, int, int]]:
    """Return (offset, mask, wanted) for every word of the line with fixed characters."""
    free = bytearray(b"\xff" * shape.length)
    spans = [s for s in (shape.whole, shape.part, shape.identifier, *shape.loose) if s]
    for start, end in [*spans, *((p, p + 2) for p in shape.data)]:
        free[start:end] = b"\0" * (end - start)
    free += b"\0" * 8
    padded = line + b"\0" * 8
    checks = []
    for offset in range(0, shape.length, 8):
        mask = int.from_bytes(free[offset : offset + 8], "little")
        if mask:
            wanted = int.from_bytes(padded[offset : offset + 8], "little") & mask
            checks.append((offset, mask, wanted))
    return checks


def _fits(words: Words64, at: Positions, checks: list[tuple[int, int, int]]) -> Mask:
    step = _step(at)
    fits = np.ones(at.size, np.bool_)
    for offset, mask, wanted in checks:
        fits &= (_load(words, at, step, offset) & np.uint64(mask)) == np.uint64(wanted)
    return fits


def _decimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], ok: Mask
) -> Words64:
    """Read a decimal number of up to 18 digits in every line."""
    start, end = span
    value: Words64 | None = None
    while start < end:
        count = min(8, end - start)
        word = _load(words, at, step, start)
        if count < 8:
            shift = 8 * (8 - count)
            word <<= np.uint64(shift)
            word |= np.uint64(_ZEROS & ((1 << shift) - 1))
        high = np.uint64(0xF0F0F0F0F0F0F0F0)
        bad = (word & high) != np.uint64(_ZEROS)
        bad |= ((word + np.uint64(6 * _ONES)) & high) != np.uint64(_ZEROS)
        ok &= ~bad
        word &= np.uint64(0x0F0F0F0F0F0F0F0F)
        word = (word * np.uint64(10) + (word >> np.uint64(8))) & np.uint64(0x00FF00FF00FF00FF)
        word = (word * np.uint64(100) + (word >> np.uint64(16))) & np.uint64(0x0000FFFF0000FFFF)
        word = (word * np.uint64(10000) + (word >> np.uint64(32))) & np.uint64(0xFFFFFFFF)
        value = word if value is None else value * np.uint64(10**count) + word
        start += count
    assert value is not None  # noqa: S101  (a span is never empty)
    return value


def _nibbles(word: Words64, ok: Mask) -> Words64:
    """Turn eight hexadecimal characters into eight values of four bits, checking each."""
    ones = np.uint64(_ONES)
    control = (((word >> np.uint64(5)) | (word >> np.uint64(6))) & ones) != ones
    word |= np.uint64(0x20 * _ONES)
    letter = (word >> np.uint64(6)) & ones
    value = (word & np.uint64(0x0F * _ONES)) + letter * np.uint64(9)
    bad = (word & np.uint64(0xF0 * _ONES)) != np.uint64(_ZEROS) + letter * np.uint64(0x30)
    six = letter * np.uint64(6)
    bad |= ((value + np.uint64(6 * _ONES) - six) & np.uint64(0x10 * _ONES)) != 0
    bad |= (((value + six) >> np.uint64(4)) & ones) != letter
    ok &= ~(bad | control)
    return value


def _bytes(nibbles: Words64) -> Words64:
    """Pack eight nibbles into four bytes, the first character's byte lowest."""
    pairs = (nibbles << np.uint64(4)) | (nibbles >> np.uint64(8))
    pairs &= np.uint64(0x00FF00FF00FF00FF)
    pairs = (pairs | (pairs >> np.uint64(8))) & np.uint64(0x0000FFFF0000FFFF)
    packed: Words64 = (pairs | (pairs >> np.uint64(16))) & np.uint64(0xFFFFFFFF)
    return packed


def _hexadecimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], ok: Mask
) -> npt.NDArray[np.uint32]:
    """Read a hexadecimal number of up to eight digits in every line."""
    count = span[1] - span[0]
    word = _load(words, at, step, span[0])
    if count < 8:
        shift = 8 * (8 - count)
        word <<= np.uint64(shift)
        word |= np.uint64(_ZEROS & ((1 << shift) - 1))
    return _bytes(_nibbles(word, ok)).astype(np.uint32).byteswap()


def _payload(
    words: Words64,
    text: bytes,
    at: Positions,
    step: int | None,
    places: tuple[int, ...],
    ok: Mask,
) -> Words64:
    """Read the data bytes of every line; bytes that are not there are 0xFF."""
    count = len(places)
    beyond = np.uint64((0xFFFFFFFFFFFFFFFF << (8 * count)) & 0xFFFFFFFFFFFFFFFF)
    value = np.full(at.size, beyond, np.uint64)
    if count and places == tuple(range(places[0], places[0] + 2 * count, 2)):
        for first in range(0, count, 4):
            here = min(4, count - first)
            word = _load(words, at, step, places[first])
            if here < 4:
                keep = (1 << (16 * here)) - 1
                word &= np.uint64(keep)
                word |= np.uint64(_ZEROS & ~keep)
            value |= _bytes(_nibbles(word, ok)) << np.uint64(32 * (first // 4))
        return value
    pairs = np.ndarray((len(text) - 1,), np.dtype("<u2"), text, 0, (1,))
    for number, place in enumerate(places):
        found = _PAIRS[pairs[at + place]]
        ok &= found < 256
        value |= (found & 0xFF).astype(np.uint64) << np.uint64(8 * number)
    return value


def _pairs() -> npt.NDArray[np.uint16]:
    table = np.full(65536, 0x100, np.uint16)
    digits = {**{ord(c): int(c, 16) for c in "0123456789abcdefABCDEF"}}
    for first, high in digits.items():
        for second, low in digits.items():
            table[first | second << 8] = high << 4 | low
    return table


_PAIRS = _pairs()
