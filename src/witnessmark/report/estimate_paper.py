"""The estimate on paper: the shop's own lines, their one sum, and what is not promised.

No figure stands on it that nobody of the shop has typed: what such work usually comes to is
advice for the shop and is shown at its bench only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import QuoteData
from witnessmark.model.estimate import Estimate
from witnessmark.model.quoted import OwnRates, PricedQuote, priced
from witnessmark.report.back_of_report import DEFER
from witnessmark.report.figures import money
from witnessmark.report.paper import Block, Heading, Lines, Paper, Said, TableBlock
from witnessmark.words.plain import short_sentences
from witnessmark.words.say import estimate as say

__all__ = ["estimate_paper"]

_TERMS = (
    "This is an estimate, not a fixed price. Nothing beyond the sum you approve is done without "
    "asking you again. Local law may give you further rights. A job you decline is not done, and "
    "that is written down."
)
_UNPRICED = "not priced yet"


def estimate_paper(
    assessment: Dossier, advice: Estimate | None, *, shop: str = "",
    why: Sequence[str] = (), rates: OwnRates | None = None,
) -> Paper:  # fmt: skip
    """Return the estimate.

    Args:
        assessment: the case.
        advice: the work that is priced or proposed, ``None`` when there is none yet. Its names,
            cautions and the chance of more work are used, never its money.
        shop: the shop's name.
        why: sentences on what the estimate covers.
        rates: what the shop has set itself.
    """
    case, rates = assessment.case, rates or OwnRates()
    truck = case.truck()
    facts = [("Case", case.id)]
    if truck is not None:
        facts.append(("Truck", truck.label))
        facts += [("Customer", truck.customer)] if truck.customer else []
    blocks: list[Block] = [Heading("Complaint")]
    blocks += [Said(c.words, "quote") for _, c in case.complaints()]
    blocks += [Heading("What we propose"), *(Said(short_sentences(words)) for words in why)]
    quoted = list(_as_quoted(case, rates))
    if quoted:
        blocks += quoted
    elif advice is not None:
        blocks += _proposed(advice)
    else:
        settled = bool(case.complaints()) and not assessment.open_complaints()
        blocks.append(
            Said(
                "Nothing is open on this truck: there is no repair to price."
                if settled
                else "There is no repair to price yet: the next step is to measure."
            )
        )
    if advice is not None or quoted:
        blocks += _beside(advice, rates)
    blocks += [Said(_TERMS, "small"), Said(DEFER, "small")]
    blocks.append(Lines(("Approved up to (amount), by, date, how (in person, phone, text)",
                         "Declined lines and reason")))  # fmt: skip
    return Paper("Estimate", shop, tuple(facts), tuple(blocks))


def _as_quoted(case: Case, rates: OwnRates) -> Iterator[Block]:
    """Return the shop's own lines as they were given to the customer, the last quote only."""
    quotes = list(case.of(QuoteData))
    if not quotes:
        return
    entry, quote = quotes[-1]
    found = priced(quote, rates)
    rows = [
        (
            line.what,
            "" if line.minutes is None else f"{line.minutes:.0f} min",
            _UNPRICED if line.usd is None else money(line.usd),
        )
        for line in found.lines
    ]
    yield TableBlock(("As quoted", "Time", "Price"), tuple(rows), (1, 2))
    terms = [f"Given on {entry.at[:10]}"]
    terms += [] if found.total_usd is None else [f"total {money(found.total_usd)}"]
    terms += [] if quote.limit_usd is None else [f"limit {money(quote.limit_usd)}"]
    terms += [] if quote.expires is None else [f"good until {quote.expires}"]
    yield Said(f"{'; '.join(terms)}.", "verdict")
    yield from (Said(words) for words in _about_the_sum(found))


def _about_the_sum(found: PricedQuote) -> Iterator[str]:
    left = found.unpriced
    if found.given:
        yield "The total is the sum that was given; a price stands beside a line where it has one."
    if left:
        one = len(left) == 1
        count = "1 line is" if one else f"{len(left)} lines are"
        where = (
            "there is no sum yet"
            if found.total_usd is None
            else f"the total given does not say what {'it comes' if one else 'they come'} to"
            if found.given
            else f"{'it is' if one else 'they are'} not in the total"
        )
        yield f"{count} {_UNPRICED}, and {where}: {'; '.join(left)}."
    if found.left_out_minutes:
        yield (
            f"{found.left_out_minutes:.0f} min of work stand beside prices that do not hold them: "
            "the shop has set no hourly rate."
        )
    if found.labour_usd_per_hour is not None:
        yield f"Labour is in the prices at {money(found.labour_usd_per_hour)} an hour."


def _proposed(advice: Estimate) -> Iterator[Block]:
    """Return what would be done, without a price: nobody of the shop has set one."""
    names = [line.what for line in advice.lines if line.kind in {"labour", "seal"}]
    rows = tuple((name, _UNPRICED) for name in names)
    yield TableBlock(("Line", "Price"), rows, (1,))
    yield Said("No line is priced, so there is no sum yet.", "verdict")


def _beside(advice: Estimate | None, rates: OwnRates) -> Iterator[Block]:
    more = None if advice is None else advice.chance_more_work
    if more is not None and more >= 0.01:
        yield Said(say.may_remain(more))
    fee, limit = rates.diagnostic_fee_usd, rates.diagnostic_limit_usd
    said = [] if fee is None else [f"fee {money(fee)}"]
    said += [] if limit is None else [f"not more than {money(limit)} without asking"]
    if said:
        yield Said(f"Diagnosis is priced apart: {', '.join(said)}.", "small")
    for words in dict.fromkeys(advice.cautions if advice is not None else ()):
        if words:
            yield Said(short_sentences(words), "caution")
