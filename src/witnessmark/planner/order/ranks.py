"""The ranks of the bay: a later rank waits for an earlier one, and cost decides inside a rank.

Common practice, no source.
"""

from __future__ import annotations

from enum import IntEnum

from witnessmark.knowledge import Test
from witnessmark.model.step import Step

__all__ = ["TEAR_DOWN", "Rank", "rank_of"]

#: From this access on a step is a tear-down: covers, pan, head or engine.
TEAR_DOWN = 4
#: From this access on parts come off: what a test is whose pack does not say its kind.
_PARTS_OFF = 3


class Rank(IntEnum):
    """What a step is, in the order in which a master takes it."""

    LIFTS_STOP = 0
    """The check whose result lifts a standing stop."""
    TOUCHED = 1
    """A quick look at what was just opened, fitted, filled or charged."""
    DUE = 2
    """The repair of what was seen bad or is decided; nothing left to look at would change it."""
    SUSPECT = 3
    """The quick look that sees the first suspect, once one clearly leads."""
    FREE_LOOK = 4
    """Level, belt, hose, wet point: minutes, no tool."""
    LOOK = 5
    """A look that takes a little longer."""
    FIRST_READING = 6
    """The reading that proves the complaint while nothing was measured."""
    SEES_SUSPECT = 7
    """The longer check that sees a likely suspect."""
    MEASURE = 8
    """An instrument or the codes, at the cheapest point."""
    ISOLATE = 9
    """Cut out, bypass, block, unplug: a change that is taken back, the same gauge watched."""
    SEARCH = 10
    """The open search, once it is time to stop buying parts."""
    OPEN = 11
    """Something is taken apart."""
    RENEW = 12
    """A part is renewed, or an open search begun."""
    WAITS = 13
    """A tear-down that waits for looks that a stop holds back."""
    GUARD = 14
    """A look that stands right before the part that waits for it, and nowhere else."""


def rank_of(step: Step, test: Test | None = None) -> Rank:
    """Return the rank of a step by what it is.

    Args:
        step: the step.
        test: the pack's test behind it, ``None`` for a repair, a measurement or the search.
    """
    if step.kind == "repair" or (test is None and step.kind != "measure"):
        return Rank.RENEW
    untold = test is not None and not test.kind
    taken_off = test is not None and (test.kind == "strip" or test.invasive)
    if taken_off or "open" in step.work or step.access >= (_PARTS_OFF if untold else TEAR_DOWN):
        return Rank.OPEN
    if test is None:
        return Rank.MEASURE
    if test.free_look:
        return Rank.FREE_LOOK
    return {"look": Rank.LOOK, "functional": Rank.ISOLATE}.get(test.kind, Rank.MEASURE)
