"""What the truck brought: the state it is in, and what was just touched."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from witnessmark.knowledge import Condition, Family
from witnessmark.planner.order.facts import Facts

__all__ = ["BroughtIn", "brought_in"]

#: A condition speaks of a cause when it makes it so many times likelier (judgement).
_SPEAKS_OF = 1.5


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """The truck as it stands before the next step.

    Attributes:
        states: no_crank, no_start, crawl, no_air, not_to_be_driven, told_to_stay.
        touched: causes that something just opened, fitted, filled or charged speaks of.
    """

    states: frozenset[str] = frozenset()
    touched: frozenset[str] = frozenset()

    @property
    def does_not_run(self) -> str:
        """The state in which the engine does not run; empty where it does."""
        return next((s for s in ("no_crank", "no_start") if s in self.states), "")


def brought_in(
    facts: Facts, conditions: Mapping[str, Condition], families: Iterable[Family] = ()
) -> BroughtIn:
    """Read off the clues what the truck brought; the last word on each counts.

    A state that was told before the latest work holds until somebody says otherwise.

    Args:
        facts: everything that is known.
        conditions: condition id -> condition.
        families: the open complaints.
    """
    last = {(m.id, m.part): m.value for m in facts.marks if m.kind == "clue"}
    seen = {key for key, value in last.items() if value is True}
    known = [(conditions[c], part) for c, part in seen if c in conditions]
    states = frozenset(c.truck_state for c, _ in known if c.truck_state)
    just = [(c, part) for c, part in known if c.touched]
    parts = {part for c, part in just if c.part_scoped and part}
    whole = {c.id for c, _ in just if not c.part_scoped}
    spoken = {
        cause.id
        for family in families
        for cause in family.causes
        if any(cause.odds_multipliers.get(c, 1.0) >= _SPEAKS_OF for c in whole)
    }
    return BroughtIn(states, frozenset(parts | spoken))
