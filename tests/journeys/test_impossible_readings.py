"""What no circuit can show is a problem, fits nothing, or stays undecided; never a sure cause.

Low and healthy fuel pressures here: common practice, no source.
"""

from __future__ import annotations

import json

import pytest

from witnessmark.model.entries.case import read_case
from witnessmark.workflow.dossier.assess_case import assess

GALLERY, FLOW, VACUUM = "fuel_gallery_pressure", "fuel_return_flow", "fuel_suction_vacuum"
PRE, CHECK = "fuel_prefilter_pressure", "gauge_check_difference"
THROTTLED = "fuel_gallery_pressure_return_throttled"
LOW = ((GALLERY, "65 psi", 650), (GALLERY, "78 psi", 1400))
SOUND = ((GALLERY, "75 psi", 650), (GALLERY, "93 psi", 1400))

#: What is written -> what must come of it: a problem, nothing fits, or at least not decided.
CASES = {
    "above what the pump can give": ("problem", (LOW[0], (GALLERY, "240 psi", 1400))),
    "both far above": ("problem", ((GALLERY, "150 psi", 650), (GALLERY, "200 psi", 1400))),
    "kPa typed as psi": ("problem", ((GALLERY, "448 psi", 650), (GALLERY, "538 psi", 1400))),
    "bar typed as psi": ("problem", ((GALLERY, "4.5 psi", 650), (GALLERY, "5.4 psi", 1400))),
    "psi typed as kPa": ("problem", ((GALLERY, "65 kPa", 650), (GALLERY, "78 kPa", 1400))),
    "psi typed as bar": ("problem", ((GALLERY, "65 bar", 650), (GALLERY, "78 bar", 1400))),
    "below nothing": ("problem", ((GALLERY, "-5 psi", 650), LOW[1])),
    "nothing at all": ("problem", ((GALLERY, "0 psi", 650), (GALLERY, "0 psi", 1400))),
    "no speed": ("problem", (LOW[0], (GALLERY, "78 psi", None))),
    "a speed that stalls": ("problem", (LOW[0], (GALLERY, "78 psi", 140))),
    "a speed that bursts": ("problem", (LOW[0], (GALLERY, "78 psi", 14000))),
    "no unit": ("problem", (LOW[0], (GALLERY, "78", 1400))),
    "a flow in psi": ("problem", (*LOW, (FLOW, "65 psi", 650))),
    "a pressure in L/h": ("problem", ((GALLERY, "114 L/h", 650), LOW[1])),
    "more flow than the pump": ("problem", (*LOW, (FLOW, "900 L/h", 650))),
    "L/min typed as L/h": ("problem", (*LOW, (FLOW, "1.9 L/h", 650), (FLOW, "2.5 L/h", 1400))),
    "flow below nothing": ("problem", (*LOW, (FLOW, "-20 L/h", 650))),
    "a vacuum no pump draws": ("problem", (*LOW, (VACUUM, "29.9 inHg", 1400))),
    "a throttled return at 400": ("problem", (*LOW, (THROTTLED, "400 psi", 650))),
    "twice at one point": ("fits", (*LOW, (GALLERY, "92 psi", 1400))),
    "lower before the filter": ("fits", (*LOW, (PRE, "60 psi", 1400))),
    "more vacuum at less speed": (
        "fits", (*LOW, (VACUUM, "15 inHg", 800), (VACUUM, "4 inHg", 1800)),
    ),
    "pressure on the suction side": ("fits", (*LOW, (VACUUM, "-3 inHg", 1400))),
    "flow that falls with speed": ("fits", (*LOW, (FLOW, "150 L/h", 650), (FLOW, "40 L/h", 1400))),
    "throttled below open": ("fits", (*SOUND, (THROTTLED, "50 psi", 650))),
    "gauge off by 60": ("fits", (*LOW, (CHECK, "60 psi", 650))),
    "two gauge checks apart": ("fits", (*LOW, (CHECK, "0 psi", 650), (CHECK, "-15 psi", 650))),
    "up and down": ("fits", (*LOW[:1], (GALLERY, "95 psi", 1000), (GALLERY, "60 psi", 1400),
                             (GALLERY, "99 psi", 1800))),
    "falls with speed": ("fits", ((GALLERY, "95 psi", 650), (GALLERY, "70 psi", 1400))),
    "valve stuck open": ("open", ((GALLERY, "20 psi", 650), (GALLERY, "28 psi", 1400),
                                  (FLOW, "0 L/h", 650), (FLOW, "0 L/h", 1400))),
    "no return though sound": ("open", (*SOUND, (FLOW, "0 L/h", 650), (FLOW, "0 L/h", 1400))),
    "gauge reads 20 high": ("open", (*LOW, (CHECK, "20 psi", 650))),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_cannot_be_is_never_a_sure_cause(name):
    wanted, readings = CASES[name]
    parts = [("complaint", {"words": "low fuel pressure", "families": ["fuel_low"]})]
    for quantity, value, rpm in readings:
        point = {"load": "none", "warm": True} | ({} if rpm is None else {"rpm": rpm})
        gauge = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}
        parts.append(("reading", {"quantity": quantity, "value": value, "point": point}
                      | ({} if quantity == FLOW else {"instrument": gauge})))  # fmt: skip
    found = assess(read_case("x", [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(parts)
    ]), {})  # fmt: skip
    [odds] = found.odds
    assert not odds.decided
    if wanted == "problem":
        assert found.problems
        assert all(p.what.endswith(".") and p.do for p in found.problems)
    elif wanted == "fits":
        assert not odds.fits
        # What contradicts itself is named; what merely fits nothing is said so.
        named = "Take both again with one gauge" in odds.statement
        assert named or odds.statement.startswith("Nothing on the list fits")
        assert not [s for s in found.steps[:1] if s.kind == "repair"]
    else:
        assert odds.causes[0].strength not in {"found", "almost sure"}
