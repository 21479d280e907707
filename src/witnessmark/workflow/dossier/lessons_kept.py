"""What each case of a shop has taught, judged once and kept: small, so that thousands are quick.

A lesson is made again only when its case was written to, when the packs changed or the program did.
Lessons are held in the process and kept on disk between runs (``kept.py``); ages stand there as
days before a far day, so that a kept lesson does not grow old.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any

from witnessmark.kept import keep_text, kept_text
from witnessmark.knowledge import Knowledge
from witnessmark.model.digest import digest
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.fuel_baseline import BaselineReading
from witnessmark.model.shop_record import Closing, Comeback, History, Job
from witnessmark.version import __version__
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["AGES_FROM", "Lesson", "Lessons", "forget_lessons", "lessons_of"]

#: The far day that kept ages are counted to.
AGES_FROM = datetime(2200, 1, 1, tzinfo=UTC)
#: So many shops' lessons are held in a process.
_SHOPS = 8
#: Lessons are written to disk once this share of them is new; one rewritten lesson may wait.
_WRITE_FROM = 0.01
_LAYOUT = 1
_LOCK = threading.RLock()


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one case has taught.

    Attributes:
        history: its closings, jobs and comebacks.
        engine_type: the engine type of its truck.
        healthy: readings after a proven repair.
        sound: it could be made; one that could not is tried again in the next run.
    """

    history: History
    engine_type: str = ""
    healthy: tuple[BaselineReading, ...] = ()
    sound: bool = True

    @property
    def teaches(self) -> bool:
        """Whether there is anything in its history."""
        told = self.history
        return bool(told.closings or told.jobs or told.comebacks)


@dataclass(frozen=True)
class Lessons:
    """The lessons of a shop at one moment.

    Attributes:
        by_case: case id -> lesson, in the order of the ids.
        history: all of it.
        stamp: changes with whatever any of them says, and with the day.
    """

    by_case: Mapping[str, Lesson]
    history: History
    stamp: str

    def without(self, case: str) -> tuple[History, str]:
        """Return the history without one case, and a stamp of it."""
        own = self.by_case.get(case)
        if own is None or not own.teaches:
            return self.history, self.stamp
        return _together(o for c, o in self.by_case.items() if c != case), f"{self.stamp}-{case}"


@dataclass
class _Held:
    rows: dict[str, tuple[str, int]]
    lessons: dict[str, Lesson]
    told: dict[str, str]
    aged: dict[str, Lesson]
    day: str = ""
    pulse: str = ""
    now: Lessons | None = None
    unwritten: int = 0


_HELD: OrderedDict[tuple[str, ...], _Held] = OrderedDict()


def lessons_of(
    shop: Shop, knowledge: Knowledge, make: Callable[[str, datetime], Lesson]
) -> Lessons:
    """Return the lessons of all cases of a shop.

    Args:
        shop: the shop.
        knowledge: the packs.
        make: makes the lesson of one case anew, its ages counted to the given time.
    """
    packs = digest(knowledge)
    key = (str(shop.folder.resolve()), shop.name, packs, __version__)
    pulse, today = shop.casebook.pulse(), _today()
    with _LOCK:
        held = _HELD.get(key)
        if held is None:
            held = _HELD[key] = _read(key)
        _HELD.move_to_end(key)
        while len(_HELD) > _SHOPS:
            _HELD.popitem(last=False)
        if held.now is not None and (held.pulse, held.day) == (pulse, today.isoformat()):
            return held.now
        rows = shop.casebook.rows.states()
        fresh = [case for case, row in rows.items() if held.rows.get(case) != row]
        for case in fresh:
            held.lessons[case] = make(case, AGES_FROM)
            held.told[case] = digest(held.lessons[case])
            held.rows[case] = rows[case]
            held.aged.pop(case, None)
        for gone in set(held.rows) - set(rows):
            del held.rows[gone], held.lessons[gone], held.told[gone]
            held.aged.pop(gone, None)
        held.unwritten += len(fresh)
        if held.unwritten > _WRITE_FROM * len(rows):
            _keep(key, held)
        if held.day != today.isoformat():
            held.aged.clear()
        days = (AGES_FROM - today).total_seconds() / 86400.0
        names = sorted(held.lessons)
        for case in names:
            if case not in held.aged:
                held.aged[case] = _aged(held.lessons[case], days)
        aged = {case: held.aged[case] for case in names}
        told = "\n".join(f"{case} {held.told[case]}" for case in names)
        stamp = digest((today.isoformat(), told))
        held.now = Lessons(aged, _together(aged.values()), stamp)
        held.pulse, held.day = pulse, today.isoformat()
        return held.now


def forget_lessons(shop: Shop) -> None:
    """Let the kept lessons of a shop go: what was erased must not lie anywhere else."""
    folder = str(shop.folder.resolve())
    with _LOCK:
        for key in [k for k in _HELD if k[0] == folder]:
            del _HELD[key]
            keep_text(_name(key), "")


def _today() -> datetime:
    return datetime.now(UTC).replace(hour=0, minute=0, second=0, microsecond=0)


def _together(lessons: Any) -> History:
    told = [one.history for one in lessons if one.teaches]
    return History(
        tuple(c for h in told for c in h.closings),
        tuple(j for h in told for j in h.jobs),
        tuple(b for h in told for b in h.comebacks),
    )


def _aged(lesson: Lesson, days: float) -> Lesson:
    """Return a lesson with its ages counted to *days* before the far day."""
    if not lesson.teaches:
        return lesson
    told = lesson.history

    def ago(record: Closing | Job | Comeback) -> float:
        return max(0.0, record.days_ago - days)

    history = History(
        tuple(replace(c, days_ago=ago(c)) for c in told.closings),
        tuple(replace(j, days_ago=ago(j)) for j in told.jobs),
        tuple(replace(b, days_ago=ago(b)) for b in told.comebacks),
    )
    return replace(lesson, history=history)


def _name(key: tuple[str, ...]) -> str:
    return "\n".join(("lessons", str(_LAYOUT), *key))


def _keep(key: tuple[str, ...], held: _Held) -> None:
    sound = [case for case in sorted(held.rows) if held.lessons[case].sound]
    rows = [[case, *held.rows[case], asdict(held.lessons[case])] for case in sound]
    keep_text(_name(key), json.dumps(rows, separators=(",", ":")))
    held.unwritten = 0


def _read(key: tuple[str, ...]) -> _Held:
    """Return what was kept; nothing where it is missing or in any way not what it should be."""
    text = kept_text(_name(key))
    held = _Held({}, {}, {}, {})
    if not text:
        return held
    try:
        for case, opened, change, told in json.loads(text):
            lesson = _lesson(told)
            held.lessons[case], held.told[case] = lesson, digest(lesson)
            held.rows[case] = (opened, change)
    except (ValueError, TypeError, KeyError, AttributeError):
        return _Held({}, {}, {}, {})
    return held


def _lesson(told: dict[str, Any]) -> Lesson:
    history = told["history"]
    return Lesson(
        History(
            tuple(
                Closing(
                    **{
                        **c,
                        "causes": tuple(c["causes"]),
                        "results": tuple((t, r) for t, r in c["results"]),
                    }
                )
                for c in history["closings"]
            ),
            tuple(Job(**{**j, "parts": tuple(j["parts"])}) for j in history["jobs"]),
            tuple(Comeback(**b) for b in history["comebacks"]),
        ),
        told["engine_type"],
        tuple(
            BaselineReading(**{**r, "point": OperatingPoint(**r["point"])}) for r in told["healthy"]
        ),
    )
