"""Candidate measurements: readings a physical model proposes, priced like tests.

The fuel supply (and any other physical model) knows which reading would separate the causes it
can still not tell apart. It hands each such reading over as a :class:`Candidate` whose possible
readings are cut into a few outcomes, each with its likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.step import Forecast, Spread

__all__ = ["Candidate", "CandidateOutcome"]


@dataclass(frozen=True, slots=True)
class CandidateOutcome:
    """One range a reading may fall into.

    Attributes:
        result: short id, such as ``below_70`` or ``strong``.
        words: the same in words, such as ``below 58 psi``.
        likelihood: natural log of P(reading in this range | who is at fault), given everything
            that has been read so far. For each set of groups the probabilities of all outcomes
            of one candidate add up to one; a common factor per set does not matter, for the
            planner scales each set to one.
    """

    result: str
    words: str
    likelihood: Support | JointSupport


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading that could be taken next.

    Attributes:
        id: measurement id, such as ``return_flow_two_speeds``.
        family: family id it serves.
        name: in words.
        minutes: hands-on time.
        usd: materials.
        outcomes: what could be read; two or more.
        access: 1 (hood up) to 5 (engine or transmission out).
        needs: conditions: warm, road, load, second person.
        cautions: what can hurt the person or the truck.
        must_renew: seals that go with it.
        forecast: what is expected to be read.
        invasive: it opens something that has to be measured again afterwards.
        sets_up: name of the hook-up it shares with others (one gauge, one road test); the
            set-up is paid once.
        covers: tests of the pack that this reading takes the place of; they are not listed
            beside it.
        why: one sentence of the physical model on what it would separate; may be empty.
    """

    id: str
    family: str
    name: str
    minutes: Spread
    usd: Spread
    outcomes: tuple[CandidateOutcome, ...]
    access: int = 1
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    must_renew: tuple[str, ...] = ()
    forecast: tuple[Forecast, ...] = ()
    invasive: bool = False
    sets_up: str = ""
    covers: tuple[str, ...] = ()
    why: str = ""
