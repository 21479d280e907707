"""The frames of one bus: what is known of them is kept by sender, the rest is counted.

Two interfaces are two buses. Their frames never share a store: an address means another control
unit on another bus.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel
from witnessmark.readers.bus.decode import SignalGroup, channels_of, long_channels
from witnessmark.readers.bus.frame_store import FrameStore
from witnessmark.readers.bus.j1939_signals import Signal
from witnessmark.readers.bus.long_frames import LongFrames
from witnessmark.readers.bus.special_messages import SpecialMessages, relative
from witnessmark.readers.files.keep import Keeper
from witnessmark.readers.told import Frames, Trouble, Words64

__all__ = ["OneBus"]

#: Frames kept to tell whether another interface listened to the same bus.
_FIRST, _MOST = 5_000, 200_000
_MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F))


class OneBus:
    """Collects the frames of one interface.

    Attributes:
        frames: how many came.
        senders: shape (256,), frames by source address.
        first: number of the first frame in the order of the file.
    """

    def __init__(
        self,
        groups: Mapping[int, tuple[Signal, ...]],
        numbers: Sequence[int],
        trouble: Trouble,
        held: int,
    ) -> None:
        self.frames = 0
        self.senders = np.zeros(256, np.int64)
        self._groups = dict(groups)
        self._numbers = list(numbers)
        self.special = SpecialMessages(self._groups, trouble)
        self._store = FrameStore(held)
        self._longer = LongFrames(self._groups, self._numbers)
        self._prints: list[tuple[npt.NDArray[np.float64], Words64, npt.NDArray[np.uint32]]] = []
        self._printed = 0

    def known(self, frames: Frames, number: npt.NDArray[np.uint8], special: int) -> None:
        """Take frames whose place in the table of messages is *number*; 0 is none.

        Args:
            frames: as read, times on the clock of the recording.
            number: shape (n,), place in the table of messages.
            special: the place of messages that are no row of signals.
        """
        wanted = np.flatnonzero((number - np.uint8(1)) < special - 1)
        sender = (frames.identifier.take(wanted) & np.uint32(0xFF)).astype(np.uint16)
        extended = frames.extended.take(wanted)
        if not extended.all():
            sender[~extended] = 0  # an identifier of 11 bits names no sender
        self._store.add(
            number.take(wanted).astype(np.uint16) * np.uint16(256) + sender,
            frames.time_s.take(wanted),
            frames.data.take(wanted),
            frames.length.take(wanted),
        )
        other = np.flatnonzero(number == special)
        if other.size:
            self.special.add(frames.where(other))
        if frames.more is not None:
            self._longer.add(frames, number)

    def remember(self, frames: Frames) -> None:
        """Keep a sample of the frames, chosen by what is in them: the same on every interface."""
        if self._printed >= _MOST:
            return
        content = (frames.data ^ frames.identifier.astype(np.uint64) * _MIX[0]) * _MIX[1]
        content ^= content >> np.uint64(29)
        chosen = (content & np.uint64(15)) == 0
        if self._printed < _FIRST:
            chosen[: _FIRST - self._printed] = True
        here = np.flatnonzero(chosen)
        self._prints.append((frames.time_s[here], content[here], frames.identifier[here]))
        self._printed += here.size

    def sample(self) -> tuple[npt.NDArray[np.float64], Words64, npt.NDArray[np.uint32]] | None:
        """Return times, contents and identifiers of the sample; ``None`` where there is none."""
        if not self._prints:
            return None
        times, contents, identifiers = zip(*self._prints, strict=True)
        return np.concatenate(times), np.concatenate(contents), np.concatenate(identifiers)

    def channels(
        self, first_s: float, keeper: Keeper, trouble: Trouble, *, unordered: bool, stamped: bool
    ) -> Iterator[Channel]:
        """Decode everything that was collected.

        Args:
            first_s: first time of the recording [s].
            keeper: keeps the arrays.
            trouble: is told what is not decoded.
            unordered: some frames stand out of the order of time.
            stamped: the log has time stamps; frames without one are left out.
        """
        read = self._read(first_s, trouble, unordered=unordered, stamped=stamped)
        for channel in channels_of(read, keeper):
            yield keeper.channel(channel)
        yield from long_channels(relative(self.special.messages, first_s), self._groups)
        yield from self._longer.channels(first_s, trouble)

    def _read(
        self, first_s: float, trouble: Trouble, *, unordered: bool, stamped: bool
    ) -> Iterator[SignalGroup]:
        """Yield the frames of one message of one sender after the other, in order of time."""
        for key, time, data, length in self._store.series():
            if stamped and np.isnan(time).any():
                known = ~np.isnan(time)  # frames before the first stamp
                trouble.add(
                    "no stamp",
                    "{count} frames carry no time stamp while others do; they are left out.",
                    count=int((~known).sum()),
                )
                time, data = time[known], data[known]  # noqa: PLW2901
                length = None if length is None else length[known]  # noqa: PLW2901
            time -= first_s  # noqa: PLW2901
            if unordered and (np.diff(time) < 0).any():
                by_time = np.argsort(time, kind="stable")
                time, data = time[by_time], data[by_time]  # noqa: PLW2901
                length = None if length is None else length[by_time]  # noqa: PLW2901
            pgn = self._numbers[(key >> 8) - 1]
            source = None if pgn < 0 else key & 0xFF
            yield SignalGroup(pgn, source, time, data, length, self._groups[pgn])
