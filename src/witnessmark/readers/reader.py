"""What a reader is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from witnessmark.model.recording import Recording
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.told import ReaderSettings


@dataclass(frozen=True, slots=True)
class Reader:
    """One format.

    Attributes:
        name: the format's name as shown.
        recognises: says from the first 64 KiB (already unpacked) whether the file is of it.
        read: reads it; damaged parts become problems, the good rest is given.
    """

    name: str
    recognises: Callable[[bytes], bool]
    read: Callable[[FileSource, ReaderSettings], Recording]
