"""How the trouble began, as evidence: suddenly, or slowly over weeks.

A seat is held open by a sliver, a spring breaks, a hose is changed: that begins within a day.
Gears wear and filters fill over weeks. A family's pack says how often each of its causes begins
suddenly, and by which two clues the driver tells of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from witnessmark.knowledge import Family
from witnessmark.knowledge.rules import Onset
from witnessmark.model.details.reading_details import SaidShort
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ClueData
from witnessmark.model.finding import Evidence, Finding, Support
from witnessmark.model.problem import Problem
from witnessmark.words.say import assumed

__all__ = ["mean_factor", "onset_factor", "onset_findings", "onset_of"]

_CODE, _METHOD = "onset", "onset/1"
#: Causes that the sentence names on either side, and the factor from which on they are worth it.
_NAMED, _WORTH = 3, 1.15


def onset_of(
    case: Case, onset: Onset | None
) -> tuple[bool | None, tuple[str, ...], tuple[Problem, ...]]:
    """Return (suddenly?, entries it rests on, problems) of a case; ``None``: not known.

    "Suddenly" true is sudden; "suddenly" false and "slowly" true are slow. "Slowly" false alone
    says nothing, nor does "maybe". What is written last of each counts.
    """
    if onset is None:
        return None, (), ()
    told: dict[str, tuple[str, bool | str]] = {}
    for entry, data in case.of(ClueData):
        if data.clue in {onset.sudden, onset.gradual}:
            told[data.clue] = (entry.id, data.seen)
    sudden, gradual = told.get(onset.sudden), told.get(onset.gradual)
    entries = tuple(t[0] for t in (sudden, gradual) if t is not None)
    if sudden is not None and gradual is not None and sudden[1] is gradual[1] is True:
        problem = Problem(
            ", ".join(entries),
            "It cannot have come on suddenly and slowly over weeks.",
            "Ask the driver once more and retract one of the two; how it began does not count now.",
        )
        return None, (), (problem,)
    if sudden is not None and sudden[1] is True:
        return True, (sudden[0],), ()
    if sudden is not None and sudden[1] is False:
        return False, entries, ()
    if gradual is not None and gradual[1] is True:
        return False, (gradual[0],), ()
    return None, (), ()


def onset_factor(onset: Onset, cause: str, suddenly: bool) -> float:
    """Return P(this onset | cause) over P(this onset whatever the cause)."""
    chance = onset.given.get(cause, onset.base)
    return chance / onset.base if suddenly else (1.0 - chance) / (1.0 - onset.base)


def mean_factor(
    onset: Onset | None, causes: Sequence[str], suddenly: bool | None, shares: Mapping[str, float]
) -> float:
    """Return the factor on the share of several causes taken together, weighed by their shares."""
    if onset is None or suddenly is None:
        return 1.0
    weight = np.array([max(shares.get(c, 1.0), 1e-9) for c in causes])
    each = np.array([onset_factor(onset, c, suddenly) for c in causes])
    return float(weight @ each / weight.sum())


def onset_findings(
    case: Case, families: Sequence[Family]
) -> tuple[tuple[Finding, ...], tuple[Problem, ...]]:
    """Return what the onset says of the causes of each family, and what is wrong with it."""
    found: list[Finding] = []
    problems: list[Problem] = []
    for family in families:
        suddenly, entries, unclear = onset_of(case, family.onset)
        problems += unclear
        if family.onset is not None and suddenly is not None:
            found.append(_finding(family, family.onset, suddenly, entries))
    return tuple(found), tuple(dict.fromkeys(problems))


def _finding(family: Family, onset: Onset, suddenly: bool, entries: tuple[str, ...]) -> Finding:
    factors = {c: onset_factor(onset, c, suddenly) for c in onset.given}
    return Finding(
        code=_CODE,
        sentence=assumed.came_on(suddenly, _sides(family, factors)),
        outcome="seen",
        method=_METHOD,
        evidence=Evidence(entries=entries),
        source=onset.source.words,
        support=(Support(family.id, {c: float(np.log(f)) for c, f in factors.items()}),),
        details=SaidShort(short=assumed.came_on_short(suddenly), assumptions=(onset.source.words,)),
    )


def _sides(family: Family, factors: Mapping[str, float]) -> str:
    """Name what it speaks for and against most."""

    def names(order: Sequence[str]) -> str:
        said = [part.name for c in order[:_NAMED] if (part := family.cause(c)) is not None]
        return ", ".join(said)

    order = sorted(factors, key=lambda c: -factors[c])
    more = names([c for c in order if factors[c] >= _WORTH])
    less = names([c for c in reversed(order) if factors[c] <= 1.0 / _WORTH])
    said = [f"{side} like {parts}" for side, parts in (("more", more), ("less", less)) if parts]
    return f": {'; '.join(said)}" if said else ""
