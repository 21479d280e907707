"""The desk: assessments worked out once per state of a case, off the request's path."""

from __future__ import annotations

import itertools
import logging
import queue
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from witnessmark.errors import WitnessmarkError
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.shop.worker import Stopped, Worked

__all__ = ["Desk", "Looked"]

_LOG = logging.getLogger("witnessmark.web")
_KEEP = 128
_ASKED, _WARM, _END = 0, 1, -1


@dataclass(frozen=True, slots=True)
class Looked:
    """What the desk can say about a case now.

    Attributes:
        version: of what can be shown: of the case's own lines and of its newest dossier. A write
            elsewhere changes it only when it changes the dossier.
        worked: the newest there is, ``None`` before the first one.
        current: whether it speaks of this version.
        trouble: one sentence when it could not be worked out.
        stopped: whether somebody stopped the work.
    """

    version: str
    worked: Worked | None
    current: bool
    trouble: str = ""
    stopped: bool = False

    @property
    def assessment(self) -> Dossier | None:
        """The newest assessment there is."""
        return self.worked.assessment if self.worked else None

    @property
    def working(self) -> bool:
        """Whether something newer is on its way."""
        return not (self.current or self.trouble or self.stopped)


class Desk:
    """Works out assessments in the background and keeps the newest of each case.

    Args:
        shop: the shop.
        work: works out a case id; called from one thread only.
        interrupt: makes *work* end at once with :class:`Stopped`, from another thread.
    """

    def __init__(
        self,
        shop: Shop,
        work: Callable[[str], Worked],
        interrupt: Callable[[], None] = lambda: None,
    ) -> None:
        self._shop = shop
        self._work = work
        self._interrupt = interrupt
        self._queue: queue.PriorityQueue[tuple[int, int, str, str]] = queue.PriorityQueue()
        self._order = itertools.count()
        self._changed = threading.Condition()
        self._newest: OrderedDict[str, tuple[str, Worked]] = OrderedDict()
        self._cases: OrderedDict[str, tuple[int, Case]] = OrderedDict()
        self._wanted: dict[str, tuple[str, int]] = {}
        self._trouble: dict[str, tuple[str, str]] = {}
        self._stopped: dict[str, str] = {}
        self._busy = ""
        self._stamp = 0
        self.finished = 0  # how many assessments were worked out: pages that watch ask for it
        self._thread: threading.Thread | None = None

    def close(self) -> None:
        """End the background work."""
        self._queue.put((_END, next(self._order), "", ""))
        self._interrupt()

    def version(self, case_id: str) -> str:
        """Return the version of all that a case's dossier may rest on.

        Whoever writes, by whatever door or process, changes it: lines of this case and of the
        shop's others, settings, packs, the day.

        Raises:
            NotFound: no such case.
        """
        return f"{self._own(case_id)}.{self._shop.pulse()}"

    @property
    def stamp(self) -> int:
        """How often the settings were changed."""
        return self._stamp

    def settings_changed(self) -> None:
        """Forget what rests on the settings and on what other cases have taught."""
        self._stamp += 1

    def case(self, case_id: str) -> Case:
        """Return a case, parsed once per state.

        Raises:
            NotFound: no such case.
        """
        count = self._shop.casebook.state(case_id)[1]
        held = self._cases.get(case_id)
        if held is not None and held[0] == count:
            return held[1]
        case = self._shop.case(case_id)
        with self._changed:
            self._cases[case_id] = (count, case)
            while len(self._cases) > 4 * _KEEP:
                self._cases.popitem(last=False)
        return case

    def look(self, case_id: str, *, wait_s: float = 0.0, warm: bool = False) -> Looked:
        """Return the newest assessment; ask for the one of this version if nobody has.

        Args:
            case_id: the case.
            wait_s: how long to wait for it [s].
            warm: nobody waits for it: whatever somebody asks for comes first.

        Raises:
            NotFound: no such case.
        """
        version = self.version(case_id)
        found = self._found(case_id, version)
        if not found.working:
            return found
        self._ask(case_id, version, _WARM if warm else _ASKED)
        if wait_s > 0:
            with self._changed:
                self._changed.wait_for(
                    lambda: not self._found(case_id, version).working, timeout=wait_s
                )
            found = self._found(case_id, version)
        return found

    def newest(self, case_id: str) -> Dossier | None:
        """Return the newest assessment there is, of whatever version, and start nothing."""
        held = self._newest.get(case_id)
        return held[1].assessment if held else None

    def stop(self, case_id: str) -> None:
        """Do not work on this version of a case; what was begun is thrown away."""
        self._stopped[case_id] = self._own(case_id)
        if self._busy == case_id:
            self._interrupt()

    def resume(self, case_id: str) -> None:
        """Allow the work again."""
        with self._changed:
            for held in (self._stopped, self._trouble, self._wanted):
                held.pop(case_id, None)

    def _found(self, case_id: str, version: str) -> Looked:
        held = self._newest.get(case_id)
        worked = held[1] if held else None
        own = version.rsplit(".", 1)[0]
        shown = f"{own}.{worked.assessment.key[:12]}" if worked else own
        if held is not None and held[0] == version:
            return Looked(shown, worked, True)
        trouble = self._trouble.get(case_id)
        if trouble is not None and trouble[0] == version:
            return Looked(shown, worked, False, trouble[1])
        return Looked(shown, worked, False, stopped=self._stopped.get(case_id) == own)

    def _own(self, case_id: str) -> str:
        """Return the version of the case's own lines, and of what this door has changed."""
        return f"{self._shop.casebook.state(case_id)[1]}.{self._stamp}"

    def _ask(self, case_id: str, version: str, priority: int) -> None:
        with self._changed:
            asked = self._wanted.get(case_id)
            if asked is not None and asked[0] == version and asked[1] <= priority:
                return
            self._wanted[case_id] = (version, priority)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="desk", daemon=True)
                self._thread.start()
        self._queue.put((priority, next(self._order), case_id, version))

    def _run(self) -> None:
        while True:
            priority, _, case_id, version = self._queue.get()
            if priority == _END:
                return
            asked = self._wanted.get(case_id)
            # Somebody has entered more meanwhile, or it is done already: the older one is skipped.
            own = version.rsplit(".", 1)[0]
            skip = asked is None or asked[0] != version or self._stopped.get(case_id) == own
            if skip or not self._found(case_id, version).working:
                continue
            self._busy = case_id
            try:
                self._one(case_id, version)
            finally:
                self._busy = ""
                with self._changed:
                    self._changed.notify_all()

    def _one(self, case_id: str, version: str) -> None:
        try:
            worked = self._work(case_id)
        except Stopped:
            self._wanted.pop(case_id, None)
            return
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
        if self._stopped.get(case_id) == version.rsplit(".", 1)[0]:
            return
        with self._changed:
            self._newest[case_id] = (version, worked)
            self._newest.move_to_end(case_id)
            self.finished += 1
            while len(self._newest) > _KEEP:
                self._newest.popitem(last=False)
