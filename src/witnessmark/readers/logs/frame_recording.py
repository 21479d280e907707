"""Bus logs: frames in, a :class:`Recording` out. What every frame reader shares.

Only what the table of signals knows is kept, as one word a frame; everything else is counted.
Many hours of it lie in temporary files instead of in memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.model.recording import Channel, Flag, Recording, TroubleCode
from witnessmark.readers.bus.buses import same_bus, the_engine
from witnessmark.readers.bus.frame_store import HELD
from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal, by_group
from witnessmark.readers.bus.one_bus import OneBus
from witnessmark.readers.bus.special_messages import DIAGNOSTIC_GROUPS, TRANSPORT_GROUPS
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
#: Interfaces that are told apart; no truck has more buses.
_MOST_BUSES = 16


class BusLog:
    """Collects the frames of one file.

    Args:
        source: the file.
        settings: what the user said.
        format_name: the reader's name.
        bus_name: the name of an interface, by the number the frames carry.
    """

    def __init__(
        self,
        source: FileSource,
        settings: ReaderSettings,
        format_name: str,
        bus_name: Callable[[int], str] = str,
    ) -> None:
        self.source = source
        self.settings = settings
        self.format = format_name
        self.trouble = source.trouble
        self.timeline = Timeline(source.trouble)
        self.frames = 0
        self.standard = 0
        self.identifiers: set[int] = set()
        self.bus_name = bus_name
        self.buses: dict[int, OneBus] = {}
        self.facts: dict[str, object] = {}
        self._rejected = 0
        self._running_s = 0.0
        self._codes_of: dict[str, CodeLog] = {}
        self._own = self._own_signals()
        self._groups = by_group(SIGNALS + self._own) if self._own else _known_groups()
        self._numbers = sorted(self._groups)
        if len(self._numbers) > 250:
            self._numbers = self._numbers[:250]
            self.trouble.add("dbc", "The DBC files hold more messages than are read (250).")
        self._table = _table(tuple(self._numbers))
        self._short = _short_table(tuple(self._numbers))
        self._met = np.full(2**14, 2**32 - 1, np.uint32)

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
        number = self._table.take((key >> np.uint32(8)) & np.uint32(0x3FFFF))
        if not whole:
            short = self._short.take(frames.identifier & np.uint32(0x7FF))
            number = np.where(extended, number, short)
        frames = replace(frames, time_s=time)
        if frames.bus.min() == frames.bus.max():
            self._on_bus(int(frames.bus[0]), frames, number)
            return
        buses = np.flatnonzero(np.bincount(frames.bus)).tolist()
        for bus in buses:
            self._bus(bus)
        for bus in buses:
            here = frames.bus == bus
            self._on_bus(bus, frames.where(here), number[here])

    def _on_bus(self, bus: int, frames: Frames, number: np.ndarray) -> None:
        """Take frames of one interface."""
        one = self._bus(bus)
        if one is None:
            self.trouble.add(
                "buses",
                f"The log names more than {_MOST_BUSES} interfaces; {{count}} frames of the "
                "others are left out.",
                do="Check where the log comes from.",
                count=len(frames),
            )
            return
        speaking = frames.length > 0  # a request for data says nothing of its sender
        speaking &= frames.extended
        every = bool(speaking.all())
        key = frames.identifier
        one.senders += np.bincount((key if every else key[speaking]).astype(np.uint8),
                                   minlength=256)  # fmt: skip
        one.frames += len(frames)
        one.known(frames, number, _SPECIAL)
        if len(self.buses) > 1:
            one.remember(frames)

    def _bus(self, bus: int) -> OneBus | None:
        """Return the bus of an interface; ``None`` where there are too many."""
        if bus not in self.buses and len(self.buses) < _MOST_BUSES:
            held = HELD if not self.buses else HELD // 4
            self.buses[bus] = OneBus(self._groups, self._numbers, self.trouble, held)
        return self.buses.get(bus)

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
        time = self._running_s + np.cumsum(frames.time_s)
        if time.size:
            self._running_s = float(time[-1])
        return replace(frames, time_s=time)

    def lines_read(self, reader: LineReader) -> None:
        """Report the lines of a text log that were no data frames."""
        for kind, count in reader.other.items():
            if kind not in {"comment", "damaged line"}:
                name = f"{kind.replace(' ', '_')}s"
                self.facts[name] = int(str(self.facts.get(name, 0))) + count
        bad = reader.bad + reader.other.get("damaged line", 0)
        if bad:
            self.facts["bad_lines"] = bad
            self.trouble.add(
                "bad lines",
                f"{bad:,} of {reader.lines:,} lines are no frames, such as '{reader.first_bad}'.",
                do="The other lines are used.",
            )

    def damaged(self, count: int) -> None:
        """Report lines or rows that are no frames and should be."""
        if count:
            self.facts["bad_lines"] = count
            self.trouble.add(
                "bad lines", f"{count:,} lines are no frames.", do="The other lines are used."
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
        duration = self.timeline.duration_s
        if duration is None:
            self.trouble.add(
                "no time",
                "The log has no time stamps.",
                do="Nothing that depends on time is judged; record with time stamps, or give the "
                "time between two frames.",
            )
        self.timeline.report()
        buses = self._different()
        channels, flags, codes = self._decoded(buses)
        order, apart = the_engine(channels, tuple(buses), self.trouble) if len(buses) > 1 else (
            (), ()
        )  # fmt: skip
        if not channels and not codes:
            self.trouble.add(
                "no engine",
                "No engine data found: none of the messages is one that is known here.",
                do="Record on the truck's diagnostic connector, or name a DBC file.",
            )
        senders = self._senders()
        facts = self._all_facts(buses)
        return Recording(
            name=self.source.name,
            sha256=self.source.sha256,
            kind="bus",
            format=self.format,
            duration_s=duration,
            channels=tuple(channels),
            trouble_codes=tuple(codes),
            flags=tuple(flags),
            problems=self.trouble.problems(),
            frames=self.frames,
            sources=tuple(int(s) for s in np.flatnonzero(senders)),
            facts=facts,
            buses=order,
            apart=apart,
        )

    def _different(self) -> dict[str, OneBus]:
        """Return the buses by name; one that two interfaces listened to is there once."""
        most = sorted(self.buses, key=lambda b: -self.buses[b].frames)
        kept: list[int] = []
        for bus in most:
            twin = next((k for k in kept if same_bus(self.buses[k], self.buses[bus])), None)
            if twin is None:
                kept.append(bus)
                continue
            self.trouble.add(
                f"same bus {bus}",
                f"Interfaces {self.bus_name(twin)} and {self.bus_name(bus)} carry the same frames: "
                "one bus that two adapters listened to. It is counted once.",
                do=f"The frames of {self.bus_name(twin)} are used.",
            )
        if len(kept) == 1:
            return {"": self.buses[kept[0]]}
        return {self.bus_name(b): self.buses[b] for b in sorted(kept, key=list(self.buses).index)}

    def _decoded(
        self, buses: dict[str, OneBus]
    ) -> tuple[list[Channel], list[Flag], list[TroubleCode]]:
        """Decode every bus by itself."""
        first = self.timeline.first_s or 0.0
        keeper = Keeper()
        channels: list[Channel] = []
        flags: list[Flag] = []
        codes: list[TroubleCode] = []
        for name, one in buses.items():
            decoded = list(
                one.channels(
                    first,
                    keeper,
                    self.trouble,
                    unordered=self.timeline.unordered,
                    stamped=self.timeline.first_s is not None,
                )
            )
            decoded.sort(key=_first_sample)
            checked, marked = oddities.checked(decoded, self.trouble, keeper)
            log = one.special.codes(first)
            self._codes_of[name] = log
            channels += [replace(c, bus=name) for c in checked] if name else checked
            flags += [replace(f, bus=name) for f in marked] if name else marked
            codes += [replace(c, bus=name) for c in log.result()] if name else log.result()
        if len(buses) > 1:
            channels.sort(key=_first_sample)
            codes.sort(key=lambda c: (c.first_s, c.bus, c.source))
        return channels, flags, codes

    def _senders(self) -> np.ndarray:
        total = np.zeros(256, np.int64)
        for one in self.buses.values():
            total += one.senders
        return total

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

    def _all_facts(self, buses: dict[str, OneBus]) -> dict[str, object]:
        extended = [i for i in self.identifiers if i >= 0]
        senders = self._senders()
        facts: dict[str, object] = {
            "identifiers_29_bit": len(extended),
            "identifiers_11_bit": len(self.identifiers) - len(extended),
            "frames_11_bit": self.standard,
            "buses": len(self.buses),
            "frames_by_source": {
                str(s): int(senders[s])
                for s in sorted(np.flatnonzero(senders), key=lambda s: -senders[s])
            },
        }
        if len(self.buses) > 1:
            facts["frames_by_bus"] = {self.bus_name(b): o.frames for b, o in self.buses.items()}
        said: dict[str, object] = {}
        for name, log in self._codes_of.items():
            for sender, found in log.senders().items():
                said[f"{name}: {sender}" if sender in said else sender] = found
        if said:
            facts["dm1"] = said
        if self.timeline.doubled:
            facts["doubled_time_stamps"] = self.timeline.doubled
        for name, one in buses.items():
            for what, more in one.special.facts(
                key=self.settings.identity_key, show=self.settings.show_identity
            ).items():
                facts[what] = _together(facts.get(what), more, name)
        if self._own:
            facts["own_signals"] = True
        return facts | self.facts


def _first_sample(channel: Channel) -> tuple[float, int]:
    return (float(channel.time_s[0]) if channel.time_s.size else 0.0, channel.source or 0)


def _together(before: object, found: object, bus: str) -> object:
    """Add the facts of one more bus to what is known of the others."""
    if isinstance(found, list) and bus:
        found = [{**row, "bus": bus} for row in found]
    if isinstance(before, dict) and isinstance(found, dict):
        return {key: before.get(key, 0) + found[key] for key in found}
    return [*before, *found] if isinstance(before, list) and isinstance(found, list) else found


@cache
def _known_groups() -> dict[int, tuple[Signal, ...]]:
    """Return the groups of the signals that are known here."""
    return by_group(SIGNALS)


@lru_cache(maxsize=4)
def _short_table(numbers: tuple[int, ...]) -> np.ndarray:
    """Return the number of the message for every identifier of 11 bits."""
    table = np.zeros(2**11, np.uint8)
    for number, pgn in enumerate(numbers, 1):
        if pgn < 0:
            table[-1 - pgn] = number
    return table


@lru_cache(maxsize=4)
def _table(numbers: tuple[int, ...]) -> np.ndarray:
    """Return the number of the group for every 18-bit middle part of an identifier."""
    table = np.zeros(2**18, np.uint8)
    specials = dict.fromkeys(TRANSPORT_GROUPS | DIAGNOSTIC_GROUPS, _SPECIAL)
    for pgn, number in [*((pgn, n + 1) for n, pgn in enumerate(numbers)), *specials.items()]:
        if pgn < 0:
            continue
        if (pgn >> 8) & 0xFF >= 240:
            table[pgn] = number
        else:
            table[pgn : pgn + 256] = number
    return table
