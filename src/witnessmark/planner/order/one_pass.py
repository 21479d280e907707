"""The order of the bay in one pass: by rank, then by figure, nothing before what it waits for.

The ranking is by expected cost. A good technician keeps an order besides it, and the list keeps it
too (common practice, no source): the check that lifts a stop; what was just touched; free looks;
an instrument at the cheapest point; isolation; opening; renewing.

A test keeps its rank before a later one unless that one is clearly the better buy, see
:func:`_keeps`; so a dear reading that tells little does not hold up a cheap part.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from witnessmark.knowledge.rules import Stop
from witnessmark.model.settings import Settings
from witnessmark.model.step import Step
from witnessmark.planner.order.brought_in import BroughtIn
from witnessmark.planner.order.entries_to_order import Listed, Placed
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.open_complaint import OpenComplaint
from witnessmark.planner.order.ranks import TEAR_DOWN, Rank
from witnessmark.planner.order.same_check import one_step_a_check
from witnessmark.planner.order.what_comes_before import LOOK_FROM, ask_for_looks, what_waits
from witnessmark.words.say import steps as say

__all__ = ["in_order"]

#: A closed test goes before an isolation or an opening when it costs at most a third of it, or
#: when its figure is at most this share higher.
_NEARLY, _A_THIRD = 1.10, 1 / 3
#: A cheap repair takes at most so long and so much in parts; a free one no parts at all.
_CHEAP_MINUTES, _CHEAP_USD, _FREE_MINUTES = 90.0, 300.0, 30.0
#: A repair is dear beside a free look where it takes longer than this, or costs so many times as
#: much as the look (judgement).
_DEAR_MINUTES, _DEAR_TIMES = 120.0, 20.0
#: From this probability on a free repair of the leading cause is as good as a test.
_LIKELY_FROM = 0.50
#: Below this a cause is only possible: nothing is renewed on it while a test can still be made.
_SUSPECTED_FROM = 0.30
#: Results rarer than this do not count as results that could change the next step.
_RARE = 0.02
#: Results that come at least so often are what a test is made for.
_MAY_COME = 0.10
#: A cause clearly leads from here on (judgement).
_LEADS = 0.60
#: The rank of the open search: beside the parts by its figure, and once it is time to stop before
#: those that are only likely, or before any.
_PRESSING = {"": Rank.RENEW, "say": Rank.RENEW, "due": Rank.SEARCH, "hard": Rank.TOUCHED}
#: A look that speaks to none who is at least so large a share of the leader is no part of the walk.
_SUSPECT_SHARE = 1 / 3
#: What is read alone gives way to what reads it and more on the same run, where taking that costs
#: at most so much more [USD]: hooking up and walking there a second time is in no pack (judgement).
_ONE_VISIT_USD = 40.0
#: What need not wait for a cold engine goes before what must when it costs at most this share more.
_COLD = 1.02


def in_order(
    steps: Sequence[Step],
    stops: Sequence[Step],
    benches: Sequence[OpenComplaint],
    settings: Settings,
    *,
    brought: BroughtIn | None = None,
    facts: Facts | None = None,
    look_after: Sequence[str] = (),
    truck_rules: Sequence[Stop] = (),
) -> list[Step]:
    """Return what may be done, in the order of the bay; the stops stand before it.

    Args:
        steps: priced steps, without the stops.
        stops: safety stops that stand; nothing that they forbid is returned.
        benches: the open complaints.
        settings: the shop's rates.
        brought: what the truck brought.
        facts: everything that is known.
        look_after: tests to make once after the latest repair, before the truck leaves.
        truck_rules: the packs' stops of the whole truck, by which some of *stops* stand.
    """
    came, known = brought or BroughtIn(), facts or Facts()
    listed = Listed(stops, came, known, benches, settings)
    for step in sorted(steps, key=lambda s: s.expected_total_usd):
        listed.add(step)
    ask_for_looks(listed, stops, came, look_after, truck_rules)
    what_waits(listed)
    _one_visit(listed)
    _settle(listed)
    _free_looks_before_dear_repairs(listed)
    _left_to_its_own(listed)
    _look_before_long_shots(listed)
    _only_what_settles(listed)
    placed = sorted(listed, key=_key)
    ordered = one_step_a_check(_after_what_it_waits_for(placed))
    _say_why_first(ordered)
    return [p.told() for p in ordered]


def _one_visit(listed: Listed) -> None:
    """Let a measurement give way to one that reads the same and more and costs hardly more.

    It tells no less, so its figure is at most that of the other and what it costs more; its own is
    of coarser ranges and comes out too high.
    """
    cost = listed.prices()
    for bench in listed.benches.values():
        mine = [p for p in listed.of(bench) if p.step.kind == "measure" and p.step.forecast]
        for placed in sorted(mine, key=lambda p: len(_points(p.step))):
            own = placed.step
            more = [
                p for p in mine
                if _points(own) < _points(p.step) and p.step.step in listed
                and ("cold" in own.needs) == ("cold" in p.step.needs)
                and cost[p.step.step] <= cost[own.step] + _ONE_VISIT_USD
            ]  # fmt: skip
            if not more:
                continue
            whole = min(more, key=lambda p: p.step.expected_total_usd)
            extra = max(cost[whole.step.step] - cost[own.step], 0.0)
            figure = min(whole.step.expected_total_usd, own.expected_total_usd + extra)
            whole.step = replace(whole.step, expected_total_usd=figure)
            whole.rank = min(whole.rank, placed.rank)
            for why in placed.because:
                whole.says(why)
            listed.drop(own.step)
            for other in listed:
                if own.step in other.after:
                    other.after.append(whole.step.step)


def _points(step: Step) -> frozenset[tuple[str, float | None, float | None]]:
    return frozenset((f.quantity, f.point.rpm, f.point.load) for f in step.forecast)


def _settle(listed: Listed) -> None:
    """Give every step the rank that it keeps beside the others of its complaint."""
    prices = listed.prices()
    for bench in listed.benches.values():
        mine = []
        for placed in listed.of(bench):
            # Readings that nothing explains are taken again before any part.
            if placed.step.is_search and (bench.stop_and_search or bench.fits):
                placed.rank = _PRESSING[bench.stop_and_search]
            else:
                mine.append(placed)
        least = max(LOOK_FROM, _SUSPECT_SHARE * bench.chance(bench.leader))
        for placed in mine:
            if placed.rank in {Rank.FREE_LOOK, Rank.LOOK} and placed.test is not None:
                far = not bench.speaks(placed.test, least) and not bench.guards(placed.test)
                placed.rank = Rank.MEASURE if far else placed.rank
            if placed.is_repair and _is_due(placed, mine, bench):
                placed.rank = Rank.DUE
            elif _waits_for_lift(placed, bench, listed):
                placed.rank = Rank.WAITS
                placed.says(say.waits_for_lift())
        for placed in mine:
            kept = placed.rank < Rank.FREE_LOOK or placed.rank == Rank.SEES_SUSPECT
            if placed.is_repair or kept or placed.rank > Rank.OPEN:
                continue
            later = [p for p in mine if placed.rank < p.rank <= Rank.RENEW]
            lost = [p.rank for p in later if not _keeps(placed, p, bench, prices)]
            placed.rank = max((placed.rank, *lost))


def _free_looks_before_dear_repairs(listed: Listed) -> None:
    """Let a dear repair wait for the free looks that are listed, unless its part was seen bad."""
    prices = listed.prices()
    for bench in listed.benches.values():
        mine = listed.of(bench)
        looks = [p for p in mine if p.test is not None and p.test.free_look]
        for placed in mine:
            if not placed.is_repair or placed.step.step in bench.seen_itself or bench.cured:
                continue
            own = prices[placed.step.step]
            long = placed.step.minutes.typical > _DEAR_MINUTES
            placed.after += [
                look.step.step
                for look in looks
                if look.rank != Rank.GUARD and (long or own > _DEAR_TIMES * prices[look.step.step])
            ]


def _is_due(repair: Placed, mine: Sequence[Placed], bench: OpenComplaint) -> bool:
    """Say whether nothing is left to look at that would change a repair."""
    step, leads = repair.step, repair.step.step == bench.leader
    # A look that shows several parts bad decides none of them.
    seen_bad = step.step in bench.seen_bad and bench.chance(step.step) >= _SUSPECTED_FROM
    if bench.unexplained or not bench.found or not leads:
        return seen_bad
    tests = [p for p in mine if not p.is_repair and p.test is not None]
    if not bench.decided(step.step):
        trapped = any(
            step.step in t.suspected and p.step.step in t.unless
            for t in bench.family.traps
            for p in tests
        )
        likely = bench.chance(step.step) >= _LIKELY_FROM and _free(step) and not trapped
        if likely:
            repair.says(say.as_good_as_a_test())
        return likely or seen_bad
    if _cheap(step):
        near = [p for p in tests if p.step.access <= 2]
        if any(_changes(p.step, step.step) and _lower(p.step, step) for p in near):
            return False
        if any(_lower(p.step, step) for p in tests):
            repair.says(say.idle_tests())
        return True
    return not any(_lower(p.step, step) for p in tests)


def _keeps(test: Placed, later: Placed, bench: OpenComplaint, prices: Mapping[str, float]) -> bool:
    """Say whether a test keeps its rank before a step of a later one."""
    own, other = prices[test.step.step], prices[later.step.step]
    if later.is_repair:
        if bench.unexplained or test.step.step in later.after:
            return True
        if bench.decided(later.step.step):
            return _lower(test.step, later.step)
        told = test.rank == Rank.FREE_LOOK or _tells(test.step, bench.leader)
        return _lower(test.step, later.step) or (own <= other and told)
    if test.rank < Rank.MEASURE or later.rank == Rank.RENEW:
        return True
    near = test.step.expected_total_usd <= _NEARLY * later.step.expected_total_usd
    if later.rank == Rank.OPEN and bench.opening_waits and near:
        return True
    told = _tells(test.step, bench.leader)
    return told and (near or own <= _A_THIRD * other)


def _waits_for_lift(placed: Placed, bench: OpenComplaint, listed: Listed) -> bool:
    """Say whether an undecided repair, a tear-down or dear, waits for looks a stop holds back."""
    dear = placed.is_repair and not _cheap(placed.step)
    return dear and bench.family.id in listed.held_back and not bench.decided(placed.step.step)


def _left_to_its_own(listed: Listed) -> None:
    """Leave a cause that is a complaint of its own to that complaint's own steps."""
    for placed in listed:
        family = placed.cause.belongs_to if placed.is_repair and placed.cause else ""
        if not family:
            continue
        if family not in listed.benches:
            placed.says(say.own_complaint(family))
            continue
        own = min(listed.of(listed.benches[family]), key=_key, default=None)
        if own is not None and not own.is_repair:
            placed.after.append(own.step.step)


def _look_before_long_shots(listed: Listed) -> None:
    """Take the renewal of what is only possible off the list while a test can still be made.

    Nor is a part renewed on words alone, nor on odds alone where that takes hours, while a test
    that sees it is listed: its answer says whether the renewal is worth listing (common practice,
    no source).
    """
    for bench in listed.benches.values():
        mine = [p for p in listed.of(bench) if p.rank < Rank.RENEW or not p.step.is_search]
        sure = bench.decided(bench.leader)
        if bench.cured or (not sure and all(p.is_repair or p.rank == Rank.GUARD for p in mine)):
            continue
        for placed in mine:
            step = placed.step.step
            due = placed.rank <= Rank.DUE or step in bench.seen_bad
            long_shot = bench.chance(step) < _SUSPECTED_FROM or _to_be_seen(placed, listed)
            if placed.is_repair and not due and long_shot:
                listed.drop(step)


def _to_be_seen(repair: Placed, listed: Listed) -> bool:
    """Say whether a part is undecided and a test is listed that would see it.

    While nothing was tested or read this holds of any part but, after a renewal in vain, of what
    renews nothing and takes minutes; after that of a repair of hours, where the test costs less.
    """
    bench, cause = repair.bench, repair.cause
    if cause is None or bench.decided(cause.id):
        return False
    seeing = [p for test in bench.shown_by(cause) if (p := listed.get(test.id)) is not None]
    if not bench.found:
        return bool(seeing)
    if bench.only_renewed:
        return bool(seeing) and not _free(repair.step)
    own = repair.price(listed.settings)
    long = repair.step.minutes.typical > _DEAR_MINUTES
    return long and any(p.price(listed.settings) <= own for p in seeing)


def _only_what_settles(listed: Listed) -> None:
    """Where probably nothing is wrong, leave one look and the one reading that tells most.

    Once the reading was taken that its pack names for this, nothing more is left. Where it only
    leads and no such reading is there, the list stays as it is: somebody complained.
    """
    for bench in listed.benches.values():
        if not bench.clear:
            continue
        mine = sorted(listed.of(bench), key=_key)
        before = [p for p in mine if p.rank <= Rank.TOUCHED or p.step.step in bench.seen_bad]
        looks = [p for p in mine if p.rank in {Rank.FREE_LOOK, Rank.LOOK}]
        asked = (listed.offer(bench, s.step) for s in bench.looks.values() if s.kind == "measure")
        reading = next((p for p in asked if p is not None and p.rank == Rank.MEASURE), None)
        if bench.settled(listed.facts):
            reading = None
        elif reading is None and not bench.sound:
            continue
        kept = {id(p) for p in (*before, *looks[:1], reading) if p is not None}
        for placed in listed.of(bench):
            if id(placed) not in kept:
                listed.drop(placed.step.step)


def _key(placed: Placed) -> tuple[bool, int, int, float, int, float, str]:
    step, bench = placed.step, placed.bench
    cold = _COLD if "cold" in step.needs else 1.0
    rounds = bench.family.first_round
    turn = rounds.index(step.step) if step.step in rounds else len(rounds)
    walk = turn if placed.rank == Rank.FREE_LOOK else 0
    figure = round(cold * step.expected_total_usd, 2)
    return (
        bench.cured,
        placed.rank,
        walk,
        figure,
        placed.is_repair,
        step.minutes.typical,
        step.step,
    )


def _after_what_it_waits_for(placed: Sequence[Placed]) -> list[Placed]:
    """Return the steps in their order, each right after what it waits for."""
    by_id = {p.step.step: p for p in placed}
    place = {p.step.step: k for k, p in enumerate(placed)}
    done: list[Placed] = []
    seen: set[str] = set()

    def put(one: Placed) -> None:
        if one.step.step in seen:
            return
        seen.add(one.step.step)
        for first in sorted(set(one.after) & set(by_id), key=place.__getitem__):
            put(by_id[first])
        done.append(one)

    for one in placed:
        put(one)
    return done


def _say_why_first(ordered: Sequence[Placed]) -> None:
    """Let a step that a rank has moved before a cheaper plan say so."""
    for k, placed in enumerate(ordered):
        if placed.is_repair or placed.because:
            continue
        usd = placed.step.expected_total_usd
        cheaper = [p for p in ordered[k + 1 :] if p.step.expected_total_usd < usd]
        if not cheaper:
            continue
        if placed.rank in {Rank.FREE_LOOK, Rank.LOOK}:
            placed.says(say.first_walk_round())
        elif any(p.step.access >= TEAR_DOWN for p in cheaper):
            placed.says(say.look_before_tear_down())
        elif all(p.is_repair for p in cheaper):
            placed.says(say.seen_before_renewed())
        elif any(p.rank == Rank.OPEN for p in cheaper):
            placed.says(say.opens_nothing())


def _lower(test: Step, repair: Step) -> bool:
    return test.expected_total_usd < repair.expected_total_usd


def _cheap(step: Step) -> bool:
    return (
        step.access < TEAR_DOWN
        and step.minutes.typical <= _CHEAP_MINUTES
        and step.usd.typical <= _CHEAP_USD
    )


def _free(step: Step) -> bool:
    return step.access == 1 and step.minutes.typical <= _FREE_MINUTES and step.usd.typical <= 0.0


def _tells(test: Step, leader: str) -> bool:
    """Say whether a result of a test that may well come lets another cause clearly lead."""
    told = [r for r in test.results if r.probability >= _MAY_COME]
    return not told or any(
        not r.leads or (r.leads[0][0] != leader and r.leads[0][1] >= _LEADS) for r in told
    )


def _changes(look: Step, leader: str) -> bool:
    """Say whether a result of a look that is not rare takes the lead away."""
    told = [r for r in look.results if r.probability >= _RARE]
    return not told or any(
        not r.leads or r.leads[0][0] != leader or r.leads[0][1] < 0.5 for r in told
    )
