"""What the disk or the database says when it fails, in words that help."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError

from witnessmark.errors import (
    InputRefused,
    StorageBusy,
    StorageDamaged,
    StorageFault,
    StorageFull,
    StorageReadOnly,
    WitnessmarkError,
)

__all__ = ["cause", "disk_fault", "in_words", "storage_fault"]

_AGAIN = "an entry that is there already is not stored twice."
_FULL = "Make room on that disk, then save again."
_READ_ONLY = (
    "Reading still works. Check the rights of the folder and whether its disk is mounted "
    "read-only; then save again."
)
_DAMAGED = (
    "Copy the shop's folder away as it is, run 'witnessmark check SHOP' to see what is hurt, and "
    "bring the last backup back with 'witnessmark restore'."
)
#: SQLSTATE of PostgreSQL -> what it means here.
_STATES = {
    "53100": "full",
    "25006": "read-only",
    "42501": "read-only",
    "55P03": "busy",
    "40P01": "busy",
    "40001": "busy",
    "57014": "busy",
    "XX001": "damaged",
    "XX002": "damaged",
}


#: What the driver of a server raises that was not there, or that took the call and said nothing.
_NO_ANSWER = {"OperationalError", "ConnectionTimeout"}


@contextmanager
def in_words(place: str) -> Iterator[None]:
    """Turn a failure of the database into a refusal with a sentence.

    Args:
        place: the file or database, for the sentence.

    Raises:
        StorageFault: the database failed.
        InputRefused: the file is no database.
    """
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        found = storage_fault(error, place)
        if found is None:
            raise
        raise found from error


def storage_fault(error: BaseException, place: str) -> WitnessmarkError | None:
    """Return the refusal for a failure of the database, ``None`` when the fault is ours."""
    inner = getattr(error, "orig", None) or error
    name = getattr(inner, "sqlite_errorname", None) or _by_words(inner)
    if name in {"SQLITE_NOTADB", "NOTADB"}:
        return InputRefused(
            f"The casebook could not be opened: {cause(error)}.",
            where=place,
            do="Check that the file is a casebook and not damaged; a copy made before the last "
            "change of version lies beside it, and 'witnessmark restore' brings a backup back.",
        )
    if name is not None:
        return _of_sqlite(name, place)
    state = getattr(inner, "sqlstate", None)
    if state in _STATES:
        return _of_kind(_STATES[state], place)
    lost = isinstance(error, DBAPIError) and error.connection_invalidated
    if lost or (state or "")[:2] in {"08", "57"} or type(inner).__name__ in _NO_ANSWER:
        return StorageBusy(
            "The database cannot be reached now.",
            where=place,
            do=f"Wait until it is back and save again; {_AGAIN}",
        )
    return None


def disk_fault(error: OSError, place: str) -> StorageFault:
    """Return the refusal for a failure of the disk."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return _of_kind("full", place)
    if error.errno in {errno.EROFS, errno.EACCES, errno.EPERM}:
        return _of_kind("read-only", place)
    if error.errno in {errno.EMFILE, errno.ENFILE}:
        return StorageBusy("Too many files are open at once.", where=place, do="Try again soon.")
    return StorageFault(
        f"The disk failed: {error.strerror or type(error).__name__}.",
        where=place,
        do="Nothing of this was stored. Check the disk, then save again.",
    )


def cause(error: BaseException) -> str:
    """Return the first line of what a library says."""
    inner = getattr(error, "orig", None) or error
    return str(inner).strip().splitlines()[0] if str(inner).strip() else type(inner).__name__


def _of_sqlite(name: str, place: str) -> StorageFault | None:
    kinds = {
        "BUSY": "busy",
        "LOCKED": "busy",
        "FULL": "full",
        "READONLY": "read-only",
        "PERM": "read-only",
        "CANTOPEN": "unreachable",
        "CORRUPT": "damaged",
        "IOERR": "io",
        "PROTOCOL": "busy",
    }
    kind = kinds.get(name.removeprefix("SQLITE_").split("_")[0])
    return _of_kind(kind, place) if kind else None


def _of_kind(kind: str, place: str) -> StorageFault:
    if kind == "busy":
        return StorageBusy(
            "Another program holds the casebook; nothing was stored.",
            where=place,
            do=f"Wait a moment and save again; {_AGAIN}",
        )
    if kind == "full":
        return StorageFull("The disk is full; nothing of this was stored.", where=place, do=_FULL)
    if kind == "read-only":
        return StorageReadOnly(
            "The place cannot be written; nothing was stored.", where=place, do=_READ_ONLY
        )
    if kind == "damaged":
        return StorageDamaged("The casebook is damaged.", where=place, do=_DAMAGED)
    if kind == "unreachable":
        return StorageFault(
            "The casebook cannot be opened.",
            where=place,
            do="Check that the folder is there and that this user may read and write in it.",
        )
    return StorageFault(
        "The disk could not read or write the casebook.",
        where=place,
        do="Nothing of this was stored. Check the disk; 'witnessmark check SHOP' says what is "
        "hurt.",
    )


def _by_words(inner: BaseException) -> str | None:
    """SQLAlchemy's own copies of a message carry no code."""
    if not isinstance(inner, sqlite3.Error):
        return None
    words = str(inner)
    for part, name in (
        ("locked", "BUSY"),
        ("is full", "FULL"),
        ("readonly", "READONLY"),
        ("malformed", "CORRUPT"),
        ("not a database", "NOTADB"),
        ("unable to open", "CANTOPEN"),
        ("disk I/O", "IOERR"),
    ):
        if part in words:
            return name
    return None
