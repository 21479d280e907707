"""Signals behind the eighth byte of frames that are longer (CAN FD, up to 64 bytes)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from witnessmark.model.recording import Channel, Floats
from witnessmark.readers.bus.decode import channel_of_signal, decode, motorola_end
from witnessmark.readers.bus.j1939_signals import Signal, Switch
from witnessmark.readers.files.keep import Keeper
from witnessmark.readers.told import Frames, Trouble, Words64

__all__ = ["LongFrames"]

Bytes = npt.NDArray[np.uint8]
#: Frames that are gathered before they are put away.
_GATHERED = 2**18


class _Rows(NamedTuple):
    time: Floats
    length: Bytes
    data: Bytes  #: shape (n, 64)


class LongFrames:
    """Gathers the long frames of messages with signals behind the eighth byte.

    Their first eight bytes are read like those of any frame.

    Args:
        groups: the signals of every message.
        numbers: the messages in the order of their places in the key table, from 1 on.
    """

    def __init__(self, groups: dict[int, tuple[Signal, ...]], numbers: list[int]) -> None:
        self.count = self.unknown = 0
        self._groups = groups
        self._numbers = numbers
        self._wide = np.zeros(256, np.bool_)
        for place, pgn in enumerate(numbers, 1):
            self._wide[place] = any(s.bytes_needed > 8 for s in groups[pgn])
        self._keeper = Keeper()
        self._gathered: list[tuple[npt.NDArray[np.uint16], _Rows]] = []
        self._size = 0
        self._kept: dict[int, list[_Rows]] = {}

    def add(self, frames: Frames, place: Bytes) -> None:
        """Take the long ones of *frames*; *place* is where their message stands in the table."""
        long = np.flatnonzero(frames.length > 8)
        assert frames.more is not None  # noqa: S101  (there are long frames)
        self.count += long.size
        self.unknown += int(np.count_nonzero(place[long] == 0))
        wide = self._wide[place[long]]
        long, more = long[wide], frames.more[wide]
        if not long.size:
            return
        first = frames.data[long].astype("<u8").view(np.uint8).reshape(-1, 8)
        rows = _Rows(frames.time_s[long], frames.length[long], np.concatenate([first, more], 1))
        sender = (frames.identifier[long] & np.uint32(0xFF)).astype(np.uint16)
        sender[~frames.extended[long]] = 0
        self._gathered.append((place[long].astype(np.uint16) * np.uint16(256) + sender, rows))
        self._size += long.size
        if self._size >= _GATHERED:
            self._put_away()

    def channels(self, first_s: float, trouble: Trouble) -> list[Channel]:
        """Decode the signals, and say what is not decoded."""
        self._put_away()
        found = []
        for key in sorted(self._kept):
            pieces = self._kept.pop(key)
            time, length, data = (np.concatenate(column) for column in zip(*pieces, strict=True))
            order = np.flatnonzero(~np.isnan(time)) if np.isnan(time).any() else None
            if (np.diff(time) < 0.0).any():
                order = np.argsort(time, kind="stable")[: np.count_nonzero(~np.isnan(time))]
            if order is not None and not np.isnan(time).all():
                time, length, data = time[order], length[order], data[order]
            pgn = self._numbers[(key >> 8) - 1]
            for signal in self._groups[pgn]:
                enough = length >= signal.bytes_needed
                for switch in signal.when:
                    enough &= np.isin(_raw(switch, data), list(switch.values))
                source = None if pgn < 0 else key & 0xFF
                if signal.bytes_needed <= 8 or not enough.any():
                    continue
                if signal.sender not in {None, source}:
                    continue
                values, quality = decode(_raw(signal, data[enough]), signal)
                when = time[enough] - first_s
                channel = channel_of_signal(signal, source, when, values, quality)
                found.append(self._keeper.channel(channel))
        if self.count:
            trouble.add(
                "long",
                f"{self.count:,} frames have more than 8 bytes (CAN FD); {self.unknown:,} of them "
                "carry no message that is known here and are only counted.",
                do="Name a DBC file for them. Messages packed into one frame after SAE J1939-22 "
                "are not taken apart.",
            )
        return found

    def _put_away(self) -> None:
        if not self._gathered:
            return
        keys = np.concatenate([k for k, _ in self._gathered])
        whole = _Rows(
            *(np.concatenate(c) for c in zip(*(r for _, r in self._gathered), strict=True))
        )
        self._gathered, self._size = [], 0
        for key in np.unique(keys).tolist():
            here = keys == key
            kept = _Rows(*(self._keeper.array(column[here]) for column in whole))
            self._kept.setdefault(key, []).append(kept)


def _raw(signal: Signal | Switch, data: Bytes) -> Words64:
    """Return the bits of a signal of up to 64 bits that stands anywhere in 64 bytes."""
    if signal.motorola:
        end = motorola_end(signal)
        last = -(-end // 8)
        chosen, shift = data[:, max(last - 9, 0) : last][:, ::-1], 8 * last - end
    else:
        first, shift = divmod(signal.start, 8)
        chosen = data[:, first : first + 9]
    wide = np.zeros((data.shape[0], 16), np.uint8)
    wide[:, : chosen.shape[1]] = chosen
    low, high = wide.view("<u8").T.astype(np.uint64)
    raw: Words64 = low >> np.uint64(shift)
    if shift:
        raw |= high << np.uint64(64 - shift)
    return raw & np.uint64((1 << signal.bits) - 1)
