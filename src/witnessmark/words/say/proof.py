"""What is said of the proof of a repair, and of what is still missing for it."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence


@sentence("proof.repeat_test", proof="sight hose clear at idle")
def repeat_test(proof: str) -> str:
    """Ask for the test that showed the fault, once more."""
    return f"the test that showed it, repeated ({proof})"


@sentence("proof.test_before")
def test_before() -> str:
    """Ask, before the work, for a test that can be repeated after it."""
    return "a test that shows the complaint, to be repeated afterwards"


@sentence("proof.customers_word")
def customers_word() -> str:
    """Ask for the customer's word."""
    return "the customer's word after a day or more"


@sentence("proof.no_family")
def no_family() -> str:
    """Say that the complaint names no family."""
    return "the complaint names no family: choose one, so that the proof is known"


@sentence("proof.no_work")
def no_work() -> str:
    """Say that nothing was done yet, as what is missing."""
    return "no work has been done yet"


@sentence("proof.before_the_work", words="boost at full load")
def before_the_work(words: str) -> str:
    """Ask for a reading before the work."""
    return f"before the work: {words}"


@sentence("proof.second_quantity", words=["return flow", "suction vacuum"])
def second_quantity(words: Sequence[str]) -> str:
    """Ask for another quantity that agrees."""
    return f"a second quantity: {' or '.join(words)}"


@sentence("proof.nothing_before", words="boost at full load")
def nothing_before(words: str) -> str:
    """Ask for a reading and say that there is nothing to compare it with."""
    return f"{words} (there is nothing from before the work to hold it against)"


@sentence("proof.two_instruments", one="dash", other="gauge 2", apart="12 psi", more=False)
def two_instruments(one: str, other: str, apart: str | None, more: bool) -> str:
    """Say that a pair was read on two instruments, and what is known of them."""
    if apart is None:
        return (
            f"Read on {one} before and on {other} after, and the two were not compared: no proof."
        )
    how = "more" if more else "less"
    return (
        f"At the same moment {one} read {apart} {how} than {other}: "
        "the reading before was false, so this is no proof."
    )


@sentence("proof.same_instrument", words="oil pressure at idle", one="dash", other="gauge 2")
def same_instrument(words: str, one: str, other: str) -> str:
    """Ask for a reading that can be held against the one before the work."""
    return f"{words}, on {one} as before, or {one} and {other} read side by side"


@sentence("proof.false_before", words="oil pressure at idle", one="dash", other="gauge 2")
def false_before(words: str, one: str, other: str) -> str:
    """Say that the reading before the work was false, beside what is asked."""
    return f"{words} (before the work {one} read false, as {other} beside it shows)"


@sentence("proof.held_before")
def held_before() -> str:
    """Say that what was read after the work read the same before it."""
    return "what was read holds, but held before the work too: read what showed the complaint"


@sentence("proof.still_suspected", part="Transfer pump", sure="suspected")
def still_suspected(part: str, sure: str) -> str:
    """Say that the readings after the work leave a part in question."""
    return f"the readings leave this part in question ({sure}): {part}"


@sentence("proof.holds_but", why="the readings leave this part in question (suspected): pump")
def holds_but(why: str) -> str:
    """Say that the points measured hold, and what is against calling it proven."""
    return f"The points measured hold, but not proven: {why}."


@sentence("proof.nothing_done")
def nothing_done() -> str:
    """Say that nothing can be proven before any work."""
    return "Nothing has been done yet, so nothing can be proven."


@sentence("proof.not_proven")
def not_proven() -> str:
    """Say that something speaks against the cure."""
    return "Not proven: a measurement or the customer's word after the work speaks against it."


@sentence("proof.not_enough", missing="fuel pressure at 1,800 rpm")
def not_enough(missing: str) -> str:
    """Say what is still missing for the proof."""
    return f"Repaired, not measured yet. To prove it: {missing}."


@sentence("proof.proven", missing=["the customer's word after a day or more"])
def proven(missing: Sequence[str]) -> str:
    """Say that the cure is proven, and what was not done."""
    rest = f" Not done: {'; '.join(missing)}." if missing else ""
    return f"Proven by measurement after the work.{rest}"
