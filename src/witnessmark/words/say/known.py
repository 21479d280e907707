"""What is said of each entered fact: what it is, what it did, or why it did nothing."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import capital, listed

#: So many names in one row; further ones are counted.
_NAMES = 4
_SEEN = {"yes": "there", "no": "not there", "maybe": "doubtful"}
_VERDICTS = {
    "inside": "Inside the good range.",
    "outside": "Outside the good range.",
    "cannot tell": "Too close to the limit to call.",
}


@sentence("known.reading", quantity="crankcase gauge pressure", value="14 inH2O", at="2100 rpm")
def reading(quantity: str, value: str, at: str) -> str:
    """Say what was read."""
    return f"{capital(quantity)} {value}" + (f" at {at}" if at else "")


@sentence("known.clue", clue="the bell housing is wet", seen="yes", part="")
def clue(clue: str, seen: str, part: str) -> str:
    """Say what was looked at."""
    return f"{capital(clue)}{f' ({part})' if part else ''}: {_SEEN[seen]}"


@sentence("known.test", test="Clear hose on the suction side", result="bubbles")
def test(test: str, result: str) -> str:
    """Say which test was made, and its result."""
    return f"{capital(test)}: {result}"


@sentence("known.code", spn=94, fmi=18, active=True)
def code(spn: int, fmi: int, active: bool) -> str:
    """Say which trouble code was read."""
    return f"Trouble code SPN {spn} FMI {fmi}" + ("" if active else ", not active now")


@sentence("known.verdict", verdict="outside")
def verdict(verdict: str) -> str:
    """Say how a reading lies against its good range."""
    return _VERDICTS.get(verdict, "")


@sentence("known.moved", words="speaks for it", names=["Transfer pump worn"], others=2)
def moved(words: str, names: Sequence[str], others: int) -> str:
    """Say which causes a fact speaks for or against, and with how many other entries."""
    shown = list(names[:_NAMES])
    if len(names) > _NAMES:
        shown.append(f"{len(names) - _NAMES} more")
    said = f"{words.removesuffix(' it')}: {listed(shown)}."
    if others:
        entry = "one other entry" if others == 1 else f"{others} other entries"
        return f"Together with {entry} it {said}"
    return capital(said)


@sentence("known.hardly")
def hardly() -> str:
    """Say that a fact counts but moves little."""
    return "It counts, but hardly moves how sure we are of any cause."


@sentence("known.raised", order="Do not run the engine on this oil", stands=True)
def raised(order: str, stands: bool) -> str:
    """Say which stop a fact raised."""
    lead = "It raised the stop" if stands else "It raised a stop that is lifted by now"
    return f"{lead}: {order.rstrip('.')}."


@sentence("known.lifted", order="Do not run the engine on this oil")
def lifted(order: str) -> str:
    """Say which stop a fact lifted."""
    return f"It helped to lift the stop: {order.rstrip('.')}."


@sentence("known.used_in", findings=["Suction side restricted by the readings"])
def used_in(findings: Sequence[str]) -> str:
    """Say which findings rest on a fact."""
    said = [text.rstrip(".") for text in findings[:2]]
    more = f"; and {len(findings) - 2} more" if len(findings) > 2 else ""
    return f"Used in: {'; '.join(said)}{more}."


@sentence("known.no_range")
def no_range() -> str:
    """Say that no good range is known for a quantity."""
    return "No good range is known for it, so it is not judged."


@sentence("known.no_range_here")
def no_range_here() -> str:
    """Say that a good range is known, but not where this was read."""
    return "No good range is known for it at this speed and load, so it is not judged."


@sentence("known.no_speed")
def no_speed() -> str:
    """Say that a reading without its speed is not judged."""
    return "No speed was written down with it, and no good range is known without one."


@sentence("known.no_load", outside=True)
def no_load(*, outside: bool) -> str:
    """Say that a reading without its load is not judged, and how it would lie without any."""
    side = "outside" if outside else "inside"
    return (
        "Its load was not written down, so it is not judged. "
        f"Without load it would be {side} the good range."
    )


@sentence("known.parts_nothing")
def parts_nothing() -> str:
    """Say that a judged reading tells no cause from another."""
    return "By itself it tells no cause here from another."


@sentence("known.unknown", what="test")
def unknown(what: str) -> str:
    """Say that nobody knows what was entered."""
    return f"No such {what} is known, so it does nothing."


@sentence("known.other_complaint", families=["engine oil leak"])
def other_complaint(families: Sequence[str]) -> str:
    """Say which complaint a fact belongs to that the case does not have."""
    return (
        f"It says nothing of the complaints of this case; it belongs to: {listed(list(families))}."
    )


@sentence("known.no_stop", order="Stop the engine")
def no_stop(order: str) -> str:
    """Say that a clue that is not so leaves a stop down."""
    return f"It is not so, and no stop stands for it: {order.rstrip('.')}."


@sentence("known.says_nothing")
def says_nothing() -> str:
    """Say that a fact bears on none of the complaints."""
    return "It says nothing of the complaints of this case."


@sentence("known.no_pointer")
def no_pointer() -> str:
    """Say that a trouble code points to nothing on the list."""
    return "It points to no cause on the list. The maker's manual says what it means."


@sentence("known.no_complaint")
def no_complaint() -> str:
    """Say that there are no odds that could move."""
    return "No complaint says yet what it is about, so there is nothing it could speak for."


@sentence("known.said_again", test=True)
def said_again(test: bool) -> str:
    """Say that a later word on the same thing counts."""
    which = "A later result of the same test" if test else "A later word on the same thing"
    return f"{which} counts in its place."


@sentence("known.no_answer")
def no_answer() -> str:
    """Say that a test without an answer changes nothing."""
    return "It gave no answer, so it changes nothing. Make it again if it can be made."


@sentence("known.no_part")
def no_part() -> str:
    """Say that a clue of one part names none."""
    return "It speaks of one part and names none, so it does nothing. Say which part."


@sentence("known.overlapped")
def overlapped() -> str:
    """Say that a test or a finding that sees the same thing counts in its place."""
    return "Something that sees the same thing better counts in its place."


@sentence("known.nothing_alone")
def nothing_alone() -> str:
    """Say that a fact changes nothing beside what else is known."""
    return "Beside what else is known it changes nothing."


@sentence("known.further", count=7)
def further(count: int) -> str:
    """Say how many further entries did something, where the list is cut short."""
    entry = "entry" if count == 1 else "entries"
    return f"{count} further {entry} did something, too; the case's page lists them."
