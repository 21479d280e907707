"""What is said on the phone and at the roadside: park, tow, limp or drive, and why."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence

_WORD = {
    "park": "PARK: it stays where it stands",
    "tow": "TOW: it is not driven",
    "limp": "LIMP: slowly to the nearest bay",
    "drive": "DRIVE in",
    "ask": "NOT DECIDED: ask first",
}
_TELL = {
    "park": "Stop in a safe place, set it, triangles, stay clear. Do not move it to see.",
    "tow": "It may not drive. We send a tow or come out.",
    "limp": "Empty if you can, slowly, straight to the nearest bay, look every ten miles, stop at "
    "once if it gets worse. No long grades, not at night with dead lamps.",
    "drive": "You may drive in. Book it; if any red lamp comes, stop and call.",
    "ask": "Stay where you are until these are answered; what was not looked at frees no truck.",
}


@sentence("phone.word", drive="limp")
def word(drive: str) -> str:
    """Say what the driver may do."""
    return _WORD[drive]


@sentence("phone.tell", drive="park")
def tell(drive: str) -> str:
    """Say what the driver is told."""
    return _TELL[drive]


@sentence("phone.reason", ask="Does it stop as always?", answer="pedal long or weak",
          means="it may not stop")  # fmt: skip
def reason(ask: str, answer: str, means: str) -> str:
    """Say why: the question, its answer, and what that means."""
    return f"{ask} {answer[:1].upper()}{answer[1:]}{f': {means}' if means else ''}."


@sentence("phone.not_known")
def not_known() -> str:
    """Say that the driver does not know; it counts as the worst answer where the pack says so."""
    return "don't know, and that counts as the worst"


@sentence("phone.unknown")
def unknown() -> str:
    """Say that the driver does not know."""
    return "don't know"


@sentence("phone.unasked", asks=["What do both air needles read?"])
def unasked(asks: Sequence[str]) -> str:
    """Say which questions must come first."""
    return f"Not asked yet: {' '.join(asks)}"


@sentence("phone.later")
def later() -> str:
    """Head the orders for the way of a truck that may not move now."""
    return "Only once nothing above keeps it where it stands"


@sentence("phone.note", said=["Does it stop as always? As always."], drive="drive")
def note(said: Sequence[str], drive: str) -> str:
    """Write down what was said on the phone and what came of it."""
    return f"On the phone: {' '.join(said)} Told the driver: {_WORD[drive]}."


@sentence("phone.defer")
def defer() -> str:
    """Say what stands above the card."""
    return (
        "Words for the phone, judgement of the trade, no inspection. The driver decides on the "
        "spot, and the law (49 CFR 392.7, 396.7, 396.9) and the maker's manual come first."
    )
