"""Messages whose meaning is not a row of signals: codes, identifiers, and what comes in packets."""

from __future__ import annotations

import numpy as np

from witnessmark.readers.bus import identity
from witnessmark.readers.bus.j1939_signals import Signal
from witnessmark.readers.bus.transport import CONTROL, DATA, Message, Reassembler
from witnessmark.readers.bus.trouble_codes import DM1, DM2, CodeLog, older_spns
from witnessmark.readers.told import Frames, Trouble

__all__ = ["DIAGNOSTIC_GROUPS", "TRANSPORT_GROUPS", "SpecialMessages", "group_of", "relative"]

TRANSPORT_GROUPS = frozenset({CONTROL, DATA})
DIAGNOSTIC_GROUPS = frozenset({DM1, DM2, *identity.GROUPS})
#: Different contents, and messages in packets, that are kept of one log; more is no truck.
_MOST_CONTENTS = 100_000
_MOST_MESSAGES = 500_000


class SpecialMessages:
    """Takes the frames in the order of the file; equal messages are kept once, with a count.

    Attributes:
        messages: multi-packet messages with signals, times on the recorder's clock.
    """

    def __init__(self, groups: dict[int, tuple[Signal, ...]], trouble: Trouble) -> None:
        self.messages: list[Message] = []
        self._groups = groups
        self._trouble = trouble
        self._reassembler = Reassembler()
        #: (group, sender, content) -> first time, last time, how often
        self._contents: dict[tuple[int, int, bytes], list[float]] = {}

    def add(self, frames: Frames) -> None:
        """Take the next frames."""
        raw = frames.data.astype("<u8").tobytes()
        rest = iter(frames.more if frames.more is not None else ())
        rows = zip(
            frames.time_s.tolist(),
            frames.identifier.tolist(),
            frames.length.tolist(),
            frames.bus.tolist(),
            strict=True,
        )
        feed = self._reassembler.feed
        for at, (time, identifier, length, bus) in enumerate(rows):
            data = raw[8 * at : 8 * at + (length if length < 8 else 8)]
            if length > 8:
                data += next(rest).tobytes()[: length - 8]
            group = group_of(identifier)
            if group in TRANSPORT_GROUPS:
                message = feed(time, identifier, data, bus)
                if message is not None:
                    self._take(message)
            else:
                self._count(group, identifier & 0xFF, data, time)

    def codes(self, first_s: float) -> CodeLog:
        """Return the trouble codes of everything that came, times from *first_s* on."""
        log = CodeLog()
        for (group, sender, data), (begin, end, count) in self._contents.items():
            if group in {DM1, DM2}:
                log.add(begin - first_s, end - first_s, group == DM1, sender, data, int(count))
        for source, spns in sorted(log.older.items()):
            spn = min(spns)
            first, second = older_spns(spn)
            self._trouble.add(
                f"older codes {source}",
                f"Control unit {source} sends its codes by an older method: SPN {spn} could also "
                f"be {first} or {second} ({len(spns)} codes).",
                do="Look the code up with the number the maker's manual lists.",
            )
        return log

    def facts(self, *, key: bytes = b"", show: bool = False) -> dict[str, object]:
        """Return what is worth knowing of them; incomplete messages become a problem.

        Args:
            key: of the digests of identifiers.
            show: do not mask identifiers.
        """
        found: dict[str, object] = {}
        announced, completed = self._reassembler.announced, self._reassembler.completed
        if announced:
            found["multi_packet"] = {"announced": announced, "completed": completed}
        if announced > completed:
            self._trouble.add(
                "multi-packet",
                f"{announced - completed:,} of {announced:,} multi-packet messages are not "
                "complete; they are left out.",
                do="Frames were lost, or the recording began or ended within a message.",
            )
        masked = identity.masked(
            [
                Message(times[0], group, sender, 255, data)
                for (group, sender, data), times in self._contents.items()
                if group in identity.GROUPS
            ],
            key=key,
            show=show,
        )
        if masked:
            found["identifiers"] = masked
        return found

    def _take(self, message: Message) -> None:
        if message.pgn in DIAGNOSTIC_GROUPS:
            self._count(message.pgn, message.source, message.data, message.time_s)
        elif message.pgn in self._groups:
            if len(self.messages) < _MOST_MESSAGES:
                self.messages.append(message)
            else:
                self._too_many()

    def _count(self, group: int, sender: int, data: bytes, time: float) -> None:
        key = (group, sender, data)
        seen = self._contents.get(key)
        if seen is not None:
            seen[1] = time
            seen[2] += 1
        elif len(self._contents) < _MOST_CONTENTS:
            self._contents[key] = [time, time, 1.0]
        else:
            self._too_many()

    def _too_many(self) -> None:
        self._trouble.add(
            "special messages",
            "{count} diagnostic or multi-packet messages are left out: the log holds more "
            "different ones than any truck sends.",
            do="Check where the log comes from.",
        )


def group_of(identifier: int) -> int:
    """Return the parameter group number of a 29-bit identifier."""
    group = (identifier >> 8) & 0x3FFFF
    return group if (group >> 8) & 0xFF >= 240 else group & 0x3FF00


def relative(messages: list[Message], first_s: float) -> list[Message]:
    """Return the messages with their times counted from *first_s*."""
    return [
        Message(m.time_s - first_s, m.pgn, m.source, m.destination, m.data)
        for m in messages
        if not np.isnan(m.time_s)
    ]
