"""Readings against their healthy band, each at its operating point."""

from __future__ import annotations

import math
from collections.abc import Sequence

from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.finding import Finding
from witnessmark.report.figures import (
    figure,
    interval_words,
    quantity_words,
    shown,
    unit_of,
)
from witnessmark.report.pictures.before_after_rows import roomy
from witnessmark.report.pictures.canvas import FAINT, Canvas, Scale, Shape
from witnessmark.report.pictures.rows import rule_rows

__all__ = ["readings_picture", "readings_pictures"]

_WIDTH, _SIDE, _ROW, _TOP = 440.0, 18.0, 50.0, 26.0
_SHAPES: dict[str, Shape] = {"inside": "dot", "outside": "cross", "cannot tell": "box"}


def readings_pictures(findings: Sequence[Finding], *, si: bool = False) -> list[tuple[str, str]]:
    """Return (quantity, picture) for every quantity that was held against a band."""
    rows: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.quantity and finding.value is not None and _verdict(finding):
            rows.setdefault(finding.quantity, []).append(finding)
    return [(name, readings_picture(found, si=si)) for name, found in rows.items()]


def readings_picture(findings: Sequence[Finding], *, si: bool = False) -> str:
    """Draw readings of one quantity, one row an operating point, each with its own band.

    A dot is inside, a cross outside, an open box cannot be told with that gauge; the whisker is
    the reading's 95 % interval. The verdict stands beside it in words.

    Args:
        findings: checks of readings against a band, all of one quantity.
        si: show SI units.
    """
    name = str(findings[0].quantity)
    ordered = sorted(findings, key=_order)
    low, high = _ends(ordered, si)
    bottom = _TOP + _ROW * len(ordered)
    title = f"{quantity_words(name)} against its healthy band"
    canvas = Canvas(_WIDTH, bottom + 28, title, words=" ".join(_sentence(f, si) for f in ordered))
    scale = Scale(low, high, _SIDE, _WIDTH - _SIDE)
    canvas.text((_SIDE, 16), f"{quantity_words(name)} [{unit_of(name, si=si)}]", bold=True, size=13)
    rule_rows(canvas, scale, (low, high), top=_TOP, row=_ROW, count=len(ordered))
    for number, finding in enumerate(ordered):
        top = _TOP + _ROW * number
        _row(canvas, scale, finding, top, si)
    return canvas.svg()


def _row(canvas: Canvas, scale: Scale, finding: Finding, top: float, si: bool) -> None:
    name, verdict, middle = str(finding.quantity), _verdict(finding), top + 34
    point = finding.point.words() if finding.point else "operating point not given"
    canvas.text((_SIDE, top + 15), point, bold=True)
    said = f"{figure(name, finding.value, finding.unit, si=si)} · {verdict}"
    canvas.text((_WIDTH - _SIDE, top + 15), said, anchor="end")
    ends = [None if x is None else shown(name, x, si=si) for x in _band(finding)]
    start = scale.start if ends[0] is None else scale.clipped(ends[0])
    end = scale.end if ends[1] is None else scale.clipped(ends[1])
    canvas.line((_SIDE, middle), (_WIDTH - _SIDE, middle), colour=FAINT)
    canvas.rect((start, middle - 12), (end - start, 24), hatched=True, stroke=FAINT)
    if finding.low is not None and finding.high is not None:
        low, high = (scale.clipped(shown(name, x, si=si)) for x in (finding.low, finding.high))
        canvas.whisker((low, middle), (high, middle))
    value = scale.at(shown(name, float(finding.value or 0.0), si=si))
    canvas.mark((value, middle), _SHAPES[verdict])


def _verdict(finding: Finding) -> str:
    told = finding.details
    return told.verdict if isinstance(told, AgainstBand) and told.verdict in _SHAPES else ""


def _band(finding: Finding) -> tuple[float | None, float | None]:
    told = finding.details
    return (told.band_low, told.band_high) if isinstance(told, AgainstBand) else (None, None)


def _sentence(finding: Finding, si: bool) -> str:
    name = str(finding.quantity)
    point = finding.point.words() if finding.point else "a point that was not given"
    band = interval_words(name, *_band(finding), si=si)
    return (
        f"At {point}: {figure(name, finding.value, finding.unit, si=si)}, {_verdict(finding)}; "
        f"healthy band {band}."
    )


def _order(finding: Finding) -> tuple[float, float]:
    point = finding.point
    return (0.0, 0.0) if point is None else ((point.load or 0.0), (point.rpm or 0.0))


def _ends(findings: Sequence[Finding], si: bool) -> tuple[float, float]:
    values = [
        shown(str(finding.quantity), value, si=si)
        for finding in findings
        for value in (finding.value, finding.low, finding.high, *_band(finding))
        if value is not None and math.isfinite(value)
    ]
    return roomy(values)
