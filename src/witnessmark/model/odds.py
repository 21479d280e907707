"""Odds: what the findings make of the causes of one complaint family."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

#: A cause is called decided only when its probability stays at this or above with the doubt in
#: the judged figures counted against it.
DECIDED_FROM = 0.80


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one finding, clue or test did to one cause.

    Attributes:
        finding: finding code, ``clue:<id>``, ``test:<id>`` or ``work:<entry>``.
        effect: change of the cause's log odds when this piece alone is taken away.
        words: the same in words.
        entries: entry ids it rests on.
    """

    finding: str
    effect: float
    words: str = ""
    entries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CauseOdds:
    """One cause: its probability, why, and what looks the same.

    Attributes:
        cause: cause id of the pack.
        name: its name in words.
        probability: P(this cause is present).
        zone: the zone of the machine it belongs to.
        why: contributions, largest effect first.
        looks_like: cause ids that these findings cannot tell from it.
        would_change: readings that would move it most, in words.
        low: the probability if the judged figures behind it are off by their doubt, against it:
            one time in ten the true figures give less; ``None`` where nobody worked it out.
        high: and in its favour: one time in ten they give more.
        before: the probability with nothing but the complaint known; ``None`` where nobody worked
            it out.
        together: what the pieces of *why* say together beyond each alone. The log odds of
            *probability* are those of *before*, plus every effect of *why*, plus this.
        strength: how sure it is, in the words of ``words.strength``.
    """

    cause: str
    name: str
    probability: float
    zone: str = ""
    why: tuple[Contribution, ...] = ()
    looks_like: tuple[str, ...] = ()
    would_change: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    before: float | None = None
    together: float = 0.0
    strength: str = ""

    @property
    def sure(self) -> bool:
        """Whether it stands at ``DECIDED_FROM`` even with the doubt counted against it."""
        return (self.probability if self.low is None else self.low) >= DECIDED_FROM


@dataclass(frozen=True, slots=True)
class Odds:
    """The odds of one complaint family.

    Attributes:
        family: family id.
        complaint: entry id of the complaint, empty when the family is assessed alone.
        decided: true only when one cause stands at ``DECIDED_FROM`` or above, with the doubt in
            the judged figures counted against it, and the rules of presentation allow its name
            to be said.
        zones: (zone, probability that something in it is at fault), likeliest first.
        causes: likeliest first.
        two_causes: P(two or more listed causes are present).
        none_listed: P(none of the listed causes is present).
        nothing_wrong: the part of it where nothing is wrong: cured, or within normal as it came in;
            the rest is a fault that is on no list.
        statement: the one sentence to show above the table.
        packs: pack name -> digest.
        effective_samples: where sampling was used, otherwise ``None``.
        assumptions: what the numbers rest on, in words.
        fits: ``False`` when no modelled cause explains the readings.
        stage: number of work entries before the state it speaks of.
        traps: tempting wrong turns that threaten now, in words.
        scope: what the family covers and hardly covers, in words.
        nothing_wrong: P(nothing is wrong); above 0 after work, or once a model has measured.
    """

    family: str
    complaint: str
    decided: bool
    zones: tuple[tuple[str, float], ...]
    causes: tuple[CauseOdds, ...]
    two_causes: float
    none_listed: float
    statement: str = ""
    packs: Mapping[str, str] | None = None
    effective_samples: float | None = None
    assumptions: tuple[str, ...] = ()
    fits: bool = True
    stage: int = 0
    traps: tuple[str, ...] = ()
    scope: str = ""
    nothing_wrong: float = 0.0

    def probability(self, cause: str) -> float:
        """Return P(cause present); 0.0 for a cause that the family does not list."""
        return next((c.probability for c in self.causes if c.cause == cause), 0.0)
