"""Looks that come before a part is renewed, as the packs ask for by ``look_first``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from witnessmark.inference.look_first import LookWaiting
from witnessmark.knowledge import Family, Test
from witnessmark.model.odds import Odds
from witnessmark.model.step import Step
from witnessmark.words.say import steps as say

__all__ = ["look_before_kit", "look_before_renewal", "looks_of"]

#: Below this a part's own repair waits for the look at it (judgement).
_SURE = 0.90


def looks_of(families: Iterable[Family]) -> frozenset[str]:
    """Return the tests of these families that look at a part before it is renewed."""
    return frozenset(k.test for f in families for c in f.causes for k in c.look_first)


def look_before_renewal(
    steps: Sequence[Step],
    waiting: Sequence[LookWaiting] = (),
    looks: Mapping[str, Test] | None = None,
) -> tuple[Step, ...]:
    """Put the look at a cheap part before any renewal of the dear one that reads the same.

    Both leave nearly the same mark on every gauge, so the look comes first whatever the odds
    say. Renewing the cheap part is a look too: whoever does it has it before his eyes.

    Args:
        steps: ranked steps.
        waiting: the looks that have still to be taken.
        looks: the pack's tests by id, for where the ranking left one out.
    """
    ordered = tuple(steps)
    for look in waiting:
        ordered = _look_first(ordered, look, (looks or {}).get(look.test))
    return ordered


def look_before_kit(
    steps: Sequence[Step], odds: Sequence[Odds], families: Mapping[str, Family]
) -> tuple[Step, ...]:
    """Put the look at a part before its own repair while the part is not sure to be at fault.

    What a pack says comes first (``do_first``) stands before its step whatever the odds say.
    """
    ordered = tuple(steps)
    for one in odds:
        family = families.get(one.family)
        for cause in family.causes if family is not None else ():
            for look in cause.look_first:
                if not look.twin and one.probability(cause.id) < _SURE:
                    ordered = _before_its_repair(ordered, look.test, cause.id, look.short)
        if family is not None:
            ordered = _in_own_order(ordered, family)
    return ordered


def _in_own_order(steps: tuple[Step, ...], family: Family) -> tuple[Step, ...]:
    """Put what a pack names first before its step; what lifts a stop waits for nothing."""
    lifting = {check for s in steps if s.kind == "safety" for check in s.checks}
    first = {t.id: t.rules.do_first for t in family.tests if t.id not in lifting}
    first |= {c.id: c.rules.do_first for c in family.causes}
    for later, tests in first.items():
        for test in tests:
            steps = _before(steps, test, later)
    return steps


def _before(steps: tuple[Step, ...], test: str, later: str) -> tuple[Step, ...]:
    first = next((k for k, s in enumerate(steps) if s.step == test), None)
    then = next((k for k, s in enumerate(steps) if s.step == later), None)
    if first is None or then is None or first < then:
        return steps
    left = [s for k, s in enumerate(steps) if k != first]
    return (*left[:then], steps[first], *left[then:])


def _before_its_repair(
    steps: tuple[Step, ...], test: str, cause: str, why: str
) -> tuple[Step, ...]:
    look = next((k for k, s in enumerate(steps) if s.step == test), None)
    kit = next((k for k, s in enumerate(steps) if (s.kind, s.step) == ("repair", cause)), None)
    if look is None or kit is None or look < kit:
        return steps
    first = replace(steps[look], why=f"{steps[look].why} {why}")
    left = [s for k, s in enumerate(steps) if k != look]
    return (*left[:kit], first, *left[kit:])


def _look_first(steps: tuple[Step, ...], look: LookWaiting, test: Test | None) -> tuple[Step, ...]:
    dear = next((i for i, s in enumerate(steps) if _renews(s, look.cause)), None)
    if dear is None:
        return steps
    place = next((i for i, s in enumerate(steps) if s.step == look.test), None)
    said = replace(steps[dear], why=f"{steps[dear].why} {say.not_before_look(look.short)}")
    steps = (*steps[:dear], said, *steps[dear + 1 :])
    if place is not None and place < dear:
        return steps
    if place is not None:
        first = replace(steps[place], why=f"{steps[place].why} {look.short}")
    elif test is not None:
        first = _as_step(test, steps[dear], look.short)
    else:
        return tuple(s for s in steps if not _renews(s, look.cause))
    left = [s for i, s in enumerate(steps) if i != place]
    return (*left[:dear], first, *left[dear:])


def _renews(step: Step, cause: str) -> bool:
    return step.kind == "repair" and (step.step == cause or cause in step.along)


def _as_step(look: Test, dear: Step, why: str) -> Step:
    """Return the look as a step; what follows costs about what it does beside the dear part."""
    return Step(
        step=look.id, kind="test", family=dear.family, name=look.name, minutes=look.minutes,
        usd=look.usd, expected_total_usd=dear.expected_total_usd, why=why,
        access=look.access, needs=tuple(look.needs), work=look.demands,
        cautions=tuple(dict.fromkeys(c for c in (*dear.cautions, look.caution) if c)),
    )  # fmt: skip
