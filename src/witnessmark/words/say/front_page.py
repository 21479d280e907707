"""What is said on the one page that the customer gets."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("front.title")
def title() -> str:
    """Head the page once work was done."""
    return "What we found and did"


@sentence("front.title_open")
def title_open() -> str:
    """Head the page while nothing was done yet."""
    return "What we found so far"


@sentence("front.told")
def told() -> str:
    """Head the customer's own words."""
    return "You told us"


@sentence("front.found")
def found() -> str:
    """Head the cause."""
    return "What we found"


@sentence("front.did")
def did() -> str:
    """Head the work."""
    return "What we did"


@sentence("front.know")
def know() -> str:
    """Head the proof."""
    return "How we know"


@sentence("front.unproven")
def unproven() -> str:
    """Head what is not proven."""
    return "What is not proven"


@sentence("front.later")
def later() -> str:
    """Head what is left for later."""
    return "For later, your choice"


@sentence("front.picture")
def picture() -> str:
    """Head the one picture."""
    return "Before and after"


@sentence("front.picture_so_far")
def picture_so_far() -> str:
    """Head the one picture before any work."""
    return "Measured so far"


@sentence("front.bill")
def bill() -> str:
    """Head the bill."""
    return "The bill"


@sentence("front.as_estimated")
def as_estimated() -> str:
    """Head the estimate where there is no bill yet."""
    return "The estimate (not the bill)"


@sentence("front.no_price")
def no_price() -> str:
    """Say that there is no price."""
    return "No price is written down."


@sentence("front.work_order", case="gravel-31", days="2026-03-02 to 2026-03-03")
def work_order(case: str, days: str) -> str:
    """Name the case and its days."""
    return f"Work order {case} \u00b7 {days}"


@sentence("front.licence", number="0000")
def licence(number: str) -> str:
    """Name the shop's licence."""
    return f"licence {number}"


@sentence("front.no_words")
def no_words() -> str:
    """Say that no complaint was written down."""
    return "No complaint has been written down for this truck."


@sentence("front.cause_proven", cause="Relief valve leaks at its seat")
def cause_proven(cause: str) -> str:
    """Name the cause once the proof holds."""
    return f"The cause: {cause}."


@sentence("front.cause_of", words="loses power", cause="Relief valve leaks at its seat")
def cause_of(words: str, cause: str) -> str:
    """Name the cause of one complaint of several."""
    return f"\u201c{words}\u201d: {cause}."


@sentence("front.with_others", words="loses power")
def with_others(words: str) -> str:
    """Say that a complaint went with the work on the others."""
    return (
        f"\u201c{words}\u201d went away with the work on the rest; "
        "nothing was renewed for it alone."
    )


@sentence("front.put_right", cause="Relief valve leaks at its seat")
def put_right(cause: str) -> str:
    """Name what was put right though it is not proven to be the cause."""
    return f"Put right: {cause}. Whether it was the cause is not shown yet."


@sentence("front.undecided", words="loses power")
def undecided(words: str) -> str:
    """Say that the cause is not decided."""
    return f"The cause of \u201c{words}\u201d is not decided."


@sentence("front.next_step", step="Return flow at idle")
def next_step(step: str) -> str:
    """Say what would settle it."""
    return f"Next to settle it: {step}."


@sentence("front.nothing_done")
def nothing_done() -> str:
    """Say that no work was done."""
    return "No work has been done yet."


@sentence("front.work_line", did="Relief kit renewed", minutes="62")
def work_line(did: str, minutes: str) -> str:
    """Say what was done and how long it took."""
    return f"{did.rstrip('.')}. {minutes} min."


@sentence("front.work_no_time", did="Relief kit renewed")
def work_no_time(did: str) -> str:
    """Say what was done where no time was noted."""
    return f"{did.rstrip('.')}."


@sentence("front.parts", parts="relief kit (new), washer")
def parts(parts: str) -> str:
    """List the parts."""
    return f"Parts: {parts}."


@sentence("front.technician", names="A. Sample")
def technician(names: str) -> str:
    """Name who did it."""
    return f"Technician: {names}."


@sentence(
    "front.pair", quantity="Fuel gallery pressure", where="1500 rpm, no load", before="78",
    after="95 psi",
)  # fmt: skip
def pair(quantity: str, where: str, before: str, after: str) -> str:
    """Say one quantity before and after, at the same point."""
    return f"{quantity}, {where}: {before} before, {after} after."


@sentence("front.pair_bare", quantity="Coolant pressure", before="6", after="13 psi")
def pair_bare(quantity: str, before: str, after: str) -> str:
    """Say one quantity before and after, where no operating point belongs to it."""
    return f"{quantity}: {before} before, {after} after."


@sentence("front.test_again", test="Sight glass", before="bubbles", after="no bubbles")
def test_again(test: str, before: str, after: str) -> str:
    """Say what a test showed before and after the work."""
    return f"{test}: {before} before, {after} after."


@sentence("front.should_be", band="90 to 100 psi")
def should_be(band: str) -> str:
    """Say what it should be."""
    return f"It should be {band}."


@sentence("front.same_gauge")
def same_gauge() -> str:
    """Say that before and after were read alike."""
    return "Same gauge, same place, before and after."


@sentence("front.other_gauge", before="G1", after="G2")
def other_gauge(before: str, after: str) -> str:
    """Say that before and after were read on different instruments."""
    return f"Read with {before} before and with {after} after: that proves no change by itself."


@sentence("front.recorded_again")
def recorded_again() -> str:
    """Say that a recording after the work shows it."""
    return "The same drive was recorded before and after the work."


@sentence("front.proven", words="loses power")
def proven(words: str) -> str:
    """Say that a complaint is proven cured."""
    return f"\u201c{words}\u201d: proven by measurement after the work."


@sentence("front.not_proven", words="loses power")
def not_proven(words: str) -> str:
    """Say that something speaks against the cure."""
    return f"\u201c{words}\u201d: not cured by what was measured or said after the work."


@sentence("front.not_enough", words="loses power")
def not_enough(words: str) -> str:
    """Say that it is not proven either way."""
    return f"\u201c{words}\u201d: not proven yet; too little was measured after the work."


@sentence("front.customer_word", answer="gone", days="1", words="pulls again")
def customer_word(answer: str, days: str, words: str) -> str:
    """Say what the customer said afterwards."""
    return f"You told us after {days} day(s): {answer}. \u201c{words}\u201d"


@sentence("front.customer_word_bare", answer="gone")
def customer_word_bare(answer: str) -> str:
    """Say what the customer said, without words or days."""
    return f"You told us afterwards: {answer}."


@sentence("front.declined", what="Front seal")
def declined(what: str) -> str:
    """Name what was declined."""
    return f"{what}. You said not today."


@sentence("front.declined_unquoted", words="a look into the tank")
def declined_unquoted(words: str) -> str:
    """Name what was declined in the words that were written down."""
    return f"You said no: {words}"


@sentence("front.not_done", what="new hose")
def not_done(what: str) -> str:
    """Name what was offered and not done."""
    return f"{what}. Offered, not done."


@sentence("front.not_known", what="new hose")
def not_known(what: str) -> str:
    """Name what was offered where nothing says whether it was done."""
    return f"{what}. Offered; whether it was done is not written down."


@sentence("front.core_back", what="Exchange compressor", usd="$120.00")
def core_back(what: str, usd: str) -> str:
    """Say that an old part is due back."""
    return f"Old part back for its deposit of {usd}: {what}."


@sentence("front.paint_marks")
def paint_marks() -> str:
    """Ask for the paint marks to be looked at."""
    return "Paint marks of the tightened fasteners: a mark that moved is a finding."


@sentence("front.at_100_miles")
def at_100_miles() -> str:
    """Say when the marks are looked at."""
    return "after 50 to 100 miles"


@sentence("front.risk_unwritten")
def risk_unwritten() -> str:
    """Say that the risk of a refusal was not written down."""
    return "risk not written down"


@sentence("front.next_visit")
def next_visit() -> str:
    """Say when something is looked at that has no date."""
    return "next visit"


@sentence("front.nothing_later")
def nothing_later() -> str:
    """Say that nothing is left; only where every line is done or declined."""
    return "Nothing that was proposed, quoted or needed is known to be left undone."


@sentence("front.and_more", count=2)
def and_more(count: int) -> str:
    """Say that more stands in the appendix."""
    return f"And {count} more, in the appendix."


@sentence("front.agreed", usd="$410.00", how="text message", day="2026-03-02")
def agreed(usd: str, how: str, day: str) -> str:
    """Say what was agreed to."""
    return f"you agreed to up to {usd}, {how}, {day}"


@sentence("front.above", usd="$410.00")
def above(usd: str) -> str:
    """Say that the sum is above what was agreed to."""
    return f"above the {usd} that you agreed to: ask us before you pay"


@sentence("front.not_agreed")
def not_agreed() -> str:
    """Say that no yes is written down."""
    return "no yes to a sum is written down"


@sentence("front.old_parts", parts="compressor: kept for the customer")
def old_parts(parts: str) -> str:
    """Say what became of the old parts."""
    return f"Old parts: {parts}."


@sentence("front.old_parts_unsaid")
def old_parts_unsaid() -> str:
    """Say that nothing was written down about old parts."""
    return "Old parts: ask us; nothing is written down."


@sentence("front.stop", words="Do not drive it")
def stop(words: str) -> str:
    """Say that a stop is in force."""
    return f"Stop: {words}."


@sentence("front.small_print")
def small_print() -> str:
    """Say what the page rests on."""
    return (
        "The measurements behind this page are in the appendix, on request. The maker's manual, "
        "local code and licensed practice come first. Local law may give you further rights."
    )


@sentence("front.sign_customer")
def sign_customer() -> str:
    """Ask for the customer's signature."""
    return "Picked up by, date"


@sentence("front.sign_shop")
def sign_shop() -> str:
    """Ask for the shop's signature."""
    return "For the shop, date"


@sentence("front.no_picture")
def no_picture() -> str:
    """Say that there is nothing to draw."""
    return "Nothing was measured at the same place before and after."


@sentence("front.photo", words="old seal", day="2026-03-02")
def photo(words: str, day: str) -> str:
    """Stand under a photo."""
    return f"Photo: {words} ({day})"
