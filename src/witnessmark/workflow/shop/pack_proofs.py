"""What can be proven of a family's stops, looks and states before anybody works by them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from witnessmark.knowledge import Family, Knowledge, Test
from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.step import Spread, Step
from witnessmark.planner.order.facts import Facts, Mark
from witnessmark.planner.order.safety import forbidden_needs
from witnessmark.planner.order.stop_rules import standing_stop

__all__ = ["Proven", "proofs_of", "unparted"]

#: A test parts two causes when a result is so many times likelier with one than with the other.
PARTS = 1.5
#: A caution that wants the engine off, and what makes it speak of another moment.
_OFF = re.compile(r"\b(key|engine)\s+(is\s+)?(out|off)\b", re.I)
_UNLESS = re.compile(
    r"\b(before|until|wait|near|look|fitted|first|then|if|after|no|when|once)\b", re.I
)
_NOTHING = Spread(0.0, 0.0, 0.0)
_ONE = "State and needs must say the same."


@dataclass(frozen=True, slots=True)
class Proven:
    """One thing that does not hold.

    Attributes:
        path: what it is about: ``stops.ID``, ``causes.ID`` or ``tests.ID``.
        what: what does not hold.
        do: what to do.
    """

    path: str
    what: str
    do: str


def proofs_of(family: Family, knowledge: Knowledge) -> tuple[Proven, ...]:
    """Return what does not hold of a family's stops, looks before renewal and states."""
    found: list[Proven] = []
    for stop in family.stops:
        found += _stop(stop, knowledge)
    for cause in family.causes:
        looks = [
            (t, k.shows) for k in cause.look_first if (t := knowledge.test(k.test)) is not None
        ]
        # Several looks may rule out what reads the same; one of them has to see the part itself.
        if looks and not any(_shows(test, cause.id, shows) for test, shows in looks):
            named = ", ".join(test.id for test, _ in looks)
            found.append(
                Proven(
                    f"causes.{cause.id}.look_first",
                    f"No result of {named} shows this part bad.",
                    "Name a look, and under `shows` a result that the part gives oftener.",
                )
            )
    for test in family.tests:
        found += _state(test, knowledge)
    return tuple(found)


def unparted(family: Family) -> tuple[tuple[str, str], ...]:
    """Return the pairs of causes that no test of the family, and no sign, tells apart."""
    return tuple(
        (one.id, other.id)
        for one, other in combinations(family.causes, 2)
        if not any(_parts(t, one.id, other.id) for t in family.tests)
        and not any(
            _apart(s.given.get(one.id, s.base), s.given.get(other.id, s.base)) for s in family.signs
        )
    )


def _stop(stop: Stop, knowledge: Knowledge) -> Iterator[Proven]:
    # One that lets the truck limp or drive may be the driver's to heed and forbid no step.
    path = f"stops.{stop.id}"
    rule = _as_rule(stop)
    if stop.drive in {"park", "tow"} and not rule.rules_out(("road",)):
        yield Proven(
            f"{path}.blocks",
            f"It says {stop.drive} and lets a road test be proposed.",
            "Block `road`, too.",
        )
    for test in stop.checks:
        if test in stop.blocks_tests:
            yield Proven(
                f"{path}.blocks_tests",
                f"It forbids '{test}', which is to lift it.",
                "Take one of the two out.",
            )
    for leaf in (leaf for part in stop.until for leaf in part.leaves()):
        cause = knowledge.cause(leaf.ids[0]) if leaf.kind == "work" else None
        if cause is not None and rule.bars(cause.id, cause.demands):
            yield Proven(
                f"{path}.until",
                f"The repair of '{cause.id}' is to lift it, and it forbids that.",
                "Take what that repair needs out of `blocks`, or it out of `blocks_repairs`.",
            )
    outcomes = {t.id: t.outcomes for f in knowledge.families.values() for t in f.tests}
    for number, asked in enumerate(stop.when):
        marks = tuple(_marks(asked))
        facts = Facts(marks, 0, outcomes, chances=_chances(asked))
        if any(leaf.kind == "finding" for leaf in asked.leaves()):
            continue  # a finding is the analyses' to make
        if standing_stop(stop, facts) is None:
            yield Proven(
                f"{path}.when[{number}]",
                "What raises it here lifts it at once.",
                "Name under `until` what is found afterwards.",
            )


def _as_rule(stop: Stop) -> Step:
    """Return a stop as the step that stands for it, at its first level."""
    return Step(
        stop.id, "safety", stop.family, stop.say, _NOTHING, _NOTHING, 0.0, stop.why,
        forbids=forbidden_needs(stop.blocks), checks=stop.checks_of("start"),
        allowed=stop.allows, barred=(*stop.blocks_tests, *stop.blocks_repairs),
    )  # fmt: skip


def _marks(asked: Asked, place: int = 1) -> Iterator[Mark]:
    """Yield what makes a condition hold, each a place after the other."""
    if asked.kind in {"all", "any"}:
        for part in asked.parts if asked.kind == "all" else asked.parts[:1]:
            for mark in _marks(part, place):
                place = mark.place + 1
                yield mark
    elif asked.kind == "clue":
        yield Mark(place, 0, "clue", asked.ids[0], asked.seen)
    elif asked.kind == "test":
        yield Mark(place, 0, "test", asked.ids[0], asked.results[0])
    elif asked.kind == "work":
        yield Mark(place, 0, "work", asked.ids[0])
    elif asked.kind == "code":
        yield Mark(place, 0, "code", str(asked.spn), asked.fmi[0] if asked.fmi else 0)
    elif asked.kind == "reading":
        at = OperatingPoint(_middle(asked.rpm), _middle(asked.load))
        above, below = asked.above, asked.below
        value = above + 1e-6 * max(1.0, abs(above)) if above is not None else (below or 0.0) - 1e-6
        yield Mark(place, 0, "reading", asked.ids[0], value, at)


def _middle(span: tuple[float, float] | None) -> float | None:
    return None if span is None else (span[0] + span[1]) / 2.0


def _chances(asked: Asked) -> dict[str, float]:
    return {c: 0.999 for leaf in asked.leaves() if leaf.kind == "at_fault" for c in leaf.ids}


def _shows(test: Test, cause: str, shows: Sequence[str]) -> bool:
    """Say whether one of the results is likelier with the part bad than without it.

    "Nothing found" counts where the pack names it: what reads the same was ruled out.
    """
    for result in shows:
        try:
            numbers = test.outcome_set(result)
        except KeyError:
            continue
        row = test.row(cause)
        ruled_out = numbers == (len(test.outcomes) - 1,)
        if ruled_out or sum(row[k] for k in numbers) > sum(test.base[k] for k in numbers):
            return True
    return False


def _state(test: Test, knowledge: Knowledge) -> Iterator[Proven]:
    state, needs = test.rules.state, set(test.needs)
    if state is None:
        return
    path = f"tests.{test.id}.needs"
    if state.engine in {"off", "key_on"} and needs & {"running", "load"} and not state.road:
        yield Proven(path, f"It needs the engine running, and its state says {state.engine}.", _ONE)
    if state.temperature == "cold" and "warm" in needs:
        yield Proven(path, "It needs a warm engine, and its state says cold.", _ONE)
    if state.temperature in {"warm", "hot"} and "cold" in needs:
        yield Proven(path, f"It needs a cold engine, and its state says {state.temperature}.", _ONE)
    dead = state.battery == "disconnected"
    if dead and (state.engine != "off" or needs & {"running", "cranking"}):
        yield Proven(
            f"tests.{test.id}.state",
            "The battery is off, and something of it needs the key or the engine.",
            _ONE,
        )
    library = knowledge.cautions
    texts = [test.caution, *(library[c].short for c in test.rules.cautions if c in library)]
    if state.engine in {"idle", "running", "loaded"}:
        for text in texts:
            if any(_OFF.search(s) and not _UNLESS.search(s) for s in text.split(".")):
                yield Proven(
                    f"tests.{test.id}.cautions",
                    f"The engine runs meanwhile, and a caution says: {text}",
                    "Take another caution, or say when the engine is to be off.",
                )


def _parts(test: Test, one: str, other: str) -> bool:
    return any(_apart(p, q) for p, q in zip(test.row(one), test.row(other), strict=True))


def _apart(p: float, q: float) -> bool:
    low, high = max(min(p, q), 1e-6), max(p, q, 1e-6)
    return math.log(high / low) >= math.log(PARTS) or math.log(
        max(1.0 - low, 1e-6) / max(1.0 - high, 1e-6)
    ) >= math.log(PARTS)
