"""What is said of a safety stop."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import SUSPECTED, how_sure

_NEEDS = {
    "key on": "the key on", "cranking": "the engine turned", "running": "the engine running",
    "warm": "a warm engine", "load": "a load", "road": "the road", "battery off": "the battery off",
    "lifted": "a lifted truck", "open": "something opened",
}  # fmt: skip


@sentence("stop.danger", probability=0.2)
def danger(probability: float) -> str:
    """Say how likely what a stop guards against is; a small chance of it is not played down."""
    word = how_sure(probability)
    if probability < 0.10:
        return "It is not likely, but nobody should find out on the road."
    return f"It is {'suspected' if word == SUSPECTED else word} by what is known."


@sentence("stop.check_found")
def check_found() -> str:
    """Say that a check found what the stop is for."""
    return "A check has found what the stop is for."


@sentence("stop.seen")
def seen() -> str:
    """Say that what was seen is what the stop is for."""
    return "What was seen is what the stop is for."


@sentence("stop.forbids", needs=["running", "road"])
def forbids(needs: Sequence[str]) -> str:
    """Say what is not proposed while a stop stands."""
    return (
        f"While it stands nothing is proposed that needs {' or '.join(_NEEDS[n] for n in needs)}."
    )


@sentence("stop.manual_first")
def manual_first() -> str:
    """Say whose word goes before ours."""
    return "The maker's manual comes first."


@sentence("stop.may_start", until="the wheel is torqued again")
def may_start(until: str) -> str:
    """Say that the engine may run while the drive is still stopped."""
    return f"It may be started; do not drive it until {until or 'what lifts the drive is shown'}"
