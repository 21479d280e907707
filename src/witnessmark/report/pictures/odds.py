"""Odds as bars: zones first, then causes. Length says how likely, words say the rest."""

from __future__ import annotations

from witnessmark.model.odds import Odds
from witnessmark.report.pictures.canvas import Canvas, Scale

__all__ = ["odds_svg"]

_WIDTH, _START, _END = 640.0, 300.0, 570.0


def odds_svg(odds: Odds, *, most: int = 6) -> str:
    """Draw the zones and the likeliest causes of one family."""
    zones = [(z, p) for z, p in odds.zones if p >= 0.005][:most]
    causes = [(c.name, c.probability) for c in odds.causes if c.probability >= 0.005][:most]
    height = 26 * (len(zones) + len(causes)) + 78
    canvas = Canvas(_WIDTH, height, f"Odds of {odds.family}")
    scale = Scale(0.0, 1.0, _START, _END)
    y = _block(canvas, "where", zones, scale, 18, outline=True)
    _block(canvas, "which cause", causes, scale, y + 14, outline=False)
    return canvas.svg()


def _block(canvas: Canvas, title: str, rows: list[tuple[str, float]], scale: Scale, top: float, *,
           outline: bool) -> float:  # fmt: skip
    canvas.text(0, top, title, bold=True)
    y = top + 8
    for name, probability in rows:
        width = scale(probability) - scale(0.0)
        canvas.text(_START - 10, y + 15, _cut(name), anchor="end", size=12)
        canvas.rect(_START, y + 2, width, 17, filled=not outline, hatch=False, accent=True)
        canvas.text(_START + width + 6, y + 15, f"{100 * probability:.0f} %", size=12, bold=True)
        y += 26
    return y


def _cut(words: str) -> str:
    return words if len(words) <= 46 else words[:45].rstrip() + "…"
