"""Tries of a passphrase: counted before the slow hash, hashed in a queue with a bound."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from witnessmark.errors import WitnessmarkError

__all__ = ["HashQueue", "Throttle", "TooMany"]

T = TypeVar("T")
_REMEMBERED = 20_000


class TooMany(WitnessmarkError):
    """Too many tries in too short a time."""


@dataclass(slots=True)
class Throttle:
    """Counts tries. One who tries too often is refused; nobody else is.

    A try is counted before it is looked at, so that many at once cannot slip through, and is
    given back when it was right.

    Attributes:
        most: tries that may go wrong within *window_s*, of one source.
        window_s: length of the window [s].
    """

    most: int = 5
    window_s: float = 300.0
    clock: Callable[[], float] = time.monotonic
    _tries: OrderedDict[str, deque[float]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def count(self, source: str) -> None:
        """Count a try of *source*.

        Raises:
            TooMany: wait.
        """
        now = self.clock()
        with self._lock:
            tries = self._tries.setdefault(source, deque())
            self._tries.move_to_end(source)
            while tries and now - tries[0] > self.window_s:
                tries.popleft()
            if len(tries) >= self.most:
                minutes = max(1, round((self.window_s - (now - tries[0])) / 60 + 0.5))
                raise TooMany(
                    "Too many wrong passphrases from here.",
                    do=f"Wait {minutes} minutes and try again.",
                )
            tries.append(now)
            while len(self._tries) > _REMEMBERED:
                self._tries.popitem(last=False)

    def forgive(self, source: str) -> None:
        """Give the newest try back: it was right."""
        with self._lock:
            tries = self._tries.get(source)
            if tries:
                tries.pop()


@dataclass(slots=True)
class HashQueue:
    """Lets few at a time at the slow hash, each of which takes a block of memory.

    Attributes:
        at_once: hashes at a time.
        waiting: how many may wait; a further one is turned away at once.
        reserved: places kept for devices that were signed in before.
    """

    at_once: int = 2
    waiting: int = 12
    reserved: int = 6
    _inside: int = 0
    _turn: threading.Semaphore | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def run(self, work: Callable[[], T], *, known: bool = False) -> T:
        """Do *work* when its turn comes.

        Raises:
            TooMany: too many wait already.
        """
        with self._lock:
            if self._turn is None:
                self._turn = threading.Semaphore(self.at_once)
            room = self.at_once + self.waiting + (self.reserved if known else 0)
            if self._inside >= room:
                raise TooMany(
                    "Many sign in at this moment.", do="Wait a few seconds and try again."
                )
            self._inside += 1
        try:
            with self._turn:
                return work()
        finally:
            with self._lock:
                self._inside -= 1
