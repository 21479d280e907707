"""Pictures of vibration and torsion: order map, before and after, twist mode, cylinders.

Every function takes a finding and returns SVG text, empty where the finding holds nothing to draw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from witnessmark.model.details.shake_details import (
    CrankTwist,
    CylinderShares,
    VibrationChanged,
    WhatItFollows,
)
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.canvas import FAINT, INK, MARK, Canvas, Plot, Shape

__all__ = ["cylinder_bars", "for_finding", "order_before_after", "order_map", "twist_mode"]

_NAMED = (0.5, 1.0, 1.5, 3.0, 4.5, 6.0, 9.0, 12.0)


def for_finding(finding: Finding) -> tuple[str, ...]:
    """Return every picture that belongs to a finding, in the order to show them."""
    drawn = {
        "vibration_family": (order_map,),
        "vibration_change": (order_before_after,),
        "damper_twist": (twist_mode,),
        "cylinder_balance": (cylinder_bars,),
    }.get(finding.code, ())
    return tuple(svg for draw in drawn if (svg := draw(finding)))


def order_map(finding: Finding) -> str:
    """Draw amplitude over engine speed and order: the darker a cell, the stronger it shakes."""
    told = finding.details
    if not isinstance(told, WhatItFollows):
        return ""
    table = told.orders
    orders, speeds = _numbers(table.get("orders")), _numbers(table.get("rpm"))
    rows = table.get("rms")
    if len(orders) < 2 or len(speeds) < 2 or not isinstance(rows, Sequence):
        return ""
    values = [_numbers(row) for row in rows]
    top = max((v for row in values for v in row), default=0.0)
    if top <= 0 or any(len(row) != len(orders) for row in values):
        return ""
    strongest = max(
        ((v, k, n) for n, row in zip(speeds, values, strict=True)
         for k, v in zip(orders, row, strict=True))
    )  # fmt: skip
    words = (
        f"Strongest: order {strongest[1]:g} at {strongest[2]:.0f} rpm, {strongest[0]:.2f} m/s2 rms."
    )
    canvas = Canvas(440, 340, "Order map of the vibration", words=words)
    step = 50.0
    plot = Plot(
        canvas, (min(speeds) - step / 2, max(speeds) + step / 2),
        (0.0, max(orders) + 0.25), x_words="engine speed, rpm", y_words="engine order",
        size=(280.0 if told.accessories else 310.0, 270.0),
    )  # fmt: skip
    for speed, row in zip(speeds, values, strict=True):
        for order, value in zip(orders, row, strict=True):
            # The square root of the share, in steps that print can tell apart.
            shade = round(8 * math.sqrt(max(value, 0.0) / top)) / 8
            if shade <= 0.2:
                continue
            # A line between two half orders is drawn narrower, so that it covers neither.
            half = 0.22 if (2 * order).is_integer() else 0.08
            left, high = plot.at(speed - step / 2, order + half)
            right, low = plot.at(speed + step / 2, order - half)
            canvas.area(
                [(left, high), (right, high), (right, low), (left, low)], fill=MARK, opacity=shade
            )
    named = [(order, _order_words(order)) for order in orders if order in _NAMED]
    for name, ratio in told.accessories.items():
        if 0 < ratio < max(orders):
            named.append((ratio, f"{name} {ratio:g}"))
            at = plot.y.at(ratio)
            canvas.line((plot.x.start, at), (plot.x.end, at), dash="2 4")
    below = math.inf
    for order, label in sorted(named):
        place = plot.y.at(order)
        # Labels that would stand on each other move up, with a line to where they belong.
        shown = min(place, below - 11)
        below = shown
        canvas.line((plot.x.end, place), (plot.x.end + 6, shown))
        canvas.text((plot.x.end + 8, shown + 4), label, size=10)
    canvas.text((52, 336), f"darkest = {top:.2f} m/s2 rms", size=10)
    return canvas.svg()


def order_before_after(finding: Finding) -> str:
    """Draw the complaint's line over engine speed, before (rings) and after (dots)."""
    told = finding.details
    if not isinstance(told, VibrationChanged):
        return ""
    before, after = _pairs(told.curve_before), _pairs(told.curve_after)
    if not before or not after:
        return ""
    name = told.lines[0].line if told.lines else "the complaint's line"
    both = [*before, *after]
    top = max(y for _, y in both) * 1.1 or 1.0
    low, high = min(x for x, _ in both), max(x for x, _ in both)
    canvas = Canvas(
        440, 300, f"{name[:1].upper()}{name[1:]} before and after", words=finding.sentence
    )
    plot = Plot(
        canvas, (low - 50, high + 50), (0.0, top), x_words="engine speed, rpm",
        y_words="m/s2 rms", corner=(52.0, 34.0),
    )  # fmt: skip
    series: tuple[tuple[list[tuple[float, float]], Shape, str, str, str], ...] = (
        (before, "ring", INK, "4 3", "before"), (after, "dot", MARK, "", "after"),
    )  # fmt: skip
    for number, (points, shape, colour, dash, words) in enumerate(series):
        plot.curve([x for x, _ in points], [y for _, y in points], colour=colour, dash=dash)
        for x, y in points:
            plot.mark(x, y, shape, colour=colour)
        canvas.mark((64 + 110 * number, 18), shape, colour=colour)
        canvas.text((74 + 110 * number, 22), words)
    canvas.text((300, 22), name, anchor="start", bold=True)
    return canvas.svg()


def twist_mode(finding: Finding) -> str:
    """Draw the orders that cross the twist mode: measured (marks) and fitted (lines)."""
    told = finding.details
    if not isinstance(told, CrankTwist):
        return ""
    drawn = [c for c in told.curves if len(c.rpm) > 2]
    if not drawn:
        return ""
    top = max(max(c.deg) for c in drawn) * 1.1 or 1.0
    speeds = [x for c in drawn for x in c.rpm]
    canvas = Canvas(440, 320, "Twist mode of the crankshaft", words=finding.sentence)
    plot = Plot(
        canvas, (min(speeds), max(speeds)), (0.0, top), x_words="engine speed, rpm",
        y_words="twist, degrees", corner=(52.0, 52.0),
    )  # fmt: skip
    shapes: tuple[Shape, ...] = ("dot", "box", "triangle")
    for number, curve in enumerate(drawn[:3]):
        x, y, fit, error = curve.rpm, curve.deg, curve.fit, curve.error
        shape = shapes[number]
        colour = MARK if number == 0 else INK
        plot.curve(x, fit, colour=colour, dash=("", "6 3", "2 3")[number])
        for at, value, doubt in zip(x, y, error, strict=True):
            plot.whisker(at, max(0.0, value - 2 * doubt), value + 2 * doubt, colour=FAINT)
            plot.mark(at, value, shape, colour=colour)
        canvas.mark((64 + 110 * number, 38), shape, colour=colour)
        canvas.text((74 + 110 * number, 42), f"order {curve.order:g}")
    if len(told.two_modes) == 2:
        parts = [f"{m[0]:.0f} Hz, damping {m[1]:.3f}" for m in told.two_modes]
        canvas.text((52, 18), " and ".join(parts), bold=True)
    elif finding.value is not None:
        words = f"{told.frequency_hz:.0f} Hz, damping {finding.value:.3f}"
        canvas.text((52, 18), words, bold=True)
    return canvas.svg()


def cylinder_bars(finding: Finding) -> str:
    """Draw every cylinder's share above or below the mean, with its doubt."""
    told = finding.details
    if not isinstance(told, CylinderShares):
        return ""
    values, doubts = _numbers(told.deviation_percent), _numbers(told.error_percent)
    if not values or len(doubts) != len(values):
        return ""
    reach = max(25.0, *(abs(v) + 2 * d for v, d in zip(values, doubts, strict=True))) * 1.1
    canvas = Canvas(440, 280, "Cylinders against their mean", words=finding.sentence)
    words = "cylinder" if told.named else "place in the firing order, from an unknown start"
    plot = Plot(
        canvas, (0.4, len(values) + 0.6), (-reach, reach), x_words=words,
        y_words="% of the mean",
    )  # fmt: skip
    for number, (value, doubt) in enumerate(zip(values, doubts, strict=True), start=1):
        left, zero = plot.at(number - 0.3, 0.0)
        right, end = plot.at(number + 0.3, value)
        weak = value <= -20.0
        canvas.rect(
            (left, min(zero, end)), (right - left, abs(end - zero)),
            fill=MARK if weak else "none", stroke=MARK if weak else INK, hatched=not weak,
        )  # fmt: skip
        plot.whisker(number, value - 2 * doubt, value + 2 * doubt)
    plot.curve([0.4, len(values) + 0.6], [0.0, 0.0])
    plot.limit(-20.0, "named from here")
    return canvas.svg()


def _order_words(order: float) -> str:
    return {0.5: "0.5 cylinder", 1.0: "1 balance", 3.0: "3 firing", 6.0: "6 twist"}.get(
        order, f"{order:g}"
    )


def _numbers(value: object) -> list[float]:
    if not isinstance(value, Sequence) or isinstance(value, str):
        return []
    return [float(v) for v in value if isinstance(v, int | float) and math.isfinite(v)]


def _pairs(value: object) -> list[tuple[float, float]]:
    if not isinstance(value, Sequence):
        return []
    rows = [_numbers(row) for row in value]
    return [(row[0], row[1]) for row in rows if len(row) >= 2]
