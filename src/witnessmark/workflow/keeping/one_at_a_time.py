"""One process at a time: a lock that the system lets go when its holder ends, however it ends."""

from __future__ import annotations

import contextlib
import errno
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from witnessmark.machine import opened_new

__all__ = ["Held", "held_alone"]


class Held(Exception):
    """Another holds it."""


@contextmanager
def held_alone(path: Path) -> Iterator[None]:
    """Hold a file of no content of its own.

    The lock is that of a database file: it is the same on every system.

    Raises:
        Held: another process, or another thread of this one, holds it.
        OSError: it can be neither made nor opened.
    """
    with contextlib.suppress(FileExistsError):
        os.close(opened_new(path, private=True))
    if not os.access(path, os.W_OK):  # not opened to see: closing it would let a lock of ours go
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
    with closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as lock:
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise Held(str(path)) from None
            raise OSError(errno.EIO, str(error), str(path)) from error
        yield
