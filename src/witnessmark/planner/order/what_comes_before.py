"""What a step waits for: looks at the part itself, what its pack names first, traps, roots.

Every rule lists the look it asks for and lets the step wait for it; nothing is moved here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from witnessmark.knowledge import Test
from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.model.step import Step
from witnessmark.planner.order.brought_in import BroughtIn
from witnessmark.planner.order.entries_to_order import Listed, Placed
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.first_reading import first_reading_step
from witnessmark.planner.order.open_complaint import SURE, OpenComplaint
from witnessmark.planner.order.ranks import TEAR_DOWN, Rank
from witnessmark.planner.order.stop_rules import only_by_work
from witnessmark.planner.ranking.costs import price_of_test
from witnessmark.words.say import steps as say

__all__ = ["ask_for_looks", "what_waits"]

#: Up to this access a look opens nothing.
BENCH_REACH = 2
#: From this probability on a trap threatens.
TRAP_FROM = 0.10
#: The look of a trap comes before other instruments where its figure is at most so much higher.
NEARLY = 1.10
#: A look that costs at most this share of a part is taken however sure the part is (judgement).
_SMALL = 0.10
#: Below this a check is likelier to come out bad than clean.
EVEN = 0.50
#: From this probability on nobody looks any more.
_CERTAIN = 0.99
#: A look at what was just touched takes at most so long [min].
TOUCHED_MINUTES = 15.0
#: From this probability of a false instrument on nothing dearer than holding another one against it
#: is renewed on its word.
DOUBTED_FROM = 0.03
#: A test that uses up so much in parts is as much as a repair [USD].
_PARTS_USD = 20.0
#: A free look is taken where it speaks to a suspect of at least this.
LOOK_FROM = 0.05
#: What was just touched is looked at first only where it may be at fault at all.
TOUCHED_FROM = 0.10
#: One cause clearly leads from here on, and by so many times; the quick look at it comes first.
CLEAR_FROM, CLEAR_BY, CLEAR_MINUTES = 0.25, 1.5, 20.0
#: It is likely from here on; the longer check that sees it comes before other instruments.
LIKELY_FROM, LIKELY_MINUTES = 0.50, 60.0
#: A leader of at least this has its own look listed when that takes at most so long [min].
LEADER_FROM, LEADER_MINUTES = 0.20, 30.0


def ask_for_looks(
    listed: Listed,
    stops: Sequence[Step],
    brought: BroughtIn,
    look_after: Sequence[str],
    truck_rules: Sequence[Stop] = (),
) -> None:
    """List the looks that come whatever the figures say: free, touched, lifting, afterwards."""
    for bench in listed.benches.values():
        _lifting(listed, stops, bench, truck_rules)
        for test in look_after:
            seen = listed.offer(bench, test, say.look_after())
            if seen is not None:
                seen.rank = min(seen.rank, Rank.TOUCHED)
        if bench.cured:
            continue
        leader = bench.leader
        if bench.chance(leader) < SURE:
            if leader not in bench.seen_bad:
                _touched(listed, brought, bench)
            for free in bench.family.tests:
                if free.free_look and bench.speaks(free, LOOK_FROM):
                    listed.offer(bench, free.id)
        cause = bench.family.cause(leader)
        if cause is not None and LEADER_FROM <= bench.chance(leader) < SURE:
            quick = [t for t in bench.shown_by(cause) if t.minutes.typical <= LEADER_MINUTES]
            _cheapest(listed, bench, quick)
        _first_suspect(listed, bench)
        if cause is not None and not listed.of(bench):  # its repair waits for a stop
            for shown in bench.shown_by(cause):
                listed.offer(bench, shown.id)
        if bench.first is not None and bench.first.id not in listed:
            least = listed.cheapest(bench)
            step = first_reading_step(bench.first, bench.family, listed.settings, least)
            placed = listed.add(step)
            if placed is not None:
                placed.rank = Rank.FIRST_READING


def what_waits(listed: Listed) -> None:
    """Let every step wait for what comes before it.

    A look that is listed for that reason alone stands right before what waits for it.
    """
    worth = {p.step.step for p in listed}
    for bench in listed.benches.values():
        for look in bench.waiting:
            _twin(listed, bench, look.cause, look.test, look.short)
        for placed in listed.of(bench):
            if placed.is_repair:
                _seen_before_renewal(listed, placed)
            _trap(listed, placed, worth)
        _roots(listed, bench)
        _one_word(listed, bench, worth)
    for placed in listed:  # of the looks that were asked for above as well
        if placed.rank != Rank.LIFTS_STOP:
            for test in placed.rules.do_first:
                _wait(listed, placed, test)
    for placed in listed:
        if placed.step.step not in worth:
            placed.rank = Rank.GUARD


def _lifting(
    listed: Listed, stops: Sequence[Step], bench: OpenComplaint, truck_rules: Sequence[Stop]
) -> None:
    rules = {stop.id: stop for stop in (*truck_rules, *bench.family.stops)}
    mine = [stop for stop in stops if stop.family == bench.family.id]
    held = any(_stands_by_what_is_decided(bench, r) for s in mine if (r := rules.get(s.step)))
    for stop in mine:
        rule = rules.get(stop.step)
        if rule is not None and _waits_for_work(rule, listed.facts):
            continue  # what its checks find lifts nothing before that
        if held and rule is not None and "crank" not in rule.blocks:
            continue  # as long as that part is in, the truck stays where it is
        checks = (*stop.checks, *_at_the_leader(bench, rule))
        due = next((t for t in checks if _in_the_bay(bench.open_test(t))), None)
        if due is not None and rule is not None and _seen_in_repair(bench, rule, due):
            continue
        if due is not None:
            placed = listed.offer(bench, due, say.lifts_stop(stop.name))
            if placed is not None:
                placed.rank = Rank.LIFTS_STOP


def _at_the_leader(bench: OpenComplaint, rule: Stop | None) -> Iterator[str]:
    """Yield what lets it drive again and sees the leading cause: due once the rest was made."""
    leader = bench.family.cause(bench.leader)
    if rule is not None and leader is not None:
        seen = {look.test for look in leader.look_first}
        yield from (t for t in rule.checks_of("drive") if t in seen)


def _in_the_bay(test: Test | None) -> bool:
    """Say whether a test is open and needs no road: the looks come before a drive."""
    return test is not None and (test.rules.state is None or not test.rules.state.road)


def _stands_by_what_is_decided(bench: OpenComplaint, rule: Stop) -> bool:
    """Say whether a decided part, seen bad, keeps a stop from being lifted by its checks.

    Where the starter may not turn it, the check is made before any repair all the same.
    """
    leader = bench.leader
    found = leader in bench.seen_bad or any(check in bench.positive for check in rule.checks)
    decided = found and bench.decided(leader) and leader not in bench.repaired
    if "crank" in rule.blocks or not decided:
        return False
    return any(_passes(bench, leaf, leader) < EVEN for leaf in _leaves_that_all_must_hold(rule))


def _leaves_that_all_must_hold(rule: Stop) -> Iterator[Asked]:
    waiting = [*rule.until]
    while waiting:
        part = waiting.pop()
        if part.kind == "all":
            waiting += part.parts
        elif part.kind == "test" and not part.or_not_run:
            yield part


def _passes(bench: OpenComplaint, asked: Asked, cause: str) -> float:
    """Return P(a result that lifts | this cause alone), 1 for a test of another complaint."""
    test = bench.family.test(asked.ids[0])
    if test is None:
        return 1.0
    rows = zip(test.outcomes, test.row(cause), strict=True)
    return math.fsum(p for outcome, p in rows if outcome in asked.results)


def _seen_in_repair(bench: OpenComplaint, rule: Stop, check: str) -> bool:
    """Say whether the repair of a decided cause opens it up and looks at the same all the same.

    Where the starter may not turn it, only a repair that sees what the check sees will do.
    """
    causes = [bench.family.cause(c) for c in rule.causes if bench.decided(c)]
    seen = (check in {t.id for t in bench.shown_by(c)} for c in causes if c is not None)
    return bool(causes) and ("crank" not in rule.blocks or any(seen))


def _waits_for_work(rule: Stop, facts: Facts) -> bool:
    """Say whether a stop is lifted by a repair and a check after it, and none was made yet."""
    return any(only_by_work(part, facts) for part in rule.until)


def _touched(listed: Listed, brought: BroughtIn, bench: OpenComplaint) -> None:
    for cause in bench.family.causes:
        if cause.id not in brought.touched or bench.chance(cause.id) < TOUCHED_FROM:
            continue
        named = {look.test for look in cause.look_first}
        quick = [
            t
            for t in bench.shown_by(cause)
            if (t.free_look or t.kind == "look" or t.id in named)
            and t.minutes.typical <= TOUCHED_MINUTES
            and t.access <= BENCH_REACH
            and not t.invasive
        ]
        placed = _cheapest(listed, bench, quick, say.just_touched())
        if placed is not None and placed.rank != Rank.LIFTS_STOP:
            placed.rank = Rank.TOUCHED


def _first_suspect(listed: Listed, bench: OpenComplaint) -> None:
    """Let the check that sees the first suspect come early, once one clearly leads.

    While nothing was measured an instrument does not go on the suspect before it has proved the
    complaint (common practice, no source).
    """
    leader = bench.family.cause(bench.leader)
    chances = sorted((p for _, p in bench.suspects()), reverse=True)
    if leader is None or leader.id in {*bench.repaired, *bench.seen_bad} or len(chances) < 2:
        return
    if bench.chance(leader.id) >= SURE:
        return
    if chances[0] < CLEAR_FROM or chances[0] < CLEAR_BY * chances[1]:
        return
    able = [
        t
        for t in bench.shown_by(leader)
        if bench.open_test(t.id) is not None
        and bench.speaks_of(t, leader.id)
        and t.access <= max(BENCH_REACH, leader.access.typical)
        and t.kind != "strip"
    ]
    quick = [t for t in able if t.minutes.typical <= CLEAR_MINUTES and t.access <= BENCH_REACH]
    rank = Rank.SUSPECT
    if not quick and chances[0] >= LIKELY_FROM:
        quick, rank = [t for t in able if t.minutes.typical <= LIKELY_MINUTES], Rank.SEES_SUSPECT
    placed = _cheapest(listed, bench, quick)
    if placed is not None and bench.first is not None and placed.rank > Rank.FIRST_READING:
        rank = Rank.SEES_SUSPECT
    if placed is not None and placed.rank > rank:
        placed.rank = rank


def _cheapest(
    listed: Listed, bench: OpenComplaint, tests: Sequence[Test], why: str = ""
) -> Placed | None:
    """List the cheapest of some tests, unless one of them was made already."""
    if not tests or any(bench.open_test(t.id) is None for t in tests):
        return None
    ranked = sorted(tests, key=lambda t: price_of_test(t, listed.settings))
    return next((p for t in ranked if (p := listed.offer(bench, t.id, why)) is not None), None)


def _twin(listed: Listed, bench: OpenComplaint, cause: str, test: str, short: str) -> None:
    """Let the dear part wait for the look at the cheap one that reads the same."""
    renewing = [p for p in listed if p.is_repair and cause in {p.step.step, *p.step.along}]
    if not renewing:
        return
    look = listed.offer(bench, test, short)
    for placed in renewing:
        if look is None:
            listed.drop(placed.step.step)
            continue
        placed.says(say.not_before_look(short))
        placed.after.append(test)


def _seen_before_renewal(listed: Listed, placed: Placed) -> None:
    """Let a part that is not seen bad wait for the cheap test that would see it."""
    bench, cause = placed.bench, placed.cause
    if cause is None or cause.id in bench.repaired:
        return
    decided = bench.decided(cause.id) and placed.step.access < TEAR_DOWN
    if cause.id in bench.seen_bad and decided:
        return
    named = [look for look in cause.look_first if not look.twin]
    if bench.chance(cause.id) >= _CERTAIN:
        return
    own = placed.price(listed.settings)
    sure = bench.chance(cause.id) >= SURE or cause.id in bench.seen_bad
    if sure:  # a look that costs next to nothing beside the part comes before it all the same
        named = [look for look in named if _price(bench, look.test, listed) <= _SMALL * own]
    if not named and (sure or bench.decided(cause.id)):
        return
    for look in named:
        known = bench.open_test(look.test)
        if known is not None and price_of_test(known, listed.settings) <= own:
            _offered_somehow(listed, bench, look.test)
        for seen in (look.test, *bench.read_as.get(look.test, ())):
            _wait(listed, placed, seen, look.short, ask=False)
    if named:
        return
    tests = [
        t
        for t in bench.shown_by(cause)
        if price_of_test(t, listed.settings) <= own
        and t.access <= max(BENCH_REACH, cause.access.typical)
    ]
    look_at = _cheapest(listed, bench, tests)
    if look_at is not None:
        placed.after.append(look_at.step.step)


def _offered_somehow(listed: Listed, bench: OpenComplaint, test: str) -> None:
    """List a look, or the cheapest measurement that sees the same, unless one is listed."""
    ways = (test, *bench.read_as.get(test, ()))
    if not any(way in listed for way in ways):
        steps = sorted(
            (s for way in ways if (s := bench.looks.get(way)) is not None),
            key=lambda s: s.expected_total_usd,
        )
        next((p for s in steps if (p := listed.offer(bench, s.step)) is not None), None)


def _one_word(listed: Listed, bench: OpenComplaint, worth: set[str]) -> None:
    """Let what is dear wait for a second instrument where one alone has spoken and may be false.

    What was read too high asks for the comparison before anything else.
    """
    word = bench.one_word
    if word is None or bench.cured:
        return
    if not word.high and bench.chance(word.cause) <= DOUBTED_FROM:
        return
    repairs = [p for p in listed.of(bench) if p.step.step not in bench.seen_bad and _dear(p)]
    if not repairs and not word.high:
        return
    offered = (listed.get(check) or listed.offer(bench, check) for check in word.checks)
    check = next((placed for placed in offered if placed is not None), None)
    if check is None:
        return
    if word.high:
        check.rank = min(check.rank, Rank.TOUCHED)
        check.says(say.too_high())
        worth.add(check.step.step)
    own = check.price(listed.settings)
    for placed in repairs:
        if placed.price(listed.settings) > own:
            placed.after.append(check.step.step)
            check.says(say.one_instrument())


def _dear(placed: Placed) -> bool:
    """Say whether a step is a repair, opens something, or spends parts."""
    return placed.is_repair or placed.rank == Rank.OPEN or placed.step.usd.typical >= _PARTS_USD


def _price(bench: OpenComplaint, test: str, listed: Listed) -> float:
    known = bench.open_test(test)
    return math.inf if known is None else price_of_test(known, listed.settings)


def _wait(listed: Listed, placed: Placed, test: str, why: str = "", *, ask: bool = True) -> None:
    first = listed.offer(placed.bench, test) if ask else listed.get(test)
    if first is not None and first is not placed:
        first.says(why)
        placed.after.append(test)


def _trap(listed: Listed, placed: Placed, worth: set[str]) -> None:
    """Let a step wait for the look that a threatening trap of the pack asks for.

    Where the leader itself is what the trap warns of, its look comes before other instruments.
    """
    bench, step = placed.bench, placed.step
    tear_down = step.access >= TEAR_DOWN
    undecided = placed.is_repair and not bench.decided(step.step)
    if not (undecided or (tear_down and not placed.is_repair)):
        return
    for trap in bench.family.traps:
        if trap.tests or not all(_was_seen(c, listed.facts) for c in trap.clues):
            continue
        if placed.is_repair and step.step not in trap.suspected:
            continue
        if not any(bench.chance(c) >= TRAP_FROM for c in trap.suspected):
            continue
        reach = TEAR_DOWN - 1 if tear_down else BENCH_REACH
        open_tests = [t for name in trap.unless if (t := bench.open_test(name)) is not None]
        due = sorted(
            (t for t in open_tests if t.access <= reach),
            key=lambda t: price_of_test(t, listed.settings),
        )
        look = next((p for t in due[:1] if (p := listed.offer(bench, t.id, trap.words))), None)
        if look is not None and look is not placed:
            placed.after.append(look.step.step)
            near = look.step.expected_total_usd <= NEARLY * listed.cheapest(bench)
            due_now = near and bench.first is None
            if due_now and bench.leader in trap.suspected and look.rank > Rank.FIRST_READING:
                look.rank = Rank.FIRST_READING
                worth.add(look.step.step)


def _was_seen(clue: str, facts: Facts) -> bool:
    """Say whether the last word on a clue is that it was seen."""
    told = facts.told("clue", clue)
    return bool(told) and told[-1].value is True


def _roots(listed: Listed, bench: OpenComplaint) -> None:
    """Let the repair of a damage wait for the repair of what makes it again, once that is shown."""
    for cause in bench.family.causes:
        root = listed.get(cause.id) if set(cause.shown_by) & set(bench.positive) else None
        for damaged in cause.damages if root is not None else ():
            placed = listed.get(damaged)
            if placed is not None and root is not None:
                root.says(say.root_first())
                placed.after.append(cause.id)
