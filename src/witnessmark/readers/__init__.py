"""Readers: files as a shop brings them -> :class:`witnessmark.model.recording.Recording`.

``read_recording(path)`` tells the format by content and never by the file's name.
docs/add_a_reader.md shows how to add one; tests/readers/compliance.py is what each must pass.
"""

from witnessmark.readers.any_file import READERS, read_recording
from witnessmark.readers.reader import Reader
from witnessmark.readers.told import ReaderSettings

__all__ = ["READERS", "Reader", "ReaderSettings", "read_recording"]
