"""The one sentence above a table of odds: what the findings point to, and whether it is decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.look_first import LookWaiting
from witnessmark.inference.odds.why import most_telling
from witnessmark.knowledge import Family
from witnessmark.model.odds import DECIDED_FROM, CauseOdds
from witnessmark.words.numbers import chance_words

__all__ = ["SUSPECTED_FROM", "WORTH_NAMING", "is_decided", "statement"]

#: From here on a cause is suspected aloud.
SUSPECTED_FROM = 0.50
#: A leftover below this is not named.
WORTH_NAMING = 0.01
#: Evidence for two causes is said aloud when their odds have grown by this factor (judgement).
TWO_ALOUD = 1.5
#: An open test settles a likely cause when it leaves it at this or above, or below one half.
SETTLED_FROM = 0.90
_MEASURE_AGAIN = "Nothing was measured since the work; measure again before the next part."
_NONE: Mapping[str, LookWaiting] = MappingProxyType({})


def is_decided(
    belief: Belief, causes: Sequence[CauseOdds], waiting: Mapping[str, LookWaiting] = _NONE
) -> bool:
    """Say whether there is one sure cause, or two where two are likelier; "other" names none.

    A cause that waits for a cheap look is not sure before it, and nothing else is beside it.
    """
    sure = [c for c in causes if c.sure and not _is_other(c)]
    if any(c.cause in waiting and c.probability >= DECIDED_FROM for c in causes):
        return False
    return len(sure) >= (2 if belief.two_or_more() >= SUSPECTED_FROM else 1)


def statement(
    family: Family,
    belief: Belief,
    causes: Sequence[CauseOdds],
    fits: bool,
    named: bool,
    found: bool,
    waiting: Mapping[str, LookWaiting] = _NONE,
    *,
    since: bool = True,
) -> str:
    """Return the one sentence to show above a table of odds.

    Args:
        family: the family.
        belief: what is believed of it.
        causes: its causes, likeliest first.
        fits: whether some modelled cause explains the readings.
        named: whether the rules of presentation allow a part to be named.
        found: whether anything was found or measured yet.
        waiting: cause -> the cheap look it waits for.
        since: whether anything was tested or measured since the latest work.
    """
    if not fits and belief.healthy() >= SUSPECTED_FROM:
        return (
            f"After the work: {chance_words(belief.healthy())} that nothing is wrong any more by "
            "what was tested and said, but the model does not fit the readings from before and "
            "after together; measure the same points once more with the same gauge."
        )
    if not fits:
        return "None of the modelled causes fits the readings; check the readings first."
    if belief.healthy() >= SUSPECTED_FROM:
        text = f"After the work: {chance_words(belief.healthy())} that nothing is wrong any more."
        text += " Measure the same points again"
        if causes[0].probability < WORTH_NAMING:
            return f"{text}."
        left = f"{causes[0].name} ({chance_words(causes[0].probability)})"
        return f"{text}; most likely leftover: {left}."
    first, second = causes[0], causes[1] if len(causes) > 1 else None
    two, usual = belief.two_or_more(), family.second_cause
    if found and _is_other(first) and first.probability >= SUSPECTED_FROM:
        text = (
            "Not decided: what was found fits none of the named causes well; it is something else "
            f"({chance_words(first.probability)}), or one of the findings is wrong. Repeat the "
            "most telling one first."
        )
        others = [c for c in causes[1:3] if c.probability >= SUSPECTED_FROM]
        if others:
            said = " and ".join(f"{c.name} ({chance_words(c.probability)})" for c in others)
            text += f" Beside it: {said}."
        return text
    dear = next((c for c in causes[:2] if c.cause in waiting), None)
    enough = SUSPECTED_FROM if dear is first else DECIDED_FROM
    if named and dear is not None and dear.probability >= enough:
        return _look_first(dear, causes, waiting[dear.cause], two)
    if named and not since and first.probability >= DECIDED_FROM:
        text = f"Likely by what is left, not decided: {_with_doubt(first)}. {_MEASURE_AGAIN}"
    elif named and first.probability >= DECIDED_FROM:
        if two >= SUSPECTED_FROM and second is not None:
            return _and_another(first, second, two)
        text = f"The findings point to: {first.name} ({chance_words(first.probability)})."
        if not first.sure:
            text = f"Likely, not decided: {_with_doubt(first)}. {_next_look(belief, family, first)}"
    elif named and first.probability >= SUSPECTED_FROM:
        text = f"Suspected, not decided: {first.name} ({chance_words(first.probability)})."
    else:
        leading = [c for c in causes[:3] if c.probability >= 0.05] or list(causes[:2])
        names = [f"{c.name} ({chance_words(c.probability)})" for c in leading]
        between = ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else names[0]
        text = f"Not decided between {between}." if len(names) > 1 else f"Not decided: {between}."
    if found and two / max(1.0 - two, 1e-9) >= TWO_ALOUD * usual / (1.0 - usual):
        probably = two >= SUSPECTED_FROM
        text += f" {'Probably' if probably else 'Perhaps'} two causes at once ({chance_words(two)})"
        text += ": no single one explains everything" if probably else ""
        beside = second if first.probability >= SUSPECTED_FROM else None
        text += (
            f"; the other perhaps {beside.name} ({chance_words(beside.probability)})."
            if (beside is not None and beside.probability >= 0.05)
            else "."
        )
    if belief.better is not None:
        text += (
            f" Better but not gone: {chance_words(belief.one_cured())} that the work cured one "
            "cause and another is left."
        )
    if belief.unlisted() >= 0.2:
        text += f" The cause may not be on the list ({chance_words(belief.unlisted())})."
    return text


def _look_first(dear: CauseOdds, causes: Sequence[CauseOdds], look: LookWaiting, two: float) -> str:
    """Say that a dear part waits for a look at the cheap one that reads the same."""
    text = f"Not decided: {dear.name} ({chance_words(dear.probability)}) {look.words}"
    twin = next((c for c in causes if c.cause == look.twin), None)
    text += f" ({twin.name}: {chance_words(twin.probability)})." if twin is not None else "."
    others = [c for c in causes[:2] if c.cause not in {look.cause, look.twin}]
    if others and others[0].probability >= SUSPECTED_FROM:
        text += f" Beside it: {others[0].name} ({chance_words(others[0].probability)})."
    elif two >= SUSPECTED_FROM:
        text += f" Probably two causes at once ({chance_words(two)})."
    return text


def _is_other(cause: CauseOdds) -> bool:
    """Whether it is the pack's place for everything else."""
    return cause.cause.endswith("_other")


def _and_another(first: CauseOdds, second: CauseOdds, two: float) -> str:
    """Say what stands and that it is probably not all."""
    one = f"{first.name} ({chance_words(first.probability)})"
    other = f"{second.name} ({chance_words(second.probability)})"
    if first.sure and second.sure:
        return f"The findings point to two causes at once: {one} and {other}."
    if second.probability >= DECIDED_FROM:
        said = " and ".join(_with_doubt(c) for c in (first, second))
        return f"Likely two causes at once, not decided: {said}."
    verb = "the findings point to" if first.sure else "the findings speak for"
    to = "to" if first.sure else "for"
    return (
        f"Not decided: {verb} {one}, and probably {to} a second cause beside it (two "
        f"at once: {chance_words(two)}); the second perhaps {other}. Dealing with the first alone "
        "will probably not finish it."
    )


def _with_doubt(cause: CauseOdds) -> str:
    text = f"{cause.name} ({chance_words(cause.probability)}"
    if cause.sure or cause.low is None:
        return text + ")"
    return f"{text}, but {chance_words(cause.low)} if the judged tables are off by their doubt)"


def _next_look(belief: Belief, family: Family, cause: CauseOdds) -> str:
    """Say what would settle whether a likely cause is the one."""
    found = most_telling(belief, family, cause.cause)
    if found is None:
        return "No test of the list tells more; the repair, measured before and after, will."
    test, after = found
    settles = all(p <= 0.5 or p >= SETTLED_FROM for p in after)
    return f"{test.name} would {'settle it' if settles else 'tell most'}."
