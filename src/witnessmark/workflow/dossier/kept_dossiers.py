"""Dossiers kept by what they depend on: made once, by one thread, and let go when they are old."""

from __future__ import annotations

import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass

from witnessmark.model.digest import digest, why_again
from witnessmark.model.dossier import Dossier

__all__ = ["Computed", "KeptDossiers"]

#: Dossiers kept; each is some hundred kilobytes.
_KEEP = 64
_LOG = 1024


@dataclass(frozen=True, slots=True)
class Computed:
    """One dossier that was made, and why.

    Attributes:
        case: case id.
        key: digest of all that it depends on.
        why: the parts that had changed since the case's last one; empty for its first.
    """

    case: str
    key: str
    why: tuple[str, ...]


class KeptDossiers:
    """Dossiers by the digest of case and standing.

    Two threads that ask for the same one at once get the same one: it is made once.

    Attributes:
        computed: what was made, the newest last; the oldest are forgotten.
    """

    def __init__(self, keep: int = _KEEP) -> None:
        self.computed: deque[Computed] = deque(maxlen=_LOG)
        self._keep = keep
        self._held: OrderedDict[str, Future[Dossier]] = OrderedDict()
        self._last: OrderedDict[str, Mapping[str, str]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, case: str, parts: Mapping[str, str], make: Callable[[], Dossier]) -> Dossier:
        """Return the dossier of these parts; *make* it when nobody has.

        What *make* raises is raised here, in every thread that waits, and is not kept.
        """
        key = digest(parts)
        with self._lock:
            held = self._held.get(key)
            if held is not None:
                self._held.move_to_end(key)
            else:
                mine: Future[Dossier] = Future()
                self._held[key] = mine
                self._note(case, key, parts)
        if held is not None:
            return held.result()
        try:
            found = make()
        except BaseException as error:
            with self._lock:
                self._held.pop(key, None)
            mine.set_exception(error)
            raise
        mine.set_result(found)
        return found

    def clear(self) -> None:
        """Let everything go."""
        with self._lock:
            self._held.clear()
            self._last.clear()
            self.computed.clear()

    def _note(self, case: str, key: str, parts: Mapping[str, str]) -> None:
        before = self._last.get(case)
        self.computed.append(Computed(case, key, why_again(before, parts) if before else ()))
        self._last[case] = parts
        self._last.move_to_end(case)
        for held, most in ((self._held, self._keep), (self._last, 4 * self._keep)):
            while len(held) > most:
                held.popitem(last=False)
