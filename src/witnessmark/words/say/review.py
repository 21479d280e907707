"""What is said of a change that proven cases propose to a pack."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence
from witnessmark.words.numbers import chance_about, chance_words

__all__ = ["accepted", "for_the_money", "head", "minutes", "nothing", "rests_on", "share"]


@sentence("review.nothing")
def nothing() -> str:
    """Say that the counts propose nothing."""
    return "Nothing is proposed: what the packs say lies inside the band of what was proven."


@sentence("review.head", which="family:shares", rests="on 42 own cases")
def head(which: str, rests: str) -> str:
    """Name one proposal."""
    return f"{which}: {rests}"


@sentence("review.rests_on", own=42.0, unit="case", shops=300, weight=60.0)
def rests_on(own: float, unit: str, shops: int, weight: float) -> str:
    """Say what stands behind a proposal."""
    told = [f"{own:.0f} own {unit}{'' if round(own) == 1 else 's'}"] if own >= 0.5 else []
    if shops:
        told.append(f"{shops:,} shops together, weighed as {weight:.0f}")
    return f"rests on {' and '.join(told)}" if told else "rests on faded cases"


@sentence("review.share", of="cause", before=0.1, after=0.3, low=0.2, high=0.4)
def share(of: str, before: float, after: float, low: float | None, high: float | None) -> str:
    """Say one share or probability before and after."""
    return f"{of}: now {chance_words(before)}; after {chance_about(after, low, high)}"


@sentence("review.minutes", of="typical", before=60.0, after=85.0)
def minutes(of: str, before: float, after: float) -> str:
    """Say one time before and after."""
    return f"{of}: now {before:.0f} min; after {after:.0f} min"


@sentence("review.for_the_money", place=1, test="test", before=4, usd=18.0)
def for_the_money(place: int, test: str, before: int, usd: float) -> str:
    """Say where a test stands by what it parts for its price."""
    was = f"place {before} by the packs" if before else "below the first five by the packs"
    return f"{place}. {test}, about {usd:.0f} USD ({was})"


@sentence("review.accepted", which="family:shares", file="packs/learnt-family.toml")
def accepted(which: str, file: str) -> str:
    """Say that a proposal was written."""
    return f"Accepted: {which}. It stands in {file}."
