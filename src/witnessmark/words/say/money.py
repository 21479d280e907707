"""What is said of a step when the owner's time and money change it."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import listed

_AWAY = {"today": "some hours away", "day": "a day away", "week": "a week away"}


@sentence("step.part_away", where="week")
def part_away(where: str) -> str:
    """Say how far away the part of a repair is."""
    return f"Its part is {_AWAY.get(where, where)}; the wait is counted."


@sentence("step.beyond_limit", usd=1500.0)
def beyond_limit(usd: float) -> str:
    """Say that a step goes beyond what may be spent without asking."""
    return (
        f"It goes beyond the {usd:,.0f} USD that may be spent without asking: ask the customer "
        "first."
    )


@sentence("step.downtime", usd=120.0)
def downtime(usd: float) -> str:
    """Say that the hours count that the truck stands."""
    return f"Counted too: {usd:,.0f} USD for every hour the truck stands."


@sentence("step.refused", names=["Transfer pump worn"])
def refused(names: Sequence[str]) -> str:
    """Say what is left out because the customer refused it."""
    return f"Refused by the customer and left out here: {listed(list(names))}."
