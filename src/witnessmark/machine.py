"""All that differs from one operating system to another, each with its portable twin.

Nothing else in the package asks for a right, a limit, a lock, a signal or a flag of one system; a
test lists every such call. Which twin runs is asked of :func:`posix` at each call, so that the
twins can be run anywhere. docs/other_systems.md says what each comes to, and what was never run
on a real machine of the other kind.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import stat
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import socket

__all__ = [
    "close_to_others", "ended_by", "first_to_go", "freeze", "keep_freed_memory", "listen_alone",
    "many_handles", "open_to_others", "opened_new", "posix", "put_in_place", "step_back",
    "take_away", "to_disk", "writable_by_owner", "written_by_others",
]  # fmt: skip


_OTHERS = 0o077
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
#: Writes bytes as they are; other systems know no other way and have no such flag.
_AS_IT_IS = getattr(os, "O_BINARY", 0)


def posix() -> bool:
    """Say whether this system has users, modes and limits as POSIX has them."""
    return os.name == "posix"


def opened_new(
    path: Path, *, private: bool = False, append: bool = False, over: bool = False
) -> int:
    """Open a new file for writing and return its handle; bytes are written as they are.

    Args:
        path: the file.
        private: nobody else of this machine may read it (where the system has users).
        append: every write goes to its end.
        over: what stands there already is emptied instead of refused.

    Raises:
        FileExistsError: it is there already, and *over* was not said.
    """
    flags = os.O_WRONLY | os.O_CREAT | _AS_IT_IS
    flags |= (os.O_TRUNC if over else os.O_EXCL) | (os.O_APPEND if append else 0)
    return os.open(path, flags, 0o600 if private else 0o644)


def to_disk(path: Path) -> None:
    """Make a file, or a new name in a folder, survive a power cut, as far as the system can."""
    # Elsewhere a folder cannot be opened, and a file that is to be flushed must be writable.
    flags = os.O_RDONLY if posix() else os.O_RDWR | _AS_IT_IS
    with contextlib.suppress(OSError):
        handle = os.open(path, flags)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def freeze(path: Path) -> None:
    """Let nobody write a file again, and nobody but its owner read it."""
    path.chmod(0o400)


def writable_by_owner(path: Path) -> None:
    """Let the owner of a file write it again, and nobody else read it."""
    path.chmod(0o600)


def take_away(path: Path) -> None:
    """Remove a file, a frozen one too; nothing happens where there is none."""
    if not posix():
        _thaw(path)
    path.unlink(missing_ok=True)


def put_in_place(fresh: Path, final: Path) -> None:
    """Give a finished file its name, over a frozen one too: a reader sees the old or the new."""
    if not posix():
        _thaw(final)
    fresh.replace(final)


def close_to_others(path: Path) -> None:
    """Take the rights of others away; their owner keeps his.

    Where the system has no such modes a shop's folder is as private as the folder it lies in.

    Raises:
        OSError: that could not be changed.
    """
    if posix():
        path.chmod(stat.S_IMODE(path.stat().st_mode) & ~_OTHERS)


def open_to_others(path: Path) -> bool:
    """Say whether others of this machine may read or write it, as far as modes tell."""
    return posix() and bool(_mode(path) & _OTHERS)


def written_by_others(path: Path) -> bool:
    """Say whether somebody else may have written it, as far as owner and modes tell."""
    told = path.lstat()
    if stat.S_ISLNK(told.st_mode):
        return True
    if not posix():
        return False
    return told.st_uid != os.getuid() or bool(told.st_mode & (stat.S_IWGRP | stat.S_IWOTH))


def many_handles(count: int) -> None:
    """Ask for so many open files at once; where no limit is known nothing is asked."""
    if not posix():
        return
    import resource  # noqa: PLC0415 - not on every system

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != resource.RLIM_INFINITY and soft < count:
        most = count if hard == resource.RLIM_INFINITY else min(count, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


def listen_alone(listening: socket.socket) -> None:
    """Let a server take a port that was let go just now, and nobody take it from him.

    On Windows the option that elsewhere frees a port lets another program listen there too.
    """
    import socket as of_system  # noqa: PLC0415 - only a server needs it

    if posix():
        listening.setsockopt(of_system.SOL_SOCKET, of_system.SO_REUSEADDR, 1)
    elif alone := getattr(of_system, "SO_EXCLUSIVEADDRUSE", None):
        listening.setsockopt(of_system.SOL_SOCKET, alone, 1)


def step_back() -> None:
    """Let this process work behind those that a person waits for."""
    if posix():
        os.nice(5)


def first_to_go() -> None:
    """Where memory runs out, let it be this process that the system ends."""
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("500", encoding="ascii")


@cache
def keep_freed_memory() -> None:
    """Let what a working array leaves free be used again, before it goes back to the system.

    Sums over all sets of causes and draws of a model, and the pieces of a recording, take and leave
    arrays of a few megabytes. The GNU C library gives each back at once, and every page is fetched
    anew: more than half of such a sum, a quarter of reading a log. Larger ones go back as before.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):
        library = ctypes.CDLL(None)
        if library.gnu_get_libc_version:  # the numbers below are its own, of malloc.h
            library.mallopt(_MMAP_THRESHOLD, 8 << 20)
            library.mallopt(_TRIM_THRESHOLD, 64 << 20)


def ended_by(code: int) -> str:
    """Return the name of the signal that ended a process, empty where none did."""
    with contextlib.suppress(ValueError):
        return signal.Signals(-code).name if code < 0 else ""
    return f"signal {-code}"


def _thaw(path: Path) -> None:
    with contextlib.suppress(OSError):
        writable_by_owner(path)


def _mode(path: Path) -> int:
    try:
        return stat.S_IMODE(path.lstat().st_mode)
    except OSError:
        return 0
