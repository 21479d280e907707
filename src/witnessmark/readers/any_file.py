"""One door to all formats: told by content, read, never by the file's name."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from witnessmark.errors import RecordingRefused
from witnessmark.machine import keep_freed_memory
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.told import ReaderSettings

if TYPE_CHECKING:
    from witnessmark.model.recording import Recording
    from witnessmark.readers.reader import Reader

    READERS: tuple[Reader, ...]

__all__ = ["READERS", "read_recording"]

#: Module of each reader, in the order they are asked, the narrower ones first; with the first bytes
#: of its files where they are always the same. A reader is loaded when its turn comes: a log of
#: text does not wait for the tables, nor anything for a kind that its first bytes rule out.
_IN_TURN: tuple[tuple[str, tuple[bytes, ...]], ...] = (
    ("mdf.mf4", (b"MDF ", b"UnFinMF ")),
    ("logs.blf", (b"LOGG",)),
    ("pickups.audio", (b"RIFF", b"riff", b"RF64", b"FORM", b"fLaC", b".snd", b"caff")),
    ("logs.asc", ()),
    ("logs.trc", ()),
    ("logs.candump", ()),
    ("logs.slcan", ()),
    ("logs.frame_table", ()),
    ("tables.edge_list", ()),
    ("tables.event_list", ()),
    ("tables.table_recording", ()),
)


def __getattr__(name: str) -> tuple[Reader, ...]:
    """Return all readers, in the order they are asked."""
    if name != "READERS":
        raise AttributeError(name)
    return tuple(_reader(module) for module, _ in _IN_TURN)


def read_recording(path: Path | str, *, settings: ReaderSettings | None = None) -> Recording:
    """Read a file of any known format.

    Args:
        path: the file, plain or gzip.
        settings: what the user said about it, and the limits.

    Raises:
        NotFound: there is no such file.
        RecordingRefused: it is of no known format, empty, damaged beyond use or absurdly large.
    """
    settings = settings or ReaderSettings()
    keep_freed_memory()
    with FileSource(Path(path), settings) as source:
        reader = which(source)
        try:
            return reader.read(source, settings)
        except MemoryError:
            raise RecordingRefused(
                "The file needs more memory than there is.",
                where=source.name,
                do="Cut it into shorter recordings.",
            ) from None


def which(source: FileSource) -> Reader:
    """Return the reader whose format the file is of.

    Raises:
        RecordingRefused: none.
    """
    for reader in _asked(source.head):
        if reader.recognises(source.head):
            return reader
    names = ", ".join(_reader(module).name for module, _ in _IN_TURN)
    raise RecordingRefused(
        "This is of no format that is known here.",
        where=source.name,
        do=f"Known are: {names}; gzip of any of them.",
    )


def _asked(head: bytes) -> Iterator[Reader]:
    for module, first_bytes in _IN_TURN:
        if not first_bytes or head.startswith(first_bytes):
            yield _reader(module)


def _reader(module: str) -> Reader:
    reader: Reader = import_module(f"witnessmark.readers.{module}").READER
    return reader
