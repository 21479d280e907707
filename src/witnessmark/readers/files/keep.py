"""Arrays of a long recording lie in a temporary file, so that the file may exceed the memory.

What is kept is mapped into the address space: it reads like any other array, and the system
fetches what is looked at and lets it go again. Short recordings stay in memory.
"""

from __future__ import annotations

import mmap
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import IO, Any, TypeVar
from weakref import WeakValueDictionary

import numpy as np
import numpy.typing as npt

from witnessmark.errors import RecordingRefused
from witnessmark.model.recording import Channel

__all__ = ["Keeper", "let_go", "on_disk", "rest", "room"]

Array = TypeVar("Array", bound=npt.NDArray[np.generic])
#: Bytes of decoded channels that stay in memory.
IN_MEMORY = 48 * 2**20


class Keeper:
    """Keeps the arrays of one recording.

    Args:
        in_memory: bytes that stay in memory; everything after them goes to a temporary file.
    """

    def __init__(self, in_memory: int = IN_MEMORY) -> None:
        self.in_memory = in_memory
        self.bytes = 0
        self._file: IO[bytes] | None = None
        self._at = 0
        self._held: WeakValueDictionary[int, npt.NDArray[np.generic]] = WeakValueDictionary()

    def array(self, given: Array) -> Array:
        """Return the same numbers, kept."""
        if id(given) in self._held or 0 in given.strides:
            return given
        self.bytes += given.nbytes
        kept = self._mapped(given) if given.nbytes and self.bytes > self.in_memory else given
        self._held[id(kept)] = kept
        return kept

    def blank(self, count: int, kind: type[np.generic]) -> npt.NDArray[Any]:
        """Return an array to be filled in."""
        size = count * np.dtype(kind).itemsize
        self.bytes += size
        if self.bytes <= self.in_memory or not size:
            return np.empty(count, kind)
        with room():
            file = self._opened()
            file.truncate(self._at + size)
        mapped = mmap.mmap(file.fileno(), size, access=mmap.ACCESS_WRITE, offset=self._at)
        self._at += -(-size // mmap.ALLOCATIONGRANULARITY) * mmap.ALLOCATIONGRANULARITY
        return np.frombuffer(mapped, kind)

    def channel(self, channel: Channel) -> Channel:
        """Return the channel with its arrays kept."""
        time, values = self.array(channel.time_s), self.array(channel.values)
        quality = self.array(channel.quality)
        same = time is channel.time_s and values is channel.values and quality is channel.quality
        return channel if same else replace(channel, time_s=time, values=values, quality=quality)

    def _mapped(self, given: Array) -> Array:
        file = self._opened()
        whole = np.ascontiguousarray(given)
        with room():
            written = 0
            view = whole.reshape(-1).view(np.uint8).data
            file.seek(self._at)
            while written < len(view):
                written += file.write(view[written : written + 2**24])
        mapped = mmap.mmap(file.fileno(), len(view), access=mmap.ACCESS_READ, offset=self._at)
        step = mmap.ALLOCATIONGRANULARITY
        self._at += -(-len(view) // step) * step
        kept: Array = np.frombuffer(mapped, given.dtype).reshape(given.shape)  # type: ignore[assignment]
        return kept

    def _opened(self) -> IO[bytes]:
        if self._file is None:
            with room():
                self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115  (lives as long as self)
        return self._file


def let_go(channel: Channel) -> None:
    """Let the system take back the memory of what was looked at of a kept channel."""
    rest(channel.time_s, channel.values, channel.quality)


def rest(*arrays: npt.NDArray[Any]) -> None:
    """Do the same for single arrays; those in memory stay as they are."""
    for array in arrays:
        mapped = on_disk(array)
        if mapped is not None and hasattr(mmap, "MADV_DONTNEED"):
            mapped.madvise(mmap.MADV_DONTNEED)


def on_disk(array: npt.NDArray[Any]) -> mmap.mmap | None:
    """Return the map an array lies in, ``None`` for one in memory."""
    base: object = array
    while isinstance(base, np.ndarray | memoryview):
        base = base.obj if isinstance(base, memoryview) else base.base
    return base if isinstance(base, mmap.mmap) else None


@contextmanager
def room() -> Iterator[None]:
    """Turn a full disk into a sentence."""
    try:
        yield
    except OSError as error:
        raise RecordingRefused(
            f"A recording of this length needs room on the disk: {error.strerror}.",
            where=tempfile.gettempdir(),
            do="Make room there, or cut the recording into shorter ones.",
        ) from None
