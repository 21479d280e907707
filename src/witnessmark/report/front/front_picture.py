"""The one picture of the page: a quantity before and after, in its normal range, to be read grey.

A ring is before, a filled dot after, the hatched box the normal range: shapes tell them apart,
not colours.
"""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.finding import OperatingPoint
from witnessmark.model.proof import Pair
from witnessmark.report.figures import plain_number, quantity_words, shown, unit_of
from witnessmark.report.pictures.before_after_rows import roomy
from witnessmark.report.pictures.canvas import FAINT, MARK, Canvas, Scale
from witnessmark.report.pictures.rows import rule_rows
from witnessmark.words.numbers import percentage
from witnessmark.words.tongue import Tongue

__all__ = ["front_picture", "told_point"]

_WIDTH, _SIDE, _ROW, _TOP = 380.0, 16.0, 56.0, 46.0
_MOST_ROWS = 3


def front_picture(pairs: Sequence[Pair], tongue: Tongue, *, si: bool = False) -> tuple[str, str]:
    """Return (SVG, what it shows) of the quantity that was measured on both sides most often.

    Args:
        pairs: of a proof; none of them need be measured.
        tongue: the customer's language.
        si: show SI units.
    """
    both = [p for p in pairs if p.before is not None and p.after is not None]
    if not both:
        return "", ""
    counts = {p.quantity: sum(q.quantity == p.quantity for q in both) for p in both}
    name = max(counts, key=lambda q: counts[q])
    rows = [p for p in both if p.quantity == name][:_MOST_ROWS]
    unit = unit_of(name, rows[0].unit, si=si)
    words = f"{tongue.text(quantity_words(name))} [{unit}]"
    canvas = Canvas(
        _WIDTH, _TOP + _ROW * len(rows) + 26, words,
        words=". ".join(f"{told_point(p.point, tongue)}: {_values(p, tongue, si)}" for p in rows),
    )  # fmt: skip
    scale = Scale(*_ends(rows, si), _SIDE, _WIDTH - _SIDE)
    canvas.text((_SIDE, 16), words, bold=True, size=14)
    _legend(canvas, tongue, any(p.band for p in rows))
    rule_rows(canvas, scale, _ends(rows, si), top=_TOP, row=_ROW, count=len(rows))
    for number, pair in enumerate(rows):
        _row(canvas, scale, pair, _TOP + _ROW * number, tongue, si)
    return canvas.svg(), words


def told_point(point: OperatingPoint | None, tongue: Tongue) -> str:
    """Return an operating point in the customer's language; empty for none."""
    if point is None:
        return ""
    parts = []
    if point.rpm is not None:
        parts.append(f"{point.rpm:.0f} rpm")
    if point.load is not None:
        whole = "no load" if point.load <= 0 else "full load" if point.load >= 1 else ""
        part = f"{tongue.term('load')} {percentage(point.load)}"
        parts.append(tongue.term(whole) if whole else part)
    if point.gear is not None:
        parts.append(f"{tongue.term('gear')} {point.gear}")
    if point.warm is not None:
        parts.append(tongue.term("warm" if point.warm else "cold"))
    return ", ".join(parts)


def _legend(canvas: Canvas, tongue: Tongue, band: bool) -> None:
    y, x = 35.0, _SIDE
    canvas.mark((x + 6, y - 4), "ring", size=4.5)
    canvas.text((x + 16, y), tongue.term("before"), size=12)
    canvas.mark((x + 86, y - 4), "dot", colour=MARK, size=4.5)
    canvas.text((x + 96, y), tongue.term("after"), size=12)
    if band:
        canvas.rect((x + 166, y - 10), (22, 11), hatched=True, stroke=FAINT)
        canvas.text((x + 194, y), tongue.term("normal range"), size=12)


def _row(canvas: Canvas, scale: Scale, pair: Pair, top: float, tongue: Tongue, si: bool) -> None:
    middle = top + 37
    canvas.text((_SIDE, top + 17), told_point(pair.point, tongue), size=12.5, bold=True)
    canvas.text((_WIDTH - _SIDE, top + 17), _values(pair, tongue, si), size=12.5, anchor="end")
    canvas.line((_SIDE, middle), (_WIDTH - _SIDE, middle), colour=FAINT)
    if pair.band is not None:
        low, high = (None if x is None else shown(pair.quantity, x, si=si) for x in pair.band)
        start = scale.start if low is None else scale.clipped(low)
        end = scale.end if high is None else scale.clipped(high)
        canvas.rect((start, middle - 12), (end - start, 24), hatched=True, stroke=FAINT)
    for value, mark in ((pair.before, "ring"), (pair.after, "dot")):
        if value is not None:
            at = scale.at(shown(pair.quantity, value, si=si))
            if mark == "ring":
                canvas.mark((at, middle), "ring")
            else:
                canvas.mark((at, middle), "dot", colour=MARK)


def _values(pair: Pair, tongue: Tongue, si: bool) -> str:
    before, after = (
        tongue.term("not measured") if v is None else plain_number(shown(pair.quantity, v, si=si))
        for v in (pair.before, pair.after)
    )
    return f"{before} \u2192 {after} {unit_of(pair.quantity, pair.unit, si=si)}"


def _ends(pairs: Sequence[Pair], si: bool) -> tuple[float, float]:
    house = [v for p in pairs for v in (p.before, p.after, *(p.band or ())) if v is not None]
    return roomy([shown(pairs[0].quantity, v, si=si) for v in house])
