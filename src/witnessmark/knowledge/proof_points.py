"""What must be measured again before a complaint counts as proven, family by family."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from witnessmark.model.finding import OperatingPoint

__all__ = ["ProofPlan", "ProofPoint", "Requirement"]


@dataclass(frozen=True, slots=True)
class ProofPoint:
    """A named place on the engine's map.

    Attributes:
        name: its name in the pack.
        words: in words.
        rpm: lowest and highest engine speed [r/min], ``None`` for any.
        load: 0.0 (no load), 1.0 (full load), ``None`` for any.
    """

    name: str
    words: str
    rpm: tuple[float, float] | None = None
    load: float | None = None

    def holds(self, point: OperatingPoint) -> bool:
        """Say whether an operating point belongs to this place.

        A load that was not written down counts as no load, never as a pull: common practice,
        no source.
        """
        if self.rpm is not None and not point.turns_within(self.rpm):
            return False
        if self.load is None:
            return True
        load = 0.0 if point.load is None else point.load
        return load >= 0.85 if self.load >= 1.0 else load <= 0.15


@dataclass(frozen=True, slots=True)
class Requirement:
    """One line of a proof plan; exactly one of quantity, test, finding and word is set.

    Attributes:
        words: what is asked, in words.
        quantity: name in the quantity table.
        point: where it is measured.
        better: which way is better where no band is known.
        test: test id; ``*`` for whichever test was positive before the work.
        finding: finding code that must be looked for and not seen.
        for_s: over at least so many seconds of recording [s].
        against: further finding codes that must not be seen.
        word: the customer's word.
        before: what must be there from before the work, so that it can be judged afterwards.
    """

    words: str
    quantity: str | None = None
    point: ProofPoint | None = None
    better: Literal["lower", "higher", ""] = ""
    test: str | None = None
    finding: str | None = None
    for_s: float = 0.0
    against: tuple[str, ...] = ()
    word: bool = False
    before: str = ""


@dataclass(frozen=True, slots=True)
class ProofPlan:
    """The proof plan of one family: all of *required*, one of *second*; *confirm* is named."""

    family: str
    required: tuple[Requirement, ...]
    second: tuple[Requirement, ...]
    confirm: tuple[Requirement, ...]
