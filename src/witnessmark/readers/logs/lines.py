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
from dataclasses import dataclass, field, replace
from threading import Lock

import numpy as np
import numpy.typing as npt

from witnessmark.readers.files.source import Text
from witnessmark.readers.logs.line_words import decimal, hexadecimal, misfits, payload, step
from witnessmark.readers.told import Frames, Trouble, Words64

#: (offset, mask, wanted) for words of a line with fixed characters.
Checks = list[tuple[int, int, int]]
Positions = npt.NDArray[np.int64]

#: Shapes tried for lines of one length before the rest is read one by one.
MAX_SHAPES = 24
#: Data bytes of frames that have more than eight (ISO 11898-1:2015), by their code from 9 on.
LONG_LENGTHS = (12, 16, 20, 24, 32, 48, 64)
#: Length of what is no frame but has a time.
NO_FRAME = 254
#: A longer line is no bus frame.
MAX_LINE = 480

#: Digits of a time that are read anew in every line: one word.
_MOVING = 8

#: numpy leaves the other core free while it computes; so do these two.
_WORKERS = ThreadPoolExecutor(2, thread_name_prefix="lines")


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
        kind: what the line is where it is no frame and only its time matters; such a line comes
            out as a frame of :data:`NO_FRAME` bytes.
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
    kind: str = ""


#: Reads one line: its shape; ``None`` where the line is no frame; a text where it is a line of
#: another kind (remote frame, comment) that is counted under that name.
ReadLine = Callable[[bytes], "Shape | str | None"]


@dataclass(frozen=True, slots=True)
class _Block:
    """A block of text, its words of eight characters at every place, and what was read of it."""

    letters: npt.NDArray[np.uint8]
    words: Words64
    starts: Positions
    found: Frames
    more: list[tuple[Positions, npt.NDArray[np.uint8]]] = field(default_factory=list)


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
        self._shapes: dict[int, list[tuple[Shape, Checks]]] = {}
        self._usual: tuple[Shape, Checks, int] | None = None

    def read(self, blocks: Iterable[Text]) -> Iterator[Frames]:
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

    def frames(self, block: Text) -> Frames:
        """Read the lines of *block* in order."""
        letters = block.letters
        words = np.ndarray((letters.size - 7,), np.dtype("<u8"), letters.data, 0, (1,))
        once = self._even_block(letters, words, block.size)
        if once is not None:
            return once
        starts, lengths = _lines(letters[: block.size + 1])
        n = starts.size
        with self._lock:
            self.lines += int(np.count_nonzero(lengths))
        rest = _Block(letters, words, starts, _empty(n))
        for length in np.flatnonzero(np.bincount(np.minimum(lengths, MAX_LINE + 1))):
            if length > MAX_LINE:
                self._count_bad(b"(an absurdly long line)", int((lengths > MAX_LINE).sum()))
            elif length > 0:
                self._read_length(int(length), np.flatnonzero(lengths == length), rest)
        self._learn(starts, lengths)
        found = rest.found
        if rest.more:
            order = np.argsort(np.concatenate([lines for lines, _ in rest.more]))
            found = replace(found, more=np.concatenate([more for _, more in rest.more])[order])
        good = found.length != 255
        if good.all():
            return found
        found.length[~good] = 0
        return found.where(good)

    def _learn(self, starts: Positions, lengths: Positions) -> None:
        """Note the one shape of blocks whose lines are all alike, for the blocks to come."""
        self._usual = None
        if starts.size < 3 or (lengths[:-1] != lengths[0]).any() or lengths[-1]:
            return
        shapes = self._shapes.get(int(lengths[0]), [])
        if len(shapes) == 1 and not (shapes[0][0].remote or shapes[0][0].kind):
            shape, checks = shapes[0]
            if not shape.loose:  # a line end could hide in it
                self._usual = (shape, checks, int(starts[1] - starts[0]))

    def _even_block(
        self, letters: npt.NDArray[np.uint8], words: Words64, size: int
    ) -> Frames | None:
        """Read a block whose lines all have the usual shape; ``None`` for other blocks.

        Every character is checked, the line ends too, so they need not be looked for.
        """
        usual = self._usual
        if usual is None or size < 3 * usual[2] or size % usual[2]:
            return None
        shape, checks, width = usual
        at = np.arange(0, size, width)
        ends = letters[width - 1 : size : width]
        if (ends != 10).any() or (
            width > shape.length + 1 and (letters[width - 2 : size : width] != 13).any()
        ):
            return None
        bad = misfits(words, at, width, checks)
        frames = Frames(
            self._time(shape, words, at, width, bad),
            hexadecimal(words, at, width, shape.identifier, bad),
            np.full(at.size, shape.extended, np.bool_),
            np.full(at.size, len(shape.data), np.uint8),
            payload(words, letters, at, width, shape.data[:8], bad),
            np.full(at.size, shape.bus, np.uint8),
            _more(words, letters, at, width, shape.data, bad),
        )
        if np.bitwise_or.reduce(bad):
            return None
        with self._lock:
            self.lines += at.size
        return frames

    def _read_length(self, length: int, lines: Positions, block: _Block) -> None:
        """Read all lines of one length, shape by shape; bad lines are counted."""
        known = self._shapes.setdefault(length, [])
        rest = lines
        for shape, checks in list(known):
            if not rest.size:
                return
            rest = self._fill(shape, checks, rest, block)
        while rest.size:
            start = int(block.starts[rest[0]])
            line = block.letters[start : start + length].tobytes()
            new = self._read_line(line)
            if new is None:
                rest = rest[1:]
                continue
            new = _with_fixed_digits(new, line)
            checks = _checks(new, line)
            whole = len(known) < MAX_SHAPES
            if whole:
                known.append((new, checks))
            left = self._fill(new, checks, rest if whole else rest[:1], block)
            if left.size and left[0] == rest[0]:
                self._count_bad(line)
                left = left[1:]
            rest = left if whole else np.concatenate([left, rest[1:]])

    def _fill(self, shape: Shape, checks: Checks, lines: Positions, block: _Block) -> Positions:
        """Read the lines that have the shape; return the others in order."""
        starts = block.starts[lines]
        fitting = misfits(block.words, starts, step(starts), checks) == 0
        if not fitting.any():
            return lines
        every = bool(fitting.all())
        these = lines if every else lines[fitting]
        at = block.starts[these]
        even = step(at)
        bad = np.zeros(these.size, np.uint64)
        time = self._time(shape, block.words, at, even, bad)
        identifier = hexadecimal(block.words, at, even, shape.identifier, bad)
        data = payload(block.words, block.letters, at, even, shape.data[:8], bad)
        more = _more(block.words, block.letters, at, even, shape.data, bad)
        left = lines[:0] if every else lines[~fitting]
        ok = bad == 0
        if not ok.all():
            # Another shape may have its punctuation where this one has digits.
            left = np.sort(np.concatenate([left, these[~ok]]))
            these, time, identifier, data = these[ok], time[ok], identifier[ok], data[ok]
            more = None if more is None else more[ok]
        found = block.found
        found.time_s[these] = time
        found.identifier[these] = identifier
        found.extended[these] = shape.extended
        found.length[these] = NO_FRAME if shape.kind else len(shape.data)
        found.data[these] = data
        found.bus[these] = shape.bus
        if more is not None:
            block.more.append((these, more))
        kind = "remote frame" if shape.remote else shape.kind
        if kind:
            with self._lock:
                self.other[kind] = self.other.get(kind, 0) + int(these.size)
        return left

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
        self, shape: Shape, words: Words64, at: Positions, even: int | None, bad: Words64
    ) -> npt.NDArray[np.float64]:
        if shape.whole is None:
            return np.full(at.size, np.nan)
        whole = decimal(words, at, even, shape.whole, bad).astype(np.int64) + shape.base
        if self.origin is None:
            self.origin = int(whole[0]) if whole[0] > 10**6 else 0
        time = (whole - self.origin).astype(np.float64)
        if shape.part is not None:
            digits = shape.part[1] - shape.part[0]
            time += decimal(words, at, even, shape.part, bad).astype(np.float64) * 10.0**-digits
        return time * self.scale if self.scale != 1.0 else time


def _more(
    words: Words64,
    letters: npt.NDArray[np.uint8],
    at: Positions,
    even: int | None,
    places: tuple[int, ...],
    bad: Words64,
) -> npt.NDArray[np.uint8] | None:
    """Return the bytes behind the eighth, shape (n, 56), of lines that have more than eight."""
    if len(places) <= 8:
        return None
    wide = np.full((at.size, 7), 2**64 - 1, np.uint64)
    for column, first in enumerate(range(8, len(places), 8)):
        wide[:, column] = payload(words, letters, at, even, places[first : first + 8], bad)
    return wide.astype("<u8").view(np.uint8)


def _empty(n: int) -> Frames:
    """Return frames that are not read yet: their length is 255."""
    return Frames(
        np.full(n, np.nan),
        np.zeros(n, np.uint32),
        np.zeros(n, np.bool_),
        np.full(n, 255, np.uint8),
        np.zeros(n, np.uint64),
        np.zeros(n, np.uint8),
    )


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


def _with_fixed_digits(shape: Shape, line: bytes) -> Shape:
    """Take the digits of a long time that hardly ever change for fixed characters."""
    if shape.whole is None or shape.whole[1] - shape.whole[0] <= _MOVING:
        return shape
    start, end = shape.whole
    high = int(line[start : end - _MOVING])
    return replace(shape, whole=(end - _MOVING, end), base=shape.base + high * 10**_MOVING)


def _checks(shape: Shape, line: bytes) -> Checks:
    """Return (offset, mask, wanted) for every word of the line with fixed characters."""
    free = bytearray(b"\xff" * shape.length)
    spans = [s for s in (shape.whole, shape.part, shape.identifier, *shape.loose) if s]
    for start, end in [*spans, *((p, p + 2) for p in shape.data)]:
        free[start:end] = b"\0" * (end - start)
    free += b"\0" * 8
    padded = line + b"\0" * 8
    checks = []
    offset = 0
    while offset < shape.length:
        if not free[offset]:
            offset += 1
            continue
        mask = int.from_bytes(free[offset : offset + 8], "little")
        wanted = int.from_bytes(padded[offset : offset + 8], "little") & mask
        checks.append((offset, mask, wanted))
        offset += 8
    return checks
