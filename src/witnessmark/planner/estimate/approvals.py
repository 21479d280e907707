"""The approvals ledger: who agreed to what, and whether the work stays inside it.

Local law decides what a written estimate must hold and how far it may be exceeded; this ledger
only keeps the shop's own promises: nothing is billed above what was approved, and no work is done
on a line that was refused.

A sum that was agreed to without an estimate is for the whole truck: it takes the place of what
was agreed before. A sum on an estimate comes on top of it, and the estimate that revises another
takes its place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal

from witnessmark.model.answered import answers_to, refusals
from witnessmark.model.entries.agreed_data import ApprovalData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.problem import Problem
from witnessmark.model.quoted import OwnRates, as_typed, priced
from witnessmark.model.settings import Settings
from witnessmark.words.say import estimate as say

__all__ = ["Ledger", "LedgerLine", "billed_usd", "ledger"]

_Quotes = Mapping[str, tuple[Entry, QuoteData]]


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
    lines = [_line(entry, data, quotes, latest, settings) for entry, data in answers]
    approved = _approved(lines, quotes)
    works = list(case.of(WorkData))
    final = [data for _, data in case.of(QuoteData) if data.final]
    billed = _billed(final, works, settings) + as_typed(planned_usd)
    problems = [
        Problem(
            line.entry,
            "The approval names no amount and no quote with a total.",
            "Ask for the amount and enter it.",
        )
        for line in lines
        if line.counts and line.granted and line.limit_usd is None
    ]
    problems += _too_early(answers, quotes)
    problems += _work_on_refused(works, answers, lines, quotes)
    allowed = approved * (100 + as_typed(settings.overrun_percent_allowed)) / 100
    if billed > allowed + Decimal("0.005"):
        sums = (f"{billed:,.2f}", f"{approved:,.2f}")
        rate = "" if planned_usd else f"{settings.labour_usd_per_hour:,.2f}"
        what = (
            say.bill_above(*sums)
            if final
            else say.work_above(*sums, rate, judged=not settings.labour_is_own)
        )
        problems.append(
            Problem(
                case.id,
                what,
                "Call the customer, name the added amount, and enter the answer before billing.",
            )
        )
    told = tuple((r.what or say.unwritten_quote(), r.words or say.risk_unwritten())
                 for r in refusals(case))  # fmt: skip
    return Ledger(
        tuple(lines), float(approved), float(billed), float(approved - billed), told,
        tuple(problems),
    )  # fmt: skip


def _approved(lines: list[LedgerLine], quotes: _Quotes) -> Decimal:
    """Return what is agreed to in all [USD]."""
    whole = Decimal(0)
    apart: dict[str, Decimal] = {}
    for line in lines:
        if not line.counts or not line.granted:
            continue
        limit = as_typed(line.limit_usd or 0.0)
        if not line.quote:
            whole, apart = limit, {}
            continue
        replaced = quotes[line.quote][1].replaces
        apart.pop(replaced or "", None)
        apart[line.quote] = limit
    return whole + sum(apart.values(), Decimal(0))


def _billed(
    final: list[QuoteData], works: list[tuple[Entry, WorkData]], settings: Settings
) -> Decimal:
    """Return what is billed [USD]: the lines that were written as the bill, or the work so far."""
    if not final:
        return sum((as_typed(billed_usd(data, settings)) for _, data in works), Decimal(0))
    total = priced(final[-1], _rates(settings)).total_usd
    return Decimal(0) if total is None else total


def _rates(settings: Settings) -> OwnRates:
    return OwnRates(settings.labour_usd_per_hour if settings.labour_is_own else None)


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
    quotes: _Quotes,
    latest: Mapping[str, str],
    settings: Settings,
) -> LedgerLine:
    quote = quotes.get(data.quote) if data.quote else None
    note = ""
    counts = latest[data.quote or entry.id] == entry.id
    if not counts:
        note = say.replaced()
    if data.quote and quote is None:
        note, counts = say.no_quote(data.quote), False
    granted, limit = data.granted, data.limit_usd
    if quote is not None:
        said = [number for number, yes, _, _ in answers_to(data, quote[1]) if yes]
        granted = bool(said)
        if limit is None and granted:
            limit = _limit(data, quote[1], said, settings)
        if granted and _before(entry.at, quote[0].at):
            note, counts = say.before_estimate(), False
        elif granted and _expired(quote[1].expires, entry.at):
            note, counts = say.expired(str(quote[1].expires)), False
    return LedgerLine(
        entry.id,
        entry.at,
        data.by,
        data.how,
        granted,
        data.quote or "",
        limit,
        data.words or "",
        counts,
        note,
    )


def _limit(
    data: ApprovalData, quote: QuoteData, said: list[int], settings: Settings
) -> float | None:
    """Return the sum of a yes that names none: that of its estimate, or of the lines agreed to."""
    told = {answer.line: answer.limit_usd for answer in data.lines or () if answer.granted}
    if len(said) == len(quote.lines) and not any(limit is not None for limit in told.values()):
        if quote.limit_usd is not None:
            return quote.limit_usd
        if quote.total_usd is not None:
            return quote.total_usd
    found = priced(quote, _rates(settings), only=said)
    sums = [
        line.usd if told.get(line.number) is None else as_typed(told[line.number] or 0.0)
        for line in found.lines
    ]
    known = [usd for usd in sums if usd is not None]
    return float(sum(known, Decimal(0))) if known and len(known) == len(sums) else None


def _too_early(answers: list[tuple[Entry, ApprovalData]], quotes: _Quotes) -> Iterator[Problem]:
    for entry, data in answers:
        quote = quotes.get(data.quote or "")
        if quote is not None and _before(entry.at, quote[0].at):
            yield Problem(
                entry.id,
                f"The answer is dated {entry.at[:16]}, before its estimate of {quote[0].at[:16]}.",
                "Put the date right, or ask the customer again; until then it does not count.",
            )
        for answer in data.lines or ():
            if quote is not None and answer.line > len(quote[1].lines):
                yield Problem(
                    entry.id,
                    f"The answer speaks of line {answer.line}; the estimate has "
                    f"{len(quote[1].lines)}.",
                    "Look at what the customer was shown.",
                )


def _work_on_refused(
    works: list[tuple[Entry, WorkData]],
    answers: list[tuple[Entry, ApprovalData]],
    lines: list[LedgerLine],
    quotes: _Quotes,
) -> Iterator[Problem]:
    counts = {line.entry for line in lines if line.counts}
    causes: dict[str, tuple[Entry, ApprovalData, bool]] = {}
    for entry, data in answers:
        quote = quotes.get(data.quote or "")
        if quote is None or entry.id not in counts:
            continue
        for number, granted, _, _ in answers_to(data, quote[1]):
            cause = quote[1].lines[number - 1].cause
            if cause:
                causes[cause] = (entry, data, granted)
    for work_entry, work in works:
        found = causes.get(work.cause or "")
        if found is not None and not found[2] and found[0].at <= work_entry.at:
            yield Problem(
                work_entry.id,
                f"This work was declined by {found[1].by} ({found[0].id}).",
                "Do not bill it; get a new approval before any more of it.",
            )


def _before(one: str, other: str) -> bool:
    """Whether a time lies before another; what cannot be compared does not."""
    try:
        first, second = datetime.fromisoformat(one), datetime.fromisoformat(other)
    except ValueError:
        return False
    if (first.tzinfo is None) != (second.tzinfo is None):
        first, second = first.replace(tzinfo=UTC), second.replace(tzinfo=UTC)
    return first < second


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
