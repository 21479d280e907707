"""Pages that watch a case or the list of cases: told when it changes, by server-sent events."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from anyio import CapacityLimiter, to_thread

from witnessmark.errors import WitnessmarkError
from witnessmark.web.door.attempts import TooMany

__all__ = ["Watchers"]


@dataclass(slots=True)
class Watchers:
    """The pages that watch.

    Attributes:
        each: pages of one person or address.
        in_all: pages of everybody.
        pause_s: time between two looks [s].
        beat_s: longest silence; a link that is dead is noticed by it [s].
        stopping: the server is being stopped: every page is let go, and asks again by itself.
    """

    each: int = 24
    in_all: int = 200
    pause_s: float = 1.0
    beat_s: float = 15.0
    stopping: bool = False
    _open: Counter[str] = field(default_factory=Counter)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _threads: list[CapacityLimiter] = field(default_factory=list)

    def must_have_room(self, who: str) -> None:
        """Refuse a page more than there are places for.

        Raises:
            TooMany: there is none.
        """
        with self._lock:
            if self._open[who] >= self.each or self._open.total() >= self.in_all:
                raise TooMany(
                    "Too many pages watch at once.", do="Close some; this one asks now and then."
                )

    @contextmanager
    def _place(self, who: str) -> Iterator[None]:
        with self._lock:
            self._open[who] += 1
        try:
            yield
        finally:
            with self._lock:
                self._open[who] -= 1
                if not self._open[who]:
                    del self._open[who]

    async def events(
        self, who: str, look: Callable[[], dict[str, Any]], may: Callable[[], bool]
    ) -> AsyncIterator[str]:
        """Yield an event whenever what *look* says changes, until *may* says no."""
        if not self._threads:
            self._threads.append(CapacityLimiter(4))
        said, spoke = "", time.monotonic()
        with self._place(who):
            yield "retry: 3000\n\n"
            while not self.stopping and await to_thread.run_sync(may, limiter=self._threads[0]):
                try:
                    found = await to_thread.run_sync(look, limiter=self._threads[0])
                except WitnessmarkError:
                    return
                text, now = json.dumps(found), time.monotonic()
                if text != said:
                    said, spoke = text, now
                    yield f"data: {text}\n\n"
                elif now - spoke > self.beat_s:
                    spoke = now
                    yield ": still here\n\n"
                asleep = time.monotonic() + self.pause_s
                while not self.stopping and time.monotonic() < asleep:
                    await asyncio.sleep(min(0.2, self.pause_s))
