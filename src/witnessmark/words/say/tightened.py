"""What is said of a tightening: what the target comes to, and what is missing to tell."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import listed


@sentence(
    "torque.share", low="74", high="104", thread="5/8-18", grade="8", k_low="0.12", k_high="0.17"
)  # fmt: skip
def share(low: str, high: str, thread: str, grade: str, k_low: str, k_high: str) -> str:
    """Say which share of the proof load a target comes to, over K."""
    return (
        f"{low} to {high} % of the proof load of {thread} grade {grade}, "
        f"for K from {k_high} down to {k_low}."
    )


@sentence("torque.low_k")
def low_k() -> str:
    """Say that the proof load is passed at low K only."""
    return "Above proof at low K: the page's own lubricant and no other."


@sentence("torque.too_high")
def too_high() -> str:
    """Say that a target is above the proof load whatever the friction."""
    return "Unusual, check the page: above the proof load at any K of the range."


@sentence("torque.too_high_any_grade")
def too_high_any_grade() -> str:
    """Say that a target is above the proof load of the strongest grade in the tables."""
    return "Unusual, check the page: above the proof load of the strongest grade at this size."


@sentence("torque.too_low")
def too_low() -> str:
    """Say that a target holds next to nothing."""
    return "Unusual, check the page: hardly any load for this size and grade."


@sentence("torque.cannot_tell", missing=["size and thread", "grade"])
def cannot_tell(missing: list[str]) -> str:
    """Ask for what the check needs."""
    return f"Not checked: type the {listed(missing)}."


@sentence("torque.not_a_torque", words="27")
def not_a_torque(words: str) -> str:
    """Say that a target has no unit."""
    return (
        f"\u201c{words}\u201d cannot be read as a torque: write it as on the page, with its unit "
        "and without a comma for thousands."
    )


@sentence("torque.set_to", setting="170.0 lbf·ft")
def set_to(setting: str) -> str:
    """Say what the wrench is set to with a crowfoot in line."""
    return f"Crowfoot in line: set the wrench to {setting}. At a right angle it changes nothing."


@sentence("torque.outside_wrench", setting="260.0 lbf·ft", span="30 to 250 lbf·ft")
def outside_wrench(setting: str, span: str) -> str:
    """Say that the wrench cannot do it."""
    return f"{setting} is outside the wrench's {span}: take another wrench."


@sentence("torque.low_in_wrench", setting="40.0 lbf·ft", span="30 to 250 lbf·ft")
def low_in_wrench(setting: str, span: str) -> str:
    """Say that a click wrench is inexact down there."""
    return (
        f"{setting} is in the lowest fifth of the wrench's {span}: a smaller wrench reads "
        "better (common practice, no source)."
    )


@sentence("torque.reading_off", reading="180 lbf·ft", percent="10")
def reading_off(reading: str, percent: str) -> str:
    """Say that what was read is not the target."""
    return f"Read {reading}: {percent} % off the target."


@sentence("torque.second")
def second() -> str:
    """Ask for the second person."""
    return "Second person has not looked yet."


@sentence("torque.how_checked")
def how_checked() -> str:
    """Say what the check is and is not."""
    return (
        "The check compares the target with size, grade and lubricant by T = K \u00b7 D \u00b7 F "
        "and the proof loads of SAE J429 and ISO 898-1. It says what is unusual; it proposes no "
        "figure. The page of the owner's own manual counts."
    )


@sentence("torque.practice")
def practice() -> str:
    """Say what is usual with torque wrenches."""
    return (
        "Fasteners that the maker wants renewed are not used again. Clean threads; the lubricant "
        "the manual names, no other. Wrench within 20 to 100 % of its range, calibrated within "
        "12 months (common practice, no source)."
    )


@sentence("torque.own_manual")
def own_manual() -> str:
    """Say where a target comes from."""
    return (
        "Every figure comes from the owner's own manual, with page and date. Blank stays blank: "
        "it is filled in at the truck, never guessed."
    )


@sentence("torque.counts_for_nothing", mark="not read from the manual")
def counts_for_nothing(mark: str) -> str:
    """Say what a target without a source is worth."""
    return f"A target marked \u201c{mark}\u201d counts for nothing until it has been looked up."


@sentence("torque.witness")
def witness() -> str:
    """Say how a tightened fastener is marked."""
    return (
        "Mark every tightened fastener across its seat and check the mark after 50 to 100 miles "
        "(common practice, no source)."
    )
