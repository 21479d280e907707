"""The estimate on paper: what is to be done, what it may cost, and what is not promised."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.assessment import Assessment
from witnessmark.model.estimate import Estimate
from witnessmark.model.step import Spread
from witnessmark.report.customer import DEFER
from witnessmark.report.paper import Block, Heading, Items, Lines, Paper, Said, TableBlock

__all__ = ["estimate_paper"]

_TERMS = (
    "This is an estimate, not a fixed price. Nothing beyond the sum you approve is done without "
    "asking you again; local law may give you further rights. A job you decline is not done, and "
    "that is written down."
)


def estimate_paper(
    assessment: Assessment, estimate: Estimate | None, *, shop: str = "",
    why: Sequence[str] = (),
) -> Paper:  # fmt: skip
    """Return the estimate.

    Args:
        assessment: the case.
        estimate: the priced lines, ``None`` when there is no repair to price yet.
        shop: the shop's name.
        why: sentences on what the estimate covers.
    """
    case = assessment.case
    truck = case.truck()
    facts = [("Case", case.id)]
    if truck is not None:
        facts.append(("Truck", truck.label))
        facts += [("Customer", truck.customer)] if truck.customer else []
    blocks: list[Block] = [Heading("Complaint")]
    blocks += [Said(c.words, "quote") for _, c in case.complaints()]
    blocks += [Heading("What we propose"), *(Said(words) for words in why)]
    if estimate is None:
        blocks.append(Said("There is no repair to price yet: the next step is to measure."))
    else:
        blocks += _priced(estimate)
    blocks += [Said(_TERMS, "small"), Said(DEFER, "small")]
    blocks.append(Lines(("Approved up to (amount), by, date, how (in person, phone, text)",
                         "Declined lines and reason")))  # fmt: skip
    return Paper("Estimate", shop, tuple(facts), tuple(blocks))


def _priced(estimate: Estimate) -> list[Block]:
    rows = [
        (line.what + (f" ({line.note})" if line.note else ""), _minutes(line.minutes),
         *_money(line.usd))
        for line in estimate.lines
    ]  # fmt: skip
    rows.append(("Total", "", *_money(estimate.total)))
    blocks: list[Block] = [
        TableBlock(("Line", "Time", "Low", "Typical", "High"), tuple(rows), (1, 2, 3, 4)),
        Said(f"Quoted: ${estimate.quoted_usd:,.2f}. Chance that it comes to more: "
             f"{100 * estimate.chance_exceeded:.0f} %.", "verdict"),
    ]  # fmt: skip
    if estimate.chance_more_work is not None:
        blocks.append(Said("Chance that the complaint is still there afterwards and more work is "
                           f"needed: {100 * estimate.chance_more_work:.0f} %."))  # fmt: skip
    if estimate.deposits_usd:
        blocks.append(Said(f"Deposits on old parts, credited on return: "
                           f"${estimate.deposits_usd:,.2f}."))  # fmt: skip
    blocks.append(Said(f"Diagnosis is priced apart: fee ${estimate.diagnostic_fee_usd:,.2f}, not "
                       f"more than ${estimate.diagnostic_limit_usd:,.2f} without asking.",
                       "small"))  # fmt: skip
    blocks += [Items(estimate.contingency)] if estimate.contingency else []
    blocks += [Said(words, "caution") for words in dict.fromkeys(estimate.cautions) if words]
    blocks.append(Said(f"Rates: {estimate.source}.", "small"))
    return blocks


def _minutes(spread: Spread | None) -> str:
    return "" if spread is None else f"{spread.typical:.0f} min"


def _money(spread: Spread) -> tuple[str, str, str]:
    low, typical, high = (f"{value:,.0f}" for value in (spread.low, spread.typical, spread.high))
    return low, typical, high
