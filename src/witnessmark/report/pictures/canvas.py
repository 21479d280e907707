"""A small SVG builder that every picture is drawn with.

A picture is told in words and shapes, never by colour alone: one ink, one accent, hatching for a
band. On a page the colours follow it (``currentColor`` and the variables ``--mark`` and
``--faint``); :func:`printed` gives the same picture with fixed colours for paper.
"""

from __future__ import annotations

import math
import re
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape

__all__ = ["FAINT", "INK", "MARK", "NONE", "PAPER", "Canvas", "Plot", "Scale", "printed", "ticks"]

INK = "currentColor"
MARK = "var(--mark, #1b2f9c)"
FAINT = "var(--faint, #b9b4a5)"
PAPER = "var(--sheet, #ffffff)"
NONE = "none"

Anchor = Literal["start", "middle", "end"]
Shape = Literal["dot", "ring", "square", "box", "diamond", "triangle", "cross"]
Point = tuple[float, float]

_PAGE_FONT = "system-ui, 'Noto Sans', 'Liberation Sans', sans-serif"
_PRINT_FONT = "'Libertinus Serif', serif"
_PRINT_INK = "#12110d"
_VARIABLE = re.compile(r'"var\(--[a-z]+, (#[0-9a-f]{6})\)"')


class Canvas:
    """A picture of fixed size in its own units; on a page it shrinks to the width there is."""

    def __init__(self, width: float, height: float, title: str, *, words: str = "") -> None:
        """Begin a picture.

        Args:
            width: in units; 400 reads well on a phone.
            height: in units.
            title: what it shows, read out by a screen reader.
            words: the same in more words, for who cannot see it.
        """
        self.width, self.height = width, height
        self._title, self._words = title, words
        self._parts: list[str] = []
        self._hatched = False
        self._hatch = f"hatch-{zlib.crc32(f'{title} {words}'.encode('utf-8', 'replace')):08x}"

    def line(
        self, start: Point, end: Point, *, colour: str = INK, width: float = 1.0, dash: str = ""
    ) -> None:
        """Draw a straight line; *dash* such as ``4 3``."""
        (x1, y1), (x2, y2) = start, end
        self._add(
            "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=colour, stroke_width=width,
            stroke_dasharray=dash,
        )  # fmt: skip

    def arrow(self, start: Point, end: Point, *, colour: str = INK, width: float = 1.5) -> None:
        """Draw a line with an open head at its end; nothing where both ends coincide."""
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = math.hypot(dx, dy)
        if length < 1e-9:
            return
        ux, uy = dx / length, dy / length
        size = min(6.0, length)
        self.line(start, end, colour=colour, width=width)
        for side in (0.55, -0.55):
            back = (
                end[0] - size * (ux + side * uy),
                end[1] - size * (uy - side * ux),
            )
            self.line(end, back, colour=colour, width=width)

    def rect(
        self,
        corner: Point,
        size: Point,
        *,
        fill: str = NONE,
        stroke: str = NONE,
        width: float = 1.0,
        dash: str = "",
        hatched: bool = False,
    ) -> None:
        """Draw a box; *hatched* fills it with slanted lines that survive a copier."""
        x, y, w, h = (*corner, max(0.0, size[0]), max(0.0, size[1]))
        if hatched:
            self._hatched = True
            self._add("rect", x=x, y=y, width=w, height=h, fill=f"url(#{self._hatch})")
        if not hatched or stroke != NONE:
            self._add(
                "rect", x=x, y=y, width=w, height=h, fill=NONE if hatched else fill, stroke=stroke,
                stroke_width=width, stroke_dasharray=dash,
            )  # fmt: skip

    def curve(
        self, points: Iterable[Point], *, colour: str = INK, width: float = 1.5, dash: str = ""
    ) -> None:
        """Draw a line through *points*; a point that is not finite breaks it."""
        run: list[Point] = []
        for x, y in [*points, (math.nan, math.nan)]:
            if math.isfinite(x) and math.isfinite(y):
                run.append((x, y))
                continue
            if len(run) > 1:
                self._add(
                    "polyline", points=_pairs(run), fill=NONE, stroke=colour, stroke_width=width,
                    stroke_dasharray=dash, stroke_linejoin="round",
                )  # fmt: skip
            run = []

    def area(self, points: Sequence[Point], *, fill: str = FAINT, opacity: float = 0.5) -> None:
        """Fill the polygon through *points*."""
        self._add("polygon", points=_pairs(points), fill=fill, fill_opacity=opacity)

    def mark(self, at: Point, shape: Shape, *, colour: str = INK, size: float = 5.0) -> None:
        """Draw a marker; shapes tell series apart, not colours."""
        x, y = at
        fill = PAPER if shape in {"ring", "box"} else colour
        if shape in {"dot", "ring"}:
            self._add("circle", cx=x, cy=y, r=size, fill=fill, stroke=colour, stroke_width=2)
        elif shape == "cross":
            self.line((x - size, y - size), (x + size, y + size), colour=colour, width=2)
            self.line((x - size, y + size), (x + size, y - size), colour=colour, width=2)
        else:
            self._add(
                "polygon", points=_pairs(_corners(x, y, size, shape)), fill=fill, stroke=colour,
                stroke_width=2, stroke_linejoin="round",
            )  # fmt: skip

    def whisker(self, low: Point, high: Point, *, colour: str = INK, width: float = 1.5) -> None:
        """Draw an interval with short bars at its ends, level or upright."""
        level = abs(high[0] - low[0]) >= abs(high[1] - low[1])
        dx, dy = (0.0, 4.0) if level else (4.0, 0.0)
        self.line(low, high, colour=colour, width=width)
        for x, y in (low, high):
            self.line((x - dx, y - dy), (x + dx, y + dy), colour=colour, width=width)

    def text(
        self,
        at: Point,
        words: str,
        *,
        size: float = 12.0,
        anchor: Anchor = "start",
        bold: bool = False,
        colour: str = INK,
        turned: bool = False,
    ) -> None:
        """Write *words* with their base line at *at*; any text is safe here."""
        x, y = at
        self._parts.append(
            _tag(
                "text", x=x, y=y, font_size=size, text_anchor=anchor, fill=colour,
                font_weight="bold" if bold else "",
                transform=f"rotate(-90 {_number(x)} {_number(y)})" if turned else "",
            )[:-2] + f">{_safe(words)}</text>"
        )  # fmt: skip

    def svg(self) -> str:
        """Return the picture as one SVG element."""
        width, height = _number(self.width), _number(self.height)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
            f'width="{width}" height="{height}" role="img" aria-label={_attribute(self._title)} '
            f'font-family="{_PAGE_FONT}">'
        )
        head += f"<title>{_safe(self._title)}</title>"
        if self._words:
            head += f"<desc>{_safe(self._words)}</desc>"
        if self._hatched:
            head += (
                f'<defs><pattern id="{self._hatch}" width="6" height="6" '
                'patternUnits="userSpaceOnUse" '
                'patternTransform="rotate(45)"><rect width="1.6" height="6" '
                f'fill="{FAINT}"/></pattern></defs>'
            )
        return head + "".join(self._parts) + "</svg>"

    def _add(self, name: str, **attributes: float | str) -> None:
        self._parts.append(_tag(name, **attributes))


@dataclass(frozen=True, slots=True)
class Scale:
    """A straight scale from values to units of the canvas."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Return where *value* stands; NaN stays NaN."""
        span = self.high - self.low
        if span == 0:
            return 0.5 * (self.start + self.end)
        return self.start + (value - self.low) / span * (self.end - self.start)

    def clipped(self, value: float) -> float:
        """Return where *value* stands, held within the scale."""
        return self.at(min(max(value, self.low), self.high))


class Plot:
    """A frame with two axes on a canvas; draws in values instead of units."""

    def __init__(
        self,
        canvas: Canvas,
        x: tuple[float, float],
        y: tuple[float, float],
        *,
        x_words: str,
        y_words: str,
        corner: Point = (52.0, 14.0),
        size: Point | None = None,
    ) -> None:
        """Draw the axes.

        Args:
            canvas: what to draw on.
            x: lowest and highest value of the level axis.
            y: the same of the upright axis.
            x_words: what stands on the level axis, with its unit.
            y_words: the same of the upright axis.
            corner: upper left corner of the frame.
            size: width and height of the frame; what is left of the canvas when not given.
        """
        left, top = corner
        width, height = size or (canvas.width - left - 14, canvas.height - top - 46)
        self.canvas = canvas
        self.x = Scale(*x, left, left + width)
        self.y = Scale(*y, top + height, top)
        for value in ticks(*y):
            canvas.line((left, self.y.at(value)), (left + width, self.y.at(value)), colour=FAINT,
                        width=0.8)  # fmt: skip
            canvas.text((left - 6, self.y.at(value) + 4), _tick(value), anchor="end", size=11)
        for value in ticks(*x):
            place = self.x.at(value)
            canvas.line((place, top + height), (place, top + height + 5))
            canvas.text((place, top + height + 18), _tick(value), anchor="middle", size=11)
        canvas.line((left, top + height), (left + width, top + height), width=1.5)
        canvas.line((left, top), (left, top + height), width=1.5)
        canvas.text((left + width / 2, top + height + 36), x_words, anchor="middle")
        canvas.text((14, top + height / 2), y_words, anchor="middle", turned=True)

    def at(self, x: float, y: float) -> Point:
        """Return where a pair of values stands on the canvas."""
        return self.x.at(x), self.y.at(y)

    def curve(
        self,
        xs: Iterable[float],
        ys: Iterable[float],
        *,
        colour: str = INK,
        width: float = 1.5,
        dash: str = "",
    ) -> None:
        """Draw ys over xs."""
        points = [self.at(x, y) for x, y in zip(xs, ys, strict=True)]
        self.canvas.curve(points, colour=colour, width=width, dash=dash)

    def band(self, xs: Sequence[float], low: Sequence[float], high: Sequence[float]) -> None:
        """Fill between two curves: a healthy band, an interval."""
        points = [self.at(x, y) for x, y in zip(xs, high, strict=True)]
        points += [self.at(x, y) for x, y in zip(xs, low, strict=True)][::-1]
        self.canvas.area(points)

    def mark(self, x: float, y: float, shape: Shape, *, colour: str = INK) -> None:
        """Mark a pair of values."""
        self.canvas.mark(self.at(x, y), shape, colour=colour)

    def whisker(self, x: float, low: float, high: float, *, colour: str = INK) -> None:
        """Draw an upright interval at *x*."""
        self.canvas.whisker(self.at(x, low), self.at(x, high), colour=colour)

    def limit(self, y: float, words: str) -> None:
        """Draw a level line at *y* and name it."""
        start, end = (self.x.start, self.y.at(y)), (self.x.end, self.y.at(y))
        self.canvas.line(start, end, dash="6 4")
        self.canvas.text((end[0], end[1] - 4), words, anchor="end", size=11)


def ticks(low: float, high: float, count: int = 5) -> list[float]:
    """Return round values between *low* and *high*, about *count* of them."""
    if not (math.isfinite(low) and math.isfinite(high)) or high <= low or count < 1:
        return []
    rough = (high - low) / count
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= rough * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(k * step, 12) for k in range(first, last + 1)]


def printed(svg: str) -> str:
    """Return a picture with the fixed colours and the type face of our papers."""
    fixed = _VARIABLE.sub(r'"\1"', svg).replace(f'"{INK}"', f'"{_PRINT_INK}"')
    return fixed.replace(f'font-family="{_PAGE_FONT}"', f'font-family="{_PRINT_FONT}"', 1)


def _tag(name: str, **attributes: float | str) -> str:
    parts = [name]
    for key, value in attributes.items():
        if value == "":
            continue
        text = _attribute(value) if isinstance(value, str) else f'"{_number(value)}"'
        parts.append(f"{key.replace('_', '-')}={text}")
    return f"<{' '.join(parts)}/>"


def _attribute(text: str) -> str:
    return f'"{_safe(text).replace(chr(34), "&quot;")}"'


def _safe(text: str) -> str:
    """Escape the text and drop what XML cannot carry."""
    kept = "".join(c if _is_xml(ord(c)) else "\ufffd" for c in text)
    return escape(kept)


def _is_xml(code: int) -> bool:
    if code < 0x20:
        return code in {0x9, 0xA, 0xD}
    return not (0xD800 <= code <= 0xDFFF or code in {0xFFFE, 0xFFFF})


def _pairs(points: Sequence[Point]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def _number(value: float) -> str:
    if not math.isfinite(value):
        raise ValueError("a place on a picture is a finite number")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _tick(value: float) -> str:
    return f"{value:,.6g}" if abs(value) < 1e6 else f"{value:.3g}"


def _corners(x: float, y: float, size: float, shape: Shape) -> list[Point]:
    if shape == "diamond":
        s = 1.3 * size
        return [(x, y - s), (x + s, y), (x, y + s), (x - s, y)]
    if shape == "triangle":
        return [(x, y - 1.2 * size), (x + 1.1 * size, y + 0.8 * size),
                (x - 1.1 * size, y + 0.8 * size)]  # fmt: skip
    s = 0.9 * size
    return [(x - s, y - s), (x + s, y - s), (x + s, y + s), (x - s, y + s)]
