"""What the customer answered, line by line, and what became of each line that was offered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from witnessmark.model.entries.agreed_data import ApprovalData, QuoteData, Risk
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.entries.ledger_data import DeclineData

__all__ = ["FOLLOWS", "Offered", "Refusal", "answers_to", "offered", "refusals"]

#: Kinds of lines that go with the others: nobody accepts or does them for themselves.
FOLLOWS = frozenset({"tax", "core", "supplies"})


_RISKS: dict[str, Risk] = {"do_not_drive": "do not drive", "soon": "soon", "watch": "watch"}


@dataclass(frozen=True, slots=True)
class Refusal:
    """One line that the customer declined.

    Attributes:
        what: the line in the shop's words; empty for work without a written estimate.
        risk: what it means to leave it undone, ``None`` where that was not written down.
        words: what was said.
        by: who declined it, empty where only the customer is known to have.
        at: when.
        entry: approval entry id.
        quote: estimate entry id; empty for work without one.
        number: the line's number, from 1; 0 without an estimate.
    """

    what: str
    risk: Risk | None
    words: str
    by: str
    at: str
    entry: str
    quote: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True)
class Offered:
    """A line of an estimate and what became of it.

    Attributes:
        what: the line in the shop's words.
        quote: estimate entry id.
        number: its number, from 1.
        state: ``done``: its work is entered, or it is on the bill; ``declined``; ``not done``;
            ``not written down``: nothing in the case says whether it was done.
    """

    what: str
    quote: str
    number: int
    state: Literal["done", "declined", "not done", "not written down"]


def offered(case: Case) -> tuple[Offered, ...]:
    """Return every line that was offered, of every estimate that none has revised.

    Taxes, deposits and supplies go with the lines they belong to, and are none of their own.
    """
    quotes = [(entry, data) for entry, data in case.of(QuoteData) if not data.final]
    bills = [data for _, data in case.of(QuoteData) if data.final]
    billed = {line.what for data in bills[-1:] for line in data.lines}
    revised = {data.replaces for _, data in quotes}
    done = {data.cause for _, data in case.of(WorkData) if data.cause}
    no = {(r.quote, r.number) for r in refusals(case)}
    found = []
    for entry, quote in quotes:
        if entry.id in revised:
            continue
        for number, line in enumerate(quote.lines, start=1):
            if line.kind in FOLLOWS:
                continue
            state: Literal["done", "declined", "not done", "not written down"]
            if (entry.id, number) in no:
                state = "declined"
            elif line.cause in done or line.what in billed:
                state = "done"
            elif line.cause or bills:
                state = "not done"
            else:
                state = "not written down"
            found.append(Offered(line.what, entry.id, number, state))
    return tuple(found)


def refusals(case: Case) -> tuple[Refusal, ...]:
    """Return every line that stands declined: the last answer on it counts."""
    quotes = {entry.id: data for entry, data in case.of(QuoteData)}
    found: dict[tuple[str, int], Refusal | None] = {}
    for entry, data in case.of(ApprovalData):
        quote = quotes.get(data.quote or "")
        for number, granted, risk, words in answers_to(data, quote):
            if quote is not None and quote.lines[number - 1].kind in FOLLOWS:
                continue
            place = (data.quote or entry.id, number)
            if granted:
                found[place] = None
                continue
            line = quote.lines[number - 1] if quote is not None else None
            found[place] = Refusal(
                "" if line is None else line.what,
                risk or (line.risk if line is not None else None),
                words or data.words or "",
                data.by,
                entry.at,
                entry.id,
                data.quote or "",
                number,
            )
    said = [refusal for refusal in found.values() if refusal is not None]
    for entry, declined in case.of(DeclineData):
        risk = _RISKS.get(declined.risk or "")
        words = declined.words or ""
        said += [
            Refusal(what, risk, words, "", entry.at, entry.id) for what in declined.lines or ("",)
        ]
    return tuple(said)


def answers_to(
    data: ApprovalData, quote: QuoteData | None
) -> Iterator[tuple[int, bool, Risk | None, str]]:
    """Yield (line from 1, yes or no, risk, words) of an answer; line 0 without an estimate."""
    if quote is None:
        yield 0, data.granted, data.risk, data.words or ""
        return
    told = {answer.line: answer for answer in data.lines or ()}
    for number in range(1, len(quote.lines) + 1):
        answer = told.get(number)
        if answer is None:
            yield number, data.granted, data.risk, data.words or ""
        else:
            yield number, answer.granted, answer.risk or data.risk, answer.words or ""
