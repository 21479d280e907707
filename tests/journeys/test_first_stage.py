"""What two pressures say of a truck nobody knows, however little is written down.

65 psi at idle and 78 psi at 1,400 rpm: a shop case of common practice, no source. The relief valve
and the return side come first, nothing is decided, and the bucket, a second gauge or the
throttled return is next.
"""

from __future__ import annotations

import itertools
import json

import pytest

from witnessmark.workflow.case.case_file import read_case_file
from witnessmark.workflow.dossier.assess_case import assess

NEXT = {
    "return_flow_two_speeds", "return_flow_idle", "return_flow_and_throttled", "gauge_check",
    "return_throttled",
}  # fmt: skip
UNITS = {
    "psi": ("65 psi", "78 psi"),
    "kPa": ("448 kPa", "538 kPa"),
    "bar": ("4.48 bar", "5.38 bar"),
}


def assessed(tmp_path, *, unit="psi", miles=None, filters=None, gauge=False, idle=650):
    """Return the assessment of a case with nothing in it but what is asked for."""
    truck = {"label": "unit 3", "engine": {"fuel_supply": "gallery"}}
    if miles is not None:
        truck["miles"] = miles
    parts = [("truck", truck), ("complaint", {"words": "low power", "families": ["fuel_low"]})]
    for value, rpm in zip(UNITS[unit], (idle, 1400), strict=True):
        data = {"quantity": "fuel_gallery_pressure", "value": value,
                "point": {"rpm": rpm, "load": "none", "warm": True}}  # fmt: skip
        if gauge:
            data["instrument"] = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}
        parts.append(("reading", data))
    if filters is not None:
        parts.append(("clue", {"clue": "filters_recent", "seen": filters}))
    path = tmp_path / "case.jsonl"
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(parts, 1)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return assess(read_case_file(path), {})


MIXES = [
    {"miles": miles, "filters": filters, "gauge": gauge}
    for miles, filters, gauge in itertools.product((None, 640000), (None, True), (False, True))
]


@pytest.mark.parametrize(
    "mix", [*MIXES, {"unit": "kPa"}, {"unit": "bar"}, {"idle": 700, "filters": True}]
)
def test_the_relief_valve_and_the_return_side_come_first(tmp_path, mix):
    found = assessed(tmp_path, **mix)
    [odds] = found.odds
    assert not odds.decided
    assert odds.statement.startswith(
        ("Suspected first: Internal relief valve", "Not clear yet: Internal relief valve")
    )
    assert odds.causes[0].cause == "pump_relief"
    assert odds.zones[0][0] == "supply"
    assert "return_regulator" in {c.cause for c in odds.causes[:5]}
    # A filter nobody knows anything of stays in beside the return side. Where the filters were just
    # opened, air at their seals stands beside it instead: two pressures do not tell these apart,
    # so their order is no demand before many miles speak for the springs; the element that is new
    # stands behind both.
    zones = dict(odds.zones)
    if mix.get("filters"):
        assert {zone for zone, _ in odds.zones[1:3]} == {"return", "suction"}
        assert odds.zones[1][0] == "return" or not mix.get("miles")
        causes = [c.cause for c in odds.causes]
        assert causes.index("return_regulator") < causes.index("secondary_filter")
        assert {"suction_line", "primary_filter"}.isdisjoint(causes[:5]), "of the suction only air"
    else:
        del zones["filter"]
        assert zones.pop("return") >= sorted(zones.values())[-2] - 0.01
    instruments = [s for s in found.steps if s.kind != "test"]  # after the free looks
    assert {s.step for s in instruments[:3]} & NEXT
    throttled = [s for s in found.steps if "throttled" in s.step]
    assert throttled
    assert all(any("only if the maker allows" in c for c in s.cautions) for s in throttled)
