"""What is said in the cab while a drive is recorded: to the passenger, who reads and speaks."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence

__all__ = [
    "all_driven",
    "bus_gone",
    "drive_next",
    "no_limit",
    "passenger",
    "rest_barred",
    "stop_now",
]


@sentence("driven.passenger")
def passenger() -> str:
    """Say for whom the page is made."""
    return (
        "For the passenger. The driver looks at the road and at the truck’s own gauges and lamps; "
        "nothing is read or tapped at the wheel. A red lamp of the truck comes before this page."
    )


@sentence(
    "driven.stop",
    say="Stop the engine and check the oil level before it runs again",
    name="Oil pressure",
    value="6 psi",
)
def stop_now(say: str, name: str, value: str) -> str:
    """Say that a value of now is past the limit of a safety stop, and what the stop orders."""
    return f"Pull over where it is safe, now. {name} {value}. {say}."


@sentence("driven.no_limit", names="oil pressure")
def no_limit(names: str) -> str:
    """Say for what no word comes from here."""
    return f"No stop limit is known at this speed for {names}: no warning comes from here for it."


@sentence("driven.next", what="1,400 to 1,600 rpm in a high gear, 10 s")
def drive_next(what: str) -> str:
    """Say what to drive next."""
    return f"Next: {what}"


@sentence("driven.all")
def all_driven() -> str:
    """Say that every point was driven."""
    return "Every point is driven"


@sentence("driven.rest_barred")
def rest_barred() -> str:
    """Say that what is left may not be driven while a safety stop stands."""
    return "Nothing more to drive: the rest waits until the safety stop is lifted"


@sentence("driven.bus_gone")
def bus_gone() -> str:
    """Say that the adapter or the bus went away."""
    return "The bus is gone; it goes on by itself when it is back"
