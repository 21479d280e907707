"""Bus logs: frames in, a :class:`Recording` out. What every frame reader shares.

Only what the table of signals knows is kept, as one word a frame; everything else is counted.
Many hours of it lie in temporary files instead of in memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers.bus.decode import SignalGroup, channels_of, long_channels
from witnessmark.readers.bus.frame_store import FrameStore
from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal, by_group
from witnessmark.readers.bus.long_frames import LongFrames
from witnessmark.readers.bus.special_messages import (
    DIAGNOSTIC_GROUPS,
    TRANSPORT_GROUPS,
    SpecialMessages,
    relative,
)
from witnessmark.readers.bus.trouble_codes import CodeLog
from witnessmark.readers.files.keep import Keeper
from witnessmark.readers.files.source import FileSource
from witnessmark.readers.honesty import oddities
from witnessmark.readers.logs.timeline import Timeline
from witnessmark.readers.told import Frames, ReaderSettings

if TYPE_CHECKING:
    from witnessmark.readers.logs.lines import LineReader

_HIGHEST_29 = 2**29
#: Marks an error frame in candump text.
_ERROR_BIT = 0x20000000
#: Different identifiers that are counted; more is no truck.
_MOST_IDENTIFIERS = 100_000
#: Place in the key table that is no group of signals.
_SPECIAL = 255


class BusLog:
    """Collects the frames of one file.

    Args:
        source: the file.
        settings: what the user said.
        format_name: the reader's name.
    """

    def __init__(self, source: FileSource, settings: ReaderSettings, format_name: str) -> None:
        self.source = source
        self.settings = settings
        self.format = format_name
        self.trouble = source.trouble
        self.timeline = Timeline(source.trouble)
        self.frames = 0
        self.standard = 0
        self.identifiers: set[int] = set()
        self.senders = np.zeros(256, np.int64)
        self.buses: set[int] = set()
        self.facts: dict[str, object] = {}
        self._rejected = 0
        signals = SIGNALS + self._own_signals()
        self._groups = by_group(signals)
        self._numbers = sorted(self._groups)
        if len(self._numbers) > 250:
            self._numbers = self._numbers[:250]
            self.trouble.add("dbc", "The DBC files hold more messages than are read (250).")
        self._table = _table(self._numbers)
        self._met = np.full(2**14, 2**32 - 1, np.uint32)
        self._store = FrameStore()
        self._special = SpecialMessages(self._groups, self.trouble)
        self._longer = LongFrames(self._groups, self._numbers)

    def add(self, frames: Frames) -> None:
        """Take the next frames of the file."""
        if not len(frames):
            return
        extended = frames.extended
        whole = bool(extended.all())
        if frames.identifier.max() >= _HIGHEST_29 or not whole:
            frames = self._possible(frames)
            if not len(frames):
                return
            extended = frames.extended
            whole = bool(extended.all())
        if np.isnan(frames.time_s.min()):
            unknown = np.isnan(frames.time_s)
            stamped = self.timeline.first_s is not None and self.settings.sample_interval_s is None
            if stamped or not unknown.all():
                self._no_stamp(int(unknown.sum()))
                frames = frames.where(~unknown)
                if not len(frames):
                    return
                extended = frames.extended
        time = self._clock(frames)
        self.frames += len(frames)
        key = frames.identifier
        if not whole:
            self.standard += int(len(frames) - np.count_nonzero(extended))
            self._note(-1 - np.unique(key[~extended]).astype(np.int64))
            key = np.where(extended, key, 0).astype(np.uint32)
        self._meet(key if whole else key[extended])
        speaking = frames.length > 0  # a request for data says nothing of its sender
        if not whole:
            speaking &= extended
        every = bool(speaking.all())
        self.senders += np.bincount((key if every else key[speaking]).astype(np.uint8),
                                    minlength=256)  # fmt: skip
        if frames.bus.min() == frames.bus.max():
            self.buses.add(int(frames.bus[0]))
        else:
            self.buses.update(np.flatnonzero(np.bincount(frames.bus)).tolist())
        number = self._table.take((key >> np.uint32(8)) & np.uint32(0x3FFFF))
        if not whole:
            number = np.where(extended, number, 0).astype(np.uint8)
        wanted = np.flatnonzero((number - np.uint8(1)) < _SPECIAL - 1)
        self._store.add(
            number.take(wanted).astype(np.uint16) * np.uint16(256)
            + (key.take(wanted) & np.uint32(0xFF)).astype(np.uint16),
            time.take(wanted),
            frames.data.take(wanted),
            frames.length.take(wanted),
        )
        special = np.flatnonzero(number == _SPECIAL)
        if special.size:
            self._special.add(replace(frames, time_s=time).where(special))
        if frames.more is not None:
            self._longer.add(replace(frames, time_s=time), number)

    def _possible(self, frames: Frames) -> Frames:
        """Leave out the frames whose identifier cannot be."""
        high = frames.identifier >= np.uint32(_HIGHEST_29)
        short = ~frames.extended & (frames.identifier > 0x7FF)
        if not (high.any() or short.any()):
            return frames
        errors = int((high & ((frames.identifier & np.uint32(_ERROR_BIT)) != 0)).sum())
        if errors:
            self.facts["error_frames"] = int(str(self.facts.get("error_frames", 0))) + errors
        self._rejected += int((high | short).sum()) - errors
        return frames.where(~(high | short))

    def _meet(self, key: np.ndarray) -> None:
        """Note identifiers that were not met before; the last ones are found by their hash."""
        place = (key * np.uint32(0x9E3779B1)) >> np.uint32(18)
        new = self._met.take(place) != key
        if new.any():
            fresh = np.unique(key[new])
            self._note(fresh)
            self._met[(fresh * np.uint32(0x9E3779B1)) >> np.uint32(18)] = fresh

    def _note(self, identifiers: np.ndarray) -> None:
        if len(self.identifiers) < _MOST_IDENTIFIERS:
            self.identifiers.update(identifiers.tolist())
            return
        self.trouble.add(
            "identifiers of all kinds",
            f"The log holds more than {_MOST_IDENTIFIERS:,} different identifiers; they are no "
            "longer told apart.",
            do="No truck sends so many: check where the log comes from.",
        )

    def counted_on(self, frames: Frames) -> Frames:
        """Return frames whose stamps are steps from frame to frame with running time."""
        before = self.timeline.last_s if np.isfinite(self.timeline.last_s) else 0.0
        return replace(frames, time_s=before + np.cumsum(frames.time_s))

    def lines_read(self, reader: LineReader) -> None:
        """Report the lines of a text log that were no data frames."""
        for kind, count in reader.other.items():
            if kind != "comment":
                name = f"{kind.replace(' ', '_')}s"
                self.facts[name] = int(str(self.facts.get(name, 0))) + count
        if reader.bad:
            self.trouble.add(
                "bad lines",
                f"{reader.bad:,} of {reader.lines:,} lines are no frames, such as "
                f"'{reader.first_bad}'.",
                do="The other lines are used.",
            )

    def started(self, epoch_s: float) -> None:
        """Note when the recording began (seconds since 1970, as the recorder's clock had it)."""
        self.facts["epoch_s"] = epoch_s + (self.timeline.first_s or 0.0)

    def recording(self) -> Recording:
        """Decode everything that was collected."""
        if self._rejected:
            self.trouble.add(
                "identifiers",
                f"{self._rejected:,} frames have an impossible identifier.",
                do="They are left out.",
            )
        first = self.timeline.first_s or 0.0
        keeper = Keeper()
        channels = [keeper.channel(c) for c in channels_of(self._groups_read(first), keeper)]
        codes = self._special.codes(first)
        channels += long_channels(relative(self._special.messages, first), self._groups)
        channels += self._longer.channels(first, self.trouble)
        self.facts |= self._special.facts()
        duration = self.timeline.duration_s
        if duration is None:
            self.trouble.add(
                "no time",
                "The log has no time stamps.",
                do="Nothing that depends on time is judged; record with time stamps, or give the "
                "time between two frames.",
            )
        self.timeline.report()
        channels.sort(key=lambda c: (float(c.time_s[0]) if c.time_s.size else 0.0, c.source or 0))
        checked, flags = oddities.checked(channels, self.trouble, keeper)
        if not checked and not codes.result():
            self.trouble.add(
                "no engine",
                "No engine data found: none of the messages is one that is known here.",
                do="Record on the truck's diagnostic connector, or name a DBC file.",
            )
        return Recording(
            name=self.source.name,
            sha256=self.source.sha256,
            kind="bus",
            format=self.format,
            duration_s=duration,
            channels=tuple(checked),
            trouble_codes=codes.result(),
            flags=tuple(flags),
            problems=self.trouble.problems(),
            frames=self.frames,
            sources=tuple(int(s) for s in np.flatnonzero(self.senders)),
            facts=self._all_facts(codes),
        )

    def _clock(self, frames: Frames) -> np.ndarray:
        if np.isnan(frames.time_s[0]) and self.settings.sample_interval_s is not None:
            count = np.arange(self.frames, self.frames + len(frames), dtype=np.float64)
            return self.timeline.repaired(count * self.settings.sample_interval_s)
        return self.timeline.repaired(frames.time_s)

    def _no_stamp(self, count: int) -> None:
        self.trouble.add(
            "no stamp", "{count} frames carry no time stamp while others do; they are left out.",
            count=count,
        )  # fmt: skip

    def _own_signals(self) -> tuple[Signal, ...]:
        if not self.settings.dbc:
            return ()
        from witnessmark.readers.bus.dbc import read_signals  # noqa: PLC0415  (slow to load)

        return read_signals(self.settings.dbc, self.trouble)

    def _groups_read(self, first_s: float) -> Iterator[SignalGroup]:
        """Yield the frames of one message of one sender after the other, in order of time."""
        for key, time, data, length in self._store.series():
            if self.timeline.first_s is not None and np.isnan(time).any():
                known = ~np.isnan(time)  # frames before the first stamp
                self._no_stamp(int((~known).sum()))
                time, data = time[known], data[known]  # noqa: PLW2901
                length = None if length is None else length[known]  # noqa: PLW2901
            time -= first_s  # noqa: PLW2901
            if self.timeline.unordered and (np.diff(time) < 0).any():
                by_time = np.argsort(time, kind="stable")
                time, data = time[by_time], data[by_time]  # noqa: PLW2901
                length = None if length is None else length[by_time]  # noqa: PLW2901
            pgn = self._numbers[(key >> 8) - 1]
            yield SignalGroup(pgn, key & 0xFF, time, data, length, self._groups[pgn])

    def _all_facts(self, log: CodeLog) -> dict[str, object]:
        extended = [i for i in self.identifiers if i >= 0]
        facts: dict[str, object] = {
            "identifiers_29_bit": len(extended),
            "identifiers_11_bit": len(self.identifiers) - len(extended),
            "frames_11_bit": self.standard,
            "buses": len(self.buses),
            "frames_by_source": {
                str(s): int(self.senders[s])
                for s in sorted(np.flatnonzero(self.senders), key=lambda s: -self.senders[s])
            },
        }
        if senders := log.senders():
            facts["dm1"] = senders
        if self.timeline.doubled:
            facts["doubled_time_stamps"] = self.timeline.doubled
        return facts | self.facts


def _table(numbers: list[int]) -> np.ndarray:
    """Return the number of the group for every 18-bit middle part of an identifier."""
    table = np.zeros(2**18, np.uint8)
    specials = dict.fromkeys(TRANSPORT_GROUPS | DIAGNOSTIC_GROUPS, _SPECIAL)
    for pgn, number in [*((pgn, n + 1) for n, pgn in enumerate(numbers)), *specials.items()]:
        if (pgn >> 8) & 0xFF >= 240:
            table[pgn] = number
        else:
            table[pgn : pgn + 256] = number
    return table
