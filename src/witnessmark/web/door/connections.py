"""Who is connected: bounds on connections and time, kept below the level of requests.

A connection that asks nothing costs a slot and nothing else. When an address, or the house, has
too many, the one that has been idle longest is shut, first among those that never asked anything,
last among those of people who are signed in; so whoever comes next with a real request is served.
A connection that takes too long over its handshake or the head of its request is shut too.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

__all__ = ["Connections", "Listening", "address_key", "own_address"]

Peer = tuple[str, int]


@dataclass(slots=True)
class _Guest:
    shut: Callable[[], None]
    address: str
    since: float
    busy: int = 0
    rank: int = 0  # 0 never asked anything, 1 asked, 2 is signed in


@dataclass(slots=True)
class Connections:
    """The connections there are.

    Attributes:
        per_address: connections from one address.
        in_all: connections from everywhere.
        idle_s: time for the handshake and the head of a request [s].
        trusted: addresses of our own proxy; many people come through it, no bound holds for it.
    """

    per_address: int = 64
    in_all: int = 800
    idle_s: float = 20.0
    trusted: frozenset[str] = frozenset()
    clock: Callable[[], float] = time.monotonic
    _guests: dict[Peer, _Guest] = field(default_factory=dict)
    _count: dict[str, int] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def __len__(self) -> int:
        return len(self._guests)

    def come(self, peer: Peer, shut: Callable[[], None]) -> bool:
        """Take a connection in; *shut* ends it. Says whether there is room."""
        address = address_key(peer[0])
        bounded = address not in self.trusted
        with self._lock:
            if bounded and self._count.get(address, 0) >= self.per_address:
                own = (g for g in self._guests.items() if g[1].address == address)
                if not self._make_room(own):
                    return False
            if len(self._guests) >= self.in_all and not self._make_room(self._guests.items()):
                return False
            self._guests[peer] = _Guest(shut, address, self.clock())
            self._count[address] = self._count.get(address, 0) + 1
        return True

    def gone(self, peer: Peer) -> None:
        """Forget a connection."""
        with self._lock:
            guest = self._guests.pop(peer, None)
            if guest is None:
                return
            left = self._count.get(guest.address, 1) - 1
            if left > 0:
                self._count[guest.address] = left
            else:
                self._count.pop(guest.address, None)

    def asked(self, peer: Peer | None) -> None:
        """Note that the head of a request has come."""
        self._turn(peer, 1, 1)

    def knows(self, peer: Peer | None) -> None:
        """Note that somebody who is signed in asks."""
        self._turn(peer, 0, 2)

    def answered(self, peer: Peer | None) -> None:
        """Note that a request was answered."""
        self._turn(peer, -1, 1)

    def sweep(self) -> int:
        """Shut what has been idle too long and say how many that were."""
        late = self.clock() - self.idle_s
        with self._lock:
            old = [p for p, g in self._guests.items() if g.busy == 0 and g.since < late]
            for peer in old:
                self._shut(peer)
        return len(old)

    def _turn(self, peer: Peer | None, step: int, rank: int) -> None:
        if peer is None:
            return
        with self._lock:
            guest = self._guests.get((peer[0], peer[1]))
            if guest is not None:
                guest.busy = max(0, guest.busy + step)
                guest.since = self.clock()
                guest.rank = max(guest.rank, rank)

    def _make_room(self, among: Iterable[tuple[Peer, _Guest]]) -> bool:
        idle = [(guest.rank, guest.since, peer) for peer, guest in among if guest.busy == 0]
        if not idle:
            return False
        self._shut(min(idle)[2])
        return True

    def _shut(self, peer: Peer) -> None:
        guest = self._guests[peer]
        self.gone(peer)
        guest.shut()


class Listening(socket.socket):
    """A listening socket that lets in only what :class:`Connections` has room for."""

    connections: Connections

    def accept(self) -> tuple[socket.socket, Any]:
        """Return the next connection there is room for; see :meth:`socket.socket.accept`."""
        while True:
            handle, address = self._accept()  # type: ignore[attr-defined]
            guest = _Accepted(self.family, self.type, self.proto, fileno=handle)
            peer = (str(address[0]), int(address[1]))
            if self.connections.come(peer, guest.end):
                guest.leave = partial(self.connections.gone, peer)
                return guest, address
            guest.close()


class _Accepted(socket.socket):
    leave: Callable[[], None] | None = None

    def close(self) -> None:
        if self.leave is not None:
            self.leave()
            self.leave = None
        super().close()

    def end(self) -> None:
        # The loop that owns the connection sees its end and cleans up; closing here would take
        # the handle away under it.
        with contextlib.suppress(OSError):
            self.shutdown(socket.SHUT_RDWR)


def address_key(address: str) -> str:
    """Return what counts as one address: all of a network of 64 bits for IPv6."""
    try:
        found = ipaddress.ip_address(address.split("%", maxsplit=1)[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        if found.ipv4_mapped is not None:
            return str(found.ipv4_mapped)
        return str(ipaddress.ip_network((int(found) >> 64 << 64, 64)))
    return str(found)


def own_address() -> str:
    """Return this machine's address in its network, without sending anything."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): only a route
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
