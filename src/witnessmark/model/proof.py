"""Proof: the same quantity at the same point, before and after the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from witnessmark.model.finding import OperatingPoint

Verdict = Literal["proven", "not proven", "not enough evidence"]
SpecVerdict = Literal["inside", "outside", "cannot tell", "no band"]


@dataclass(frozen=True, slots=True)
class Pair:
    """One quantity at one matching operating point, before and after. House units.

    Attributes:
        quantity: name in the quantity table.
        point: operating point.
        before: value before the work, ``None`` when it was not measured.
        after: value after the work, ``None`` when it was not measured.
        unit: house unit.
        difference: after minus before.
        low: lower end of the difference's 95 % interval.
        high: upper end.
        provable: smallest difference that this instrument can prove.
        shown: whether a change is shown (the interval excludes zero and *provable* is passed).
        spec: verdict on the value after.
        conformity: probability that the true value after is inside the band.
        band: (low, high) of the band in house units; either end may be ``None``.
        band_source: where the band comes from.
        evidence: entry ids, before then after.
        swapped: names of the two instruments, before then after, where they are not the same and
            nothing shows that they read alike: such a pair proves nothing.
        apart: how much more the first of them read than the other at the same moment, where that
            was seen and is more than either may be off; ``None`` where it was not looked at.
        swing: how far the pointer went to either side of the value after; 0.0 for one figure.
    """

    quantity: str
    point: OperatingPoint
    before: float | None
    after: float | None
    unit: str
    difference: float | None = None
    low: float | None = None
    high: float | None = None
    provable: float | None = None
    shown: bool | None = None
    spec: SpecVerdict = "no band"
    conformity: float | None = None
    band: tuple[float | None, float | None] | None = None
    band_source: str = ""
    evidence: tuple[str, ...] = ()
    swapped: tuple[str, str] | None = None
    apart: float | None = None
    swing: float = 0.0


@dataclass(frozen=True, slots=True)
class Proof:
    """The verdict on one complaint.

    Attributes:
        complaint: entry id of the complaint.
        family: family id.
        verdict: proven, not proven, or not enough evidence.
        missing: what is still missing, in words, the most useful first.
        pairs: before/after pairs.
        sentence: one plain sentence for the customer.
        unread: of what is missing, what was not read or tested at all since the latest work.
    """

    complaint: str
    family: str
    verdict: Verdict
    missing: tuple[str, ...]
    pairs: tuple[Pair, ...]
    sentence: str = ""
    unread: tuple[str, ...] = ()
