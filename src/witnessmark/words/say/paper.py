"""What is said on the customer's paper of causes, steps and what is left."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import capital, listed


@sentence("paper.before_work", cause="Relief valve leaks at its seat", word="likely")
def before_work(cause: str, word: str) -> str:
    """Say how sure a cause was before its work."""
    return f"{cause}: {word} before the work."


@sentence("paper.also_thought_of", causes=["Transfer pump worn"])
def also_thought_of(causes: Sequence[str]) -> str:
    """Say what else came into question then."""
    return f"Also thought of: {listed(list(causes))}."


@sentence("paper.for_it")
def for_it() -> str:
    """Head the list of what spoke for a cause."""
    return "What spoke for it:"


@sentence("paper.found_in_work", cause="Coolant low from a leak at the cap")
def found_in_work(cause: str) -> str:
    """Say what was put right though nothing had been weighed for it."""
    return f"Put right: {cause}."


@sentence("paper.cause_lay_there", parts=["Relief valve leaks at its seat"])
def cause_lay_there(parts: Sequence[str]) -> str:
    """Say that the cause is proven."""
    text = (
        "The measurements below are where they should be now, so the cause lay there. "
        f"Put right: {listed(list(parts))}."
    )
    return f"{text} Each of the repairs may have had its share." if len(parts) > 1 else text


@sentence("paper.with_the_others")
def with_the_others() -> str:
    """Say that another complaint's work cured this one too."""
    return (
        "It went away with the work on the other complaints of this case. "
        "Nothing was renewed for it alone."
    )


@sentence("paper.not_shown_yet")
def not_shown_yet() -> str:
    """Say that a cure is not shown."""
    return "Whether that was the cause is not shown yet."


@sentence("paper.next_step", step="Return flow at idle", minutes=25.0, parts="$0")
def next_step(step: str, minutes: float, parts: str) -> str:
    """Say what would settle it, and what that takes."""
    return (
        f"Next, if you want it settled: {step}. "
        f"That takes about {minutes:.0f} minutes and {parts} in parts."
    )


@sentence("paper.not_run", what="The vibration", reason="no speed was recorded")
def not_run(what: str, reason: str) -> str:
    """Say what was not run, and why."""
    return f"Not run: {what.rstrip('.')}." + (f" {capital(reason.rstrip('.'))}." if reason else "")


@sentence("paper.appendix")
def appendix() -> str:
    """Head the appendix."""
    return "Appendix: the numbers behind this report"


@sentence("paper.for_the_shop", words="hot coolant; rotating fan")
def for_the_shop(words: str) -> str:
    """Say what can hurt whoever works on it."""
    return f"For whoever works on it: {words}"


@sentence("paper.codes_read")
def codes_read() -> str:
    """Head the list of trouble codes."""
    return "Trouble codes as they were read; a code points, it proves nothing:"


@sentence(
    "paper.declined", what="Front seal", by="R. Example", day="2026-03-02",
    words="Risk explained: it may have to be done later.", risk="soon",
)  # fmt: skip
def declined(what: str, by: str, day: str, words: str, risk: str) -> str:
    """Say what was declined, by whom, and what that means."""
    named = f" {what}." if what else ""
    means = f" If left undone: {risk}." if risk else " The risk was not written down."
    quoted = f" {words}" if words else ""
    return f"Declined by {by} ({day}):{named}{quoted}{'' if words and not risk else means}"


@sentence("paper.quoted_not_done", what="new hose")
def quoted_not_done(what: str) -> str:
    """Name a line that was offered and not done."""
    return f"Quoted, not done: {what}"


@sentence("paper.quoted_not_known", what="new hose")
def quoted_not_known(what: str) -> str:
    """Name a line of which nothing says whether it was done."""
    return f"Quoted; whether it was done is not written down: {what}"


@sentence("paper.still_open", words="drips", why="No step is left.")
def still_open(words: str, why: str) -> str:
    """Say which complaint is open, in the customer's words."""
    return f"Still open: \u201c{words}\u201d {why}"


@sentence("paper.nothing_left")
def nothing_left() -> str:
    """Say that nothing is known to be left; only where every line is done or declined."""
    return "Nothing that was proposed, quoted or needed is known to be left undone."


@sentence("paper.weighed_before", number=1, causes="Transfer pump worn (unlikely)")
def weighed_before(number: int, causes: str) -> str:
    """Name every cause that was weighed before a work, and how sure it was then."""
    return f"Weighed before work {number}: {causes}."


@sentence("paper.other_instrument", quantity="Fuel gallery pressure", before="G1", after="G2")
def other_instrument(quantity: str, before: str, after: str) -> str:
    """Say that before and after were read on different instruments."""
    return (
        f"{quantity} was read with {before} before and with {after} after the work: the two "
        "instruments may differ by more than the change."
    )


@sentence("paper.other_recordings")
def other_recordings() -> str:
    """Head what recordings show that no complaint asked for."""
    return "What the recordings show besides"
