"""The desk: assessments worked out once per state of a case, off the request's path."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from witnessmark.errors import WitnessmarkError
from witnessmark.model.assessment import Assessment
from witnessmark.model.case import Case
from witnessmark.workflow.shop import Shop

__all__ = ["Desk", "Looked"]

_LOG = logging.getLogger("witnessmark.web")
_KEEP = 128


@dataclass(frozen=True, slots=True)
class Looked:
    """What the desk can say about a case now.

    Attributes:
        version: of the case and of what its numbers rest on.
        assessment: the newest there is, ``None`` before the first one.
        current: whether it speaks of this version.
        trouble: one sentence when it could not be worked out.
        stopped: whether somebody stopped the work.
    """

    version: str
    assessment: Assessment | None
    current: bool
    trouble: str = ""
    stopped: bool = False


class Desk:
    """Works out assessments in the background and keeps the newest of each case.

    Args:
        shop: the shop.
        assess: works out the assessment of a case id.
    """

    def __init__(self, shop: Shop, assess: Callable[[str], Assessment]) -> None:
        self._shop = shop
        self._assess = assess
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="desk")
        self._lock = threading.Lock()
        self._newest: OrderedDict[str, tuple[str, Assessment]] = OrderedDict()
        self._cases: OrderedDict[str, tuple[int, Case]] = OrderedDict()
        self._work: dict[str, tuple[str, Future[None]]] = {}
        self._trouble: dict[str, tuple[str, str]] = {}
        self._stopped: dict[str, str] = {}
        self._stamp = 0

    def close(self) -> None:
        """End the background work."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def version(self, case_id: str) -> str:
        """Return the version of a case: it changes with every line and with the settings.

        Raises:
            NotFound: no such case.
        """
        return f"{self._shop.casebook.count(case_id)}.{self._stamp}"

    def settings_changed(self) -> None:
        """Forget what rests on the settings."""
        self._stamp += 1

    def case(self, case_id: str) -> Case:
        """Return a case, parsed once per state.

        Raises:
            NotFound: no such case.
        """
        count = self._shop.casebook.count(case_id)
        with self._lock:
            held = self._cases.get(case_id)
        if held is not None and held[0] == count:
            return held[1]
        case = self._shop.case(case_id)
        with self._lock:
            self._cases[case_id] = (count, case)
            while len(self._cases) > 4 * _KEEP:
                self._cases.popitem(last=False)
        return case

    def look(self, case_id: str, *, wait_s: float = 0.0, start: bool = True) -> Looked:
        """Return the newest assessment; start the work for this version if nobody has.

        Raises:
            NotFound: no such case.
        """
        version = self.version(case_id)
        done = self._done(case_id, version)
        if done is not None:
            return done
        if start and self._stopped.get(case_id) != version:
            future = self._begin(case_id, version)
            if wait_s > 0:
                try:
                    future.result(timeout=wait_s)
                except TimeoutError:
                    pass
                except Exception:
                    _LOG.debug("the work on %s ended early", case_id)
                done = self._done(case_id, version)
                if done is not None:
                    return done
        held = self._newest.get(case_id)
        stopped = self._stopped.get(case_id) == version
        return Looked(version, held[1] if held else None, False, stopped=stopped)

    def newest(self, case_id: str) -> Assessment | None:
        """Return the newest assessment there is, of whatever version, and start nothing."""
        held = self._newest.get(case_id)
        return held[1] if held else None

    def stop(self, case_id: str) -> None:
        """Do not work on this version of a case; what was begun is thrown away."""
        version = self.version(case_id)
        with self._lock:
            self._stopped[case_id] = version
            begun = self._work.pop(case_id, None)
        if begun is not None:
            begun[1].cancel()

    def resume(self, case_id: str) -> None:
        """Allow the work again."""
        with self._lock:
            self._stopped.pop(case_id, None)
            self._trouble.pop(case_id, None)

    def _done(self, case_id: str, version: str) -> Looked | None:
        held = self._newest.get(case_id)
        if held is not None and held[0] == version:
            return Looked(version, held[1], True)
        trouble = self._trouble.get(case_id)
        if trouble is not None and trouble[0] == version:
            return Looked(version, held[1] if held else None, False, trouble[1])
        return None

    def _begin(self, case_id: str, version: str) -> Future[None]:
        with self._lock:
            begun = self._work.get(case_id)
            if begun is not None and begun[0] == version:
                return begun[1]
            if begun is not None:
                begun[1].cancel()
            future = self._pool.submit(self._run, case_id, version)
            self._work[case_id] = (version, future)
            return future

    def _run(self, case_id: str, version: str) -> None:
        try:
            assessment = self._assess(case_id)
        except WitnessmarkError as error:
            self._trouble[case_id] = (version, str(error))
            return
        except Exception as error:
            _LOG.exception("the assessment of %s failed", case_id)
            self._trouble[case_id] = (
                version,
                f"The odds could not be worked out (a fault of ours: {type(error).__name__}). "
                "The entries are safe; report it.",
            )
            return
        with self._lock:
            if self._stopped.get(case_id) == version:
                return
            self._newest[case_id] = (version, assessment)
            self._newest.move_to_end(case_id)
            while len(self._newest) > _KEEP:
                self._newest.popitem(last=False)
            begun = self._work.get(case_id)
            if begun is not None and begun[0] == version:
                del self._work[case_id]
