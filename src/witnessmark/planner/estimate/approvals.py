"""The approvals ledger: who agreed to what, and whether the work stays inside it.

Local law decides what a written estimate must hold and how far it may be exceeded; this ledger
only keeps the shop's own promises: nothing is billed above what was approved, and no work is done
on a line that was refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ApprovalData, QuoteData, WorkData
from witnessmark.model.problem import Problem
from witnessmark.model.settings import Settings
from witnessmark.words.say import estimate as say

__all__ = ["Ledger", "LedgerLine", "billed_usd", "ledger"]


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One answer of the customer.

    Attributes:
        entry: approval entry id.
        at: when.
        by: who.
        how: telephone, text, signature, ...
        granted: yes or no.
        quote: quote entry id, empty for a sum agreed without one.
        limit_usd: up to which amount, ``None`` where none was named.
        words: what was said.
        counts: ``False`` once a later answer on the same quote replaced it, or it expired.
        note: why it does not count, or what is missing.
    """

    entry: str
    at: str
    by: str
    how: str
    granted: bool
    quote: str
    limit_usd: float | None
    words: str
    counts: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class Ledger:
    """What is approved, what is billed, and what blocks the bill.

    Attributes:
        lines: every answer in order.
        approved_usd: the sum approved.
        billed_usd: work and parts so far.
        left_usd: approved minus billed; below zero when the bill is blocked.
        refused: (quote line or work in words, risk wording) of what the customer declined.
        problems: why the bill is blocked, empty when it is not.
    """

    lines: tuple[LedgerLine, ...]
    approved_usd: float
    billed_usd: float
    left_usd: float
    refused: tuple[tuple[str, str], ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def blocked(self) -> bool:
        """Whether the bill, as it stands, may not be written."""
        return bool(self.problems)


def ledger(case: Case, settings: Settings, *, planned_usd: float = 0.0) -> Ledger:
    """Check the case's work against the customer's answers.

    Args:
        case: the entries.
        settings: rates, and how much of the approved sum may be exceeded.
        planned_usd: cost of work that is about to start, added to what is billed already.
    """
    quotes = {entry.id: (entry, data) for entry, data in case.of(QuoteData)}
    answers = list(case.of(ApprovalData))
    latest = {data.quote or entry.id: entry.id for entry, data in answers}
    lines = [_line(entry, data, quotes, latest) for entry, data in answers]
    approved = sum(line.limit_usd or 0.0 for line in lines if line.counts and line.granted)
    works = list(case.of(WorkData))
    billed = sum(billed_usd(data, settings) for _, data in works) + planned_usd
    refused = _refused(lines, quotes)
    problems = [
        Problem(
            line.entry,
            "The approval names no amount and no quote with a total.",
            "Ask for the amount and enter it.",
        )
        for line in lines
        if line.counts and line.granted and line.limit_usd is None
    ]
    problems += _work_on_refused(works, lines, quotes)
    allowed = approved * (1.0 + settings.overrun_percent_allowed / 100.0)
    if billed > allowed + 0.005:
        problems.append(
            Problem(
                case.id,
                f"The work comes to {billed:,.2f} USD and {approved:,.2f} USD are approved.",
                "Call the customer, name the added amount, and enter the answer before billing.",
            )
        )
    return Ledger(
        tuple(lines), approved, billed, approved - billed, tuple(refused), tuple(problems)
    )


def billed_usd(work: WorkData, settings: Settings) -> float:
    """Return what one work entry comes to: labour, parts, shop supplies and tax [USD]."""
    labour = (work.minutes or 0.0) / 60.0 * settings.labour_usd_per_hour
    parts = sum((part.usd or 0.0) * part.quantity for part in work.parts)
    supplies = min(settings.consumables_cap_usd, labour * settings.consumables_percent / 100.0)
    tax = labour * settings.tax_percent_labour / 100.0 + parts * settings.tax_percent_parts / 100.0
    return labour + parts + supplies + tax


def _line(
    entry: Entry,
    data: ApprovalData,
    quotes: dict[str, tuple[Entry, QuoteData]],
    latest: dict[str, str],
) -> LedgerLine:
    limit = data.limit_usd
    quote = quotes.get(data.quote) if data.quote else None
    note = ""
    counts = latest[data.quote or entry.id] == entry.id
    if not counts:
        note = say.replaced()
    if data.quote and quote is None:
        note, counts = say.no_quote(data.quote), False
    if quote is not None:
        if limit is None:
            limit = quote[1].limit_usd if quote[1].limit_usd is not None else quote[1].total_usd
        if limit is None:
            priced = [line.usd for line in quote[1].lines]
            known = [usd for usd in priced if usd is not None]
            limit = sum(known) if known and len(known) == len(priced) else None
        if data.granted and _expired(quote[1].expires, entry.at):
            note, counts = say.expired(str(quote[1].expires)), False
    return LedgerLine(
        entry.id,
        entry.at,
        data.by,
        data.how,
        data.granted,
        data.quote or "",
        limit,
        data.words or "",
        counts,
        note,
    )


def _refused(
    lines: list[LedgerLine], quotes: dict[str, tuple[Entry, QuoteData]]
) -> list[tuple[str, str]]:
    found = []
    for line in lines:
        if line.granted or not line.counts:
            continue
        risk = line.words or say.risk_unwritten()
        quote = quotes.get(line.quote)
        what = [q.what for q in quote[1].lines] if quote else [say.unwritten_quote()]
        found += [(w, risk) for w in what]
    return found


def _work_on_refused(
    works: list[tuple[Entry, WorkData]],
    lines: list[LedgerLine],
    quotes: dict[str, tuple[Entry, QuoteData]],
) -> list[Problem]:
    causes: dict[str, LedgerLine] = {}
    for line in lines:
        quote = quotes.get(line.quote)
        for item in quote[1].lines if quote else ():
            if item.cause and line.counts:
                causes[item.cause] = line
    found = []
    for entry, work in works:
        answer = causes.get(work.cause or "")
        if answer is not None and not answer.granted and answer.at <= entry.at:
            found.append(
                Problem(
                    entry.id,
                    f"This work was declined by {answer.by} ({answer.entry}).",
                    "Do not bill it; get a new approval before any more of it.",
                )
            )
    return found


def _expired(expires: str | None, at: str) -> bool:
    if not expires:
        return False
    try:
        end = datetime.fromisoformat(expires)
        when = datetime.fromisoformat(at)
    except ValueError:
        return False
    if len(expires) <= 10:  # a day without an hour counts to its end
        return when.date() > end.date()
    if (end.tzinfo is None) != (when.tzinfo is None):
        end, when = end.replace(tzinfo=None), when.replace(tzinfo=None)
    return when > end
