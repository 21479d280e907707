"""Before and after: the same quantity at the same operating point, on one scale, with its band."""

from __future__ import annotations

import math
from collections.abc import Sequence

from witnessmark.model.proof import Pair
from witnessmark.report.figures import (
    figure,
    interval_words,
    plain_number,
    point_words,
    quantity_words,
    shown,
    unit_of,
)
from witnessmark.report.pictures.canvas import FAINT, MARK, Canvas, Scale
from witnessmark.report.pictures.rows import rule_rows

__all__ = ["before_after_picture", "before_after_pictures"]

_WIDTH, _LEFT, _RIGHT, _ROW, _TOP = 440.0, 18.0, 18.0, 50.0, 44.0


def before_after_pictures(pairs: Sequence[Pair], *, si: bool = False) -> list[tuple[str, str]]:
    """Return (quantity, picture) for every quantity that was measured on either side."""
    rows: dict[str, list[Pair]] = {}
    for pair in pairs:
        if pair.before is not None or pair.after is not None:
            rows.setdefault(pair.quantity, []).append(pair)
    return [(name, before_after_picture(found, si=si)) for name, found in rows.items()]


def before_after_picture(pairs: Sequence[Pair], *, si: bool = False) -> str:
    """Draw the pairs of one quantity, one row an operating point.

    A ring is the value before, a filled dot the value after; the whisker is the 95 % interval of
    the change, seen from the value before. The hatched box is the healthy band.

    Args:
        pairs: pairs of one quantity, at least one of them measured.
        si: show SI units.
    """
    name = pairs[0].quantity
    ordered = sorted(pairs, key=_order)
    low, high = _ends(ordered, si)
    height = _TOP + _ROW * len(ordered) + 34
    title = f"{quantity_words(name)}, before and after"
    canvas = Canvas(_WIDTH, height, title, words=" ".join(_sentence(p, si) for p in ordered))
    scale = Scale(low, high, _LEFT, _WIDTH - _RIGHT)
    canvas.text((_LEFT, 16), f"{quantity_words(name)} [{unit_of(name, si=si)}]", bold=True, size=13)
    _legend(canvas, any(p.band for p in ordered))
    rule_rows(canvas, scale, (low, high), top=_TOP, row=_ROW, count=len(ordered))
    for number, pair in enumerate(ordered):
        top = _TOP + _ROW * number
        _row(canvas, scale, pair, top, si)
    return canvas.svg()


def _legend(canvas: Canvas, band: bool) -> None:
    y = 34.0
    canvas.mark((_LEFT + 6, y - 4), "ring", size=4.5)
    canvas.text((_LEFT + 16, y), "before", size=11)
    canvas.mark((_LEFT + 68, y - 4), "dot", colour=MARK, size=4.5)
    canvas.text((_LEFT + 78, y), "after", size=11)
    canvas.whisker((_LEFT + 116, y - 4), (_LEFT + 138, y - 4), colour=MARK)
    canvas.text((_LEFT + 144, y), "95 % interval of the change", size=11)
    if band:
        canvas.rect((_LEFT + 300, y - 10), (22, 11), hatched=True, stroke=FAINT)
        canvas.text((_LEFT + 328, y), "healthy band", size=11)


def _row(canvas: Canvas, scale: Scale, pair: Pair, top: float, si: bool) -> None:
    middle = top + 34
    canvas.text((_LEFT, top + 15), point_words(pair.point), size=12, bold=True)
    canvas.text((_WIDTH - _RIGHT, top + 15), _figures(pair, si), size=12, anchor="end")
    canvas.line((_LEFT, middle), (_WIDTH - _RIGHT, middle), colour=FAINT)
    if pair.band is not None:
        band = [None if x is None else shown(pair.quantity, x, si=si) for x in pair.band]
        start = scale.start if band[0] is None else scale.clipped(band[0])
        end = scale.end if band[1] is None else scale.clipped(band[1])
        canvas.rect((start, middle - 12), (end - start, 24), hatched=True, stroke=FAINT)
    before = None if pair.before is None else scale.at(shown(pair.quantity, pair.before, si=si))
    after = None if pair.after is None else scale.at(shown(pair.quantity, pair.after, si=si))
    reached = after
    if pair.before is not None and pair.low is not None and pair.high is not None:
        ends = [
            scale.clipped(shown(pair.quantity, pair.before + x, si=si))
            for x in (pair.low, pair.high)
        ]
        canvas.whisker((min(ends), middle), (max(ends), middle), colour=MARK)
        if before is not None and after is not None:
            reached = min(ends) if after > before else max(ends)
    if before is not None and reached is not None and after is not None:
        away = 8.0 if after > before else -8.0
        if (reached - before) * away > 20 * abs(away):
            canvas.arrow((before + away, middle), (reached - away / 2, middle), width=1.2)
    if before is not None:
        canvas.mark((before, middle), "ring")
    if after is not None:
        canvas.mark((after, middle), "dot", colour=MARK)


def _figures(pair: Pair, si: bool) -> str:
    """Say both values, and honestly when no change is shown or a side is missing."""
    unit = unit_of(pair.quantity, pair.unit, si=si)
    before, after = (
        "not measured" if v is None else plain_number(shown(pair.quantity, v, si=si))
        for v in (pair.before, pair.after)
    )
    text = f"{before} \u2192 {after} {unit}"
    if pair.shown is False:
        text += " (no change shown)"
    return text


def _sentence(pair: Pair, si: bool) -> str:
    before, after = (figure(pair.quantity, v, pair.unit, si=si) for v in (pair.before, pair.after))
    band = interval_words(pair.quantity, *pair.band, si=si) if pair.band else ""
    words = f"At {point_words(pair.point)}: before {before}, after {after}"
    return f"{words}; healthy band {band}." if band else f"{words}."


def _order(pair: Pair) -> tuple[float, float]:
    return (pair.point.load or 0.0), (pair.point.rpm or 0.0)


def _ends(pairs: Sequence[Pair], si: bool) -> tuple[float, float]:
    values: list[float] = []
    for pair in pairs:
        house = [pair.before, pair.after, *(pair.band or ())]
        if pair.before is not None:
            house += [pair.before + x for x in (pair.low, pair.high) if x is not None]
        values += [
            shown(pair.quantity, v, si=si) for v in house if v is not None and math.isfinite(v)
        ]
    return roomy(values)


def roomy(values: Sequence[float]) -> tuple[float, float]:
    """Return ends of a scale with a little room on both sides; never below zero without need."""
    low, high = min(values), max(values)
    room = 0.08 * (high - low) or max(1.0, 0.1 * abs(high))
    return (max(0.0, low - room) if low >= 0 else low - room), high + room
