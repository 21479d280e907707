"""A trace with what the circuit made of it, the band of the credible, and the others above."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from witnessmark.model.details.trace_details import Jumps, NoJumps, RealMovement
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.canvas import FAINT, INK, MARK, Canvas, Plot
from witnessmark.units import QUANTITIES, display_unit, from_house, spoken

__all__ = ["plausibility_picture"]

_WIDTH, _LANE, _FRAME, _CLOSE = 440.0, 24.0, 210.0, 180.0
_LEFT, _RIGHT = 52.0, 14.0


def plausibility_picture(finding: Finding, *, si: bool = False) -> str:
    """Draw a finding of the plausibility analysis; empty where it holds no trace.

    Flagged spans are boxes down the whole frame with a triangle on top; the band is what the
    quantity itself could have read; every other channel that stepped has a lane above with a
    stroke at each instant. Below, the clearest span is drawn once more, closer.

    Args:
        finding: carries ``picture`` and, where others stepped, ``lanes`` in its details.
        si: show SI units.
    """
    told = finding.details
    picture = told.picture if isinstance(told, Jumps | NoJumps | RealMovement) else None
    if picture is None or finding.quantity is None:
        return ""
    overview = cast("Mapping[str, Sequence[float]]", picture["overview"])
    if len(overview["time"]) < 2:
        return ""
    spans = cast("Sequence[Sequence[float]]", picture.get("spans", ()))
    close = cast("Mapping[str, Sequence[float]] | None", picture.get("close"))
    lanes = (told.lanes or {}) if isinstance(told, Jumps) else {}
    rows = {name: list(at) for name, at in lanes.items() if len(at)}
    name = finding.quantity
    top = 30.0 + _LANE * len(rows)
    frame = top + _FRAME + 52.0
    height = frame + 14.0 + (_CLOSE + 78.0 if close else 0.0)
    title = f"{QUANTITIES[name].words}: the trace and what the circuit made of it"
    if not spans:
        title = f"{QUANTITIES[name].words}: the trace and the band of the credible"
    canvas = Canvas(_WIDTH, height, title, words=finding.sentence)
    heading = spoken(name)
    canvas.text((_LEFT, 16), f"{heading[0].upper()}{heading[1:]}", bold=True, size=13)
    plot = _frame(canvas, overview, name, si, top, _FRAME, minutes=True)
    _spans(plot, spans, top, _FRAME, scale=1 / 60.0)
    _lanes(canvas, plot, rows, top)
    _trace(plot, overview, name, si, scale=1 / 60.0)
    canvas.text((_LEFT, frame), "shaded: what the quantity itself could read", size=11)
    if spans:
        words = (
            "boxes: more than speed and load explain"
            if name.endswith("pressure")
            else "boxes: made by the circuit"
        )
        canvas.text((_LEFT, frame + 13), words, size=11)
    if close:
        start = frame + 44.0
        canvas.text((_LEFT, start - 8), "The clearest one, closer", bold=True)
        near = _frame(canvas, close, name, si, start, _CLOSE, minutes=False)
        first, last = close["time"][0], close["time"][-1]
        _spans(near, [s for s in spans if s[1] >= first and s[0] <= last], start, _CLOSE, scale=1.0)
        _trace(near, close, name, si, scale=1.0, dots=True)
    return canvas.svg()


def _frame(
    canvas: Canvas, part: Mapping[str, Sequence[float]], name: str, si: bool, top: float,
    height: float, *, minutes: bool,
) -> Plot:  # fmt: skip
    values = [_shown(name, v, si) for v in part["values"]]
    band = [_shown(name, v, si) for v in (*part["low"], *part["high"])]
    low, high = min(values), max(values)
    # The band may be wide over a long span; it must not squeeze the trace.
    room = max(0.15 * (high - low), 2.0)
    low, high = max(min(band), low - room), min(max(band), high + room)
    low, high = min(low, *values) - 0.3, max(high, *values) + 0.3
    scale = 1 / 60.0 if minutes else 1.0
    ends = part["time"][0] * scale, part["time"][-1] * scale
    return Plot(
        canvas,
        ends if ends[1] > ends[0] else (ends[0], ends[0] + 1.0),
        (low, high),
        x_words="min" if minutes else "s",
        y_words=display_unit(name, si=si),
        corner=(_LEFT, top),
        size=(_WIDTH - _LEFT - _RIGHT, height),
    )


def _trace(
    plot: Plot, part: Mapping[str, Sequence[float]], name: str, si: bool, *, scale: float,
    dots: bool = False,
) -> None:  # fmt: skip
    times = [t * scale for t in part["time"]]
    lowest, highest = plot.y.low, plot.y.high

    def held(v: float) -> float:
        return min(max(_shown(name, v, si), lowest), highest)

    plot.band(times, [held(v) for v in part["low"]], [held(v) for v in part["high"]])
    values = [_shown(name, v, si) for v in part["values"]]
    plot.curve(times, values, colour=INK, width=1.6)
    if dots and len(times) <= 80:
        for t, v in zip(times, values, strict=True):
            plot.canvas.mark(plot.at(t, v), "dot", size=2.0)


def _spans(
    plot: Plot, spans: Sequence[Sequence[float]], top: float, height: float, *, scale: float
) -> None:
    for start, end in spans:
        left = plot.x.clipped(start * scale)
        right = max(plot.x.clipped(end * scale), left + 2.0)
        plot.canvas.rect((left - 1, top), (right - left + 2, height), stroke=MARK, width=1.0,
                         hatched=True)  # fmt: skip
        plot.canvas.mark((0.5 * (left + right), top + 5), "triangle", colour=MARK, size=4.0)


def _lanes(canvas: Canvas, plot: Plot, rows: Mapping[str, Sequence[float]], top: float) -> None:
    for number, (name, times) in enumerate(rows.items()):
        base = top - _LANE * (len(rows) - number) + 16.0
        canvas.line((_LEFT, base), (_WIDTH - _RIGHT, base), colour=FAINT)
        for time in times:
            place = plot.x.clipped(time / 60.0)
            canvas.line((place, base - 6), (place, base + 4), colour=MARK, width=2.0)
        words = f"{name.replace('_', ' ')} steps ({len(times)})"
        canvas.text((_LEFT + 2, base - 8), words, size=10.5)


def _shown(name: str, value: float, si: bool) -> float:
    return from_house(name, value, display_unit(name, si=si))
