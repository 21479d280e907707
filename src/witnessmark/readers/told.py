"""What a reader may be told, and the two things it passes on: frames and trouble.

Vocabulary: a *frame* is one message on the bus; a *block* is a piece of the file; a reader of
bus logs turns blocks into :class:`Frames` and leaves the meaning to ``bus.py``; a reader of
decoded channels makes the :class:`Recording` itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.model.problem import Problem
from witnessmark.model.recording import Floats

Words64 = npt.NDArray[np.uint64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ReaderSettings:
    """What a user may say about a file, and the limits that keep the machine alive.

    Attributes:
        columns: header key (``tables.header_key``) -> column name -> quantity name, ``time`` or
            ``ignore``. What a user named once is used for every file with the same header.
        dbc: DBC files for messages that are not known here.
        sample_interval_s: time between two frames or rows where the file has no time stamps.
        month_first: for dates such as 03/04/2026 that nothing in the file settles.
        rate_hz: sampling rate of a waveform whose file does not say it.
        max_bytes: largest file that is read.
        max_expanded_bytes: most bytes a compressed file may expand to.
        max_ratio: highest ratio of expansion beyond 64 MiB; more is a decompression bomb.
        sha256: digest of the file's bytes where somebody has it already; it is not made again.
        block_bytes: size of the pieces a text file is read in.
        show_identity: keep identifiers as they were sent; for the truck's owner only.
        identity_key: key of a digest that tells one truck from another without naming it; none
            is made where it is empty.
    """

    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    dbc: tuple[Path, ...] = ()
    sample_interval_s: float | None = None
    month_first: bool | None = None
    rate_hz: float | None = None
    max_bytes: int = 64 * 2**30
    max_expanded_bytes: int = 16 * 2**30
    max_ratio: float = 300.0
    sha256: str | None = None
    block_bytes: int = 2 * 2**20
    show_identity: bool = False
    identity_key: bytes = b""


@dataclass(frozen=True, slots=True)
class Frames:
    """A piece of a bus log, in the order of the file.

    Attributes:
        time_s: shape (n,), seconds; NaN throughout where the log has no time stamps.
        identifier: shape (n,), uint32, 11 or 29 bits.
        extended: shape (n,), True for 29-bit identifiers.
        length: shape (n,), uint8, number of data bytes, 0 to 64.
        data: shape (n,), uint64, the first data byte in the lowest byte; bytes beyond *length*
            are 0xFF, which the standard reads as not available.
        bus: shape (n,), uint8, number of the interface.
        more: shape (m, 56), uint8, bytes 9 to 64 of the m frames that are longer than 8 bytes, in
            their order, 0xFF beyond the end; ``None`` where no frame is.
    """

    time_s: Floats
    identifier: npt.NDArray[np.uint32]
    extended: Mask
    length: npt.NDArray[np.uint8]
    data: Words64
    bus: npt.NDArray[np.uint8]
    more: npt.NDArray[np.uint8] | None = None

    def __len__(self) -> int:
        return int(self.time_s.size)

    def where(self, mask: npt.NDArray[np.bool_] | npt.NDArray[np.intp]) -> Frames:
        """Return the frames picked by *mask* (or by positions)."""
        more = None
        if self.more is not None:
            long = self.length > 8
            row = np.cumsum(long) - 1
            more = self.more[row[mask][long[mask]]]
            more = more if len(more) else None
        return Frames(
            self.time_s[mask],
            self.identifier[mask],
            self.extended[mask],
            self.length[mask],
            self.data[mask],
            self.bus[mask],
            more,
        )


def joined(pieces: Sequence[Frames]) -> Frames:
    """Return the frames of several pieces one after the other."""
    longer = [p.more for p in pieces if p.more is not None]
    return Frames(
        np.concatenate([p.time_s for p in pieces]),
        np.concatenate([p.identifier for p in pieces]),
        np.concatenate([p.extended for p in pieces]),
        np.concatenate([p.length for p in pieces]),
        np.concatenate([p.data for p in pieces]),
        np.concatenate([p.bus for p in pieces]),
        np.concatenate(longer) if longer else None,
    )


class Trouble:
    """Collects what went wrong while a file is read, each kind once with its count."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._found: dict[str, list[object]] = {}

    def add(self, kind: str, what: str, *, do: str = "", where: str = "", count: int = 1) -> None:
        """Count one fault of a *kind*; the first one's sentence is kept.

        In *what* ``{count}`` stands for the number found in the end.
        """
        if kind in self._found:
            self._found[kind][3] = int(str(self._found[kind][3])) + count
        else:
            self._found[kind] = [where or self.name, what, do, count]

    def count(self, kind: str) -> int:
        """Return how many faults of that kind were found."""
        return int(str(self._found[kind][3])) if kind in self._found else 0

    def problems(self) -> tuple[Problem, ...]:
        """Return one problem a kind."""
        return tuple(
            Problem(str(where), str(what).replace("{count}", f"{count:,}"), str(do))
            for where, what, do, count in self._found.values()
        )
