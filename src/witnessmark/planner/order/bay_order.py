"""The order of the bay: what the figures alone would get wrong by a few dollars, or dangerously.

The ranking is by expected cost. A good technician keeps eight rules besides it, and the list keeps
them too (common practice, no source):

1. After a safety stop comes the check that lifts it.
2. A cheap look comes before a tear-down; the look that a trap of the pack asks for also comes
   before any undecided repair that the trap names.
3. Once a cause is decided, no long shot is renewed before it in the hope that luck cures.
4. A test whose every result leaves the same cheap repair next waits until after that repair; a
   likely cause that is put right for nothing but minutes is put right first.
5. A root cause that a test has shown is dealt with before what it damages.
6. Nobody waits for a cold engine to save a few dollars.
7. A cause that is a complaint of its own is left to that complaint's own steps.
8. A complaint that is probably cured waits for its proof behind one that is still open.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from witnessmark.knowledge import Family, Test, Trap
from witnessmark.model.odds import DECIDED_FROM
from witnessmark.model.settings import Settings
from witnessmark.model.step import Step
from witnessmark.planner.ranking.costs import price_of_test
from witnessmark.words.say import steps as say

__all__ = ["OpenComplaint", "in_bay_order"]

#: From this access on a step is a tear-down: covers, pan, head or engine.
TEAR_DOWN = 4
#: Up to this access a look opens nothing.
BENCH_REACH = 2
#: A look goes before a tear-down when it costs at most this share more, a trap's look always.
NEARLY = 1.05
#: Below this, and below this share of the leading cause, a repair is a long shot.
LONG_SHOT, OF_THE_LEADER = 0.10, 0.25
#: From this probability on a trap threatens.
TRAP_FROM = 0.10
#: A cheap repair takes at most so long and so much in parts; a free one no parts at all.
CHEAP_MINUTES, CHEAP_USD, FREE_MINUTES = 90.0, 300.0, 30.0
#: From this probability on a free repair of the leading cause is as good as a test.
LIKELY_FROM = 0.50
#: Results rarer than this do not count as results that could change the next step.
RARE = 0.02
#: What need not wait for a cold engine goes before what must when it costs at most this share more.
NOT_COLD = 1.02
_LOOKS = frozenset({"measure", "test"})


@dataclass(frozen=True, slots=True)
class OpenComplaint:
    """What is known of one open complaint.

    Attributes:
        family: its family.
        chances: cause id -> P(present).
        done: tests that need no repeating.
        found: whether anything was tested or measured, so that a cause can be decided.
        looks: test id -> its step, also of tests that are not worth listing by the figures.
        positive: tests that found something.
        cured: whether probably nothing is wrong any more, so that only the proof is due.
    """

    family: Family
    chances: Mapping[str, float]
    done: Collection[str]
    found: bool
    looks: Mapping[str, Step]
    positive: Collection[str] = ()
    cured: bool = False

    def open_tests(self, names: Collection[str]) -> list[Test]:
        """Return those of the named tests that were not made."""
        return [t for t in self.family.tests if t.id in names and t.id not in self.done]


def in_bay_order(
    steps: Sequence[Step],
    stops: Sequence[Step],
    benches: Sequence[OpenComplaint],
    settings: Settings,
) -> list[Step]:
    """Return ranked steps in the order of the bay; the stops stand before them.

    Args:
        steps: ranked steps, without the stops.
        stops: safety stops that hold.
        benches: the open complaints.
        settings: the shop's rates.
    """
    waiting = {bench.family.id for bench in benches if bench.cured}
    held = [s for s in steps if s.family not in waiting]
    held += [s for s in steps if s.family in waiting]
    for bench in benches:
        held = _leader_before_long_shots(held, bench)
        held = _no_idle_test(held, bench)
        held = _root_before_damage(held, bench)
        held = _look_before_tear_down(held, bench, settings)
    held = _left_to_its_own(_no_cold_wait(held), benches)
    return _after_the_stops(held, stops, benches, settings)


def _after_the_stops(
    steps: list[Step], stops: Sequence[Step], benches: Sequence[OpenComplaint], settings: Settings
) -> list[Step]:
    by_family = {bench.family.id: bench for bench in benches}
    rules = {stop.id: stop for bench in benches for stop in bench.family.stops}
    checks: list[Step] = []
    for step in stops:
        rule, bench = rules.get(step.step), by_family.get(step.family)
        if rule is None or bench is None:
            continue
        if any(bench.chances.get(c, 0.0) >= DECIDED_FROM for c in rule.causes):
            continue  # its repair opens it up and looks all the same
        due = bench.open_tests(step.checks)
        due.sort(key=lambda t: step.checks.index(t.id))
        why = say.lifts_stop(step.name)
        found = (_as_step(t, steps, bench, settings, step.expected_total_usd, why) for t in due[:1])
        checks += [s for s in found if s is not None and s.step not in {c.step for c in checks}]
    return [*checks, *(s for s in steps if s.step not in {c.step for c in checks})]


def _no_cold_wait(steps: list[Step]) -> list[Step]:
    if not steps or "cold" not in steps[0].needs:
        return steps
    limit = NOT_COLD * steps[0].expected_total_usd
    ready = next(
        (
            k
            for k, s in enumerate(steps)
            if "cold" not in s.needs and s.access < TEAR_DOWN and s.expected_total_usd <= limit
        ),
        None,
    )
    if ready is None:
        return steps
    return [steps[ready], *steps[:ready], *steps[ready + 1 :]]


def _left_to_its_own(steps: list[Step], benches: Sequence[OpenComplaint]) -> list[Step]:
    named = {bench.family.id for bench in benches}
    matters = {c.id: c.belongs_to for b in benches for c in b.family.causes if c.belongs_to}
    for step in [s for s in steps if s.kind == "repair" and s.step in matters]:
        family = matters[step.step]
        place = steps.index(step)
        own = next((k for k, s in enumerate(steps) if s.family == family), None)
        if family not in named:
            why = f"{step.why} {say.own_complaint(family)}"
            steps = [*steps[:place], replace(step, why=why), *steps[place + 1 :]]
        elif own is not None and own > place:
            first = steps[own]
            left = [*steps[:own], *steps[own + 1 :]]
            steps = [*left[:place], first, *left[place:]]
    return steps


def _leader_before_long_shots(steps: list[Step], bench: OpenComplaint) -> list[Step]:
    leader = max(bench.chances, key=lambda c: bench.chances[c], default="")
    place = _place(steps, bench, leader, "repair")
    if place is None or not bench.found or bench.chances[leader] < DECIDED_FROM:
        return steps
    limit = min(LONG_SHOT, OF_THE_LEADER * bench.chances[leader])
    early = [
        s
        for s in steps[:place]
        if s.kind == "repair"
        and s.family == bench.family.id
        and bench.chances.get(s.step, 1.0) < limit
    ]
    left = [s for s in steps if s not in early]
    place = _place(left, bench, leader, "repair") or 0
    return [*left[: place + 1], *early, *left[place + 1 :]]


def _no_idle_test(steps: list[Step], bench: OpenComplaint) -> list[Step]:
    first = next((k for k, s in enumerate(steps) if s.family == bench.family.id), None)
    leader = max(bench.chances, key=lambda c: bench.chances[c], default="")
    if first is None or not bench.found or bench.chances[leader] < LIKELY_FROM:
        return steps
    place = _place(steps, bench, leader, "repair")
    test = steps[first]
    if place is None or test.kind not in _LOOKS or not _cheap(steps[place]):
        return steps
    if any(leader in t.suspected and test.step in t.unless for t in bench.family.traps):
        return steps
    if bench.chances[leader] < DECIDED_FROM:
        own = steps[place].expected_total_usd
        return (
            _moved(steps, place, first, say.as_good_as_a_test(), own)
            if _free(steps[place])
            else steps
        )
    mine = [s for s in steps if s.family == bench.family.id and s.kind in _LOOKS]
    if any(_changes(s, leader) for s in mine if s is test or s.access <= BENCH_REACH):
        return steps
    # First or last, the same repair is made: it costs no more than the test before it.
    bound = min(steps[place].expected_total_usd, test.expected_total_usd)
    return _moved(steps, place, first, say.idle_tests(), bound)


def _moved(steps: list[Step], place: int, first: int, why: str, usd: float) -> list[Step]:
    repair = replace(steps[place], expected_total_usd=usd, why=f"{steps[place].why} {why}")
    left = [s for k, s in enumerate(steps) if k != place]
    return [*left[:first], repair, *left[first:]]


def _cheap(step: Step) -> bool:
    return (
        step.access < TEAR_DOWN
        and step.minutes.typical <= CHEAP_MINUTES
        and step.usd.typical <= CHEAP_USD
    )


def _free(step: Step) -> bool:
    return step.access == 1 and step.minutes.typical <= FREE_MINUTES and step.usd.typical <= 0.0


def _changes(look: Step, leader: str) -> bool:
    """Say whether a result of a look that is not rare takes the lead away."""
    told = [r for r in look.results if r.probability >= RARE]
    return not told or any(
        not r.leads or r.leads[0][0] != leader or r.leads[0][1] < 0.5 for r in told
    )


def _root_before_damage(steps: list[Step], bench: OpenComplaint) -> list[Step]:
    for cause in bench.family.causes:
        shown = cause.damages and set(cause.shown_by) & set(bench.positive)
        place = _place(steps, bench, cause.id, "repair") if shown else None
        damaged = cause.damages
        first = next(
            (k for k, s in enumerate(steps) if s.kind == "repair" and s.step in damaged), None
        )
        if place is None or first is None or first > place:
            continue
        why = f"{steps[place].why} {say.root_first()}"
        repair = replace(steps[place], why=why)
        left = [s for k, s in enumerate(steps) if k != place]
        steps = [*left[:first], repair, *left[first:]]
    return steps


def _look_before_tear_down(
    steps: list[Step], bench: OpenComplaint, settings: Settings
) -> list[Step]:
    mine = [k for k, s in enumerate(steps) if s.family == bench.family.id]
    if not mine:
        return steps
    torn = steps[mine[0]]
    tear_down = torn.access >= TEAR_DOWN
    decided = torn.kind == "repair" and bench.chances.get(torn.step, 0.0) >= DECIDED_FROM
    if not tear_down and (torn.kind != "repair" or decided):
        return steps
    trap, look = _trap_look(torn, bench, settings, TEAR_DOWN - 1 if tear_down else BENCH_REACH)
    if look is not None:
        made = _as_step(look, steps, bench, settings, torn.expected_total_usd, trap)
        if made is None:
            return steps
        first = made
    else:
        limit = NEARLY * torn.expected_total_usd
        cheap = [
            steps[k]
            for k in mine
            if steps[k].kind in _LOOKS
            and steps[k].access <= BENCH_REACH
            and steps[k].expected_total_usd <= limit
        ]
        if not tear_down or decided or not cheap:
            return steps
        first = replace(cheap[0], why=f"{cheap[0].why} {say.look_before_tear_down()}")
    left = [s for s in steps if (s.step, s.family) != (first.step, first.family)]
    place = left.index(torn)
    return [*left[:place], first, *left[place:]]


def _trap_look(
    torn: Step, bench: OpenComplaint, settings: Settings, access: int
) -> tuple[str, Test | None]:
    """Return the words of a threatening trap and the cheapest look it asks for."""
    threatening = [t for t in bench.family.traps if _threatens(t, torn, bench)]
    threatening.sort(key=lambda t: -max(bench.chances.get(c, 0.0) for c in t.suspected))
    for trap in threatening:
        due = [t for t in bench.open_tests(trap.unless) if t.access <= access]
        if due:
            return trap.words, min(due, key=lambda t: price_of_test(t, settings))
    return "", None


def _threatens(trap: Trap, torn: Step, bench: OpenComplaint) -> bool:
    if (
        trap.clues
        or trap.tests
        or not any(bench.chances.get(c, 0.0) >= TRAP_FROM for c in trap.suspected)
    ):
        return False
    return torn.kind in _LOOKS or torn.step in trap.suspected


def _as_step(
    test: Test,
    steps: Sequence[Step],
    bench: OpenComplaint,
    settings: Settings,
    before_usd: float,
    why: str,
) -> Step | None:
    """Return the step of a test; at worst it costs its own price on top of what it precedes."""
    listed = next((s for s in steps if (s.step, s.family) == (test.id, bench.family.id)), None)
    step = listed or bench.looks.get(test.id)
    if step is None:
        return None
    usd = min(step.expected_total_usd, before_usd + price_of_test(test, settings))
    return replace(
        step, expected_total_usd=usd, why=f"{listed.why} {why}" if listed is not None else why
    )


def _place(steps: Sequence[Step], bench: OpenComplaint, step: str, kind: str) -> int | None:
    return next(
        (
            k
            for k, s in enumerate(steps)
            if (s.step, s.family, s.kind) == (step, bench.family.id, kind)
        ),
        None,
    )
