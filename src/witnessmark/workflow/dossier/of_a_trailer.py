"""A trailer or a dolly as a vehicle of its own: without an engine, and not for every complaint."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.problem import Problem
from witnessmark.model.step import Step
from witnessmark.words.say import trailers as say

__all__ = ["not_of_it", "with_a_tractor"]

#: What an engine does that a vehicle without one needs a tractor for.
_RUNS = frozenset({"key_on", "cranking", "idle", "running", "loaded"})


def not_of_it(case: Case, knowledge: Knowledge) -> Iterator[Problem]:
    """Yield a problem for every complaint that is none of a vehicle of this kind."""
    vehicle = _vehicle(case)
    for entry, complaint in case.complaints() if vehicle else ():
        for name in complaint.families:
            family = knowledge.families.get(name)
            if family is not None and vehicle not in family.vehicles and complaint.own is None:
                yield Problem(entry.id, say.not_of_it(family.name, vehicle), say.open_apart())


def with_a_tractor(steps: Sequence[Step], case: Case, knowledge: Knowledge) -> tuple[Step, ...]:
    """Return the steps; those that take a key or an engine say that a tractor must be coupled."""
    if not _vehicle(case):
        return tuple(steps)
    return tuple(_coupled(step, knowledge) for step in steps)


def _vehicle(case: Case) -> str:
    """Return trailer or dolly; nothing for a truck."""
    truck = case.truck()
    kind = truck.vehicle if truck is not None else None
    return kind if kind in {"trailer", "dolly"} else ""


def _coupled(step: Step, knowledge: Knowledge) -> Step:
    test = knowledge.test(step.step)
    state = test.rules.state if test is not None else None
    if state is None or not (state.engine in _RUNS or state.road):
        return step
    return replace(step, needs=(say.tractor(), *step.needs))
