"""Pictures: well-formed, readable without colour, and safe with any text."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.finding import Finding, OperatingPoint
from witnessmark.model.odds import CauseOdds, Odds
from witnessmark.model.proof import Pair
from witnessmark.report.pictures.before_after_rows import before_after_pictures
from witnessmark.report.pictures.canvas import Canvas, Plot, printed, ticks
from witnessmark.report.pictures.odds_bars import odds_picture
from witnessmark.report.pictures.readings import readings_pictures

SVG = "{http://www.w3.org/2000/svg}"
PSI = 6894.757293168361  # NIST SP 811, appendix B.8


def _texts(svg: str) -> list[str]:
    return [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]


@settings(max_examples=50, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_kept_as_text(words: str) -> None:
    canvas = Canvas(100, 50, words, words=words)
    canvas.text((5, 20), words)
    root = ET.fromstring(canvas.svg())
    assert [e.tag for e in root] in (
        [f"{SVG}title", f"{SVG}desc", f"{SVG}text"],
        [f"{SVG}title", f"{SVG}text"],
    )
    printable = "".join(c for c in words if c.isprintable())
    kept = "".join(c for c in (root.find(f"{SVG}text").text or "") if c.isprintable())  # type: ignore[union-attr]
    assert kept.replace("\ufffd", "") == printable.replace("\ufffd", "").replace("\ufffe", "")


def test_hostile_text_makes_no_element() -> None:
    canvas = Canvas(100, 50, '"><script>alert(1)</script>')
    canvas.text((0, 0), "</text><script>alert(1)</script>")
    root = ET.fromstring(canvas.svg())
    assert not list(root.iter(f"{SVG}script"))
    assert root.get("aria-label") == '"><script>alert(1)</script>'


def test_printed_has_no_page_colours() -> None:
    canvas = Canvas(100, 50, "x")
    canvas.rect((0, 0), (10, 10), hatched=True)
    canvas.mark((5, 5), "box")
    assert "var(" in canvas.svg()
    assert "currentColor" in canvas.svg()
    assert "var(" not in printed(canvas.svg())
    assert "currentColor" not in printed(canvas.svg())


def test_ticks_are_round_and_inside() -> None:
    assert ticks(0, 100) == [0, 20, 40, 60, 80, 100]
    assert ticks(0.1, 0.9) == pytest.approx([0.2, 0.4, 0.6, 0.8])
    assert ticks(1, 1) == []
    assert ticks(float("nan"), 1) == []


def test_a_gap_breaks_a_curve() -> None:
    canvas = Canvas(200, 100, "x")
    plot = Plot(canvas, (0, 4), (0, 10), x_words="s", y_words="psi")
    plot.curve([0, 1, 2, 3, 4], [1, 2, math.nan, 3, 4])
    assert canvas.svg().count("<polyline") == 2


def _pair(before: float | None, after: float | None, **more: object) -> Pair:
    return Pair(
        "fuel_gallery_pressure",
        OperatingPoint(1400, 0.0),
        None if before is None else before * PSI,
        None if after is None else after * PSI,
        "Pa",
        **more,  # type: ignore[arg-type]
    )


def test_before_after_says_values_point_and_missing_sides() -> None:
    pairs = [
        _pair(78, 95, difference=17 * PSI, low=14 * PSI, high=20 * PSI, shown=True,
              band=(85 * PSI, 105 * PSI)),
        _pair(78, 79, difference=1 * PSI, low=-2 * PSI, high=4 * PSI, shown=False),
        _pair(78, None),
        _pair(None, None),
    ]  # fmt: skip
    [(name, svg)] = before_after_pictures(pairs)
    said = _texts(svg)
    assert name == "fuel_gallery_pressure"
    assert "1400 rpm, no load" in said
    assert "78 \u2192 95 psi" in said
    assert "78 \u2192 79 psi (no change shown)" in said
    assert "78 \u2192 not measured psi" in said
    assert len([t for t in said if "\u2192" in t]) == 3
    desc = ET.fromstring(svg).find(f"{SVG}desc")
    assert desc is not None
    assert "healthy band 85 to 105\u00a0psi" in (desc.text or "")


def test_before_after_in_si() -> None:
    [(_, svg)] = before_after_pictures([_pair(78, 95)], si=True)
    assert any("538 \u2192 655 kPa" in t for t in _texts(svg))


def test_readings_say_their_verdict_in_words() -> None:
    def check(value: float, verdict: str, low: float | None, high: float | None) -> Finding:
        return Finding(
            "x", "s", "seen", "m", quantity="fuel_gallery_pressure", value=value * PSI, unit="Pa",
            low=(value - 3) * PSI, high=(value + 3) * PSI, point=OperatingPoint(700, 0.0),
            details=AgainstBand(
                verdict=verdict, band_low=None if low is None else low * PSI,
                band_high=None if high is None else high * PSI,
            ),
        )  # fmt: skip

    found = [check(50, "outside", 65, 85), check(66, "cannot tell", 65, None)]
    unchecked = Finding("y", "s", "seen", "m", quantity="oil_pressure", value=1.0, unit="Pa")
    [(name, svg)] = readings_pictures([*found, unchecked])
    assert name == "fuel_gallery_pressure"
    assert any("50\u00a0psi · outside" in t for t in _texts(svg))
    assert any("66\u00a0psi · cannot tell" in t for t in _texts(svg))


def test_odds_bars_are_as_long_as_their_probability() -> None:
    causes = (
        CauseOdds("a", "Pump worn", 0.55, looks_like=("b",)),
        CauseOdds("b", "Relief held open", 0.29, looks_like=("a",)),
    )
    odds = Odds("fuel_low", "e1", False, (("supply", 0.9),), causes, 0.12, 0.004)
    svg = odds_picture(odds)
    widths = [float(r.get("width") or 0) for r in ET.fromstring(svg).iter(f"{SVG}rect")]
    full = widths[0]
    assert widths[1::2] == pytest.approx([0.9 * full, 0.55 * full, 0.29 * full], abs=0.02)
    said = " ".join(_texts(svg))
    assert "\u2248 Pump worn" in said
    assert "cannot tell it from another" in said
    assert "none of the listed under 1 %" in said
