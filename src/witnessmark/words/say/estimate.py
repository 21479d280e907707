"""What is said of an estimate and of what was approved."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence
from witnessmark.words.numbers import chance_words


@sentence("estimate.shared_opening", group="valve cover off")
def shared_opening(group: str) -> str:
    """Name the disassembly that two jobs share."""
    return f"Shared disassembly, billed once ({group})"


@sentence("estimate.share_judged", from_pack=True)
def share_judged(from_pack: bool) -> str:
    """Say where the shared time comes from."""
    if from_pack:
        return "time of the disassembly by the pack, judgement"
    return "share of the access time, judgement"


@sentence("estimate.parts_of", job="Relief valve leaks at its seat")
def parts_of(job: str) -> str:
    """Name the parts of a job."""
    return f"Parts: {job}"


@sentence("estimate.goes_with", part="valve seal")
def goes_with(part: str) -> str:
    """Name what goes with a job."""
    return f"Goes with it: {part}"


@sentence("estimate.seal_price", inside=False)
def seal_price(inside: bool) -> str:
    """Say where the price of what goes with a job stands."""
    if inside:
        return "price is in the parts line"
    return "often not in the box; price is judgement, ask the parts counter"


@sentence("estimate.deposit", job="Transfer pump worn")
def deposit(job: str) -> str:
    """Name the deposit on an old part."""
    return f"Deposit on the old part: {job}"


@sentence("estimate.deposit_back")
def deposit_back() -> str:
    """Say when a deposit is credited."""
    return "credited when the old part goes back complete and in time"


@sentence("estimate.supplies", percent=5.0, cap=60.0)
def supplies(percent: float, cap: float) -> str:
    """Say how shop supplies are worked out."""
    return f"{percent:g} % of labour, at most {cap:.0f} USD"


@sentence("estimate.nothing_quoted")
def nothing_quoted() -> str:
    """Say that nothing is quoted."""
    return "No work is quoted yet."


@sentence("estimate.expected", low=400.0, high=700.0, quoted=650.0, exceeded=0.2)
def expected(low: float, high: float, quoted: float, exceeded: float) -> str:
    """Say what is expected and what happens above it."""
    return (
        f"We expect {low:,.0f} to {high:,.0f} USD for this work; the chance that it comes out "
        f"above {quoted:,.0f} USD is {chance_words(exceeded)}. We ask before going above."
    )


@sentence("estimate.perhaps_more", more=0.3)
def perhaps_more(more: float) -> str:
    """Say that the complaint may still be there, for the shop."""
    return (
        "The chance that the complaint is still there after this work is "
        f"{chance_words(more)}. In that case we measure again and ask before any further work."
    )


@sentence("estimate.may_remain", more=0.3)
def may_remain(more: float) -> str:
    """Say the same to the customer, without a number."""
    likely = "may well" if more >= 0.30 else "may"
    return (
        f"It {likely} be that the complaint is still there after this work. "
        "Then we measure again, and ask before any further work."
    )


@sentence("estimate.deposits_credited")
def deposits_credited() -> str:
    """Say that deposits come back."""
    return "Deposits are credited when the old parts go back complete and in time."


@sentence("estimate.replaced")
def replaced() -> str:
    """Say that a later answer counts."""
    return "a later answer on the same quote replaced it"


@sentence("estimate.no_quote", quote="q1")
def no_quote(quote: str) -> str:
    """Say that a quote is missing."""
    return f"the quote '{quote}' is not in the case"


@sentence("estimate.expired", on="2026-03-02")
def expired(on: str) -> str:
    """Say that a quote was too old."""
    return f"the quote had expired on {on}"


@sentence("estimate.before_estimate")
def before_estimate() -> str:
    """Say that an answer is dated before what it answers."""
    return "the answer is dated before its estimate"


@sentence("estimate.risk_unwritten")
def risk_unwritten() -> str:
    """Ask for the risk of a refusal."""
    return "declined; the risk was not written down: write it down"


@sentence("estimate.unwritten_quote")
def unwritten_quote() -> str:
    """Name work that was never quoted."""
    return "work without a written quote"


@sentence("estimate.bill_above", billed="709.01", approved="709.00")
def bill_above(billed: str, approved: str) -> str:
    """Say that the bill is above what was agreed to."""
    return f"The bill comes to {billed} USD and {approved} USD are approved."


@sentence(
    "estimate.work_above", billed="300.00", approved="200.00", rate="150.00", judged=True
)  # fmt: skip
def work_above(billed: str, approved: str, rate: str, judged: bool) -> str:
    """Say that the work so far is above what was agreed to, and at which rate."""
    at = f" with labour at {rate} USD an hour" if rate else ""
    whose = " That rate is judgement: the shop has set none." if rate and judged else ""
    return f"The work comes to {billed} USD{at} and {approved} USD are approved.{whose}"
