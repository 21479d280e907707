"""What is said of the families that a driver's words may be about: a suggestion, never a fact."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence


@sentence("guesses.because", heard=["leaks down overnight", "air"])
def because(heard: Sequence[str]) -> str:
    """Say which words speak for a family."""
    return f"heard: {'; '.join(heard)}" if heard else "no word of its own, by what is usual"


@sentence("guesses.suggested", names=["Air supply", "Brakes"])
def suggested(names: Sequence[str]) -> str:
    """Say what the words may be about."""
    if not names:
        return (
            "The words fit no complaint that the packs know. Ask once more, or name your own "
            "suspects: the case goes on either way."
        )
    return f"It may be about: {'; or '.join(names)}. Say which; it may be several."


@sentence("guesses.named_why")
def named_why() -> str:
    """Say why the complaint was written down anew."""
    return "written down again with what it is about"
