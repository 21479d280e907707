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


_STANDS = {
    "no_crank": "It does not turn over",
    "no_start": "It turns over and does not start",
}


@sentence("stop.does_not_run", state="no_start")
def does_not_run(state: str) -> str:
    """Say that a truck does not run, so that nobody reads that it may be driven."""
    return f"{_STANDS[state]}: it is towed, or put right where it stands."


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


@sentence("stop.on_paper", said="Do not move it", until="both needles are over 100 psi")
def on_paper(said: str, until: str) -> str:
    """Say on a paper that a stop stands, and what lifts it."""
    return f"{said.rstrip('.')}." + (f" It stands until: {until.rstrip('.')}." if until else "")


@sentence(
    "stop.overridden",
    said="Do not move it",
    did="Road test",
    by="A. Foreman",
    on="2026-03-02",
    reason="towing is two days away",
)
def overridden(said: str, did: str, by: str, on: str, reason: str) -> str:
    """Say on every paper who did something against a stop, and why."""
    return (
        f"Against a stop, by {by} on {on}: {did}. The stop was: {said.rstrip('.')}. "
        f"The reason given: {reason.rstrip('.')}."
    )


@sentence("stop.overridden_lifts_nothing")
def overridden_lifts_nothing() -> str:
    """Say that doing something against a stop does not lift it."""
    return "That lifted nothing: only what the stop names does."


@sentence("stop.forbidden_now", said="Do not move it")
def forbidden_now(said: str) -> str:
    """Say beside a check that a standing stop forbids it."""
    return f"Not now, a stop forbids it: {said.rstrip('.')}."


@sentence("stop.only_by_name")
def only_by_name() -> str:
    """Head what a stop forbids in the list of other ways."""
    return "Forbidden by a stop: only by name and with a reason"


@sentence("stop.all_on_paper", stops=["Do not move it", "No flame near it"])
def all_on_paper(stops: Sequence[str]) -> str:
    """Head the stops of a paper."""
    return "One safety stop stands" if len(stops) == 1 else f"{len(stops)} safety stops stand"


@sentence("stop.not_worked_out")
def not_worked_out() -> str:
    """Say on a card that the stops are not known yet."""
    return "Whether a safety stop stands is still being worked out. Do not go by this page yet."
