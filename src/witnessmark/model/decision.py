"""The decision that the next step makes: its results, and what each would lead to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["Branch", "Decision", "Onward"]

#: What a result leads to: a repair, another check, the proof, a stop that has to be lifted first,
#: or nothing that is known.
Onward = Literal["repair", "check", "proof", "stop", "open"]


@dataclass(frozen=True, slots=True)
class Branch:
    """One result of a step and what it would lead to.

    Attributes:
        result: result id.
        seen: what is seen then, in words.
        think: what it would make us think, a few words; empty where nothing is left.
        onward: kind of what comes then.
        then: what comes then, in words, with its range of time and money.
        step: id of what comes then; empty where nothing does.
    """

    result: str
    seen: str
    think: str
    onward: Onward
    then: str
    step: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """What the next step decides, computed once and read by every door.

    Attributes:
        step: step id.
        name: the step in words.
        costs: the step's own time and money, in words.
        branches: two to four results.
        likely: the likely repair in words, with its range; empty where none is likely.
        otherwise: the same "if that is not it"; shown on request.
        told: the whole picture as sentences, for who cannot see it.
    """

    step: str
    name: str
    costs: str
    branches: tuple[Branch, ...]
    likely: str = ""
    otherwise: str = ""
    told: str = ""
