"""What is known: one row for every entered fact, with what it did or why it did nothing."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Known", "Moved"]


@dataclass(frozen=True, slots=True)
class Moved:
    """What a fact did to one cause.

    Attributes:
        cause: cause id.
        name: its name in words.
        effect: change of its log odds; above 0 speaks for it.
        words: the same in words; empty where it hardly does anything.
    """

    cause: str
    name: str
    effect: float
    words: str


@dataclass(frozen=True, slots=True)
class Known:
    """One live reading, clue, test result or trouble code.

    Attributes:
        entry: entry id.
        kind: reading, clue, test or code.
        what: what it says, in words.
        stage: number of work entries before it.
        verdict: of a reading that has a band: inside, outside or cannot tell; else empty.
        moved: the causes whose odds it changed by enough to be said, the most first.
        raised: orders of the stops it raised, also where they are lifted by now.
        lifted: orders of the stops that stand no longer because of it.
        findings: codes of the findings that rest on it.
        used: whether it did anything at all.
        sentence: what it did, or why it did nothing; never empty.
    """

    entry: str
    kind: str
    what: str
    stage: int
    verdict: str
    moved: tuple[Moved, ...]
    raised: tuple[str, ...]
    lifted: tuple[str, ...]
    findings: tuple[str, ...]
    used: bool
    sentence: str
