"""Healthy bands: what is normal, where on the engine's map that is known, and who says so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from witnessmark.model.finding import OperatingPoint
from witnessmark.words.numbers import percentage

__all__ = ["Band", "Kind", "Source"]

Kind = Literal["judgement", "handbook", "measured"]


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from.

    Attributes:
        kind: judgement, handbook or measured.
        words: the source in words.
    """

    kind: Kind
    words: str


@dataclass(frozen=True, slots=True)
class Band:
    """A healthy band and where it is valid.

    Attributes:
        quantity: name in the quantity table.
        low: lower end, ``None`` where only an upper limit is known [house unit].
        high: upper end [house unit].
        rpm: engine speeds it is valid at, ``None`` for any.
        load: loads (0..1) it is valid at, ``None`` for any.
        warm: ``True`` where the engine must be at working temperature.
        fuel_supply: gallery or common_rail where it holds for one of them only.
        engine_type: the shop's own type name where it holds for that type only.
        words: what it is, in words.
        source: where it comes from.
    """

    quantity: str
    low: float | None
    high: float | None
    rpm: tuple[float, float] | None
    load: tuple[float, float] | None
    warm: bool | None
    fuel_supply: str | None
    engine_type: str | None
    words: str
    source: Source

    def not_valid_at(self, point: OperatingPoint) -> str:
        """Say why the band is not valid at *point*; empty when it is valid there.

        A missing rpm or load is missing, not zero: the band is then not valid. Only a load at
        idle speed (below 800 rpm) or below is taken as none, because an engine idles without.
        A warm state that was not written down does not block.
        """
        if self.rpm is not None:
            within = point.turns_within(self.rpm)
            if within is None:
                return "the engine speed was not written down"
            if not within:
                return f"the band is known for {self.rpm[0]:.0f} to {self.rpm[1]:.0f} rpm"
        if self.load is not None:
            load = point.load
            slow = point.rpm is not None and point.rpm < 800
            if load is None and (slow or point.engine in {"off", "key_on", "cranking", "idle"}):
                load = 0.0
            if load is None:
                return "the load was not written down"
            if not self.load[0] <= load <= self.load[1]:
                return f"the band is known for {percentage(self.load[0])} to " + (
                    f"{percentage(self.load[1])} load"
                )
        if self.warm is not None and point.warm is not None and self.warm != point.warm:
            return "the band is for a warm engine" if self.warm else "the band is for a cold engine"
        return ""

    def applies_to(self, fuel_supply: str | None, engine_type: str | None) -> bool:
        """Say whether the band is for this engine; an unknown engine gets no narrowed band."""
        if self.engine_type is not None and self.engine_type != engine_type:
            return False
        return self.fuel_supply is None or self.fuel_supply == fuel_supply
