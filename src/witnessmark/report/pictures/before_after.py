"""Before and after at the same points, with what the instrument can prove and the band."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.model.proof import Pair
from witnessmark.report.pictures.canvas import Canvas, Scale
from witnessmark.units import display_unit, from_house

__all__ = ["before_after_svg"]

_ROW = 74
_LEFT, _RIGHT, _WIDTH = 24.0, 616.0, 640.0


def before_after_svg(pairs: Sequence[Pair], *, si: bool = False) -> str:
    """Draw one row a pair: a ring before, a dot after, the band hatched; empty without pairs."""
    shown = [p for p in pairs if p.before is not None or p.after is not None]
    if not shown:
        return ""
    canvas = Canvas(_WIDTH, _ROW * len(shown) + 40, "Before and after at the same points")
    for number, pair in enumerate(shown):
        _row(canvas, pair, 30 + _ROW * number, si)
    y = _ROW * len(shown) + 28
    canvas.mark(_LEFT + 6, y - 4, "ring")
    canvas.text(_LEFT + 20, y, "before", size=12)
    canvas.mark(_LEFT + 86, y - 4, "dot", accent=True)
    canvas.text(_LEFT + 100, y, "after", size=12)
    canvas.rect(_LEFT + 150, y - 12, 26, 14, hatch=True)
    canvas.text(_LEFT + 184, y, "healthy band", size=12)
    return canvas.svg()


def _row(canvas: Canvas, pair: Pair, top: float, si: bool) -> None:
    unit = display_unit(pair.quantity, si=si)

    def out(value: float) -> float:
        return from_house(pair.quantity, value, unit)

    values = [out(v) for v in (pair.before, pair.after) if v is not None]
    ends = [out(v) for v in (pair.band or ()) if v is not None]
    low, high = min(values + ends), max(values + ends)
    margin = max((high - low) * 0.18, abs(high) * 0.02, 1e-6)
    scale = Scale(low - margin, high + margin, _LEFT, _RIGHT)
    words = f"{pair.quantity.replace('_', ' ')}, {pair.point.words()} [{unit}]"
    canvas.text(_LEFT, top - 12, words, size=13, bold=True)
    if pair.band is not None:
        start = scale(out(pair.band[0])) if pair.band[0] is not None else _LEFT
        end = scale(out(pair.band[1])) if pair.band[1] is not None else _RIGHT
        canvas.rect(start, top, end - start, 18, hatch=True)
    canvas.line([(_LEFT, top + 9), (_RIGHT, top + 9)], width=1)
    for value, shape, accent in ((pair.before, "ring", False), (pair.after, "dot", True)):
        if value is not None:
            x = scale(out(value))
            canvas.mark(x, top + 9, shape, accent=accent)
            canvas.text(x, top + 34, f"{out(value):.4g}", anchor="middle", bold=accent)
    if pair.before is None or pair.after is None:
        side = "before" if pair.before is None else "after"
        canvas.text(_RIGHT, top - 12, f"{side}: not measured", anchor="end", size=12)
