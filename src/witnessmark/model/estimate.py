"""An estimate: lines, total, and the chance that it is exceeded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from witnessmark.model.step import Spread

__all__ = ["Estimate", "EstimateLine", "LineKind"]

LineKind = Literal["labour", "overlap", "parts", "seal", "consumables", "tax", "core", "fee"]


@dataclass(frozen=True, slots=True)
class EstimateLine:
    """One line.

    Attributes:
        kind: what sort of line.
        what: in words.
        usd: low, typical, high; credits are negative.
        minutes: labour time, ``None`` for money lines.
        cause: the job it belongs to, empty for the whole.
        note: where the figure comes from or what must be watched.
    """

    kind: LineKind
    what: str
    usd: Spread
    minutes: Spread | None = None
    cause: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimate.

    Attributes:
        lines: every line.
        total: 10 %, 50 % and 90 % points of the total without deposits.
        quoted_usd: the sum that is put in front of the customer.
        chance_exceeded: P(total > quoted_usd) if the work stays what it is.
        chance_more_work: P(the complaint is still there afterwards), ``None`` where not known.
        deposits_usd: core deposits, credited on return.
        diagnostic_fee_usd: the agreed fee; shown apart, for diagnosing is not repairing.
        diagnostic_limit_usd: what may be spent on finding out before asking again.
        contingency: sentences for the customer.
        cautions: what can hurt the person or the truck.
        source: where the rates come from.
    """

    lines: tuple[EstimateLine, ...]
    total: Spread
    quoted_usd: float
    chance_exceeded: float
    chance_more_work: float | None
    deposits_usd: float
    diagnostic_fee_usd: float
    diagnostic_limit_usd: float
    contingency: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
