"""A truck over its visits: each quantity at each point, its own band, its drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from witnessmark.errors import WitnessmarkError
from witnessmark.inference.own_band import OwnBand, Trend, own_band, trend_of
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import OutcomeData, ReadingData
from witnessmark.units import QUANTITIES, display_unit, from_house, parse_range

__all__ = ["OwnReading", "OwnSeries", "series_of"]


@dataclass(frozen=True, slots=True)
class OwnReading:
    """One reading of the truck.

    Attributes:
        at: when.
        value: house unit.
        typed: as it was typed.
        well: taken after the last work of a visit after which the customer said it was gone.
        case: case id.
        entry: entry id.
    """

    at: str
    value: float
    typed: str
    well: bool
    case: str
    entry: str


@dataclass(frozen=True, slots=True)
class OwnSeries:
    """All readings of one quantity at one point.

    Attributes:
        quantity: what.
        point: where, in words.
        readings: oldest first.
        band: of the readings when it was well, the newest reading left out; ``None``: too few.
        trend: over the readings when it was well; ``None``: too few.
        left: the newest reading lies outside the band.
    """

    quantity: str
    point: str
    readings: tuple[OwnReading, ...]
    band: OwnBand | None
    trend: Trend | None
    left: bool

    def band_words(self) -> str:
        """Return the band in the house unit, empty without one."""
        if self.band is None:
            return ""
        return f"{self._figure(self.band.low)} to {self._figure(self.band.high)}"

    def trend_words(self) -> str:
        """Return the drift in the house unit, empty where none is shown."""
        if self.trend is None or not self.trend.shown:
            return ""
        way = "rises" if self.trend.per_100_days > 0 else "falls"
        step = self._difference(abs(self.trend.per_100_days))
        return f"{way} by {step} in 100 days"

    def _figure(self, value: float) -> str:
        unit = display_unit(self.quantity)
        shown = from_house(self.quantity, value, unit)
        return f"{shown:.3g} {unit}" if abs(shown) < 1000 else f"{shown:,.0f} {unit}"

    def _difference(self, value: float) -> str:
        unit = display_unit(self.quantity)
        step = from_house(self.quantity, value, unit) - from_house(self.quantity, 0.0, unit)
        return f"{step:.3g} {unit}"


def series_of(cases: Sequence[Case]) -> tuple[OwnSeries, ...]:
    """Return the series of one truck, those that left their band first.

    Args:
        cases: its visits.
    """
    rows: dict[tuple[str, str], list[OwnReading]] = {}
    for case in cases:
        stages = case.stages()
        last = max(stages.values(), default=0)
        well = any(d.gone is True for _, d in case.of(OutcomeData))
        for entry, data in case.of(ReadingData):
            if data.quantity not in QUANTITIES:
                continue
            try:
                value = parse_range(data.quantity, data.value).middle
            except WitnessmarkError:
                continue
            good = well and stages[entry.id] == last
            told = OwnReading(entry.at, value, data.value, good, case.id, entry.id)
            rows.setdefault((data.quantity, data.point.at().words()), []).append(told)
    found = [_series(*key, sorted(told, key=lambda r: r.at)) for key, told in rows.items()]
    return tuple(sorted(found, key=lambda s: (not s.left, s.quantity, s.point)))


def _series(quantity: str, point: str, told: Sequence[OwnReading]) -> OwnSeries:
    newest = told[-1]
    before = [r.value for r in told[:-1] if r.well]
    band = own_band(before)
    healthy = [r for r in told if r.well]
    days = [_day(r.at) for r in healthy]
    trend = trend_of(days, [r.value for r in healthy])
    left = band is not None and not band.low <= newest.value <= band.high
    return OwnSeries(quantity, point, tuple(told), band, trend, left)


def _day(at: str) -> float:
    return datetime.fromisoformat(at).timestamp() / 86400.0
