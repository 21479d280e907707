"""Originals by their digest: recordings and photos, never altered, stored once."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import threading
import time
from collections import OrderedDict
from pathlib import Path
from typing import BinaryIO

from witnessmark.errors import Conflict, InputRefused, NotFound, TooLarge

__all__ = ["Originals", "digest"]

_SHA256 = re.compile(r"[0-9a-f]{64}")
_BLOCK = 1 << 20
#: Digests of files by where they lie, their size and their time of change.
_HASHED: OrderedDict[tuple[int, int, int, int], str] = OrderedDict()
_KEEP = 4096
_SETTLED_NS = 2 * 10**9
_LOCK = threading.Lock()


class Originals:
    """A folder of files named by their sha256. No name from outside ever becomes a path.

    Args:
        folder: made when it is not there.
        limit: largest file taken [bytes].
    """

    def __init__(self, folder: Path, *, limit: int = 4 << 30) -> None:
        self._folder = folder
        self._limit = limit
        folder.mkdir(parents=True, exist_ok=True)

    def store(self, source: BinaryIO | Path, *, expected: str = "") -> tuple[str, int]:
        """Copy *source* in and return (sha256, size); a file that is already here is kept.

        The bytes are hashed while they are copied, and not again.

        Args:
            source: the bytes.
            expected: the digest they are said to have; nothing is kept when it is another.

        Raises:
            Conflict: the bytes are not those that were said.
            TooLarge: more bytes than the limit.
        """
        if isinstance(source, Path):
            with source.open("rb") as stream:
                return self.store(stream, expected=expected)
        seen, size = hashlib.sha256(), 0
        handle, temporary = tempfile.mkstemp(dir=self._folder, prefix=".incoming-")
        try:
            with os.fdopen(handle, "wb") as target:
                while block := source.read(_BLOCK):
                    size += len(block)
                    if size > self._limit:
                        raise TooLarge(
                            f"The file is larger than {self._limit >> 20} MiB.",
                            do="Cut the recording into pieces.",
                        )
                    seen.update(block)
                    target.write(block)
                target.flush()
                os.fsync(target.fileno())
            name = seen.hexdigest()
            if expected and expected.lower() != name:
                raise Conflict(
                    "The file arrived changed: its sha256 is not the one that was sent.",
                    do="Choose the file again; the bad copy was thrown away.",
                )
            Path(temporary).chmod(0o444)
            final = self._folder / name
            if not final.exists():
                Path(temporary).replace(final)
                _remember(_state(final), name)
            return name, size
        finally:
            Path(temporary).unlink(missing_ok=True)

    def path(self, sha256: str) -> Path:
        """Return where the original lies.

        Raises:
            InputRefused: not a digest.
            NotFound: no such file.
        """
        if _SHA256.fullmatch(sha256) is None:
            raise InputRefused("That is not the sha256 of a file.")
        found = self._folder / sha256
        if not found.is_file():
            raise NotFound(f"The file {sha256[:12]}... is not in the shop.", do="Add it again.")
        return found

    def __contains__(self, sha256: str) -> bool:
        return _SHA256.fullmatch(sha256) is not None and (self._folder / sha256).is_file()


def digest(path: Path) -> str:
    """Return the sha256 of a file's bytes; a file that has not changed since is not read again.

    A file counts as unchanged while its place on the disk, its size and its time of change are.
    One that was changed a moment ago is read each time: a second change would not show in its time.
    """
    key = _state(path)
    held = _HASHED.get(key)
    if held is not None:
        return held
    with path.open("rb") as stream:
        found = hashlib.file_digest(stream, "sha256").hexdigest()
    if time.time_ns() - key[-1] > _SETTLED_NS:
        _remember(key, found)
    return found


def _state(path: Path) -> tuple[int, int, int, int]:
    seen = path.stat()
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns


def _remember(key: tuple[int, int, int, int], sha256: str) -> None:
    with _LOCK:
        _HASHED[key] = sha256
        while len(_HASHED) > _KEEP:
            _HASHED.popitem(last=False)
