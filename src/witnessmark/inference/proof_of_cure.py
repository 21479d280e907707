"""Proof: is the complaint gone, by measurement, and what is still missing?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from witnessmark.knowledge import Family, Knowledge, Test
from witnessmark.knowledge.proof_points import ProofPlan, Requirement
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ComplaintData, OutcomeData, RecordingData, TestData
from witnessmark.model.finding import Finding
from witnessmark.model.proof import Pair, Proof, Verdict
from witnessmark.words.say import proof as say

__all__ = ["prove"]

#: What a requirement came to: it holds, it speaks against the repair, or nothing is known.
State = Literal["holds", "against", "open"]


@dataclass(frozen=True, slots=True)
class _Evidence:
    """What there is to judge by, for one complaint."""

    pairs: Sequence[Pair]
    findings: Sequence[Finding]
    tests: Mapping[str, Sequence[tuple[int, str]]]
    words: Sequence[OutcomeData]
    last: int
    recorded: bool
    opened: frozenset[str] = frozenset()


def prove(
    case: Case,
    plans: Mapping[str, ProofPlan],
    pairs: Sequence[Pair],
    findings: Sequence[Finding],
    knowledge: Knowledge | None = None,
) -> tuple[Proof, ...]:
    """Return the verdict on every complaint of a case.

    A complaint is *proven* when, after the last work, every required measurement of its family
    holds and at least one second, independent piece of evidence agrees. It is *not proven* when
    a measurement, the customer's word or a test that is positive now as it was before speaks
    against it. Everything else is *not enough evidence*, with what is missing. A repair alone
    proves nothing.

    With *knowledge*, a complaint is judged by the tests of its own families only, and a family of
    a shop's own pack has a plan too: the tests that showed the fault, and the customer's word.
    """
    if knowledge is not None:
        own = (f for f in case.families() if f in knowledge.families and f not in plans)
        plans = {**plans, **{f: _own_plan(knowledge.families[f]) for f in own}}
    stages = case.stages()
    last = sum(1 for e in case.live() if e.kind == "work")
    recorded = any(stages[e.id] == 0 for e, _ in case.of(RecordingData))
    tests: dict[str, list[tuple[int, str]]] = {}
    for entry, data in case.of(TestData):
        tests.setdefault(data.test, []).append((stages[entry.id], data.result))
    named = {r.quantity for f in case.families() if f in plans for r in _rows(plans[f])}
    # Read before and after, and named by no plan: it stands with the first complaint.
    beside = [p for p in pairs if p.quantity not in named and None not in (p.before, p.after)]
    found: list[Proof] = []
    for entry, complaint in case.complaints():
        words = [
            data
            for outcome, data in case.of(OutcomeData)
            if data.complaint == entry.id and stages[outcome.id] == last
        ]
        mine = _tests_of(complaint.families, tests, knowledge)
        opened = _taken_apart(complaint.families, knowledge)
        evidence = _Evidence(pairs, findings, mine, words, last, recorded, opened)
        found.append(_one(entry, complaint, plans, evidence))
        if found[-1].family and beside:
            found[-1] = replace(found[-1], pairs=(*found[-1].pairs, *beside))
            beside = []
    return tuple(found)


def _own_plan(family: Family) -> ProofPlan:
    """Return the plan of a family without one: what showed the fault shows it no longer."""
    again = say.repeat_test(family.proof)
    before = say.test_before()
    word = Requirement(say.customers_word(), word=True)
    return ProofPlan(family.id, (Requirement(again, test="*", before=before),), (word,), (word,))


def _tests_of(
    families: Sequence[str],
    tests: Mapping[str, Sequence[tuple[int, str]]],
    knowledge: Knowledge | None,
) -> Mapping[str, Sequence[tuple[int, str]]]:
    if knowledge is None:
        return tests
    own = {
        t.id: t for f in families if f in knowledge.families for t in knowledge.families[f].tests
    }
    # A test with several ways of being positive is positive in each of them.
    return {
        name: [(n, _sight(own[name], result)) for n, result in rows]
        for name, rows in tests.items()
        if name in own
    }


def _taken_apart(families: Sequence[str], knowledge: Knowledge | None) -> frozenset[str]:
    """Return the tests of these families for which something is taken apart."""
    known = knowledge.families if knowledge is not None else {}
    return frozenset(
        t.id for f in families if f in known for t in known[f].tests if t.kind == "strip"
    )


def _sight(test: Test, result: str) -> str:
    if result not in test.outcomes:
        return result
    return "negative" if result == test.outcomes[-1] else "positive"


def _one(
    entry: Entry, complaint: ComplaintData, plans: Mapping[str, ProofPlan], evidence: _Evidence
) -> Proof:
    families = [f for f in complaint.families if f in plans]
    if not families:
        choose = say.no_family()
        return Proof(entry.id, "", "not enough evidence", (choose,), (), choose)
    judged = [_family(plans[f], evidence) for f in families]
    order: list[Verdict] = ["not proven", "not enough evidence", "proven"]
    verdict = min((v for v, _, _ in judged), key=order.index)
    missing = tuple(dict.fromkeys(m for _, items, _ in judged for m in items))
    pairs = tuple(dict.fromkeys(p for _, _, kept in judged for p in kept))
    unread = tuple(dict.fromkeys(w for f in families for w in _unread(plans[f], evidence)))
    sentence = _sentence(verdict, missing, evidence)
    return Proof(entry.id, families[0], verdict, missing, pairs, sentence, unread)


def _family(plan: ProofPlan, evidence: _Evidence) -> tuple[Verdict, list[str], list[Pair]]:
    kept = [p for p in evidence.pairs if _belongs(p, plan)]
    if evidence.last == 0:
        before = [r.before or r.words for r in plan.required if _before_missing(r, evidence)]
        missing = [say.no_work()]
        missing += [say.before_the_work(words) for words in before]
        return "not enough evidence", missing, kept
    judge: Callable[[Requirement], State] = lambda r: _state(r, evidence)  # noqa: E731
    required = [(r, judge(r)) for r in plan.required]
    second = [(r, judge(r)) for r in plan.second]
    missing = [_asked(r, evidence) for r, state in required if state == "open"]
    agreed = any(state == "holds" for _, state in second)
    if not agreed:
        open_ones = [r.words for r, state in second if state == "open"]
        missing += [say.second_quantity(open_ones)] if open_ones else []
    confirm = [(r, judge(r)) for r in plan.confirm]
    missing += [r.words for r, state in confirm if state == "open" and r.words not in missing]
    against = any(state == "against" for _, state in (*required, *second, *confirm))
    against = against or any(w.gone is False for w in evidence.words) or _still_positive(evidence)
    if against:
        return "not proven", missing, kept
    if all(state == "holds" for _, state in required) and agreed:
        if _held_before(kept, evidence):
            return "not enough evidence", [say.held_before(), *missing], kept
        return "proven", missing, kept
    return "not enough evidence", missing, kept


def _held_before(kept: Sequence[Pair], evidence: _Evidence) -> bool:
    """Say whether all that holds now held before the work just so: it never showed the complaint.

    A quantity without a band that has changed, a test that is clean now, or the customer's word
    shows it.
    """
    both = [p for p in kept if p.before is not None and p.after is not None]
    showed = any(r == "positive" and n < evidence.last for rows in evidence.tests.values()
                 for n, r in rows)  # fmt: skip
    if showed or any(w.gone is True for w in evidence.words):
        return False
    banded = [p for p in both if p.band is not None]
    return bool(banded) and not any(p.shown for p in both) and all(map(_was_inside, banded))


def _was_inside(pair: Pair) -> bool:
    low, high = pair.band or (None, None)
    value = pair.before or 0.0
    return (low is None or value >= low) and (high is None or value <= high)


def _unread(plan: ProofPlan, evidence: _Evidence) -> list[str]:
    """Return what a proof asks for that nobody has read or tested since the latest work.

    What was read and leaves it open is not asked for again: another point or instrument tells more.
    """

    def taken(r: Requirement) -> bool:
        if r.quantity is not None:
            return bool(_pairs_of(r, evidence))
        return r.word or _state(r, evidence) != "open"

    found = [r.words for r in plan.required if not taken(r)]
    second = [r.words for r in plan.second if not r.word]
    if second and not any(taken(r) for r in plan.second if not r.word):
        found += second
    return found


def _asked(requirement: Requirement, evidence: _Evidence) -> str:
    """Return what is asked, and say so where there is nothing that it can be compared with."""
    swapped = next((p for p in _pairs_of(requirement, evidence) if p.swapped), None)
    if swapped is not None and swapped.swapped is not None:
        ask = say.same_instrument if swapped.apart is None else say.false_before
        return ask(requirement.words, *swapped.swapped)
    if not requirement.before or _comparable(requirement, evidence):
        return requirement.words
    return say.nothing_before(requirement.words)


def _state(requirement: Requirement, evidence: _Evidence) -> State:
    if requirement.quantity is not None:
        return _measured(requirement, evidence)
    if requirement.test is not None:
        return _tested(requirement.test, evidence)
    if requirement.finding is not None:
        return _looked_for(requirement, evidence)
    if any(w.gone is False for w in evidence.words):
        return "against"
    gone = [w for w in evidence.words if w.gone is True and (w.after_days or 0) >= 1]
    return "holds" if gone else "open"


def _measured(requirement: Requirement, evidence: _Evidence) -> State:
    states = [_pair_state(p, requirement.better) for p in _pairs_of(requirement, evidence)]
    if not states:
        return "open"
    if "against" in states:
        return "against"
    return "open" if "open" in states else "holds"


def _pairs_of(requirement: Requirement, evidence: _Evidence) -> list[Pair]:
    """Return the pairs with a reading after the work that a requirement asks for.

    What was read on a cold engine is left out where a band speaks of the warm one.
    """
    found = [
        p
        for p in evidence.pairs
        if p.after is not None
        and p.quantity == requirement.quantity
        and (requirement.point is None or requirement.point.holds(p.point))
    ]
    banded = any(p.spec != "no band" for p in found)
    return [p for p in found if not (banded and p.point.warm is False and p.spec == "no band")]


def _pair_state(pair: Pair, better: str) -> State:
    if pair.swapped is not None and pair.spec != "outside":
        return "open"  # another instrument, not compared: it may have been false before or now
    if pair.spec == "inside":
        return "holds" if _steady_inside(pair) else "open"
    if pair.spec == "outside":
        return "against"
    if pair.spec == "cannot tell":
        return "open"
    if not better:
        # No band is known for it: measured beside the pressure it is a second look all the same.
        return "holds"
    if not pair.shown or pair.difference is None:
        return "open" if pair.difference is None else "against"
    return "holds" if (pair.difference < 0) == (better == "lower") else "against"


def _steady_inside(pair: Pair) -> bool:
    """Say whether both ends of a pointer that swings are inside the band."""
    low, high = pair.band or (None, None)
    if not pair.swing or pair.after is None:
        return True
    ends = pair.after - pair.swing, pair.after + pair.swing
    return (low is None or ends[0] >= low) and (high is None or ends[1] <= high)


def _tested(test: str, evidence: _Evidence) -> State:
    names = [test] if test != "*" else _showed_it(evidence)
    states: list[State] = []
    for name in names:
        now = [r for stage, r in evidence.tests.get(name, ()) if stage == evidence.last]
        states.append(
            "open"
            if not now
            else "holds"
            if now[-1] == "negative"
            else "against"
            if now[-1] == "positive"
            else "open"
        )
    if not states or "open" in states:
        return "against" if "against" in states else "open"
    return "against" if "against" in states else "holds"


def _showed_it(evidence: _Evidence) -> list[str]:
    """Return the tests that showed the fault before the work.

    What was taken apart to be seen is not taken apart again where another test showed it too.
    """
    names = [
        name for name, rows in evidence.tests.items()
        if any(result == "positive" and stage < evidence.last for stage, result in rows)
    ]  # fmt: skip
    return [name for name in names if name not in evidence.opened] or names


def _still_positive(evidence: _Evidence) -> bool:
    """Say whether a test that showed the fault before shows it still."""
    for rows in evidence.tests.values():
        now = [result for stage, result in rows if stage == evidence.last]
        before = [result for stage, result in rows if stage < evidence.last]
        if now and now[-1] == "positive" and "positive" in before:
            return True
    return False


def _looked_for(requirement: Requirement, evidence: _Evidence) -> State:
    codes = (requirement.finding, *requirement.against)
    now = [f for f in evidence.findings if f.stage == evidence.last and f.code in codes]
    if any(f.outcome == "seen" for f in now):
        return "against"
    clean = [f for f in now if f.code == requirement.finding and f.outcome == "not_seen"]
    covered = sum(f.details.covered_s or 0.0 for f in clean)
    return "holds" if clean and covered >= requirement.for_s else "open"


def _before_missing(requirement: Requirement, evidence: _Evidence) -> bool:
    if requirement.quantity is None:
        return bool(requirement.before) and not _comparable(requirement, evidence)
    point = requirement.point
    return not any(
        p.quantity == requirement.quantity and p.before is not None
        and (point is None or point.holds(p.point))
        for p in evidence.pairs
    )  # fmt: skip


def _comparable(requirement: Requirement, evidence: _Evidence) -> bool:
    """Say whether there is something from before the work that can be repeated after it."""
    if requirement.test == "*":
        return any("positive" in {r for _, r in rows} for rows in evidence.tests.values())
    return evidence.recorded


def _belongs(pair: Pair, plan: ProofPlan) -> bool:
    return any(r.quantity == pair.quantity for r in _rows(plan))


def _rows(plan: ProofPlan) -> tuple[Requirement, ...]:
    return (*plan.required, *plan.second, *plan.confirm)


def _sentence(verdict: Verdict, missing: Sequence[str], evidence: _Evidence) -> str:
    if evidence.last == 0:
        return say.nothing_done()
    if verdict == "not proven":
        return say.not_proven()
    if verdict == "not enough evidence":
        return say.not_enough(missing[0])
    return say.proven(missing)
