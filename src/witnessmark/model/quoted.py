"""What the shop wrote on an estimate, added up by figures that somebody of the shop typed.

Money is decimal throughout: a figure is taken as it was typed, each line is rounded once to the
cent (half up), and the sum is the sum of the lines as they are read.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from witnessmark.model.entries.agreed_data import LineSort, QuoteData, QuoteLine

__all__ = ["OwnRates", "PricedLine", "PricedQuote", "as_typed", "cents", "priced"]

_CENT = Decimal("0.01")
#: A total is rounded by hand: half a dollar apart is the same sum.
_ROUNDED_BY_HAND = Decimal("0.5")


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
        kind: what sort of line, empty where it was not said.
        number: its number on the estimate, from 1.
        stage: the stage it belongs to, empty where there is one only.
        condition: of a part: new, rebuilt, used.
    """

    what: str
    minutes: float | None
    usd: Decimal | None
    kind: LineSort | None = None
    number: int = 0
    stage: str = ""
    condition: str = ""


@dataclass(frozen=True, slots=True)
class PricedQuote:
    """An estimate and its one sum.

    Attributes:
        lines: every line.
        total_usd: the sum [USD]; ``None`` while no line has a price.
        given: the sum was written down as such, and the lines do not add up to it by themselves.
        labour_usd_per_hour: rate that is in the prices, ``None`` where no labour is in them.
        left_out_minutes: time written beside a price that does not hold it [min].
        rounding_usd: what a sum rounded by hand is above (below zero: under) its lines [USD].
    """

    lines: tuple[PricedLine, ...]
    total_usd: Decimal | None
    given: bool = False
    labour_usd_per_hour: Decimal | None = None
    left_out_minutes: float = 0.0
    rounding_usd: Decimal = Decimal(0)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """Return the lines that nobody has priced."""
        return tuple(line.what for line in self.lines if line.usd is None)

    def stages(self) -> tuple[tuple[str, Decimal], ...]:
        """Return (stage, sum of its priced lines [USD]) in order; empty with one stage only."""
        names = list(dict.fromkeys(line.stage for line in self.lines))
        if len(names) < 2:
            return ()
        return tuple(
            (name, sum((x.usd for x in self.lines if x.stage == name and x.usd), Decimal(0)))
            for name in names
        )

    def deposits_usd(self) -> Decimal:
        """Return the deposits on old parts that are in the sum [USD]."""
        return sum((x.usd for x in self.lines if x.kind == "core" and x.usd), Decimal(0))


def as_typed(usd: float) -> Decimal:
    """Return a figure of an entry as the decimal that was typed."""
    return Decimal(repr(usd))


def cents(usd: Decimal) -> Decimal:
    """Return an amount rounded to the cent, half up."""
    return usd.quantize(_CENT, ROUND_HALF_UP)


def priced(
    quote: QuoteData, rates: OwnRates, *, only: Collection[int] | None = None
) -> PricedQuote:
    """Add up *quote* by what stands on its lines and the shop's own hourly rate, nothing else.

    A sum that was written down stands as it was given. Where the lines do not come to it, each
    shows only the price that was written beside it.

    Args:
        quote: the estimate.
        rates: the shop's own.
        only: numbers of the lines (from 1) that are added up, such as those agreed to; a sum
            that was written down for all lines is not used then.
    """
    rate = None if rates.labour_usd_per_hour is None else as_typed(rates.labour_usd_per_hour)
    chosen = [
        (number, line)
        for number, line in enumerate(quote.lines, start=1)
        if only is None or number in only
    ]
    found = _added(chosen, rate)
    if quote.total_usd is None or only is not None:
        return found
    total = cents(as_typed(quote.total_usd))
    rounding = None if found.total_usd is None else total - found.total_usd
    if rounding is not None and abs(rounding) <= _ROUNDED_BY_HAND and not found.unpriced:
        return PricedQuote(
            found.lines, total, False, found.labour_usd_per_hour, rounding_usd=rounding
        )
    return PricedQuote(_added(chosen, None).lines, total, True)


def _added(chosen: Sequence[tuple[int, QuoteLine]], rate: Decimal | None) -> PricedQuote:
    plain = [(n, line, _labour(line, rate), _goods(line)) for n, line in chosen]
    lines = []
    for number, line, labour, goods in plain:
        usd = None if labour is None and goods is None else (labour or 0) + (goods or 0)
        if line.percent is not None:
            usd = _share(line, plain)
        lines.append(
            PricedLine(
                line.what,
                line.minutes,
                None if usd is None else cents(Decimal(usd)),
                line.kind,
                number,
                line.stage or "",
                line.condition or "",
            )
        )
    known = [line.usd for line in lines if line.usd is not None]
    timed = any(labour for _, line, labour, _ in plain if not _flat(line))
    beside = [q.minutes or 0.0 for _, q, _, goods in plain if goods and not _flat(q)]
    return PricedQuote(
        tuple(lines),
        sum(known, Decimal(0)) if known else None,
        False,
        rate if timed else None,
        0.0 if rate is not None else sum(beside),
    )


def _flat(line: QuoteLine) -> bool:
    """Whether the price of a line holds its time already."""
    return line.kind is not None and line.usd is not None


def _labour(line: QuoteLine, rate: Decimal | None) -> Decimal | None:
    if line.kind == "labour" and line.usd is not None:
        return as_typed(line.usd) * _count(line)
    if rate is None or line.minutes is None or _flat(line):
        return None
    return as_typed(line.minutes) / 60 * rate


def _goods(line: QuoteLine) -> Decimal | None:
    if line.usd is None or line.kind == "labour":
        return None
    return as_typed(line.usd) * _count(line)


def _count(line: QuoteLine) -> Decimal:
    return Decimal(1) if line.quantity is None else as_typed(line.quantity)


def _share(
    line: QuoteLine,
    plain: Sequence[tuple[int, QuoteLine, Decimal | None, Decimal | None]],
) -> Decimal | None:
    """Return what a percentage comes to on the lines of the kinds that it is taken on.

    Without kinds a tax is taken on all but taxes and deposits, supplies and a fee on labour.
    """
    usual: tuple[LineSort, ...] = ("labour",)
    if line.kind == "tax":
        usual = ("labour", "part", "sublet", "supplies", "fee")
    kinds = usual if line.on is None else line.on
    base, any_known = Decimal(0), False
    for _, other, labour, goods in plain:
        if other is line or other.kind == "tax":
            continue
        if other.percent is not None:
            if (other.kind or "part") in kinds and line.kind == "tax":
                inner = _share(other, plain)
                base, any_known = base + cents(inner or Decimal(0)), any_known or inner is not None
            continue
        for kind, usd in (("labour", labour), (other.kind or "part", goods)):
            if usd is not None and kind in kinds:
                base, any_known = base + cents(usd), True
    percent = as_typed(line.percent or 0.0)
    return base * percent / 100 if any_known else None
