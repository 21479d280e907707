"""Readings against their bands as one small table with a drawn scale, a quantity at a time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.finding import Finding
from witnessmark.web.bench.page_words import interval, value

__all__ = ["Gauge", "gauges", "is_gauge"]

_WIDTH, _HEIGHT = 240, 34


@dataclass(frozen=True, slots=True)
class Gauge:
    """One reading against its band.

    Attributes:
        place: position of its finding.
        finding: the finding.
        point: operating point in words.
        shown: the value in words.
        verdict: inside, low, high or cannot tell.
        band: the band in words.
        scale: the drawn scale.
    """

    place: int
    finding: Finding
    point: str
    shown: str
    verdict: str
    band: str
    scale: Markup


def is_gauge(finding: Finding) -> bool:
    """Say whether a finding is a reading against a band."""
    return (
        finding.value is not None
        and finding.quantity is not None
        and isinstance(finding.details, AgainstBand)
        and finding.details.verdict in {"inside", "outside", "cannot tell"}
    )


def gauges(
    findings: Sequence[tuple[int, Finding]], *, si: bool
) -> list[tuple[str | None, list[Gauge]]]:
    """Return (quantity, its readings) in the order they were taken."""
    rows: dict[str | None, list[Gauge]] = {}
    for place, finding in findings:
        checked = finding.details
        if not is_gauge(finding) or not isinstance(checked, AgainstBand):
            continue
        low, high = _end(checked.band_low), _end(checked.band_high)
        made = Gauge(
            place,
            finding,
            finding.point.words() if finding.point else "",
            value(finding.quantity, finding.value, finding.unit, si=si),
            _verdict(checked.verdict, finding.value, low, high),
            _band(finding, low, high, si),
            _scale(finding, low, high),
        )
        rows.setdefault(finding.quantity, []).append(made)
    return list(rows.items())


def _end(end: float | None) -> float | None:
    return end if end is not None and math.isfinite(end) else None


def _verdict(verdict: str, reading: float | None, low: float | None, high: float | None) -> str:
    if verdict != "outside" or reading is None:
        return verdict
    if low is not None and reading < low:
        return "low"
    return "high" if high is not None and reading > high else verdict


def _band(finding: Finding, low: float | None, high: float | None, si: bool) -> str:
    if low is not None and high is not None:
        return f"band {interval(finding.quantity, low, high, finding.unit, si=si)}"
    if high is not None:
        return f"at most {value(finding.quantity, high, finding.unit, si=si)}"
    if low is not None:
        return f"at least {value(finding.quantity, low, finding.unit, si=si)}"
    return "no band known here"


def _scale(finding: Finding, low: float | None, high: float | None) -> Markup:
    reading = finding.value if finding.value is not None else 0.0
    known = [x for x in (low, high, reading, finding.low, finding.high) if x is not None]
    if len(known) < 2 or (low is None and high is None):
        return Markup("")
    first, last = min(known), max(known)
    room = 0.12 * ((last - first) or abs(last) or 1.0)
    first, last = first - room, last + room

    def x(v: float) -> float:
        return _WIDTH * (v - first) / (last - first)

    a, b = x(low if low is not None else first), x(high if high is not None else last)
    # The band is a box on the line; an end that is not known stays open.
    sides = f"M{a:.1f} 6V28" if low is not None else ""
    sides += f"M{b:.1f} 6V28" if high is not None else ""
    whisker = ""
    if finding.low is not None and finding.high is not None:
        whisker = f"M{x(finding.low):.1f} 17H{x(finding.high):.1f}"
    # Numbers only: nothing in it comes from outside.
    return Markup(  # noqa: S704
        f'<svg class="scale" viewBox="0 0 {_WIDTH} {_HEIGHT}" aria-hidden="true" '
        f'focusable="false"><path d="M0 17H{_WIDTH}" stroke="currentColor"/>'
        f'<rect class="band" x="{a:.1f}" y="6" width="{max(b - a, 1):.1f}" height="22"/>'
        f'<path d="{sides}" stroke="currentColor" stroke-width="3" fill="none"/>'
        f'<path d="{whisker}" stroke="currentColor" stroke-width="5"/>'
        f'<path class="tick" d="M{x(reading):.1f} 1V33" stroke-width="5"/></svg>'
    )
