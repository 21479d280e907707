"""A file of whole lines: what is in it stays whole when the disk is full, and a new one follows."""

from __future__ import annotations

import os
from bisect import bisect_left
from pathlib import Path

from witnessmark.errors import InputRefused
from witnessmark.machine import opened_new

__all__ = ["DiskFull", "LineFile"]


class DiskFull(Exception):
    """No more can be written; what was written before is whole."""


class LineFile:
    """Takes lines and writes them in pieces; a piece that does not fit is taken back.

    Args:
        path: the first file; it must not be there yet. The next are ``name-0002.log`` and so on.
        rotate_bytes: a new file is begun behind so many bytes, ``None`` for one file.

    Attributes:
        files: the files, in order.
        saved: lines that are in them.

    Raises:
        InputRefused: the file is there already, or cannot be written.
    """

    def __init__(self, path: Path, *, rotate_bytes: int | None = None) -> None:
        self.files: list[Path] = []
        self.saved = 0
        self._first, self._rotate = path, rotate_bytes
        self._pending: list[bytes] = []
        self._handle = -1
        self._size = 0
        self._begin(path)

    def write(self, line: bytes) -> None:
        """Take a line with its end; it is written at the next :meth:`flush`."""
        self._pending.append(line)

    def flush(self, *, before: bytes | None = None) -> None:
        """Write what was taken.

        Args:
            before: put the lines in order, and keep those that do not stand before this one for
                later: another bus may still have earlier ones.

        Raises:
            DiskFull: it does not fit; the file ends with the last whole line before.
        """
        ready: list[bytes] = self._pending
        later: list[bytes] = []
        if before is not None:
            ready.sort()
            cut = bisect_left(ready, before)
            ready, later = ready[:cut], ready[cut:]
        self._pending = later
        if not ready:
            return
        data, count = b"".join(ready), len(ready)
        written = 0
        try:
            while written < len(data):
                written += os.write(self._handle, data[written:])
        except OSError as error:
            whole = data[:written].rfind(b"\n") + 1
            os.ftruncate(self._handle, self._size + whole)
            self._size += whole
            self.saved += data[:whole].count(b"\n")
            raise DiskFull(error.strerror or "no room") from None
        self._size += written
        self.saved += count
        if self._rotate is not None and self._size >= self._rotate:
            self.turn()

    def sync(self) -> None:
        """Bring what was written to the disk."""
        os.fsync(self._handle)

    def turn(self) -> None:
        """Close the file and begin the next one."""
        self.close()
        number = len(self.files) + 1
        self._begin(self._first.with_name(f"{self._first.stem}-{number:04d}{self._first.suffix}"))

    def close(self) -> None:
        """Close the file; what was not written is gone."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def remove(self) -> None:
        """Take away files in which nothing stands."""
        self.close()
        for path in self.files:
            if path.is_file() and path.stat().st_size == 0:
                path.unlink()

    def _begin(self, path: Path) -> None:
        try:
            self._handle = opened_new(path, append=True)
        except FileExistsError:
            raise InputRefused(
                "The file is already there.",
                where=str(path),
                do="Give a new name; nothing is lost.",
            ) from None
        except OSError as error:
            raise InputRefused(
                f"The file cannot be written: {error.strerror}.",
                where=str(path),
                do="Check the folder.",
            ) from None
        self._size = 0
        self.files.append(path)
