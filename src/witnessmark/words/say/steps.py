"""What is said of a next step: its name, why it comes, what its results would mean."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import capital, listed

_PUMP, _VALVE = "Transfer pump worn", "Relief valve leaks at its seat"


@sentence("step.parts", one=_VALVE, other=_PUMP)
def parts(one: str, other: str) -> str:
    """Say which two faults a check parts."""
    return f"It parts {one} from {other}."


@sentence("step.bears_out", cause=_VALVE)
def bears_out(cause: str) -> str:
    """Say which suspicion a check bears out, or does not."""
    return f"It tells whether it is {cause}."


@sentence("step.nothing_fits")
def nothing_fits() -> str:
    """Say why another reading comes before any repair."""
    return "Nothing on the list fits well, so another reading comes first."


@sentence("step.think", outcome="no bubbles", cause=_VALVE)
def think(outcome: str, cause: str) -> str:
    """Say what a result of a check would make us think."""
    return f"{capital(outcome)}: think {cause or 'of what is not on the list'}."


@sentence("step.result", result="positive")
def result_words(result: str) -> str:
    """Say a result that the pack gives no words of its own."""
    said = {"positive": "yes, bad", "negative": "no, good", "maybe": "not clear"}
    return said.get(result) or result.replace("_", " ")


@sentence("step.tells", bits=0.6)
def tells(bits: float) -> str:
    """Say how much a reading is expected to tell: from the halvings of the doubt (judgement)."""
    if bits >= 0.5:
        return "It tells a lot."
    return "It tells something." if bits >= 0.05 else "It tells nothing new here."


@sentence("step.tells_if_wrong")
def tells_if_wrong() -> str:
    """Say that a reading tells whether there is any fault."""
    return "It tells whether anything is wrong here at all."


@sentence("step.tells_apart", one="worn pump", other="leaking relief valve")
def tells_apart(one: str, other: str) -> str:
    """Say which two groups of faults a reading tells apart."""
    return f"It tells {one} from {other}."


@sentence("step.repair_stands", word="likely", cause=_VALVE)
def repair_stands(word: str, cause: str) -> str:
    """Say how sure the cause of a repair is; what it takes stands beside it as a range."""
    return f"{capital(word)}: {cause}. Measure again after it."


@sentence("step.repair_fails", cause=_PUMP)
def repair_fails(cause: str) -> str:
    """Say what to think where a repair does not cure."""
    return f"If that is not it: think {cause or 'of what is not on the list'}."


@sentence("step.repair_doubted")
def repair_doubted() -> str:
    """Say what to think where a repair does not cure and nothing else is likelier."""
    return "If that does not cure it: look at this work again before another part."


@sentence("step.repair_figures", told="time from 6 jobs of this shop")
def repair_figures(told: str) -> str:
    """Say where the figures of a repair come from."""
    return f"Its figures: {told}."


@sentence("step.while_in_there", group="valve cover off", name="Valve seal", saves=120.0)
def while_in_there(group: str, name: str, saves: float) -> str:
    """Say what else is done while something is open."""
    return (
        f"While you are in there ({group}) do {name.lower()} too: "
        f"that saves about {saves:,.0f} USD."
    )


@sentence("step.serves", families=["hard start"])
def serves(families: Sequence[str]) -> str:
    """Say which other complaints a repair serves."""
    return f"It serves {listed(list(families))} as well."


@sentence("step.read_again", name="Look into the sight glass")
def read_again(name: str) -> str:
    """Name a test that is made once more by somebody else before a dear part rests on it."""
    return f"Once more, by another person or with another instrument: {name}"


@sentence("step.unmeasured", work="e8")
def unmeasured(work: str) -> str:
    """Say why the same points are measured after a work."""
    return (
        f"Nothing was measured since the work ({work}). One change at a time, then measure: "
        "only that shows whether it cured anything."
    )


@sentence("step.unread")
def unread() -> str:
    """Say why the same points are read again although something else was looked at since."""
    return (
        "The points that were bad before the work were not read again since. Read them again or "
        "ask whether it is gone: until then no further part is renewed."
    )


@sentence("step.probably_cured")
def probably_cured() -> str:
    """Say why the proof comes before more parts."""
    return (
        "Nothing points to a fault any more. Measure the same points as before and ask the "
        "driver: that is the proof. No more parts before it."
    )


@sentence("step.perhaps_normal")
def perhaps_normal() -> str:
    """Say why a reading comes before any part where the complaint may lie within normal."""
    return (
        "Perhaps nothing is wrong. Measure where the driver feels it and compare with a sound "
        "truck or the maker's figure; no part before it."
    )


@sentence("step.remeasure_name", points=["idle", "1,800 rpm, full load"])
def remeasure_name(points: Sequence[str]) -> str:
    """Name the measuring of the same points."""
    return f"Measure the same points again: {', '.join(points) or 'those from before'}"


@sentence("step.dearer", usd=170.0)
def dearer(usd: float) -> str:
    """Say that taking a step first costs more on the way; the figures are one tap deeper."""
    return "Also fine, and dearer on the way." if usd >= 50.0 else "Also fine, at about the same."


@sentence("step.repair_name", cause=_VALVE)
def repair_name(cause: str) -> str:
    """Name the repair of a cause."""
    return f"Put right: {cause}"


@sentence("step.repair_again", cause=_VALVE)
def repair_again(cause: str) -> str:
    """Name the repair of a cause whose part was renewed already."""
    return f"Check the repair made: {cause}"


@sentence("step.search_unlisted")
def search_unlisted() -> str:
    """Name the repair of what is on no list."""
    return "Search openly for what is not on the list, one thing at a time"


@sentence("step.waits_for_lift")
def waits_for_lift() -> str:
    """Say why a tear-down waits while a stop stands."""
    return "It waits: looks that tell more can be made once the safety stop is lifted."


@sentence("step.idle_tests")
def idle_tests() -> str:
    """Say why a cheap repair goes before the tests."""
    return "No result of the tests listed here would change this step, so they wait."


@sentence("step.as_good_as_a_test")
def as_good_as_a_test() -> str:
    """Say why a free repair goes before a test."""
    return "It leads and costs nothing but minutes: that is the quickest test of it."


@sentence("step.lifts_stop", stop="Do not run the engine on this oil")
def lifts_stop(stop: str) -> str:
    """Say that a check is the one that lifts a stop."""
    return f"It is the check that the stop asks for: {stop[:1].lower()}{stop[1:]}."


@sentence("step.own_complaint", family="oil leaks")
def own_complaint(family: str) -> str:
    """Say that a cause is a complaint of its own."""
    return (
        f"It is a complaint of its own: name '{family}' in the complaint too, and its own "
        "readings are proposed."
    )


@sentence("step.root_first")
def root_first() -> str:
    """Say why a root cause goes before what it damages."""
    return "What it damages would only be damaged again, so it comes first."


@sentence("step.look_before_tear_down")
def look_before_tear_down() -> str:
    """Say why a cheap look goes first."""
    return "A cheap look comes before a tear-down."


@sentence("step.not_before_look", look="A leaking seat reads like a worn pump.")
def not_before_look(look: str) -> str:
    """Say that a dear part waits for a look."""
    return f"Not before the look: {look}"


@sentence("step.one_instrument")
def one_instrument() -> str:
    """Say why a second instrument comes before a part."""
    return (
        "So far one instrument alone has spoken, and it may be wrong: hold a second one against it "
        "before a part is renewed on its word."
    )


@sentence("step.too_high")
def too_high() -> str:
    """Say why a reading that is too high asks for a second instrument first."""
    return "It read higher than a healthy truck shows: check the instrument before anything else."


@sentence("step.first_measurement")
def first_measurement() -> str:
    """Say why a gauge goes on first."""
    return (
        "Nothing has been measured yet: prove with a gauge that the pressure is low. The same "
        "readings are what the cure is proven by."
    )


@sentence("step.opens_nothing")
def opens_nothing() -> str:
    """Say why a measurement goes before opening a part."""
    return "It opens nothing, so it comes before what does."


@sentence("step.first_walk_round")
def first_walk_round() -> str:
    """Say why a free look comes before an instrument."""
    return "It takes minutes, so it belongs to the first walk round."


@sentence("step.just_touched")
def just_touched() -> str:
    """Say why what was just worked on is looked at first."""
    return "It looks at what was just worked on: that comes first, whatever the odds say."


@sentence("step.seen_before_renewed")
def seen_before_renewed() -> str:
    """Say why a test comes before a part."""
    return "A part is seen bad before it is renewed, and this costs less than the part."


@sentence("step.look_after")
def look_after() -> str:
    """Say why a look comes once after a repair."""
    return "Look once at what may have broken it, before the truck leaves."


@sentence("step.pack_figures")
def pack_figures() -> str:
    """Say that the figures are the pack's."""
    return "the pack's figures (judgement)"


@sentence("step.shop_figures", what="time", jobs=6, by="ana", own=2, median=1.2)
def shop_figures(what: str, jobs: int, by: str, own: int, median: float) -> str:
    """Say from how many jobs of the shop a figure comes."""
    count = "1 job" if jobs == 1 else f"{jobs} jobs"
    his = f", {own} of them by {by}" if own else ""
    return f"{what} from {count} of this shop{his} (median {median:.2g} x the pack's)"


@sentence("step.pooled_time", shops=300, weight=60.0)
def pooled_time(shops: int, weight: float) -> str:
    """Say that the time of many shops stands behind the own jobs."""
    return f"behind them the time of {shops:,} shops together, weighed as {weight:.0f} jobs"


@sentence("step.drawn_to_pack", told=["time from 6 jobs of this shop"])
def drawn_to_pack(told: Sequence[str]) -> str:
    """Say that few jobs of the shop are drawn to the pack's figures."""
    return f"{' and '.join(told)}, drawn to {pack_figures()} while they are few"


@sentence(
    "step.override",
    proposed="test: read the vacuum",
    chosen="repair: renew the pump",
    extra=120.0,
    reason="had the part here",
)
def override(
    proposed: str,
    chosen: str,
    extra: float | None,
    reason: str,
    against: tuple[str, str] | None = None,
) -> str:
    """Return the words of the note that records an override; they are read back."""
    more = "" if extra is None else f" ({extra:.0f} USD more expected)"
    stop = "" if against is None else f" against the stop {against[0]}, by {against[1]}"
    return f"Proposed {proposed}; did {chosen}{more}{stop}: {reason}"
