"""What is said of a trailer or a dolly that is a vehicle of its own."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("trailers.not_of_it", family="Charging", vehicle="trailer")
def not_of_it(family: str, vehicle: str) -> str:
    """Say that a complaint is none of this kind of vehicle."""
    return f"'{family}' is a complaint of a truck; this case is of a {vehicle}."


@sentence("trailers.open_apart")
def open_apart() -> str:
    """Say what to do then."""
    return "Open it on the tractor, as a case of its own, or name what fits this vehicle."


@sentence("trailers.tractor")
def tractor() -> str:
    """Say that a step takes a tractor."""
    return "tractor coupled"
