"""What the shop wrote on an estimate, added up by figures that somebody of the shop typed."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.model.entries.entry_data import QuoteData, QuoteLine

__all__ = ["OwnRates", "PricedLine", "PricedQuote", "priced"]


@dataclass(frozen=True, slots=True)
class OwnRates:
    """The rates that the shop has set itself; ``None`` where only the tool's judgement stands.

    Attributes:
        labour_usd_per_hour: posted hourly rate [USD/h].
        diagnostic_fee_usd: fee agreed for the diagnosis [USD].
        diagnostic_limit_usd: limit agreed for the diagnosis [USD].
    """

    labour_usd_per_hour: float | None = None
    diagnostic_fee_usd: float | None = None
    diagnostic_limit_usd: float | None = None


@dataclass(frozen=True, slots=True)
class PricedLine:
    """One line as the customer sees it.

    Attributes:
        what: in the shop's words.
        minutes: time, ``None`` where none was written.
        usd: its price [USD], ``None`` where nobody has priced it.
    """

    what: str
    minutes: float | None
    usd: float | None


@dataclass(frozen=True, slots=True)
class PricedQuote:
    """An estimate and its one sum.

    Attributes:
        lines: every line.
        total_usd: the sum [USD]; ``None`` while no line has a price.
        given: the sum was written down as such, and the lines do not add up to it by themselves.
        labour_usd_per_hour: rate that is in the prices, ``None`` where no labour is in them.
        left_out_minutes: time written beside a price that does not hold it [min].
    """

    lines: tuple[PricedLine, ...]
    total_usd: float | None
    given: bool = False
    labour_usd_per_hour: float | None = None
    left_out_minutes: float = 0.0

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Return the lines that nobody has priced."""
        return tuple(line.what for line in self.lines if line.usd is None)


def priced(quote: QuoteData, rates: OwnRates) -> PricedQuote:
    """Add up *quote* by what stands on its lines and the shop's own hourly rate, nothing else.

    A sum that was written down stands as it was given. Where the lines do not come to it, each
    shows only the price that was written beside it.
    """
    rate = rates.labour_usd_per_hour
    found = _added(quote, rate)
    if quote.total_usd is None:
        return found
    # A total is rounded by hand: half a dollar apart is the same sum.
    same = found.total_usd is not None and abs(found.total_usd - quote.total_usd) <= 0.5
    if same and not found.unpriced:
        return PricedQuote(found.lines, quote.total_usd, False, found.labour_usd_per_hour)
    return PricedQuote(_added(quote, None).lines, quote.total_usd, True)


def _added(quote: QuoteData, rate: float | None) -> PricedQuote:
    lines = tuple(PricedLine(q.what, q.minutes, _price(q, rate)) for q in quote.lines)
    known = [line.usd for line in lines if line.usd is not None]
    timed = [q.minutes for q in quote.lines if q.minutes]
    left = 0.0 if rate is not None else sum(q.minutes or 0.0 for q in quote.lines if q.usd)
    return PricedQuote(
        lines, sum(known) if known else None, False, rate if timed else None, left
    )  # fmt: skip


def _price(line: QuoteLine, rate: float | None) -> float | None:
    labour = None if rate is None or line.minutes is None else line.minutes / 60.0 * rate
    parts = [usd for usd in (labour, line.usd) if usd is not None]
    return sum(parts) if parts else None
