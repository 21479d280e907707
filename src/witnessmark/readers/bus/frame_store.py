"""Frames of known messages, gathered while a log is read and given back sender by sender.

A long log does not fit into memory: every few million frames are put in order of their sender
and written to a temporary file; in the end each sender's are read from there, one at a time.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Floats
from witnessmark.readers.files.keep import room
from witnessmark.readers.told import Words64

__all__ = ["FrameStore", "Series"]

#: Frames held in memory, 19 bytes each.
HELD = 2**20 + 2**18
Keys = npt.NDArray[np.uint16]
Lengths = npt.NDArray[np.uint8]
#: Number of the sender's message, times, data, lengths (``None``: all of eight bytes).
Series = tuple[int, Floats, Words64, Lengths | None]
_TYPES = (np.dtype(np.float64), np.dtype(np.uint64), np.dtype(np.uint8))


class FrameStore:
    """Takes pieces of frames in the order of the file.

    Args:
        most: frames held in memory.
    """

    def __init__(self, most: int = HELD) -> None:
        self._most = most
        self._pieces: list[tuple[Keys, Floats, Words64, Lengths]] = []
        self._held = 0
        self._file: IO[bytes] | None = None
        self._whole = True
        #: key -> (place in the file, first frame, number of frames, frames of that stretch)
        self._index: dict[int, list[tuple[int, int, int, int]]] = {}

    def add(self, keys: Keys, time: Floats, data: Words64, length: Lengths) -> None:
        """Take frames; the key says message and sender."""
        self._pieces.append((keys, time, data, length))
        self._held += keys.size
        if self._held >= self._most:
            self._write()

    def series(self) -> Iterator[Series]:
        """Yield the frames of every key, in order of the key; the store is empty afterwards."""
        if self._file is None:
            if self._pieces:
                yield from self._from_memory()
            return
        if self._pieces:
            self._write()
        for key in sorted(self._index):
            stretches = self._index.pop(key)
            total = sum(count for _, _, count, _ in stretches)
            columns: list[Any] = [np.empty(total, k) for k in _TYPES[: 2 if self._whole else 3]]
            done = 0
            for at, first, count, frames in stretches:
                begin = at
                for column in columns:
                    width = column.dtype.itemsize
                    self._file.seek(begin + first * width)
                    _fill(self._file, column[done : done + count])
                    begin += frames * width
                done += count
            yield key, columns[0], columns[1], None if self._whole else columns[2]
        self._file.close()

    def _joined(self) -> tuple[Keys, Floats, Words64, Lengths]:
        """Join the pieces, letting them go one by one, so that both are not there for long."""
        pieces, self._pieces, self._held = self._pieces, [], 0
        columns = [list(column) for column in zip(*pieces, strict=True)]
        pieces.clear()
        joined: list[Any] = []
        for column in columns:
            joined.append(np.concatenate(column))
            column.clear()
        keys, time, data, length = joined
        return keys, time, data, length

    def _from_memory(self) -> Iterator[Series]:
        keys, times, data, lengths = self._joined()
        whole = bool((lengths >= 8).all())
        order = np.argsort(keys, kind="stable")
        end = 0
        counts = np.bincount(keys, minlength=1)
        for key in np.flatnonzero(counts):
            start, end = end, end + int(counts[key])
            at = order[start:end]
            yield int(key), times[at], data[at], None if whole else lengths[at]

    def _write(self) -> None:
        if self._file is None:
            with room():
                self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115  (closed when read)
        keys, time, data, length = self._joined()
        self._whole = self._whole and bool((length >= 8).all())
        columns: tuple[Any, ...] = (time, data, length)
        order = np.argsort(keys, kind="stable")
        at = self._file.seek(0, 2)
        with room():
            for column in columns:
                view = column[order].view(np.uint8).data
                written = 0
                while written < len(view):
                    written += self._file.write(view[written:])
        end = 0
        counts = np.bincount(keys, minlength=1)
        for key in np.flatnonzero(counts):
            start, end = end, end + int(counts[key])
            self._index.setdefault(int(key), []).append((at, start, end - start, keys.size))


def _fill(file: IO[bytes], column: npt.NDArray[np.generic]) -> None:
    view = column.view(np.uint8).data
    done = 0
    while done < len(view):
        count = file.readinto(view[done:])  # type: ignore[attr-defined]
        if not count:
            raise OSError("a temporary file has lost its end")
        done += count
