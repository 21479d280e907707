"""One door to all formats: told by content, read, never by the file's name."""

from __future__ import annotations

from pathlib import Path

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.logs import asc, blf, candump, frame_table, slcan, trc
from witnessmark.readers.mdf import mf4
from witnessmark.readers.pickups import audio
from witnessmark.readers.reader import Reader
from witnessmark.readers.tables import edge_list, event_list
from witnessmark.readers.tables import table_recording as tables
from witnessmark.readers.told import ReaderSettings

__all__ = ["READERS", "read_recording"]

#: In the order they are asked; the narrower ones first.
READERS: tuple[Reader, ...] = (
    mf4.READER,
    blf.READER,
    audio.READER,
    asc.READER,
    trc.READER,
    candump.READER,
    slcan.READER,
    frame_table.READER,
    edge_list.READER,
    event_list.READER,
    tables.READER,
)


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
    for reader in READERS:
        if reader.recognises(source.head):
            return reader
    raise RecordingRefused(
        "This is of no format that is known here.",
        where=source.name,
        do="Known are: " + ", ".join(reader.name for reader in READERS) + "; gzip of any of them.",
    )
