"""What is said of a technician's own list: his suspects, and what he does not know yet."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence


@sentence("own_lists.title", called="Door will not close")
def title(called: str) -> str:
    """Name the pack of a list."""
    return f"The shop's own list: {called}"


@sentence("own_lists.source")
def source() -> str:
    """Say where the figures of a list come from."""
    return (
        "the technician's own list; weights in words made figures, a test finds what it shows 85 "
        "times in 100 (judgement). Where no time or price was given a wide range stands"
    )


@sentence("own_lists.safety")
def safety() -> str:
    """Say the caution of a complaint that no pack knows."""
    return (
        "No pack knows what can hurt here: wheels chocked, energy off or drained (pressure, "
        "springs, lifted weight, battery, hot parts) before hands go in; the maker's manual first"
    )


@sentence("own_lists.proof")
def proof() -> str:
    """Say what proves such a repair."""
    return "what showed the fault, done again the same way after the work"


@sentence("own_lists.scope")
def scope() -> str:
    """Say what a list does not cover."""
    return "Only the suspects that were named; no stop and no trap of a pack stands behind them."


@sentence("own_lists.zone")
def zone() -> str:
    """Name the only zone of a list."""
    return "As named in the bay"


@sentence("own_lists.damage")
def damage() -> str:
    """Say what a repair may damage."""
    return "not known"


@sentence("own_lists.instrument")
def instrument() -> str:
    """Say what a test of a list is made with."""
    return "as the technician does it"


@sentence("own_lists.shows", names=["striker out of line", "hinge worn"])
def shows(names: Sequence[str]) -> str:
    """Say what a test finds."""
    return f"it shows: {', or '.join(names)}"


@sentence("own_lists.look_at", name="striker out of line")
def look_at(name: str) -> str:
    """Name the look at a suspect that no test parts."""
    return f"Look, try or measure: {name}"


@sentence("own_lists.found_bad", name="striker out of line")
def found_bad(name: str) -> str:
    """Say what such a look finds."""
    return f"found: {name}"


@sentence("own_lists.waits", test="Close it on chalk")
def waits(test: str) -> str:
    """Say that a suspect waits for its test, after its name."""
    return f"is a suspect until it was tested: {test}"


@sentence("own_lists.test_first", test="Close it on chalk")
def test_first(test: str) -> str:
    """Say that a test comes before its repair."""
    return f"Test before anything is put right: {test}."
