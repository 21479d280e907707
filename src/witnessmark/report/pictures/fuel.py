"""The picture of the fuel supply model: a case's readings between healthy and faulty curves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from witnessmark.model.details.reading_details import ReadingsModel
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.canvas import FAINT, MARK, Canvas, Plot, Shape
from witnessmark.units import display_unit, from_house

__all__ = ["for_finding", "gallery_picture"]

_DASHES = ("", "7 4", "2 4")
_GALLERY = "fuel_gallery_pressure"


def for_finding(finding: Finding, *, si: bool = False) -> str:
    """Return the picture of a fuel finding, empty when it holds no curves."""
    told = finding.details
    if not isinstance(told, ReadingsModel) or told.picture is None:
        return ""
    return gallery_picture(told.picture, si=si)


def gallery_picture(data: Mapping[str, object], *, si: bool = False) -> str:
    """Draw the readings in the healthy band, with the curves of the best explanations.

    Args:
        data: rpm, healthy_low, healthy_high, curves and readings; pressures in Pa.
        si: kPa instead of psi.
    """
    unit = display_unit(_GALLERY, si=si)

    def shown(values: Sequence[float]) -> list[float]:
        return [from_house(_GALLERY, v, unit) for v in values]

    rpm = _numbers(data["rpm"])
    low, high = shown(_numbers(data["healthy_low"])), shown(_numbers(data["healthy_high"]))
    curves = [(str(c["name"]), shown(_numbers(c["pressure"]))) for c in _maps(data["curves"])]
    readings = [
        (float(str(r["rpm"])), float(str(r["load"])), shown([float(str(r["pressure"]))])[0],
         bool(r["now"]))
        for r in _maps(data["readings"])
    ]  # fmt: skip
    values = [*low, *high, *(v for _, c in curves for v in c), *(r[2] for r in readings)]
    step = 10.0 if unit == "psi" else 50.0
    bottom = step * math.floor(min(values) / step)
    top = step * math.ceil(max(values) / step)
    words = "; ".join(
        f"{p:.0f} {unit} at {n:.0f} rpm" + (" under load" if load > 0.5 else "")
        for n, load, p, now in readings if now
    )  # fmt: skip
    canvas = Canvas(
        560, 400, "Gallery pressure: readings, healthy band and best explanations",
        words=f"Readings now: {words}." if words else "No reading in the present state.",
    )  # fmt: skip
    plot = Plot(
        canvas, (rpm[0], rpm[-1]), (bottom, top), x_words="engine speed [rpm], no load",
        y_words=f"gallery pressure [{unit}]", size=(494.0, 260.0),
    )  # fmt: skip
    plot.band(rpm, low, high)
    for (_, values_), dash in zip(curves, _DASHES, strict=False):
        plot.curve(rpm, values_, dash=dash, width=2.0, colour=MARK)
    for n, load, p, now in readings:
        x = min(max(n, rpm[0]), rpm[-1])
        plot.mark(x, p, ("diamond" if load > 0.5 else "dot") if now else "ring")
    _legend(canvas, [name for name, _ in curves], readings)
    return canvas.svg()


def _legend(
    canvas: Canvas,
    names: Sequence[str],
    readings: Sequence[tuple[float, float, float, bool]],
) -> None:
    y = 330.0
    canvas.rect((52, y - 10), (28, 11), fill=FAINT)
    canvas.text((88, y), "healthy engines (95 %)", size=11)
    marks: list[tuple[Shape, str]] = [
        ("dot", "reading now"), ("diamond", "under load"), ("ring", "before the work"),
    ]  # fmt: skip
    seen = {
        "dot": any(r[3] and r[1] <= 0.5 for r in readings),
        "diamond": any(r[3] and r[1] > 0.5 for r in readings),
        "ring": any(not r[3] for r in readings),
    }
    x = 270.0
    for shape, name in marks:
        if seen[shape]:
            canvas.mark((x, y - 4), shape)
            canvas.text((x + 10, y), name, size=11)
            x += 100
    for name, dash in zip(names, _DASHES, strict=False):
        y += 19
        canvas.line((52, y - 4), (80, y - 4), dash=dash, width=2.0, colour=MARK)
        canvas.text((88, y), name, size=11)


def _numbers(values: object) -> list[float]:
    if not isinstance(values, Sequence):
        raise ValueError("a row of numbers is needed")
    return [float(v) for v in values]


def _maps(values: object) -> list[Mapping[str, object]]:
    if not isinstance(values, Sequence):
        raise ValueError("a row of records is needed")
    return [v for v in values if isinstance(v, Mapping)]
