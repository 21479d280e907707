"""Which stops stand, and what lifts them: the interpreter of the packs' stops.

It knows the kinds of condition that a pack can write (odds, clue, test with its result, reading
beyond a limit, trouble code, finding, work, all, any) and no stop by its name.

What is *seen* raises a stop for good: odds do not lift it, only what its `until` names does, found
after it was raised, and the repair of its cause where the pack says so. What is only *likely*
raises it as long as it is likely. A result that may mean the danger raises; only a result that
surely means none lifts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.model.finding import OperatingPoint
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.words.say import stops as say

__all__ = ["StandingStop", "holds", "only_by_work", "standing_stop", "standing_stops"]

_STARTS = frozenset({"key_on", "crank", "start", "parked_run", "hot_parked_run", "warm"})


@dataclass(frozen=True, slots=True)
class StandingStop:
    """A stop that stands.

    Attributes:
        stop: the stop.
        level: ``start`` while nothing is lifted, ``drive`` once only the drive is left.
        danger: P(any of its causes), 0 where it names none.
        seen: what was seen that raised it; empty when only the odds did.
        checked: every check of this level has an answer in the present state.
        entries: the entries that raised it.
        after_work: checks of this level that lift nothing before a repair that was not made yet.
    """

    stop: Stop
    level: Literal["start", "drive"]
    danger: float
    seen: tuple[Asked, ...]
    checked: bool
    entries: tuple[str, ...] = ()
    after_work: frozenset[str] = frozenset()

    @property
    def say(self) -> str:
        """What to do, as an order."""
        if self.level == "drive":
            return say.may_start(self.stop.until_drive_words)
        worse = self.checked or self.own_check_found
        return self.stop.once_checked if worse and self.stop.once_checked else self.stop.say

    @property
    def checks(self) -> tuple[str, ...]:
        """Return the tests that lift this level now; those after it or after a repair wait."""
        return tuple(t for t in self.stop.checks_of(self.level) if t not in self.after_work)

    @property
    def seen_now(self) -> bool:
        """Whether a test of its own raised it."""
        return any(asked.kind == "test" for asked in self.seen)

    @property
    def own_check_found(self) -> bool:
        """Whether one of the checks that would lift it found what it looks for.

        What another test has seen raises it, but says nothing of the check that is still due.
        """
        leaves = (leaf for asked in self.seen for leaf in asked.leaves())
        return any(leaf.kind == "test" and leaf.ids[0] in self.checks for leaf in leaves)

    @property
    def blocks(self) -> tuple[str, ...]:
        """Return the kinds of step that it forbids."""
        if self.level == "start":
            return self.stop.blocks
        return tuple(b for b in self.stop.blocks if b not in _STARTS) or ("load", "road")


def standing_stops(stops: Iterable[Stop], facts: Facts) -> tuple[StandingStop, ...]:
    """Return those of the stops that stand, in their order."""
    return tuple(s for stop in stops if (s := standing_stop(stop, facts)) is not None)


def standing_stop(stop: Stop, facts: Facts) -> StandingStop | None:
    """Say whether a stop stands, ``None`` when it does not."""
    raised = [(asked, place) for asked in stop.when if (place := _raised(asked, facts)) is not None]
    if stop.repair_lifts:
        mended = max((m.place for c in stop.causes for m in facts.told("work", c)), default=-1)
        raised = [(asked, place) for asked, place in raised if place < 0 or place > mended]
    if not raised:
        return None
    seen = [(asked, place) for asked, place in raised if place >= 0]
    since = max((place for _, place in seen), default=-1)
    level: Literal["start", "drive"] = "start"
    if _lifted(stop.until, facts, since):
        if not stop.until_drive or _lifted(stop.until_drive, facts, since):
            return None
        level = "drive"
    danger = _danger(stop.causes, facts)
    fresh = tuple(asked for asked, place in seen if place >= facts.begins(facts.stage))
    due = stop.checks_of(level)
    answered = [m.id for m in facts.marks if m.kind == "test" and m.stage == facts.stage]
    parts = stop.until if level == "start" else stop.until_drive
    good = {leaf.ids[0] for p in parts for leaf in p.leaves() if _shown(leaf, facts) is not None}
    checked = bool(due) and all(t in answered or t in facts.answered or t in good for t in due)
    told = {m.entry for asked, _ in seen for m in _behind(asked, facts) if m.entry}
    entries = tuple(dict.fromkeys(m.entry for m in facts.marks if m.entry in told))
    waiting = frozenset(due) - _due_now(parts, facts)
    return StandingStop(stop, level, danger, fresh, checked, entries, waiting)


def only_by_work(asked: Asked, facts: Facts) -> bool:
    """Say whether a condition of `until` can hold only after a repair that was not made yet."""
    if asked.kind == "work":
        return not facts.told("work", asked.ids[0])
    if asked.kind == "any":
        return all(only_by_work(part, facts) for part in asked.parts)
    return asked.kind == "all" and any(only_by_work(part, facts) for part in asked.parts)


def _due_now(parts: Sequence[Asked], facts: Facts) -> frozenset[str]:
    """Return the tests that lift something now: none beside a repair that has to come first."""
    if any(only_by_work(part, facts) for part in parts):
        return frozenset()
    found: set[str] = set()
    for part in parts:
        if part.kind == "test":
            found.add(part.ids[0])
        elif part.kind == "all":
            found |= _due_now(part.parts, facts)
        elif part.kind == "any":
            for one in part.parts:
                found |= _due_now((one,), facts)
    return frozenset(found)


def _behind(asked: Asked, facts: Facts) -> tuple[Mark, ...]:
    leaves = (leaf for leaf in asked.leaves() if leaf.kind in {"clue", "test", "reading", "code"})
    return tuple(m for leaf in leaves for m in _marks(leaf, facts) if _may_mean(leaf, m, facts))


def holds(asked: Asked, facts: Facts) -> bool:
    """Say whether a condition of a step holds by what is known now."""
    return _raised(asked, facts) is not None


def _danger(causes: Sequence[str], facts: Facts) -> float:
    healthy = 1.0
    for cause in causes:
        healthy *= 1.0 - facts.chances.get(cause, 0.0)
    return 1.0 - healthy


def _raised(asked: Asked, facts: Facts) -> int | None:
    """Return the place of what raises a stop, -1 where only odds do, ``None`` where nothing."""
    if asked.kind == "at_fault":
        return -1 if _danger(asked.ids, facts) >= asked.at_least else None
    if asked.kind in {"all", "any"}:
        inner = [_raised(part, facts) for part in asked.parts]
        known = [place for place in inner if place is not None]
        enough = len(known) == len(inner) if asked.kind == "all" else bool(known)
        return max(known) if known and enough else None
    if asked.kind == "finding":
        return facts.begins(facts.stage) if asked.ids[0] in facts.findings else None
    if asked.kind == "test" and asked.or_not_run and not facts.tested(asked.ids[0]):
        return -1
    places = [m.place for m in _marks(asked, facts) if _may_mean(asked, m, facts)]
    if asked.kind == "clue":  # clues are told in any order, and the last word on each counts
        last = _marks(asked, facts)[-1:]
        return facts.begins(last[0].stage) if places and last[0].place == places[-1] else None
    return max(places, default=None)


def _lifted(until: Sequence[Asked], facts: Facts, since: int) -> bool:
    """Say whether every condition holds, one of them found after the stop was raised."""
    places = [_shown(asked, facts) for asked in until]
    found = [place for place in places if place is not None]
    return bool(until) and len(found) == len(places) and max(found) >= since


def _shown(asked: Asked, facts: Facts) -> int | None:
    """Return the place of what makes a condition of `until` hold now, ``None`` where it does not.

    What was read or found before the last work counts only where nothing was found.
    """
    if asked.kind in {"all", "any"}:
        inner = [_shown(part, facts) for part in asked.parts]
        known = [place for place in inner if place is not None]
        enough = len(known) == len(inner) if asked.kind == "all" else bool(known)
        return max(known) if known and enough else None
    if asked.kind == "test":
        mark = _answer(asked.ids[0], facts)
        if mark is None:
            never = not facts.tested(asked.ids[0])
            return 0 if asked.or_not_run and never else None
        return mark.place if _surely_means(asked, mark, facts) else None
    if asked.kind in {"clue", "work"}:
        marks = _marks(asked, facts)[-1:]
        return marks[0].place if marks and _may_mean(asked, marks[0], facts) else None
    if asked.kind == "reading":
        now = [m for m in _marks(asked, facts) if m.stage == facts.stage][-1:]
        return now[0].place if now and _beyond(asked, now[0], surely=True) else None
    return None


def _answer(test: str, facts: Facts) -> Mark | None:
    """Return the answer of a test that still counts, ``None`` when it has none."""
    marks = facts.tested(test)
    if not marks:
        return None
    nothing = facts.results_meant(test, "negative")
    last = marks[-1]
    fine = facts.results_meant(test, str(last.value)) <= nothing
    return last if last.stage == facts.stage or fine else None


def _marks(asked: Asked, facts: Facts) -> tuple[Mark, ...]:
    if asked.kind == "test":
        return facts.tested(asked.ids[0])
    if asked.kind == "code":
        return facts.told("code", str(asked.spn))
    if asked.kind == "reading":
        false = _called_false(asked, facts)
        found = (m for m in facts.told("reading", asked.ids[0]) if _suits(asked, m))
        return tuple(
            m for m in found if not any(s == m.stage and p.matches(m.point) for s, p in false)
        )
    return facts.told(asked.kind, asked.ids[0])


def _suits(asked: Asked, mark: Mark) -> bool:
    """Say whether a reading was taken where the limit holds; what is missing is not assumed."""
    if asked.rpm is not None and not mark.point.turns_within(asked.rpm):
        return False
    load = mark.point.load
    return asked.load is None or (load is not None and asked.load[0] <= load <= asked.load[1])


def _called_false(asked: Asked, facts: Facts) -> set[tuple[int, OperatingPoint]]:
    """Return the stages and points at which another instrument says that a reading is false."""
    if not asked.unless:
        return set()
    return {
        (m.stage, m.point)
        for m in facts.told("reading", asked.unless)
        if float(m.value or 0.0) + m.half < asked.unless_below
    }


def _may_mean(asked: Asked, mark: Mark, facts: Facts) -> bool:
    if asked.kind == "test":
        meant = facts.results_meant(mark.id, str(mark.value))
        return bool(meant & _wanted(asked, facts))
    if asked.kind == "clue":
        return mark.value is asked.seen
    if asked.kind == "code":
        return not asked.fmi or mark.value in asked.fmi
    if asked.kind == "reading":
        return _beyond(asked, mark, surely=False)
    return True


def _beyond(asked: Asked, mark: Mark, *, surely: bool) -> bool:
    """Say whether a reading is beyond a bound: one of its ends, or, to be sure, both of them."""
    value = float(mark.value or 0.0)
    off = -mark.half if surely else mark.half
    over = asked.above is not None and value + off > asked.above
    return over or (asked.below is not None and value - off < asked.below)


def _surely_means(asked: Asked, mark: Mark, facts: Facts) -> bool:
    meant = facts.results_meant(mark.id, str(mark.value))
    return bool(meant) and meant <= _wanted(asked, facts)


def _wanted(asked: Asked, facts: Facts) -> frozenset[str]:
    test = asked.ids[0]
    return frozenset(o for result in asked.results for o in facts.results_meant(test, result))
