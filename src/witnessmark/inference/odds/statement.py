"""The one sentence above a table of odds: what the findings point to, and whether it is decided."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.look_first import LookWaiting
from witnessmark.inference.odds.why import most_telling
from witnessmark.knowledge import Family
from witnessmark.model.odds import DECIDED_FROM, CauseOdds
from witnessmark.words.say import odds as say
from witnessmark.words.strength import LIKELY, SUSPECTED, how_sure

__all__ = ["SUSPECTED_FROM", "WORTH_NAMING", "is_decided", "statement", "strength"]

#: From here on a cause is suspected aloud.
SUSPECTED_FROM = 0.50
#: A leftover below this is not named.
WORTH_NAMING = 0.01
#: Evidence for two causes is said aloud when their odds have grown by this factor (judgement).
TWO_ALOUD = 1.5
#: And never below this.
PERHAPS_TWO_FROM = 0.20
#: An open test settles a likely cause when it leaves it at this or above, or below one half.
SETTLED_FROM = 0.90
#: A cause is named alone from here on, and called likely from there on (words/strength.py).
NAMED_FROM, LIKELY_FROM = 0.30, 0.60
#: From here on it is said that perhaps nothing is wrong (judgement).
PERHAPS_NORMAL = 0.20
#: A second cause in that band is suspected, but not first.
SUSPECTED_TOO = "suspected"
#: Where no part may be named, each counts in words as no more than this: possible.
BEFORE_NAMES = 0.29
#: From here on "nothing is wrong" is said beside the causes, before any work (judgement).
SOUND_ALOUD = 0.10
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
    conflict: str = "",
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
        conflict: which readings contradict each other, in words.
    """
    if conflict:
        return say.conflict(conflict)
    if not fits:
        well = belief.healthy() >= SUSPECTED_FROM
        return say.nothing_wrong_unclear() if well else say.nothing_fits()
    leads = belief.healthy() > max(NAMED_FROM, causes[0].probability)
    if family.nothing_wrong and not belief.repaired and leads:
        return say.sound(belief.healthy(), SUSPECTED_FROM, family.nothing_wrong_settles)
    if belief.healthy() >= SUSPECTED_FROM:
        left = causes[0].name if causes[0].probability >= WORTH_NAMING else ""
        return say.within_normal(left) if _came_in_normal(belief) else say.nothing_wrong(left)
    first, second = causes[0], causes[1] if len(causes) > 1 else None
    if found and _is_other(first) and first.probability >= NAMED_FROM:
        others = [c.name for c in causes[1:3] if c.probability >= SUSPECTED_FROM]
        return " ".join([say.something_else(), *([say.beside(others)] if others else [])])
    two = belief.two_or_more()
    dear = next((c for c in causes[:2] if c.cause in waiting), None)
    enough = NAMED_FROM if dear is first else DECIDED_FROM
    if named and dear is not None and dear.probability >= enough:
        return _look_first(dear, causes, waiting[dear.cause], two)
    if named and since and first.probability >= DECIDED_FROM and two >= SUSPECTED_FROM and second:
        return _and_another(first, second)
    said = _leading(family, belief, causes, named=named, since=since)
    usual = family.second_cause
    grown = two / max(1.0 - two, 1e-9) >= TWO_ALOUD * usual / (1.0 - usual)
    if found and grown and two >= PERHAPS_TWO_FROM:
        beside = second if first.probability >= SUSPECTED_FROM else None
        other = beside.name if beside is not None and beside.probability >= 0.05 else ""
        said.append((say.likely_two if two >= SUSPECTED_FROM else say.perhaps_two)(other))
    if belief.better is not None:
        said.append(say.better_not_gone(how_sure(belief.one_cured())))
    if family.nothing_wrong and not belief.repaired and belief.healthy() >= SOUND_ALOUD:
        said.append(say.perhaps_sound(belief.healthy()))
    elif _came_in_normal(belief) and belief.healthy() >= PERHAPS_NORMAL:
        said.append(say.perhaps_normal())
    if belief.unlisted() >= 0.2:
        said.append(say.perhaps_unlisted())
    return " ".join(said)


def _leading(
    family: Family,
    belief: Belief,
    causes: Sequence[CauseOdds],
    *,
    named: bool,
    since: bool,
) -> list[str]:
    """Return what leads and how sure it is, with what would settle it."""
    first = causes[0]
    others = [c.name for c in causes[1:3] if c.probability >= 0.05] or [c.name for c in causes[1:2]]
    if not named or first.probability < NAMED_FROM:
        return [say.not_clear([first.name, *others])]
    if first.probability < LIKELY_FROM or (since and belief.two_or_more() >= SUSPECTED_FROM):
        return [say.suspected(first.name, others)]  # where two are likelier, none leads alone
    if not since and first.probability >= DECIDED_FROM:
        return [say.leads(LIKELY, first.name), say.nothing_since_work()]
    if first.sure:
        return [say.leads(first.strength, first.name)]
    return [say.leads(LIKELY, first.name), _next_look(belief, family, first)]


def strength(
    cause: CauseOdds, *, leads: bool, named: bool, since: bool, seen_bad: Collection[str]
) -> str:
    """Return how sure a cause is, in the words of the house.

    What the judged figures leave open, and what is left over after a work, is no more than
    likely; where no part may be named yet, none is more than possible.

    Args:
        cause: the cause.
        leads: whether it is the likeliest.
        named: whether the rules of presentation allow a part to be named.
        since: whether anything was tested or measured since the latest work.
        seen_bad: causes whose part a look has shown bad.
    """
    most = 1.0 if cause.sure and since else DECIDED_FROM
    chance = min(cause.probability, most if named else BEFORE_NAMES)
    found = cause.sure and since and named and cause.cause in seen_bad
    word = how_sure(chance, tested=since, found=found)
    return SUSPECTED_TOO if word == SUSPECTED and not leads else word


def _look_first(dear: CauseOdds, causes: Sequence[CauseOdds], look: LookWaiting, two: float) -> str:
    """Say that a dear part waits for a look at the cheap one that reads the same."""
    said = [say.waits_for_look(dear.name, look.words)]
    twin = next((c for c in causes if c.cause == look.twin), None)
    if twin is not None:
        said.append(say.likelier(twin.name, twin.probability >= dear.probability))
    others = [c for c in causes[:2] if c.cause not in {look.cause, look.twin}]
    beside = others[0].name if others and others[0].probability >= SUSPECTED_FROM else ""
    if two >= SUSPECTED_FROM:
        said.append(say.likely_two(beside))
    elif beside:
        said.append(say.beside([beside]))
    return " ".join(said)


def _came_in_normal(belief: Belief) -> bool:
    """Whether the complaint may have been within normal from the beginning."""
    return not belief.repaired and belief.model.family.within_normal > 0.0


def _is_other(cause: CauseOdds) -> bool:
    """Whether it is the pack's place for everything else."""
    return cause.cause.endswith("_other")


def _and_another(first: CauseOdds, second: CauseOdds) -> str:
    """Say what stands and that it is probably not all."""
    if second.probability >= DECIDED_FROM:
        weaker = min(first, second, key=lambda c: (c.sure, c.probability))
        return say.two_found(weaker.strength, first.name, second.name)
    return say.one_and_another(first.strength, first.name, second.name)


def _next_look(belief: Belief, family: Family, cause: CauseOdds) -> str:
    """Say what would settle whether a likely cause is the one."""
    found = most_telling(belief, family, cause.cause)
    if found is None:
        return say.repair_tells()
    test, after = found
    settles = all(p <= 0.5 or p >= SETTLED_FROM for p in after)
    return (say.decides if settles else say.tells_most)(test.name, test.minutes.typical)
