"""The common ground of pictures with one row an operating point: a scale below, faint rules."""

from __future__ import annotations

from witnessmark.report.figures import plain_number
from witnessmark.report.pictures.canvas import FAINT, Canvas, Scale, ticks

__all__ = ["rule_rows"]


def rule_rows(
    canvas: Canvas, scale: Scale, ends: tuple[float, float], *, top: float, row: float, count: int
) -> None:
    """Draw the scale under *count* rows and a faint rule through each row at every mark.

    Args:
        canvas: what is drawn on.
        scale: values to places.
        ends: lowest and highest value shown.
        top: where the first row begins.
        row: height of a row; its upper 21 points stay free for words.
        count: how many rows.
    """
    bottom = top + row * count
    for value in ticks(*ends):
        place = scale.at(value)
        canvas.line((place, bottom), (place, bottom + 4))
        canvas.text((place, bottom + 17), plain_number(value), anchor="middle", size=11)
        for number in range(count):
            start = top + row * number
            canvas.line((place, start + 21), (place, start + row - 2), colour=FAINT, width=0.7)
    canvas.line((scale.start, bottom), (scale.end, bottom), width=1.5)
