"""The ranked next steps: safety first, then whatever has the lowest expected total."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from witnessmark.inference.shop_history import renewals
from witnessmark.knowledge import AccessGroup, Family, Link, Test
from witnessmark.knowledge.rules import Stop
from witnessmark.model.candidate import Candidate
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.model.step import Result, Spread, Step, forbidden_by
from witnessmark.planner.order.brought_in import BroughtIn
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.one_pass import in_order
from witnessmark.planner.order.open_complaint import OpenComplaint, shows_itself
from witnessmark.planner.order.progress import Progress
from witnessmark.planner.order.safety import safety_stops, stops_of_the_truck, within_the_stops
from witnessmark.planner.ranking import step_words as words
from witnessmark.planner.ranking.costs import remeasure_minutes, work_of_test
from witnessmark.planner.ranking.open_search import Stopping, said_in_time, search_step, stopping
from witnessmark.planner.ranking.owner_money import OwnerMoney, as_owner_sees, first_says
from witnessmark.planner.ranking.pricing import FamilyState, Plan, plan_family
from witnessmark.planner.ranking.serve_both import after_all, beside, served_too
from witnessmark.planner.ranking.troubleshooting import left_after
from witnessmark.planner.shortlist import behind_looks, kept, search_behind_what_is_quick
from witnessmark.words.say import steps as say

__all__ = ["FamilyState", "rank_steps"]

#: A test must save at least this much to be worth proposing [USD].
WORTH_USD = 0.5
#: Repairs of parts less likely than this are not listed, but for the plan's own next repair.
LIST_FROM = 0.10
#: P(nothing is wrong) from which it leads, and from which the proof comes before further work.
LEADS_FROM, HEALTHY_FROM = 0.3, 0.5
#: From this P(none listed) on, or once it leads, the tool asks for a reading first.
UNEXPLAINED_FROM = 0.35


def rank_steps(
    states: Sequence[FamilyState],
    *,
    settings: Settings | None = None,
    access_groups: Mapping[str, AccessGroup] | None = None,
    links: Sequence[Link] = (),
    history: History | None = None,
    progress: Progress | None = None,
    opened: str = "",
    technician: str = "",
    truck_stops: Sequence[Stop] = (),
    brought: BroughtIn | None = None,
    money: OwnerMoney | None = None,
    most: int = 12,
) -> tuple[Step, ...]:
    """Rank what can be done next.

    Every step carries the expected total cost to a proven cure of all the complaints together if
    it is taken next, so the figures of one answer can be compared. Safety stops come first, then
    what may be done in the order of the bay (``order/one_pass.py``). After a repair the first step
    is to measure the same points again, behind looks alone: two invasive steps never follow each
    other without it.

    Args:
        states: the open complaint families; one that is proven cured is not handed over.
        settings: the shop's rates, the defaults when not given.
        access_groups: disassembly that jobs share.
        links: faults that make two complaints.
        history: the shop's own times and seals.
        progress: what was done at this stage; its tests and repairs count as done.
        opened: id of the disassembly that lies open now; when not given, what the last test has
            taken apart.
        technician: who works on the truck; his own times count where he has any.
        truck_stops: safety stops of the whole truck.
        brought: the state the truck is in, and what was just touched.
        money: what the owner of the truck has said of time and money.
        most: at most this many steps besides the safety stops; likely repairs behind them are
            named all the same.
    """
    owner, own = money or OwnerMoney(), settings or Settings()
    rates, so_far = owner.rates(own), progress or Progress()
    plans = [
        plan_family(
            replace(
                state,
                tests_done=state.tests_done | so_far.tests | state.belief.halved,
                repaired=so_far.repaired or state.repaired,
                made_here=so_far.here,
            ),
            rates,
            access_groups=access_groups,
            history=history,
            warm=so_far.warm,
            opened=opened,
            last_test=so_far.last_test,
            technician=technician,
            money=owner,
        )
        for state in states
    ]
    if not plans:
        return ()
    left = after_all(plans, links)
    total = min(plan.best + others for plan, others in zip(plans, left, strict=True))
    raised = [stop for plan in plans for stop in _stops(plan, total, so_far.facts)]
    families = [plan.state.family for plan in plans]
    stops = [*stops_of_the_truck(truck_stops, so_far.facts, total, families, raised), *raised]
    plans = [_beside_what_may_be_done(plan, stops) for plan in plans]
    stops_now = {
        plan.state.family.id: stopping(plan, so_far.made, rates, searched=so_far.searched)
        for plan in plans
    }
    steps: list[Step] = []
    benches: list[OpenComplaint] = []
    for plan, others in zip(plans, left, strict=True):
        looks = {s.step: s for s in _test_steps(plan, others, every=True)}
        benches.append(_bench(plan, looks, stops_now[plan.state.family.id]))
        spent = stops_now[plan.state.family.id].spent_usd
        steps += [
            as_owner_sees(_if_still_wrong(step, plan, others, rates), owner, spent, own)
            for step in (
                *_test_steps(plan, others),
                *_repair_steps(plan, others, plans, rates, links, history),
                *_search_step(plan, others, rates, stops_now[plan.state.family.id]),
            )
        ]
    waiting = within_the_stops(
        [
            *stops,
            *(
                _remeasure(plan, others, rates, so_far)
                for plan, others in zip(plans, left, strict=True)
                if so_far.unmeasured or plan.state.unread or _cured(plan)
            ),
        ]
    )[len(stops) :]
    after = _look_after(plans, so_far)
    ordered = in_order(
        steps,
        stops,
        benches,
        rates,
        brought=brought,
        facts=so_far.facts,
        look_after=after,
        truck_rules=truck_stops,
    )
    if not ordered and not waiting and not all(b.left(so_far.facts) for b in benches):
        ordered = _search_at_least(plans, left, rates, stops)
    for plan, others in zip(plans, left, strict=True):
        stop = stops_now[plan.state.family.id]
        aloud = search_step(plan, others, rates, replace(stop, urgency="say"))
        aloud = _if_still_wrong(aloud, plan, others, rates)
        ordered = said_in_time(ordered, plan, aloud, rates, stop)
    due = [family for family, stop in stops_now.items() if stop.urgency]
    ordered = search_behind_what_is_quick(ordered, plans, rates, due)
    told = kept(ordered, most - len(waiting), plans)
    if so_far.proof_waits and not any(_cured(plan) for plan in plans):
        told, waiting = behind_looks(told, waiting, plans), ()
    names = {c.id: c.name for plan in plans for c in plan.state.family.causes}
    return (*stops, *first_says((*waiting, *_with_margin(told)), owner, names))


def _look_after(plans: Sequence[Plan], so_far: Progress) -> tuple[str, ...]:
    """Return the tests that the latest repair asks for before the truck leaves."""
    last = so_far.repaired[-1] if so_far.repaired else ""
    causes = (plan.state.family.cause(last) for plan in plans)
    return tuple(t for cause in causes if cause is not None for t in cause.look_after)


def _search_at_least(
    plans: Sequence[Plan], left: Sequence[float], rates: Settings, stops: Sequence[Step]
) -> list[Step]:
    """Propose the open search where nothing else may be proposed: a complaint is open."""
    found = [
        _if_still_wrong(search_step(plan, others, rates, Stopping()), plan, others, rates)
        for plan, others in zip(plans, left, strict=True)
    ]
    return list(within_the_stops([*stops, *found])[len(stops) :])


def _beside_what_may_be_done(plan: Plan, stops: Sequence[Step]) -> Plan:
    """Let nothing be renewed along with something else that a stop forbids."""
    family = plan.state.family
    barred = {c.id for c in family.causes if forbidden_by(stops, c.id, c.demands) is not None}
    return replace(plan, state=replace(plan.state, waiting=plan.state.waiting | barred))


def _stops(plan: Plan, total: float, facts: Facts) -> list[Step]:
    marginals = dict(zip(plan.table.causes, plan.chances, strict=True))
    results = {t: r for t, (r, _) in getattr(plan.state.belief, "results", {}).items()}
    return safety_stops(plan.state.family.stops, facts.weighed(marginals, results), total)


def _bench(plan: Plan, looks: Mapping[str, Step], stop: Stopping) -> OpenComplaint:
    state, belief = plan.state, plan.state.belief
    results = getattr(belief, "results", {})
    nothing = {t.id: {"negative", "maybe", t.outcomes[-1]} for t in state.family.tests}
    return OpenComplaint(
        family=state.family,
        chances=dict(zip(plan.table.causes, plan.chances, strict=True)),
        done=state.tests_done,
        found=bool(state.repaired) or belief.found(),
        only_renewed=bool(state.repaired) and not (results or getattr(belief, "read", ())),
        looks=looks,
        positive=[t for t, (result, _) in results.items() if result not in nothing.get(t, ())],
        cured=_cured(plan),
        clear=_clear(plan),
        sound=_clear(plan) and belief.healthy() >= HEALTHY_FROM,
        unexplained=_unexplained(plan),
        waiting=state.looks_waiting,
        seen_bad=state.seen_bad,
        seen_itself=_seen_itself(plan),
        repaired=state.repaired,
        first=state.first,
        opening_waits=state.opening_waits,
        one_word=state.one_word,
        stop_and_search=stop.urgency,
        read_as=plan.read_as,
        again=plan.contested,
        fits=state.fits,
    )


def _cured(plan: Plan) -> bool:
    """Say whether probably nothing is wrong any more after work here or on a linked complaint."""
    return plan.state.belief.healthy() >= HEALTHY_FROM and not _clear(plan)


def _seen_itself(plan: Plan) -> frozenset[str]:
    """Return the parts seen bad by a test of the part itself, not by one that only points at it."""
    state = plan.state
    results = getattr(state.belief, "results", {})
    made = [(t, results[t.id][0]) for t in state.family.tests if t.id in results]
    causes = [c for c in state.family.causes if c.id in state.seen_bad]
    return frozenset(c.id for c in causes for t, got in made if shows_itself(t, c, got))


def _clear(plan: Plan) -> bool:
    """Say whether, before any work, nothing wrong is likelier than any cause."""
    belief = plan.state.belief
    untouched = plan.state.measured and not (plan.state.repaired or getattr(belief, "repaired", ()))
    least = max(LEADS_FROM, float(plan.chances.max(initial=0.0)))
    return untouched and plan.state.fits and belief.healthy() > least


def _test_steps(plan: Plan, others: float, *, every: bool = False) -> list[Step]:
    """Return the tests that pay, or every one that can be made."""
    found = []
    unexplained = _unexplained(plan)
    for number, test in enumerate(plan.tests):
        price = float(plan.moves.test[0, number])
        if not np.isfinite(price):
            continue
        if price > plan.without_test - WORTH_USD and not unexplained and not every:
            continue
        results = _test_results(plan, number, test)
        family = plan.state.family
        candidate = isinstance(test, Candidate)
        own = test.cautions if isinstance(test, Candidate) else (test.caution,)
        found.append(
            Step(
                step=test.id,
                kind="measure" if candidate else "test",
                family=family.id,
                name=say.read_again(test.name) if test.id in plan.once_more else test.name,
                minutes=test.minutes,
                usd=test.usd,
                expected_total_usd=price + others,
                why=words.why_test(
                    plan,
                    test,
                    results,
                    unexplained=unexplained and price > plan.without_test - 1,
                ),
                access=test.access,
                needs=test.needs,
                cautions=_cautions(family, *own),
                must_renew=test.must_renew if isinstance(test, Candidate) else (),
                results=results,
                forecast=test.forecast if isinstance(test, Candidate) else (),
                work=work_of_test(test),
            )
        )
    return found


def _repair_steps(
    plan: Plan,
    others: float,
    plans: Sequence[Plan],
    settings: Settings,
    links: Sequence[Link],
    history: History | None,
) -> list[Step]:
    found = []
    family = plan.state.family
    for number, identity in enumerate(plan.table.causes):
        price, cause = float(plan.moves.repair[0, number]), family.cause(identity)
        own = number == plan.next_repair and not _cured(plan)
        listed = own or plan.chances[number] >= LIST_FROM
        waits = plan.state.unread and identity not in plan.state.seen_bad
        if cause is None or not np.isfinite(price) or not listed or waits:
            continue
        results = _repair_results(plan, number)
        also = served_too(plan, identity, plans, links)
        along = beside(plan, number, settings)
        seals = dict.fromkeys((*cause.renew_with, *(r.part for r in renewals(history, identity))))
        total = price + others
        if along is not None:
            total = min(total, along.price + others)
        found.append(
            Step(
                step=identity,
                kind="repair",
                family=family.id,
                name=words.repair_name(cause, again=identity in plan.state.repaired),
                minutes=plan.minutes[identity],
                usd=plan.parts[identity],
                expected_total_usd=total,
                why=words.why_repair(plan, number, results, along, also),
                access=round(cause.access.typical),
                needs=("road",) if remeasure_minutes(family, settings) > 40 else (),
                cautions=_cautions(family, cause.caution, cause.damage_risk),
                must_renew=tuple(seals),
                results=results,
                forecast=plan.state.forecasts.get(identity, ()),
                also=tuple(also),
                along=(along.cause,) if along is not None else (),
                proof=cause.proof or family.proof,
                work=cause.demands,
            )
        )
    return found


def _search_step(plan: Plan, others: float, settings: Settings, stop: Stopping) -> list[Step]:
    """Propose the open-ended search once nothing listed is cheaper, and when it is time to stop."""
    price = float(plan.moves.search[0])
    dear = price > plan.best + WORTH_USD and not _unexplained(plan) and not stop.urgency
    if dear or plan.state.unread:
        return []
    return [search_step(plan, others, settings, stop)]


def _if_still_wrong(step: Step, plan: Plan, others: float, settings: Settings) -> Step:
    """Weigh a step's total by the chance that something is still wrong after a repair.

    If nothing is, the step was for nothing and the proof has to be measured all the same.
    """
    healthy = plan.state.belief.healthy()
    if healthy <= 0.0:
        return step
    own = _own_usd(plan, step)
    proof = _proof_usd(plan, settings)
    price = (1.0 - healthy) * (step.expected_total_usd - others) + healthy * (own + proof)
    return replace(step, expected_total_usd=price + others)


def _own_usd(plan: Plan, step: Step) -> float:
    if step.step in plan.table.causes:
        return float(plan.problem.repair_usd[plan.table.causes.index(step.step)])
    number = next((k for k, t in enumerate(plan.tests) if t.id == step.step), None)
    return 0.0 if number is None else float(plan.problem.test_usd[number])


def _proof_usd(plan: Plan, settings: Settings) -> float:
    return remeasure_minutes(plan.state.family, settings) / 60.0 * settings.labour_usd_per_hour


def _remeasure(plan: Plan, others: float, settings: Settings, so_far: Progress) -> Step:
    family = plan.state.family
    minutes = remeasure_minutes(family, settings)
    left = (1.0 - plan.state.belief.healthy()) * plan.best
    came_in = family.within_normal > 0.0 and not plan.state.repaired
    return Step(
        step=f"remeasure_{family.id}",
        kind="measure",
        family=family.id,
        name=say.remeasure_name(family.operating_points),
        minutes=Spread(0.7 * minutes, minutes, 1.6 * minutes),
        usd=Spread(0.0, 0.0, 0.0),
        expected_total_usd=_proof_usd(plan, settings) + left + others,
        why=words.why_remeasure(so_far.unmeasured, unread=plan.state.unread, came_in=came_in),
        needs=("warm", "road") if minutes > settings.remeasure_minutes else ("warm",),
        cautions=_cautions(family),
        proof=family.proof,
    )


def _unexplained(plan: Plan) -> bool:
    wrong = max(1e-9, 1.0 - plan.state.belief.healthy())
    none = (plan.state.belief.none_present() - plan.state.belief.healthy()) / wrong
    leads = none > float(plan.chances.max(initial=0.0)) / wrong
    return not plan.state.fits or none >= UNEXPLAINED_FROM or leads


def _with_margin(steps: Sequence[Step]) -> list[Step]:
    """Say on the later steps what taking them first would cost more than the first one."""
    if not steps:
        return []
    best = steps[0].expected_total_usd
    return [
        replace(s, why=f"{s.why} {words.dearer(s.expected_total_usd - best)}".strip()) if k else s
        for k, s in enumerate(steps)
    ]


def _test_results(plan: Plan, number: int, test: Test | Candidate) -> tuple[Result, ...]:
    dull = bool((plan.root.tested[0] & plan.problem.kin[number]).any())
    table = (plan.problem.dulled if dull else plan.problem.outcomes)[number]
    if isinstance(test, Candidate):
        names = tuple(outcome.result for outcome in test.outcomes)
    else:
        names = test.outcomes
    found = []
    for row, name in enumerate(names):
        weights = plan.table.weights * table[row]
        leads = plan.table.leads(weights)
        seen, means = words.result_means(plan, test, name, leads)
        chance = float(weights.sum() / plan.table.weights.sum())
        found.append(Result(name, chance, leads, seen, means))
    return tuple(found)


def _repair_results(plan: Plan, number: int) -> tuple[Result, ...]:
    left = left_after(plan.problem, plan.root.weights[0], number)
    failed = float(left.sum() / plan.table.weights.sum())
    return (
        Result("cured", 1.0 - failed, ()),
        Result("not_cured", failed, plan.table.leads(left)),
    )


#: What a test of the first packs writes instead of a caution of its own.
_SEE_FAMILY = "see family safety"


def _cautions(family: Family, *own: str) -> tuple[str, ...]:
    ordered = (family.safety, *own)
    return tuple(dict.fromkeys(c for c in ordered if c and c != _SEE_FAMILY))
