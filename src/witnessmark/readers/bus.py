"""Bus logs: frames in, a :class:`Recording` out. What every frame reader shares.

Only what the table of signals knows is kept, as one word a frame, so an hour of traffic fits
into memory many times; everything else is counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from witnessmark.model.recording import Recording
from witnessmark.readers import identity, oddities
from witnessmark.readers.contract import Frames, Settings, Words64
from witnessmark.readers.decode import Group, channels_of, long_channels
from witnessmark.readers.j1939_signals import SIGNALS, Signal, by_group
from witnessmark.readers.source import Source
from witnessmark.readers.timeline import Timeline
from witnessmark.readers.transport import CONTROL, DATA, Message, Reassembler
from witnessmark.readers.trouble_codes import DM1, DM2, CodeLog, older_spns

if TYPE_CHECKING:
    from witnessmark.readers.lines import LineReader

_HIGHEST_29 = 2**29
_LONG = frozenset({CONTROL, DATA})
#: Marks an error frame in candump text.
_ERROR_BIT = 0x20000000
#: Places in the key table that are no groups of signals.
_TRANSPORT, _DIAGNOSTIC = 254, 255


class BusLog:
    """Collects the frames of one file.

    Args:
        source: the file.
        settings: what the user said.
        format_name: the reader's name.
    """

    def __init__(self, source: Source, settings: Settings, format_name: str) -> None:
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
        self._keys: list[np.ndarray] = []
        self._times: list[np.ndarray] = []
        self._data: list[Words64] = []
        self._lengths: list[np.ndarray] = []
        self._special: list[Frames] = []

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
            self.identifiers.update((-1 - np.unique(key[~extended]).astype(np.int64)).tolist())
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
        wanted = np.flatnonzero((number - np.uint8(1)) < _TRANSPORT - 1)
        self._keys.append(
            (number.take(wanted).astype(np.uint16) << 8)
            | (key.take(wanted) & np.uint32(0xFF)).astype(np.uint16)
        )
        self._times.append(time.take(wanted))
        self._data.append(frames.data.take(wanted))
        self._lengths.append(frames.length.take(wanted))
        special = np.flatnonzero(number >= _TRANSPORT)
        if special.size:
            picked = frames.where(special)
            self._special.append(
                Frames(
                    time[special],
                    picked.identifier,
                    picked.extended,
                    picked.length,
                    picked.data,
                    picked.bus,
                )
            )

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
            self.identifiers.update(fresh.tolist())
            self._met[(fresh * np.uint32(0x9E3779B1)) >> np.uint32(18)] = fresh

    def counted_on(self, frames: Frames) -> Frames:
        """Return frames whose stamps are steps from frame to frame with running time."""
        before = self.timeline.last_s if np.isfinite(self.timeline.last_s) else 0.0
        return Frames(
            before + np.cumsum(frames.time_s),
            frames.identifier,
            frames.extended,
            frames.length,
            frames.data,
            frames.bus,
        )

    def lines_read(self, reader: LineReader) -> None:
        """Report the lines of a text log that were no data frames."""
        for kind, count in reader.other.items():
            if kind != "comment":
                name = f"{kind.replace(' ', '_')}s"
                self.facts[name] = int(str(self.facts.get(name, 0))) + count
        if "long frame" in reader.other:
            self.trouble.add(
                "long", f"{reader.other['long frame']:,} frames of more than 8 bytes are not read."
            )
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
        groups = self._grouped(first)
        channels = channels_of(groups)
        messages, codes = self._special_messages(first)
        channels += long_channels(messages, self._groups)
        self._identify(messages)
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
        checked, flags = oddities.checked(channels, self.trouble)
        self._report_codes(codes)
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
        from witnessmark.readers.dbc import read_signals  # noqa: PLC0415  (slow to load)

        return read_signals(self.settings.dbc, self.trouble)

    def _grouped(self, first_s: float) -> list[Group]:
        if not self._keys:
            return []
        keys = _joined(self._keys)
        times = _joined(self._times)
        data = _joined(self._data)
        lengths = _joined(self._lengths)
        if self.timeline.first_s is not None and np.isnan(times).any():
            known = ~np.isnan(times)  # frames before the first stamp
            self._no_stamp(int((~known).sum()))
            keys, times, data, lengths = keys[known], times[known], data[known], lengths[known]
        times -= first_s
        whole = bool((lengths == 8).all())
        order = np.argsort(keys, kind="stable")
        counts = np.bincount(keys, minlength=1)
        found = []
        end = 0
        for key in np.flatnonzero(counts):
            start, end = end, end + int(counts[key])
            at = order[start:end]
            time, words = times[at], data[at]
            size = None if whole else lengths[at]
            if self.timeline.unordered and (np.diff(time) < 0).any():
                by_time = np.argsort(time, kind="stable")
                time, words = time[by_time], words[by_time]
                size = None if size is None else size[by_time]
            pgn = self._numbers[(int(key) >> 8) - 1]
            found.append(Group(pgn, int(key) & 0xFF, time, words, size, self._groups[pgn]))
        return found

    def _special_messages(self, first_s: float) -> tuple[list[Message], CodeLog]:
        reassembler, log = Reassembler(), CodeLog()
        messages: list[Message] = []
        singles: dict[tuple[int, int, bytes], list[float]] = {}
        for frames in self._special:
            raw = frames.data.astype("<u8").tobytes()
            rows = zip(
                (frames.time_s - first_s).tolist(),
                frames.identifier.tolist(),
                frames.length.tolist(),
                frames.bus.tolist(),
                strict=True,
            )
            for at, (time, identifier, length, bus) in enumerate(rows):
                data = raw[8 * at : 8 * at + length]
                pgn = _pgn(identifier)
                if pgn in _LONG:
                    message = reassembler.feed(time, identifier, data, bus)
                    if message is not None:
                        messages.append(message)
                else:
                    key = (pgn, identifier & 0xFF, data)
                    seen = singles.get(key)
                    if seen is None:
                        singles[key] = [time, time, 1.0]
                    else:
                        seen[1] = time
                        seen[2] += 1
        self._special.clear()
        for (pgn, sender, data), (begin, end, count) in singles.items():
            if pgn in {DM1, DM2}:
                log.add(begin, end, pgn == DM1, sender, data, int(count))
            else:
                messages.append(Message(begin, pgn, sender, 255, data))
        same: dict[tuple[int, int, bytes], list[float]] = {}
        for message in messages:
            if message.pgn in {DM1, DM2}:
                first_time = [message.time_s, message.time_s, 0.0]
                seen = same.setdefault((message.pgn, message.source, message.data), first_time)
                seen[1] = message.time_s
                seen[2] += 1
        for (pgn, sender, data), (begin_s, end_s, count) in same.items():
            log.add(begin_s, end_s, pgn == DM1, sender, data, int(count))
        if reassembler.announced:
            self.facts["multi_packet"] = {
                "announced": reassembler.announced,
                "completed": reassembler.completed,
            }
            lost = reassembler.announced - reassembler.completed
            if lost:
                self.trouble.add(
                    "multi-packet",
                    f"{lost:,} of {reassembler.announced:,} multi-packet messages are not "
                    "complete; they are left out.",
                    do="Frames were lost, or the recording began or ended within a message.",
                )
        return messages, log

    def _identify(self, messages: list[Message]) -> None:
        found = identity.masked(messages)
        if found:
            self.facts["identifiers"] = found

    def _report_codes(self, log: CodeLog) -> None:
        for source, spns in sorted(log.older.items()):
            spn = min(spns)
            first, second = older_spns(spn)
            self.trouble.add(
                f"older codes {source}",
                f"Control unit {source} sends its codes by an older method: SPN {spn} could also "
                f"be {first} or {second} ({len(spns)} codes).",
                do="Look the code up with the number the maker's manual lists.",
            )

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
    specials = {
        DM1: _DIAGNOSTIC,
        DM2: _DIAGNOSTIC,
        CONTROL: _TRANSPORT,
        DATA: _TRANSPORT,
        **dict.fromkeys(identity.GROUPS, _DIAGNOSTIC),
    }
    for pgn, number in [*((pgn, n + 1) for n, pgn in enumerate(numbers)), *specials.items()]:
        if (pgn >> 8) & 0xFF >= 240:
            table[pgn] = number
        else:
            table[pgn : pgn + 256] = number
    return table


def _pgn(identifier: int) -> int:
    pgn = (identifier >> 8) & 0x3FFFF
    return pgn if (pgn >> 8) & 0xFF >= 240 else pgn & 0x3FF00


def _joined(pieces: list[np.ndarray]) -> np.ndarray:
    """Join the pieces and let them go, so that both are not in memory for long."""
    whole = np.concatenate(pieces)
    pieces.clear()
    return whole
