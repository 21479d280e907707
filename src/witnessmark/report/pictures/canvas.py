"""A small SVG canvas: axes, lines, bands, points, bars and words, in black with one accent.

Everything is drawn with ``currentColor`` and the accent ``var(--mark)`` where it stands on a page;
for paper ``colours`` puts plain colours in. Shapes and hatching carry the meaning, never a colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

__all__ = ["Canvas", "Scale", "colours", "ticks"]

#: Family of the letters; the page's own where it has one.
LETTERS = "system-ui, 'Noto Sans', 'Liberation Sans', sans-serif"


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear scale from data to the drawing.

    Attributes:
        low: data value at *start*.
        high: data value at *end*; differs from *low*.
        start: place of *low*.
        end: place of *high*.
    """

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return the place of *value*, kept within the drawing's neighbourhood."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(max(share, -0.5), 1.5) * (self.end - self.start)


@dataclass(slots=True)
class Canvas:
    """An SVG drawing under construction.

    Attributes:
        width: width of the drawing.
        height: height of the drawing.
        title: what the picture shows, for those who cannot see it.
    """

    width: float
    height: float
    title: str
    _parts: list[str] = field(default_factory=list)

    def line(self, points: Sequence[tuple[float, float]], *, width: float = 2.0, dash: str = "",
             accent: bool = False) -> None:  # fmt: skip
        """Draw a line through *points*; a point that is not a number breaks it."""
        run: list[str] = []
        for x, y in [*points, (math.nan, math.nan)]:
            if math.isfinite(x) and math.isfinite(y):
                run.append(f"{x:.1f},{y:.1f}")
                continue
            if len(run) > 1:
                dashes = f' stroke-dasharray="{dash}"' if dash else ""
                self._parts.append(
                    f'<polyline points="{" ".join(run)}" fill="none" stroke="{_ink(accent)}" '
                    f'stroke-width="{width}" stroke-linejoin="round"{dashes}/>'
                )
            run = []

    def rect(self, x: float, y: float, width: float, height: float, *, hatch: bool = False,
             filled: bool = False, accent: bool = False, faint: bool = False) -> None:  # fmt: skip
        """Draw a box: hatched, filled, faint, or an outline."""
        fill = "url(#hatch)" if hatch else _ink(accent) if filled or faint else "none"
        opacity = ' fill-opacity="0.12"' if faint else ""
        stroke = "none" if hatch or faint or filled else _ink(accent)
        self._parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" '
            f'height="{max(height, 0):.1f}" fill="{fill}"{opacity} stroke="{stroke}" '
            'stroke-width="1.5"/>'
        )

    def mark(self, x: float, y: float, shape: str = "dot", *, size: float = 6.0,
             accent: bool = False) -> None:  # fmt: skip
        """Draw a mark: ``dot`` (filled), ``ring``, ``cross``, ``diamond`` or ``square``."""
        ink = _ink(accent)
        at = f"{x:.1f},{y:.1f}"
        if shape in {"dot", "ring"}:
            fill = ink if shape == "dot" else "var(--sheet, #ffffff)"
            self._parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size}" fill="{fill}" '
                               f'stroke="{ink}" stroke-width="2"/>')  # fmt: skip
        elif shape == "cross":
            s = size
            self._parts.append(
                f'<path d="M{at}m{-s},{-s}l{2 * s},{2 * s}m0,{-2 * s}l{-2 * s},{2 * s}" '
                f'stroke="{ink}" stroke-width="2.5" fill="none"/>'
            )
        elif shape == "square":
            self._parts.append(f'<rect x="{x - size:.1f}" y="{y - size:.1f}" width="{2 * size}" '
                               f'height="{2 * size}" fill="{ink}"/>')  # fmt: skip
        else:
            s = size * 1.3
            self._parts.append(f'<path d="M{at}m0,{-s:.1f}l{s:.1f},{s:.1f}l{-s:.1f},{s:.1f}'
                               f'l{-s:.1f},{-s:.1f}z" fill="{ink}"/>')  # fmt: skip

    def whisker(self, x: float, low: float, high: float, *, across: bool = False,
                accent: bool = False) -> None:  # fmt: skip
        """Draw an interval with caps: upright at *x*, or lying at height *x* when *across*."""
        ends = [(x, low), (x, high)] if not across else [(low, x), (high, x)]
        self.line(ends, width=2, accent=accent)
        for a, b in ends:
            cap = [(a - 5, b), (a + 5, b)] if not across else [(a, b - 5), (a, b + 5)]
            self.line(cap, width=2, accent=accent)

    def text(self, x: float, y: float, words: str, *, anchor: str = "start", size: float = 13,
             bold: bool = False, accent: bool = False) -> None:  # fmt: skip
        """Write words; anything that is not plain text is escaped."""
        weight = ' font-weight="700"' if bold else ""
        clean = escape("".join(c if c.isprintable() else " " for c in words))
        self._parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}"{weight} '
            f'fill="{_ink(accent)}">{clean}</text>'
        )

    def axis_x(self, scale: Scale, y: float, label: str, *, numbers: int = 6) -> None:
        """Draw a horizontal axis at height *y* with its numbers and label."""
        self.line([(scale.start, y), (scale.end, y)], width=1.5)
        for value in ticks(scale.low, scale.high, numbers):
            x = scale(value)
            self.line([(x, y), (x, y + 5)], width=1.5)
            self.text(x, y + 19, _number(value), anchor="middle", size=12)
        self.text((scale.start + scale.end) / 2, y + 36, label, anchor="middle", size=12)

    def axis_y(self, scale: Scale, x: float, label: str, *, numbers: int = 6) -> None:
        """Draw an upright axis at *x* with its numbers; the label stands above it."""
        self.line([(x, scale.start), (x, scale.end)], width=1.5)
        for value in ticks(scale.low, scale.high, numbers):
            y = scale(value)
            self.line([(x - 5, y), (x, y)], width=1.5)
            self.text(x - 8, y + 4, _number(value), anchor="end", size=12)
        self.text(x - 40, min(scale.start, scale.end) - 10, label, size=12)

    def svg(self) -> str:
        """Return the drawing."""
        name = escape(self.title)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} '
            f'{self.height:g}" role="img" aria-label="{name}" font-family="{LETTERS}">'
            f"<title>{name}</title>"
            '<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="7" '
            'stroke="currentColor" stroke-width="1.4" stroke-opacity="0.45"/></pattern></defs>'
            + "".join(self._parts)
            + "</svg>"
        )


def ticks(low: float, high: float, about: int) -> list[float]:
    """Return round numbers from *low* to *high*, about as many as asked for."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low:
        return []
    raw = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def colours(svg: str, *, ink: str = "#12110d", accent: str = "#1b2f9c", sheet: str = "#ffffff",
            letters: str = "Libertinus Serif") -> str:  # fmt: skip
    """Return the picture with plain colours and letters, for paper."""
    return (
        svg.replace("var(--mark, currentColor)", accent)
        .replace("var(--sheet, #ffffff)", sheet)
        .replace("currentColor", ink)
        .replace(LETTERS, letters)
    )


def _ink(accent: bool) -> str:
    return "var(--mark, currentColor)" if accent else "currentColor"


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"
