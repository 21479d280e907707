"""The estimate on paper: what is to be done, what it may cost, and what is not promised."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.assessment import Assessment
from witnessmark.model.case import Case
from witnessmark.model.entry_data import QuoteData
from witnessmark.model.estimate import Estimate
from witnessmark.model.step import Spread
from witnessmark.report.evidence import DEFER
from witnessmark.report.figures import money
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
    blocks += _as_quoted(case)
    if estimate is None:
        settled = bool(assessment.proofs) and not assessment.steps
        blocks.append(
            Said(
                "Nothing is open on this truck: there is no repair to price."
                if settled
                else "There is no repair to price yet: the next step is to measure."
            )
        )
    else:
        blocks += _priced(estimate)
    blocks += [Said(_TERMS, "small"), Said(DEFER, "small")]
    blocks.append(Lines(("Approved up to (amount), by, date, how (in person, phone, text)",
                         "Declined lines and reason")))  # fmt: skip
    return Paper("Estimate", shop, tuple(facts), tuple(blocks))


def _as_quoted(case: Case) -> list[Block]:
    """Return the shop's own lines as they were given to the customer, the last quote only."""
    quotes = [(entry, data) for entry, data in case.of(QuoteData)]
    if not quotes:
        return []
    entry, quote = quotes[-1]
    rows = [
        (
            line.what,
            "" if line.minutes is None else f"{line.minutes:.0f} min",
            "" if line.usd is None else money(line.usd),
        )
        for line in quote.lines
    ]
    terms = [f"Given on {entry.at[:10]}"]
    terms += [] if quote.total_usd is None else [f"total {money(quote.total_usd)}"]
    terms += [] if quote.limit_usd is None else [f"limit {money(quote.limit_usd)}"]
    terms += [] if quote.expires is None else [f"good until {quote.expires}"]
    return [
        TableBlock(("As quoted", "Time", "Parts"), tuple(rows), (1, 2)),
        Said(f"{'; '.join(terms)}."),
        Heading("What such work usually comes to", 2),
    ]


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
