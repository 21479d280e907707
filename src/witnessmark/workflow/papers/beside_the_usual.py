"""The shop's own figure beside what such lines usually come to: like with like, for the shop."""

from __future__ import annotations

from decimal import Decimal

from witnessmark.model.dossier import Advice
from witnessmark.model.entries.agreed_data import QuoteLine
from witnessmark.model.entries.case import Case
from witnessmark.model.quoted import OwnRates, priced
from witnessmark.report.estimate_paper import estimates_of
from witnessmark.report.figures import exact_money, money
from witnessmark.words.say import offered as say

__all__ = ["beside_the_usual"]

#: Kinds of lines that no job of a pack holds: they stand on neither side of the comparison.
_APART = {"tax", "core", "fee", "sublet", "supplies"}


def beside_the_usual(case: Case, advice: Advice, rates: OwnRates) -> str:
    """Return how the shop's lines stand to what such work comes to; empty without an estimate.

    Compared are the lines of jobs that a pack knows, and the goods that go with them. Taxes,
    fees, deposits, sublet work and the diagnosis stand on neither side and are named.

    Args:
        case: the entries.
        advice: of the same case.
        rates: what the shop has set itself.
    """
    quotes = estimates_of(case)
    usual = advice.bare_usd
    if not quotes or usual is None:
        return ""
    quote = quotes[-1][1]
    mine = {n for n, line in enumerate(quote.lines, start=1) if _alike(line)}
    found = priced(quote, rates, only=mine)
    apart = "; ".join(line.what for n, line in enumerate(quote.lines, start=1) if n not in mine)
    low, high = money(usual.low), money(usual.high)
    if found.unpriced or found.left_out_minutes:
        left = found.unpriced or tuple(line.what for line in found.lines if line.minutes)
        return say.like_unpriced(low, high, "; ".join(left))
    wrote = exact_money(found.total_usd or Decimal(0))
    return say.like_with_like(low, high, wrote, apart)


def _alike(line: QuoteLine) -> bool:
    if line.kind in _APART:
        return False
    return line.cause is not None or (line.usd is not None and line.minutes is None)
