"""The torque card as blocks of a paper."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from witnessmark.model.entries.case import Case
from witnessmark.report.cards.torque_lines import NOT_READ, CardLine, card_lines
from witnessmark.report.paper import Block, Heading, Items, NewPage, Said, TableBlock
from witnessmark.words.plain import short_sentences
from witnessmark.words.say import tightened as say
from witnessmark.words.strength import capital

__all__ = ["torque_card"]

_BLANK = "__________"
_HEAD = ("Job", "Fastener", "Target", "Manual, page, date", "Reading", "Wrench", "Done, second")


def torque_card(
    case: Case, names: Mapping[str, str], *, warned: Sequence[str] = ()
) -> Iterator[Block]:
    """Return the torque card: blank stays blank, and the source of a figure is part of it.

    Args:
        case: the entries.
        names: cause id -> words.
        warned: stops and cautions of the jobs.
    """
    lines = card_lines(case, names)
    if not lines:
        return
    yield NewPage()
    yield Heading("Torque card")
    yield from (Said(capital(short_sentences(w)), "caution") for w in dict.fromkeys(warned))
    yield Said(say.own_manual())
    yield TableBlock(_HEAD, tuple(_row(line) for line in lines))
    told = tuple(f"{line.torque.location}: {remark}" for line in lines for remark in line.remarks)
    if told:
        yield Items(told)
        yield Said(say.how_checked(), "small")
    if any(line.source == NOT_READ for line in lines):
        yield Said(say.counts_for_nothing(NOT_READ), "caution")
    yield Said(f"{say.practice()} {say.witness()}", "small")


def _row(line: CardLine) -> tuple[str, ...]:
    torque = line.torque
    done = ", ".join(p for p in (torque.done, torque.second) if p)
    return (line.job, line.fastener, line.target or _BLANK, line.source or _BLANK,
            torque.reading or _BLANK, line.wrench or _BLANK, done or "\u2610 \u2610")  # fmt: skip
