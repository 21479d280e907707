"""What the next step decides, in words: the captions of its picture and the picture as text."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.plain import ended
from witnessmark.words.strength import capital, how_sure

_VALVE = "Relief valve leaks at its seat"


def _ends(low: float, high: float) -> str:
    a, b = f"{low:.0f}", f"{high:.0f}"
    return a if a == b else f"{a} to {b}"


def _money(low: float, high: float) -> str:
    a, b = f"${low:,.0f}", f"${high:,.0f}"
    return a if a == b else f"{a} to {b}"


def _low(words: str) -> str:
    return words[:1].lower() + words[1:]


@sentence("decision.range", minutes=(30.0, 60.0), usd=(10.0, 180.0))
def range_words(minutes: tuple[float, float], usd: tuple[float, float]) -> str:
    """Say what a step takes by itself, as a range of time and of parts."""
    return f"{_ends(*minutes)} min, {_money(*usd)}"


@sentence("decision.think", cause=_VALVE, probability=0.7)
def think(cause: str, probability: float) -> str:
    """Say in a few words what a result would make us think, and how sure."""
    if not cause:
        return "Nothing on the list"
    return f"{capital(how_sure(probability))}: {cause}"


@sentence("decision.put_right", takes="30 to 60 min, $10 to $180")
def put_right(takes: str) -> str:
    """Say that the repair of what was thought comes then."""
    return f"put it right: {takes}"


@sentence("decision.check", name="Vacuum gauge at the pump inlet", takes="10 to 20 min, $0")
def check(name: str, takes: str) -> str:
    """Say which check comes then."""
    return f"{name}: {takes}"


@sentence("decision.prove")
def prove() -> str:
    """Say that the proof comes then."""
    return "measure the same points again: that is the proof"


@sentence("decision.stopped")
def stopped() -> str:
    """Say that a stop holds back what would come then."""
    return "its repair waits until the safety stop is lifted"


@sentence("decision.look_beyond")
def look_beyond() -> str:
    """Say that nothing listed comes then."""
    return "check the readings, then look beyond the list"


@sentence("decision.gone")
def gone() -> str:
    """Name the result of a repair that cured."""
    return "the complaint is gone"


@sentence("decision.not_gone")
def not_gone() -> str:
    """Name the result of a repair that did not cure."""
    return "it is still there"


@sentence("decision.likely", cause=_VALVE, takes="30 to 60 min, $10 to $180")
def likely(cause: str, takes: str) -> str:
    """Say what the likely repair takes by itself."""
    return f"{cause}: {takes}"


@sentence(
    "decision.told",
    step="Clear hose at the pump inlet",
    branches=[("bubbles", "Likely: air in the suction side", "put it right: 20 min, $10")],
)
def told(step: str, branches: Sequence[tuple[str, str, str]]) -> str:
    """Say the whole picture as sentences, for who cannot see it."""
    each = [
        f"If {_low(seen)}: {f'{_low(thought)}; then ' if thought else ''}{then}."
        for seen, thought, then in branches
    ]
    return " ".join([ended(step), *each])


@sentence("decision.heading")
def heading() -> str:
    """Head the picture."""
    return "What it decides"
