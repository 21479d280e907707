"""What is said of a periodic inspection: readings against limits, what is open, the paper."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.numbers import chance_words

_STATES = {
    "not_looked": "not looked at: neither pass nor fail",
    "passes": "passes",
    "repaired": "repaired, looked at again, passes",
    "too_close": "too close to say",
    "fails": "fails",
    "worked": "repaired, not looked at again",
    "not_fitted": "not fitted",
    "not_required": "not asked of one built then",
}
_RULES = {
    "inspection": "the inspection's limit",
    "road": "the road rule's limit",
    "practice": "common measure, counted as a defect",
    "flag": "said only, fails nothing by itself",
}
_DRIVE = {
    "park": "It stays where it stands until this is repaired.",
    "tow": "It is not driven: it is repaired here or towed.",
    "limp": "To the nearest bay at most, and not out again before it is repaired.",
    "drive": "It may be driven to the repair.",
}
_SIDES = {"l": "left", "r": "right"}
_TYRES = {"o": "outer", "i": "inner"}


@sentence("inspection.state", state="not_looked")
def state(state: str) -> str:
    """Say in which state a point is."""
    return _STATES[state]


@sentence("inspection.drive", drive="tow")
def drive(drive: str) -> str:
    """Say what may be done with a vehicle whose point fails."""
    return _DRIVE[drive]


@sentence("inspection.place", where="a2lo")
def place(where: str) -> str:
    """Say which wheel or tyre a place is: ``a2lo`` is axle 2, left, outer."""
    if where[:1] == "a" and where[1:2].isdigit():
        digits = "".join(c for c in where[1:] if c.isdigit())
        rest = where[1 + len(digits) :]
        words = [f"axle {digits}", _SIDES.get(rest[:1], ""), _TYRES.get(rest[1:2], "")]
        return " ".join(w for w in words if w)
    return _SIDES.get(where, where)


@sentence("inspection.limit", kind="most", figure="2 in", rule="inspection")
def limit(kind: str, figure: str, rule: str) -> str:
    """Say a limit and whose it is."""
    way = {"most": "at most", "least": "at least", "above": "more than"}[kind]
    return f"{way} {figure}, {_RULES[rule]}"


@sentence("inspection.verdict", verdict="fails", value="2 1/4 in", figure="2 in", kind="most",
          chance=0.99)  # fmt: skip
def verdict(verdict: str, value: str, figure: str, kind: str, chance: float) -> str:
    """Say what a reading comes to against one limit."""
    over = "under" if kind == "least" else "over" if kind == "most" else "not over"
    if verdict == "fails":
        return f"fails: {value} is {over} {figure}"
    if verdict == "said":
        return f"{value} is {over} {figure}: said, fails nothing"
    if verdict == "too_close":
        return (
            f"too close to say: {value} against {figure}, chance that it is beyond it "
            f"{chance_words(chance)}"
        )
    return f"passes: {value} against {figure}"


@sentence("inspection.again", error="1/16 in", finer="depth gauge or caliper")
def again(error: str, finer: str) -> str:
    """Say what to do when the gauge cannot tell a reading from its limit."""
    if finer:
        return f"The instrument may be off by {error}. Read again with: {finer}."
    return (
        f"The instrument may be off by {error}, and none on the list is finer. Read again with one "
        "whose error you know and type it, or put the point right."
    )


@sentence("inspection.no_limit")
def no_limit() -> str:
    """Say that no limit fits what was given beside a reading."""
    return "No limit fits what was given beside it: it counts as not looked at."


@sentence("inspection.pass_without_work", point="Push-rod stroke of every chamber")
def pass_without_work(point: str) -> str:
    """Say that a pass after a fail counts only after work."""
    return (
        f"{point}: it failed and was then entered as passing with no work between. Write down the "
        "work, or take the failed entry back where it was a mistake."
    )


@sentence("inspection.say_built", point="Antilock and its lamp")
def say_built(point: str) -> str:
    """Say that the day of building decides whether a part must be there."""
    return f"{point}: whether it must be there hangs on the day of building; write that down first."


@sentence("inspection.must_be_there", point="Antilock and its lamp", built="2004-05-01")
def must_be_there(point: str, built: str) -> str:
    """Say that a part must be there."""
    return f"{point}: on one built {built} it must be there; missing is a defect."


@sentence("inspection.opened", point="Push-rod stroke", where="axle 2 left", found="2 1/4 in")
def opened(point: str, where: str, found: str) -> str:
    """Write the complaint that a failed point opens."""
    more = ", ".join(w for w in (where, found) if w)
    return f"Failed at the inspection: {point}" + (f" ({more})" if more else "")


@sentence("inspection.not_of_vehicle", point="kingpin", vehicle="tractor")
def not_of_vehicle(point: str, vehicle: str) -> str:
    """Say that a point is of another kind of vehicle."""
    return f"'{point}' is no point of the inspection of this {vehicle}."


@sentence("inspection.signed_off", point="Push-rod stroke of every chamber")
def signed_off(point: str) -> str:
    """Say why a complaint of the inspection is closed."""
    return f"Inspection: {point} looked at again after the repair, passes."


@sentence("inspection.defer")
def defer() -> str:
    """Say what stands beside every limit."""
    return (
        "The text of the law is the measure, not these words. Local rules may differ; the maker "
        "may ask more. A pass is true on the day it was given."
    )


@sentence("inspection.open_point", point="Push-rod stroke", state="fails")
def open_point(point: str, state: str) -> str:
    """Say that a point keeps the certificate back."""
    return f"{point}: {_STATES[state]}."


@sentence("inspection.do_point", state="fails")
def do_point(state: str) -> str:
    """Say what closes an open point."""
    return {
        "fails": "Repair it, write the work down, look at it again.",
        "worked": "Look at it again.",
        "too_close": "Read it again with a finer instrument, or put it right.",
        "not_looked": "Look at it. What was not looked at cannot be signed for.",
    }[state]


@sentence("inspection.not_looked_at", points=["Wipers", "Frame members"])
def not_looked_at(points: Sequence[str]) -> str:
    """Say in one line what was not looked at."""
    count = f"{len(points)} points" if len(points) > 1 else "1 point"
    return f"{count} not looked at, neither pass nor fail: {'; '.join(points)}."


@sentence("inspection.missing", what="The inspector's name")
def missing(what: str) -> str:
    """Say that something is missing in the head."""
    return f"{what} is missing."


@sentence("inspection.not_begun")
def not_begun() -> str:
    """Say that there is no inspection yet."""
    return "The inspection was not begun: nobody said which vehicle, and who inspects it."


@sentence("inspection.not_enough", words="a driver's licence with the air-brake endorsement",
          section="agency guidance on 49 CFR 396.25")  # fmt: skip
def not_enough(words: str, section: str) -> str:
    """Say that what was named does not make an inspector."""
    return f"Not enough by itself: {words} ({section})."


@sentence("inspection.stop_stands", name="A stroke over its limit", until="every chamber inside")
def stop_stands(name: str, until: str) -> str:
    """Say that a safety stop keeps the certificate back."""
    return f"A safety stop stands: {name}." + (f" It is lifted when {until}." if until else "")


@sentence("inspection.wrong_vehicle", told="trailer", inspected="tractor")
def wrong_vehicle(told: str, inspected: str) -> str:
    """Say that the head is of another kind of vehicle than the case."""
    return f"The case is of a {told}, the inspection of a {inspected}: each needs its own."


@sentence("inspection.unlike", signed="A. Other", head="B. Inspector")
def unlike(signed: str, head: str) -> str:
    """Say that another signed than the inspector."""
    return f"Signed by {signed}, inspected by {head}: the inspector signs."


@sentence("inspection.signs_himself", signed="B. Inspector", by="A. Other")
def signs_himself(signed: str, by: str) -> str:
    """Say that somebody who is signed in signs with another's name."""
    return f"{by} is signed in; {signed} signs himself."


@sentence("inspection.whole")
def whole() -> str:
    """Say that nothing keeps the certificate back."""
    return "Nothing is open: the inspector may sign."


@sentence("inspection.after", point="Lamps")
def after(point: str) -> str:
    """Say that a certificate does not stand any more."""
    return f"After it was signed: {point} failed or was worked on. It does not stand."


@sentence("inspection.record", keep="2028-02-01", due="2027-12-01", kept="49 CFR 396.21(b)",
          valid="49 CFR 396.17(c)")  # fmt: skip
def record(keep: str, due: str, kept: str, valid: str) -> str:
    """Say how long the report is kept, what is on the vehicle, and when the next one is due."""
    return (
        f"Next one before {due} ({valid}). The carrier keeps this report until {keep} ({kept}). "
        "A copy is on the vehicle, or a decal with the date, the name and address of who keeps the "
        "report, the vehicle's mark, and that it passed (49 CFR 396.17(c)(2))."
    )


@sentence("inspection.covered", late=["trailer 7"])
def covered(late: Sequence[str]) -> str:
    """Say whether every vehicle of a combination is covered."""
    if late:
        return f"Not covered: {', '.join(late)}. Each vehicle needs its own (49 CFR 396.17(a))."
    return "Every vehicle of the combination is covered (49 CFR 396.17(a))."


@sentence("inspection.certify")
def certify() -> str:
    """Say what the inspector signs."""
    return (
        "I looked at every point listed as passing. The report is accurate and complete and "
        "follows 49 CFR 396.21."
    )


@sentence("inspection.no_certificate")
def no_certificate() -> str:
    """Say above the paper that it is no certificate."""
    return "This is a list of what was found. It is no certificate: something is open."


@sentence("inspection.customer_open", count=2)
def customer_open(count: int) -> str:
    """Tell the customer that it did not pass."""
    if count == 1:
        return "Your vehicle did not pass yet. One point must be put right."
    return f"Your vehicle did not pass yet. {count} points must be put right."


@sentence("inspection.customer_not_looked", count=3)
def customer_not_looked(count: int) -> str:
    """Tell the customer that it is not finished."""
    points = "One point was" if count == 1 else f"{count} points were"
    return f"{points} not looked at yet. That is neither good nor bad."


@sentence("inspection.customer_passed", day="2026-12-01", due="2027-12-01")
def customer_passed(day: str, due: str) -> str:
    """Tell the customer that it passed."""
    return (
        f"Your vehicle passed its yearly inspection on {day}. That is true for that day. "
        f"The next one is due before {due}."
    )


@sentence("inspection.customer_waits")
def customer_waits() -> str:
    """Tell the customer that only the signature or a name is missing."""
    return "Every point that we had to look at passes. It is not signed yet."


@sentence("inspection.customer_keep")
def customer_keep() -> str:
    """Tell the customer what to do with the paper."""
    return "Keep a copy in the vehicle. The next officer may ask for it."


@sentence("inspection.customer_repaired", count=1)
def customer_repaired(count: int) -> str:
    """Tell the customer what was put right."""
    points = "One point was" if count == 1 else f"{count} points were"
    return f"{points} put right and looked at again."


@sentence("inspection.customer_law")
def customer_law() -> str:
    """Tell the customer what the paper rests on."""
    return "The law is 49 CFR 396.17. Local rules may differ. Ask us about every point."
