"""A file as bytes: digest, unpacking, pieces, and the limits against absurd sizes."""

from __future__ import annotations

import codecs
import hashlib
import tempfile
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import IO, BinaryIO

import numpy as np
import numpy.typing as npt

from witnessmark.errors import NotFound, RecordingRefused
from witnessmark.readers.told import ReaderSettings, Trouble

HEAD_BYTES = 65536
_PIECE = 2**20
#: Below this many unpacked bytes no ratio is absurd.
_RATIO_FROM = 64 * 2**20
#: Marks of wide text at the beginning of a file; the longer ones first.
_MARKS = {
    codecs.BOM_UTF32_LE: "utf-32",
    codecs.BOM_UTF32_BE: "utf-32",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
_PACKED = {
    b"PK\x03\x04": "a zip archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"\xfd7zX": "an xz file",
    b"BZh": "a bzip2 file",
    b"\x28\xb5\x2f\xfd": "a zstd file",
    b"Rar!": "a rar archive",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet file",
}


#: Letters behind the end of a piece of text: a line end, then blanks.
SLACK = 17


@dataclass(frozen=True, slots=True)
class Text:
    """A piece of whole lines.

    Attributes:
        letters: shape (size + SLACK,), the bytes.
        size: how many of them are the file's own.
    """

    letters: npt.NDArray[np.uint8]
    size: int


_WORKER = ThreadPoolExecutor(1, thread_name_prefix="digest")


class FileSource:
    """One file. Open it with ``with Source(path, settings) as source``.

    Attributes:
        name: file name without folder, and without the ``.gz`` of a packed file.
        size: bytes on disk.
        packed: whether it is gzip.
        magic: the first eight bytes as they stand.
        head: the first 64 KiB, unpacked.
        trouble: collects what is wrong with the file.
    """

    def __init__(self, path: Path, settings: ReaderSettings) -> None:
        self.path = path
        self.settings = settings
        self.name = path.name
        self.trouble = Trouble(path.name)
        try:
            self.size = path.stat().st_size
            if not path.is_file():
                raise RecordingRefused(
                    "This is not a file.", where=str(path), do="Give the path of one recording."
                )
            self._file: BinaryIO = path.open("rb")
        except FileNotFoundError:
            raise NotFound(
                "There is no such file.", where=str(path), do="Check the path and the name."
            ) from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise RecordingRefused(
                f"The file cannot be opened: {reason}.", where=str(path), do="Check the path."
            ) from None
        try:
            self._check_size()
            known = settings.sha256
            self._digest = _WORKER.submit(_digest, path) if known is None else None
            self.magic = magic = self._file.read(8)
            self._file.seek(0)
            self.packed = magic[:2] == b"\x1f\x8b"
            for start, what in _PACKED.items():
                if magic.startswith(start):
                    raise RecordingRefused(
                        f"This is {what}, not a recording.",
                        where=self.name,
                        do="Unpack or export it first; gzip is the only packing that is read.",
                    )
            self.head = self._head()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> FileSource:
        return self

    def __exit__(self, *exception: object) -> None:
        self._file.close()

    @property
    def sha256(self) -> str:
        """Return the digest of the file's own bytes; it is computed beside the reading."""
        if self._digest is None:
            assert self.settings.sha256 is not None  # noqa: S101
            return self.settings.sha256
        return self._digest.result()

    def blocks(self, size: int = _PIECE) -> Iterator[bytes]:
        """Yield the unpacked content in pieces of about *size* bytes.

        Text that says it is UTF-16 or UTF-32 comes as UTF-8.
        """
        pieces = self._unpacked(size) if self.packed else self._plain(size)
        first = next(pieces, None)
        if first is None:
            return
        mark = next((m for m in _MARKS if first.startswith(m)), None)
        if mark is None:
            yield first.removeprefix(codecs.BOM_UTF8)
            yield from pieces
            return
        decoder = codecs.getincrementaldecoder(_MARKS[mark])("replace")
        for piece in chain((first,), pieces):
            yield decoder.decode(piece).encode()

    def _plain(self, size: int) -> Iterator[bytes]:
        self._file.seek(0)
        while piece := self._file.read(size):
            yield piece

    def lines(self, size: int | None = None) -> Iterator[bytes]:
        """Yield the unpacked content in pieces that end with a line end (the last one may not)."""
        size = size or self.settings.block_bytes
        rest = b""
        for piece in self.blocks(size):
            cut = max(piece.rfind(b"\n"), piece.rfind(b"\r"))
            if cut == len(piece) - 1 and piece.endswith(b"\r"):
                cut -= 1  # the \n of a \r\n may follow in the next piece
            if cut < 0:
                rest += piece
                if len(rest) > 64 * size:
                    raise self._endless()
                continue
            yield rest + piece[: cut + 1]
            rest = piece[cut + 1 :]
        if rest:
            yield rest

    def text(self) -> Iterator[Text]:
        """Yield the same pieces as :meth:`lines`, for arithmetic on their letters."""
        if self.packed or any(self.magic.startswith(m) for m in (*_MARKS, codecs.BOM_UTF8)):
            for block in self.lines():
                buffer = np.empty(len(block) + SLACK, np.uint8)
                buffer[: len(block)] = np.frombuffer(block, np.uint8)
                yield _ended(buffer, len(block))
            return
        self._file.seek(0)
        size = self.settings.block_bytes
        rest = np.zeros(0, np.uint8)
        while True:
            buffer = np.empty(rest.size + size + SLACK, np.uint8)
            buffer[: rest.size] = rest
            here = buffer.data[rest.size : rest.size + size]
            total = rest.size + self._file.readinto(here)  # type: ignore[attr-defined]
            last = total == rest.size
            cut = total if last else _last_end(buffer, total)
            rest = buffer[cut:total].copy()
            if rest.size > 64 * size:
                raise self._endless()
            if cut:
                yield _ended(buffer, cut)
            if last:
                return

    def seekable(self) -> IO[bytes]:
        """Return the unpacked content as a file that can be read at any place.

        The caller closes it. A packed file is unpacked into a temporary one.
        """
        if not self.packed:
            return self.path.open("rb")
        spool: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115  (handed to the caller)
        for piece in self.blocks():
            spool.write(piece)
        if spool.tell() == 0:
            spool.close()
            raise RecordingRefused(
                "The packed file is damaged from its beginning.",
                where=self.name,
                do="Copy it from the recorder again.",
            )
        spool.seek(0)
        return spool

    def _endless(self) -> RecordingRefused:
        return RecordingRefused(
            "A line of this text is absurdly long.",
            where=self.name,
            do="Check that the file is a recording.",
        )

    def _check_size(self) -> None:
        if self.size == 0:
            raise RecordingRefused(
                "The file is empty.", where=self.name, do="Copy it from the recorder again."
            )
        if self.size > self.settings.max_bytes:
            raise RecordingRefused(
                f"The file has {self.size:,} bytes; at most {self.settings.max_bytes:,} are read.",
                where=self.name,
                do="Cut it into shorter recordings.",
            )

    def _head(self) -> bytes:
        pieces: list[bytes] = []
        have = 0
        for piece in self.blocks(HEAD_BYTES):
            pieces.append(piece)
            have += len(piece)
            if have >= HEAD_BYTES:
                break
        return b"".join(pieces)[:HEAD_BYTES]

    def _unpacked(self, size: int) -> Iterator[bytes]:
        """Unpack gzip members one after the other; what is damaged ends it with a problem."""
        self._file.seek(0)
        expanded = taken = 0
        engine = zlib.decompressobj(wbits=31)
        inside = False  # a member has begun and not ended
        while raw := self._file.read(max(size // 8, 4096)):
            taken += len(raw)
            pending = raw
            while pending:
                try:
                    piece = engine.decompress(pending, size)
                except zlib.error:
                    self._damaged()
                    return
                inside = not engine.eof
                expanded += len(piece)
                self._check_expansion(expanded, taken)
                if piece:
                    yield piece
                if engine.eof:
                    pending = engine.unused_data.lstrip(b"\0")
                    engine = zlib.decompressobj(wbits=31)
                else:
                    pending = engine.unconsumed_tail
        if inside:
            self._damaged()

    def _damaged(self) -> None:
        if not self.trouble.count("packing"):
            self.trouble.add(
                "packing",
                "The packed file is damaged or cut off; what stands before the damage is used.",
                do="Copy it from the recorder again.",
            )

    def _check_expansion(self, expanded: int, taken: int) -> None:
        limit = self.settings.max_expanded_bytes
        ratio = expanded / max(taken, 1)
        if expanded > limit or (expanded > _RATIO_FROM and ratio > self.settings.max_ratio):
            raise RecordingRefused(
                f"Unpacked it is more than {expanded:,} bytes, {ratio:,.0f} times its packed size.",
                where=self.name,
                do="Unpack it by hand and check what it is.",
            )


def _last_end(buffer: npt.NDArray[np.uint8], total: int) -> int:
    """Return the place behind the last line end; a carriage return at the end may go on."""
    width = 4096
    while True:
        start = max(total - width, 0)
        tail = buffer[start:total].tobytes()
        at = max(tail.rfind(b"\n"), tail.rfind(b"\r", 0, len(tail) - 1))
        if at >= 0 or start == 0:
            return start + at + 1
        width *= 64


def _ended(buffer: npt.NDArray[np.uint8], size: int) -> Text:
    buffer[size] = 10
    buffer[size + 1 : size + SLACK] = 32
    return Text(buffer[: size + SLACK], size)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
