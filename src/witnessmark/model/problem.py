"""A fault in the user's material: where, what, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.errors import WitnessmarkError


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault found in a file, line, entry or reading. Collected; the good rest goes on.

    Attributes:
        where: file and line, entry id, channel or field.
        what: one plain sentence.
        do: what to do about it.
    """

    where: str
    what: str
    do: str = ""

    @classmethod
    def of(cls, error: WitnessmarkError, *, where: str = "") -> Problem:
        """Turn a refusal into a problem record, at *where* unless the refusal names a place."""
        return cls(where=error.where or where, what=error.what, do=error.do)
