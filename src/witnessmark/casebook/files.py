"""Originals by their digest: recordings and photos, never altered, stored once."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import tempfile
import threading
import time
from collections import OrderedDict
from pathlib import Path
from typing import BinaryIO

from witnessmark.casebook.faults import disk_fault
from witnessmark.errors import Conflict, InputRefused, NotFound, TooLarge
from witnessmark.machine import freeze, take_away, to_disk

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
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            if not folder.is_dir():
                raise disk_fault(error, str(folder)) from error

    def sweep(self, *, older_than_s: float = 3600.0) -> int:
        """Throw away what was being taken in when the machine stopped; says how many."""
        count, before = 0, time.time() - older_than_s
        for left in self._folder.glob(".incoming-*"):
            with contextlib.suppress(OSError):
                if left.stat().st_mtime < before:
                    take_away(left)
                    count += 1
        return count

    def store(self, source: BinaryIO | Path, *, expected: str = "") -> tuple[str, int]:
        """Copy *source* in and return (sha256, size); a file that is already here is kept.

        The bytes are hashed while they are copied, and not again.

        Args:
            source: the bytes.
            expected: the digest they are said to have; nothing is kept when it is another.

        Raises:
            Conflict: the bytes are not those that were said.
            TooLarge: more bytes than the limit.
            StorageFault: the disk is full or cannot be written; nothing is stored.
        """
        try:
            return self._store(source, expected)
        except OSError as error:
            raise disk_fault(error, str(self._folder)) from error

    def _store(self, source: BinaryIO | Path, expected: str) -> tuple[str, int]:
        if isinstance(source, Path):
            with source.open("rb") as stream:
                return self._store(stream, expected)
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
            freeze(Path(temporary))
            final = self._folder / name
            if not final.exists():
                Path(temporary).replace(final)
                to_disk(self._folder)
                _remember(_state(final), name)
            return name, size
        finally:
            take_away(Path(temporary))

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

    def remove(self, sha256: str) -> None:
        """Throw an original away; one that is not here is as good as thrown away."""
        if _SHA256.fullmatch(sha256) is not None:
            take_away(self._folder / sha256)
            to_disk(self._folder)

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
