"""Messages of more than eight bytes: the transport protocol of SAE J1939-21.

Broadcast (BAM) and addressed (RTS/CTS) sessions run side by side, one for every pair of sender
and receiver. A packet that is lost, doubled or late spoils a broadcast session; an addressed one
waits for the packet to be sent again. A session that is not completed gives nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["CONTROL", "DATA", "Message", "Reassembler"]

#: Parameter groups of the transport protocol.
CONTROL, DATA = 60416, 60160
_RTS, _CTS, _END, _BAM, _ABORT = 16, 17, 19, 32, 255
#: Longest silence within a session [s]; T1 and T2 of the standard are 0.75 and 1.25 s, recorders
#: add some.
_SILENCE_S = 2.5


@dataclass(frozen=True, slots=True)
class Message:
    """One whole message."""

    time_s: float
    pgn: int
    source: int
    destination: int
    data: bytes


@dataclass(slots=True)
class _Session:
    pgn: int
    size: int
    packets: int
    broadcast: bool
    last_s: float
    have: dict[int, bytes] = field(default_factory=dict)


class Reassembler:
    """Feeds on the frames of the two groups, in order, and gives whole messages.

    Attributes:
        announced: sessions that were begun.
        completed: sessions that were completed.
    """

    def __init__(self) -> None:
        self.announced = 0
        self.completed = 0
        self._open: dict[tuple[int, int, int], _Session] = {}

    def feed(self, time_s: float, identifier: int, data: bytes, bus: int = 0) -> Message | None:
        """Take one frame of :data:`CONTROL` or :data:`DATA`; give a message when it is whole."""
        source, destination = identifier & 0xFF, (identifier >> 8) & 0xFF
        group = (identifier >> 16) & 0xFF
        if len(data) < 8 and group == CONTROL >> 8:
            return None
        if group == CONTROL >> 8:
            self._control(time_s, (bus, source, destination), data)
            return None
        if group == DATA >> 8 and data:
            return self._packet(time_s, (bus, source, destination), data)
        return None

    def _control(self, time_s: float, key: tuple[int, int, int], data: bytes) -> None:
        kind = data[0]
        if kind in {_RTS, _BAM}:
            size, packets = data[1] | data[2] << 8, data[3]
            pgn = (data[5] | data[6] << 8 | data[7] << 16) & 0x3FFFF
            self.announced += 1
            self._open.pop(key, None)
            if 9 <= size <= 1785 and packets == -(-size // 7):
                self._open[key] = _Session(pgn, size, packets, kind == _BAM, time_s)
        elif kind == _ABORT:
            bus, source, destination = key
            self._open.pop(key, None)
            self._open.pop((bus, destination, source), None)
        elif kind == _CTS:
            bus, source, destination = key
            session = self._open.get((bus, destination, source))
            if session is not None:
                session.last_s = time_s

    def _packet(self, time_s: float, key: tuple[int, int, int], data: bytes) -> Message | None:
        session = self._open.get(key)
        if session is None:
            return None
        number = data[0]
        late = time_s - session.last_s > _SILENCE_S
        wrong = session.broadcast and number != len(session.have) + 1
        if late or wrong or not 1 <= number <= session.packets:
            del self._open[key]
            return None
        session.last_s = time_s
        session.have[number] = data[1:8]
        if len(session.have) < session.packets:
            return None
        del self._open[key]
        whole = b"".join(session.have[n] for n in range(1, session.packets + 1))
        if len(whole) < session.size:
            return None
        self.completed += 1
        return Message(time_s, session.pgn, key[1], key[2], whole[: session.size])
