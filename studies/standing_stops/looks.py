"""Look first, ask never twice: what of that a list of steps breaks, told by another hand.

Prices here are minutes times a rate and money, without any waiting: a look counts as cheap where
it is so with room to spare.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from witnessmark.knowledge import Cause, Knowledge, Test
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ClueData, TestData, WorkData
from witnessmark.model.step import Step

__all__ = ["LEAST", "order_faults", "second_hand"]

#: No part below this is an alternative.
LEAST = 0.10
#: From here on a part is no longer in question: a look would only confirm it.
SURE = 0.90
_USD_A_MINUTE = 2.0
#: What a check says that is made by a second hand before a dear part rests on it.
_SECOND_HAND = "Once more, by another person or with another instrument: "
_NO_ANSWER = {"maybe", "inconclusive", "not_run"}


def order_faults(found: Dossier, knowledge: Knowledge, forbids: Callable[[str], bool]) -> list[str]:
    """Return what a dossier's steps break: asked twice, a long shot, a part before its look.

    Args:
        found: the dossier.
        knowledge: the packs.
        forbids: whether a standing stop forbids a test or a repair.
    """
    todo = list(found.todo)
    return [
        *_asked_twice(todo, found, knowledge),
        *_long_shots(todo, found, knowledge),
        *_before_their_look(todo, found, knowledge, forbids),
    ]


def second_hand(step: Step) -> bool:
    """Say whether a step says of itself that it is a check made once more by a second hand."""
    return step.kind == "test" and step.name.startswith(_SECOND_HAND)


def _made_now(case: Case) -> Counter[str]:
    """Return how often each test was answered in the state that the truck is in now."""
    stages = case.stages()
    now = sum(1 for _ in case.of(WorkData))
    made = [d for e, d in case.of(TestData) if stages[e.id] == now]
    open_still = {d.test for d in made if d.result in _NO_ANSWER}
    return Counter(d.test for d in made if d.test not in open_still)


def _asked_twice(todo: list[Step], found: Dossier, knowledge: Knowledge) -> list[str]:
    """Return the checks asked for again.

    What was answered once may stand again as the check by a second hand that its words say it is;
    a third time, or under another complaint's name for the same check, it may not.
    """
    own = _made_now(found.case)
    sisters = {other for t in own if (test := knowledge.test(t)) for other in test.same_as}
    wrong = []
    for step in todo:
        if step.kind != "test" or not (own[step.step] or step.step in sisters):
            continue
        if not (second_hand(step) and own[step.step] == 1 and step.step not in sisters):
            wrong.append(f"asks again: {step.step}")
    return wrong


def _long_shots(todo: list[Step], found: Dossier, knowledge: Knowledge) -> list[str]:
    chance = {c.cause: c.probability for o in found.odds for c in o.causes}
    return [
        f"a long shot: {s.step} at {chance[s.step]:.3f}"
        for s in todo
        if s.kind == "repair"
        and s.step in chance
        and chance[s.step] < LEAST - 0.005
        and not _seen_bad_since(s.step, found.case, knowledge)
    ]


def _seen_bad_since(cause: str, case: Case, knowledge: Knowledge) -> bool:
    """Say whether its own look saw a part bad since the last work: the odds are held till then."""
    stages = case.stages()
    now = sum(1 for _ in case.of(WorkData))
    looked = knowledge.cause(cause)
    results = {d.test: d.result for e, d in case.of(TestData) if stages[e.id] == now}
    return (
        now > 0
        and looked is not None
        and any(
            results.get(look.test) not in (None, "negative", "maybe") for look in looked.look_first
        )
    )


def _before_their_look(
    todo: list[Step], found: Dossier, knowledge: Knowledge, forbids: Callable[[str], bool]
) -> list[str]:
    place = {s.step: k for k, s in enumerate(todo)}
    ever = {d.test for _, d in found.case.of(TestData)}
    states = {
        knowledge.conditions[d.clue].truck_state
        for _, d in found.case.of(ClueData)
        if d.seen is not False and d.clue in knowledge.conditions
    }
    worked = {d.cause for _, d in found.case.of(WorkData)}
    chance = {c.cause: c.probability for o in found.odds for c in o.causes}
    wrong = []
    for step in todo:
        cause = knowledge.cause(step.step) if step.kind == "repair" else None
        if cause is None or chance.get(cause.id, 0.0) >= SURE:
            continue
        if cause.id in worked or _seen_bad(cause, found, knowledge):
            continue
        for look in cause.look_first:
            test = knowledge.test(look.test)
            if look.twin or test is None or test.id in ever or forbids(test.id):
                continue
            if not _much_cheaper(test, cause) or (states - {""}) or test.rules.not_if:
                continue
            # One physical check that two complaints list is one step, by either of its names.
            names = {test.id, *test.same_as} | {n for n in place if _same(n, test.id, knowledge)}
            if min(place.get(n, len(todo)) for n in names) > place[step.step]:
                where = "stands behind it" if test.id in place else "is not listed"
                wrong.append(f"renewed first: {step.step}, {test.id} {where}")
    return wrong


def _same(step: str, test: str, knowledge: Knowledge) -> bool:
    other = knowledge.test(step)
    return other is not None and test in other.same_as


def _seen_bad(cause: Cause, found: Dossier, knowledge: Knowledge) -> bool:
    """Say whether one of its looks has shown the part bad in the state of now."""
    stages = found.case.stages()
    now = sum(1 for _ in found.case.of(WorkData))
    got = {d.test: d.result for e, d in found.case.of(TestData) if stages[e.id] == now}
    for look in cause.look_first:
        test, result = knowledge.test(look.test), got.get(look.test, "")
        if test is None or not result or look.twin:
            continue
        shows = set(look.shows)
        if "positive" in shows:
            shows |= set(test.outcomes[:-1])
        if result in shows - {"negative", test.outcomes[-1]}:
            return True
    return False


def _much_cheaper(test: Test, cause: Cause) -> bool:
    waits = 90.0 if {"warm", "cold", "road", "load", "second person"} & set(test.needs) else 0.0
    own = test.minutes.high * _USD_A_MINUTE + test.usd.high + waits
    part = cause.minutes.low * _USD_A_MINUTE + cause.parts_usd.low
    return own < part
