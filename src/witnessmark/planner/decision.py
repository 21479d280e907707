"""What the next step decides: read off the list once, and shown by every door.

Nothing is planned anew here. After a result the cause that leads then is put right where it
clearly leads and no cheap look at it is left; else the next check of the list comes. What a
standing stop forbids comes nowhere: the same function decides as everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from witnessmark.knowledge import Cause, Knowledge, Test
from witnessmark.model.decision import Branch, Decision, Onward
from witnessmark.model.odds import Odds
from witnessmark.model.step import Result, Spread, Step, forbidden_by
from witnessmark.words.say import decision as say

__all__ = ["MOST_RESULTS", "decisions"]

#: The picture holds at most so many results, the likeliest; few checks have more than four.
MOST_RESULTS = 6
#: From here on a cause clearly leads, so its repair comes next (as in the order of the bay).
_LEADS = 0.60
#: From here on a repair is worth a range of its own (the word "suspected" begins there).
_NAMED = 0.30
#: A check parts two causes whose result comes so much oftener with one, and not only rarely.
_APART, _OFTEN = 2.0, 0.2

Prices = Callable[[Cause], tuple[Spread, Spread]]


def decisions(
    steps: Sequence[Step],
    odds: Sequence[Odds],
    knowledge: Knowledge,
    prices: Prices,
    unread: Collection[str] = (),
) -> tuple[Decision, ...]:
    """Return what the first step of each family decides; one that decides nothing is left out.

    Args:
        steps: the list, with the stops.
        odds: the odds as they stand.
        knowledge: the packs.
        prices: cause -> its (minutes, parts) in this shop.
        unread: families that are read again first after a work: nothing else is decided of them.
    """
    todo = [s for s in steps if s.kind != "safety" and s.family not in unread]
    firsts: dict[str, Step] = {}
    for step in todo:
        for family in (step.family, *step.also):
            firsts.setdefault(family, step)
    stops = [s for s in steps if s.kind == "safety"]
    each = {s.step: s for s in firsts.values() if len(s.results) >= 2}
    return tuple(
        _decided(s, [r for r in todo if r is not s], stops, odds, knowledge, prices)
        for s in each.values()
    )


def _decided(
    first: Step,
    rest: Sequence[Step],
    stops: Sequence[Step],
    odds: Sequence[Odds],
    knowledge: Knowledge,
    prices: Prices,
) -> Decision:
    likeliest = sorted(first.results, key=lambda r: -r.probability)[:MOST_RESULTS]
    chosen = [r for r in first.results if r in likeliest]
    branches = tuple(_branch(r, first, rest, stops, knowledge, prices) for r in chosen)
    mine = next((o for o in odds if o.family == first.family), None)
    ranked = [c for c in (mine.causes if mine is not None else ()) if c.probability >= _NAMED]
    said = [w for c in ranked[:2] if (w := _priced(c.cause, stops, knowledge, prices))]
    return Decision(
        step=first.step,
        name=first.name,
        costs=_takes(first.minutes, first.usd),
        branches=branches,
        likely=said[0] if said else "",
        otherwise=said[1] if len(said) > 1 else "",
        told=say.told(first.name, [(b.seen, b.think, b.then) for b in branches]),
    )


def _branch(
    result: Result,
    step: Step,
    rest: Sequence[Step],
    stops: Sequence[Step],
    knowledge: Knowledge,
    prices: Prices,
) -> Branch:
    repair = step.kind == "repair"
    if repair and not result.leads and result.result == "cured":
        return Branch(result.result, say.gone(), "", "proof", say.prove())
    seen = say.not_gone() if repair else (result.words or result.result.replace("_", " "))
    if not result.leads:
        return Branch(result.result, seen, say.think("", 0.0), "open", say.look_beyond())
    lead, chance = result.leads[0]
    cause = knowledge.cause(lead)
    think = say.think(cause.name if cause is not None else "", chance)
    beside = result.leads[1][0] if len(result.leads) > 1 else ""
    telling = [s for s in rest if _parts(knowledge.test(s.step), lead, beside)]
    checks = [s for s in rest if s.kind != "repair" and s.family == step.family]
    onward, then, after = _onward(cause, chance, step, rest, stops, prices, [*telling, *checks])
    return Branch(result.result, seen, think, onward, then, after)


def _onward(
    cause: Cause | None,
    chance: float,
    step: Step,
    rest: Sequence[Step],
    stops: Sequence[Step],
    prices: Prices,
    checks: Sequence[Step],
) -> tuple[Onward, str, str]:
    """Return what comes after a result: its kind, its words and its id."""
    if cause is not None and chance >= _LEADS and cause.id != step.step:
        looks = {look.test for look in cause.look_first} - {step.step}
        look = next((s for s in rest if s.step in looks), None)
        if look is not None:
            return "check", say.check(look.name, _takes(look.minutes, look.usd)), look.step
        if forbidden_by(stops, cause.id, cause.demands) is not None:
            return "stop", say.stopped(), ""
        return "repair", say.put_right(_takes(*prices(cause))), cause.id
    for other in checks:
        return "check", say.check(other.name, _takes(other.minutes, other.usd)), other.step
    for other in rest:
        return "repair", say.check(other.name, _takes(other.minutes, other.usd)), other.step
    return "open", say.look_beyond(), ""


def _parts(test: Test | None, lead: str, beside: str) -> bool:
    """Say whether a check tells what leads then from what comes next."""
    if test is None:
        return False
    rows = zip(test.row(lead), test.row(beside), strict=True)
    return any(max(p, q) >= _APART * max(min(p, q), 1e-6) and max(p, q) >= _OFTEN for p, q in rows)


def _priced(name: str, stops: Sequence[Step], knowledge: Knowledge, prices: Prices) -> str:
    cause = knowledge.cause(name)
    if cause is None or forbidden_by(stops, cause.id, cause.demands) is not None:
        return ""
    return say.likely(cause.name, _takes(*prices(cause)))


def _takes(minutes: Spread, usd: Spread) -> str:
    return say.range_words((minutes.low, minutes.high), (usd.low, usd.high))
