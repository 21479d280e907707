"""What is known of one open complaint, as the order of its steps needs it."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from witnessmark.inference.look_first import LookWaiting, OneWord
from witnessmark.knowledge import Cause, Family, Test
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.odds import DECIDED_FROM
from witnessmark.model.step import Step
from witnessmark.planner.order.facts import Facts

__all__ = ["SURE", "OpenComplaint", "shows_itself"]

#: From this probability on a cause is as good as seen bad (judgement).
SURE = 0.90

#: A result shows a part bad when the part gives it at least so often, and so many times oftener
#: than a truck without it (judgement).
SHOWS_FROM, SHOWS_RATIO = 0.50, 3.0
#: A look speaks to a suspect when a result is so many times likelier, or rarer, with it.
SPEAKS = 1.5


@dataclass(frozen=True, slots=True)
class OpenComplaint:
    """What is known of one open complaint.

    Attributes:
        family: its family.
        chances: cause id -> P(present).
        done: tests that need no repeating.
        found: whether anything was tested or measured, so that a cause can be decided.
        only_renewed: whether all that was found so far is that a part was renewed in vain.
        looks: test id -> its step, also of tests that are not worth listing by the figures.
        positive: tests that found something.
        cured: whether probably nothing is wrong any more, so that only the proof is due.
        clear: whether, before any work, nothing wrong is likelier than any cause: no part is due.
        sound: whether it is likelier than not.
        unexplained: whether nothing listed fits, so that a reading comes before any repair.
        waiting: dear parts that wait for a look at something cheap that reads the same.
        seen_bad: causes whose part a look has shown bad since the latest work.
        seen_itself: those of them that a test of the part itself has shown bad.
        repaired: causes whose part was renewed.
        first: the pack's first measurement while nothing at all was measured.
        opening_waits: a physical model says that little was read yet, so a reading that costs about
            the same goes before opening anything.
        one_word: a physical model says that all it read is one instrument's word.
        stop_and_search: how pressing the open search is: "", "say", "due" or "hard".
        read_as: test id -> the offered measurements that see the same.
        again: tests that a stop asks for once more: its other checks say that all is well.
        fits: ``False`` when no modelled cause explains the readings.
    """

    family: Family
    chances: Mapping[str, float]
    done: Collection[str]
    found: bool
    only_renewed: bool = False
    looks: Mapping[str, Step] = field(default_factory=dict)
    positive: Collection[str] = ()
    cured: bool = False
    clear: bool = False
    sound: bool = False
    unexplained: bool = False
    waiting: tuple[LookWaiting, ...] = ()
    seen_bad: Collection[str] = ()
    seen_itself: Collection[str] = ()
    repaired: Collection[str] = ()
    first: Measurement | None = None
    opening_waits: bool = False
    one_word: OneWord | None = None
    stop_and_search: str = ""
    read_as: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    again: Collection[str] = ()
    fits: bool = True

    @property
    def leader(self) -> str:
        """The likeliest cause."""
        return max(self.chances, key=lambda c: self.chances[c], default="")

    def left(self, facts: Facts) -> bool:
        """Say whether the complaint is left for the time: probably nothing is wrong here.

        Or that leads still after the reading that its pack names to settle it.
        """
        return self.sound or (self.clear and self.settled(facts))

    def settled(self, facts: Facts) -> bool:
        """Say whether the reading was taken that its pack names to settle whether it is sound."""
        return any(m.settles_sound and facts.taken(m) for m in self.family.measurements)

    def chance(self, cause: str) -> float:
        """Return P(present)."""
        return self.chances.get(cause, 0.0)

    def decided(self, cause: str) -> bool:
        """Say whether a cause is decided: likely by something that was found, or all but sure."""
        return self.chance(cause) >= (DECIDED_FROM if self.found else SURE)

    def open_test(self, identity: str) -> Test | None:
        """Return a test that was not made, ``None`` where it was or there is none."""
        if identity in self.done and identity not in self.again:
            return None
        return self.family.test(identity)

    def shown_by(self, cause: Cause) -> tuple[Test, ...]:
        """Return the tests that would see a part bad: those its pack names, else by the rows."""
        named = [self.family.test(look.test) for look in cause.look_first if not look.twin]
        if any(t is not None for t in named):
            return tuple(t for t in named if t is not None)
        return tuple(t for t in self.family.tests if _showing(t, cause.id))

    def speaks(self, test: Test, least: float) -> bool:
        """Say whether a test speaks to any suspect of at least this probability."""
        return any(p >= least and _bits(test, c) >= math.log(SPEAKS) for c, p in self.suspects())

    def guards(self, test: Test) -> bool:
        """Say whether a free look may find what stops the truck: it is no detour."""
        asked = (leaf for stop in self.family.stops for one in stop.when for leaf in one.leaves())
        return test.free_look and any(a.kind == "test" and test.id in a.ids for a in asked)

    def speaks_of(self, test: Test, cause: str) -> bool:
        """Say whether a test speaks to one cause."""
        return _bits(test, cause) >= math.log(SPEAKS)

    def suspects(self) -> tuple[tuple[str, float], ...]:
        """Return the causes that are not settled, with P(present)."""
        return tuple((c, p) for c, p in self.chances.items() if c not in self.repaired)


def shows_itself(test: Test, cause: Cause, result: str) -> bool:
    """Say whether a result shows a part bad by the part itself.

    A functional test (something left away, cut out, blocked) says where it is, not what it is,
    unless the pack says that it shows the cause.
    """
    if test.kind == "functional" and test.id not in cause.shown_by:
        return False
    return result in _showing(test, cause.id)


def _showing(test: Test, cause: str) -> tuple[str, ...]:
    """Return the results that a bad part gives mostly, and other causes seldom."""
    rows = zip(test.outcomes[:-1], test.row(cause), test.base, strict=False)
    return tuple(o for o, p, q in rows if p >= SHOWS_FROM and p >= SHOWS_RATIO * q)


def _bits(test: Test, cause: str) -> float:
    """Return how far the likeliest-moved result of a test moves a cause, as a log factor."""
    pairs = zip(test.row(cause), test.base, strict=True)
    return max(abs(math.log(max(p, 1e-6) / max(q, 1e-6))) for p, q in pairs)
