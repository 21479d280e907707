"""Readers: files as a shop brings them -> :class:`witnessmark.model.recording.Recording`.

``read_recording(path)`` tells the format by content and never by the file's name.
docs/add_a_reader.md shows how to add one; tests/readers/compliance.py is what each must pass.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from witnessmark.readers.told import ReaderSettings

if TYPE_CHECKING:
    from witnessmark.readers.any_file import READERS, read_recording
    from witnessmark.readers.reader import Reader

__all__ = ["READERS", "Reader", "ReaderSettings", "read_recording"]


def __getattr__(name: str) -> object:
    """Load all formats when the first of them is asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from witnessmark.readers import any_file, reader  # noqa: PLC0415  (every format)

    return reader.Reader if name == "Reader" else getattr(any_file, name)
