"""The picture of a judged trace: whole, safe, and told in shapes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from xml.etree import ElementTree

import numpy as np
import pytest

from witnessmark.analyses.sensors.drawn_trace import credible_band, drawn
from witnessmark.analyses.sensors.liveliness import PROFILES
from witnessmark.analyses.sensors.one_trace import TraceVerdict, judge
from witnessmark.analyses.sensors.trace_samples import prepare
from witnessmark.model.details.trace_details import Jumps
from witnessmark.model.finding import Finding
from witnessmark.report.pictures.judged_trace import plausibility_picture

COOLANT = PROFILES["coolant_temperature"]
SVG = "{http://www.w3.org/2000/svg}"


def verdict(*, dips: bool) -> TraceVerdict:
    time = np.arange(0.0, 3600.0)
    values = 88.0 + np.sin(time / 150.0)
    for start in (600.0, 1200.0, 2400.0) if dips else ():
        values[(time >= start) & (time < start + 4)] -= 9.0
    trace = prepare(time, np.round(values), COOLANT)
    assert trace is not None
    return judge(trace, COOLANT)


def finding(found: TraceVerdict, lanes: Mapping[str, Sequence[float]] | None = None) -> Finding:
    told = Jumps(
        difference=True, kind="", probability=1.0, log_bayes_factor=9.0, kinds={}, times_s=(),
        ends_s=(), changes=(), largest_credible_rate=1.0, movement="",
        picture=drawn(found, COOLANT), lanes=lanes,
    )  # fmt: skip
    return Finding(
        code="coolant_temperature_jumps", sentence='Drops by 9 <degC> & "back".', outcome="seen",
        method="x", quantity="coolant_temperature",
        details=told,
    )  # fmt: skip


@pytest.mark.parametrize("dips", [True, False])
@pytest.mark.parametrize("si", [True, False])
def test_it_is_one_whole_svg_that_reads_on_a_phone(dips: bool, si: bool) -> None:
    svg = plausibility_picture(
        finding(verdict(dips=dips), lanes={"oil_pressure": (600.0, 1200.0), "boost_pressure": ()}),
        si=si,
    )
    root = ElementTree.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert float(root.attrib["width"]) <= 480
    words = [t.text or "" for t in root.iter(f"{SVG}text")]
    assert any("oil pressure steps (2)" in w for w in words)
    assert not any("boost" in w for w in words)
    assert ("degC" if si else "degF") in words
    # Flagged spans are boxes and triangles, not a colour alone.
    assert (len(list(root.iter(f"{SVG}polygon"))) > 2) is dips
    assert "http" not in svg.replace("http://www.w3.org/2000/svg", "")


def test_the_glitch_lies_outside_the_credible_band_and_the_rest_inside() -> None:
    found = verdict(dips=True)
    low, high = credible_band(found, COOLANT)
    time, values = found.trace.time, found.trace.values
    bad = np.zeros(time.size, np.bool_)
    for start in (600.0, 1200.0, 2400.0):
        bad |= (time >= start) & (time < start + 4)
    outside = (values < low) | (values > high)
    assert outside[bad].all()
    assert not outside[~bad].any()


def test_a_long_recording_is_drawn_with_few_points_and_keeps_its_glitches() -> None:
    found = verdict(dips=True)
    overview = drawn(found, COOLANT)["overview"]
    assert isinstance(overview, dict)
    assert len(overview["time"]) < 600
    assert min(overview["values"]) == found.trace.values.min()


def test_a_finding_without_a_trace_has_no_picture() -> None:
    assert plausibility_picture(Finding("coolant_temperature_jumps", "x", "not_run", "x")) == ""
