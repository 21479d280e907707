"""A pump is never called decided before the relief valve in it has been looked at.

The readings are those of the model's generic engine with a badly slipping pump; a relief valve
that leaks at its seat would show nearly the same. Whatever is written beside them, the pump waits.
"""

from __future__ import annotations

import json

import pytest

from witnessmark.inference.fuel.fuel_observations import FLOW, GALLERY, THROTTLED
from witnessmark.model.entries.case import read_case
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, solve
from witnessmark.physics.fuel.supply_types import nominal, type_circuit
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.papers.case_papers import paper_of

POINTS = ((GALLERY, 650.0), (GALLERY, 1000.0), (GALLERY, 1400.0), (GALLERY, 1800.0),
          (FLOW, 650.0), (FLOW, 1400.0), (THROTTLED, 650.0))  # fmt: skip


def shown(circuit, quantity, rpm, viscosity=1.0):
    state = solve(circuit, rpm, throttled=quantity == THROTTLED, viscosity=viscosity)
    return float((state.return_flow if quantity == FLOW else state.gallery)[0])


def case_of(*more, cold=False, slip=6.0):
    """Return a case whose pump slips, with further (kind, data) entries at the end."""
    circuit = type_circuit(nominal())
    worn = circuit.with_(slip=circuit.slip * slip)
    parts = [
        ("truck", {"label": "unit 4", "miles": 700000, "engine": {"type": "invented-15l"}}),
        ("complaint", {"words": "low fuel pressure", "families": ["fuel_low"]}),
    ]
    rows = [(q, n, True) for q, n in POINTS] + ([(GALLERY, 650.0, False)] if cold else [])
    for quantity, rpm, warm in rows:
        value = shown(worn, quantity, rpm, 1.0 if warm else 1.8)
        text = f"{value / L_PER_H:.0f} L/h" if quantity == FLOW else f"{value / PSI:.1f} psi"
        parts.append(("reading", {
            "quantity": quantity, "value": text,
            "point": {"rpm": rpm, "load": "none", "warm": warm},
            "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
        }))  # fmt: skip
    parts += [("test", {"test": t, "result": "negative"}) for t in ("f_sight", "f_mech", "f_dp")]
    parts += more
    return read_case("x", [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(parts, 1)
    ])  # fmt: skip


def healthy_sheet():
    circuit = type_circuit(nominal())
    rows = [
        BaselineReading(q, OperatingPoint(n, 0.0), shown(circuit, q, n), "1") for q, n in POINTS
    ]
    return FuelBaseline("invented-15l", tuple(rows))


def look(result):
    return ("test", {"test": "f_relief", "result": result})


def clue(name, cause=None):
    return ("clue", {"clue": name, "seen": True, **({"cause": cause} if cause else {})})


MIXES = {
    "readings alone": case_of(),
    "gradual, worse hot": case_of(clue("gradual"), clue("worse_hot")),
    "idle read cold too": case_of(clue("gradual"), cold=True),
    "old pump": case_of(clue("orig_paint", "pump_worn"), clue("part_new", "pump_relief")),
    "a look that told nothing": case_of(look("maybe")),
}


@pytest.mark.parametrize("known", [False, True])
@pytest.mark.parametrize("mix", MIXES)
def test_the_pump_waits_for_the_look(mix, known):
    found = assess(MIXES[mix], {}, baseline=healthy_sheet() if known else None)
    [odds] = found.odds
    assert odds.causes[0].cause in {"pump_worn", "pump_relief"}
    if odds.causes[0].cause == "pump_worn":
        assert not odds.decided
        assert odds.statement.startswith("Not clear yet")
        if odds.causes[0].probability >= 0.5:
            assert "looks the same on every gauge" in odds.statement
    steps = [s.step for s in found.steps]
    renewing = [i for i, s in enumerate(found.steps) if s.kind == "repair"
                and (s.step == "pump_worn" or "pump_worn" in s.along)]  # fmt: skip
    if renewing:
        assert steps.index("f_relief") < renewing[0]
        assert "look before a pump" in found.steps[renewing[0]].why
    model = [f for f in found.findings if f.code == "fuel_supply_model"][-1]
    assert "points to the worn" not in str(model.details.statement)


def test_once_the_valve_was_found_sound_the_pump_is_named():
    found = assess(
        case_of(clue("gradual"), look("negative"), cold=True), {}, baseline=healthy_sheet()
    )
    [odds] = found.odds
    assert odds.causes[0].cause == "pump_worn"
    assert odds.decided
    assert odds.statement.startswith(("Found:", "Almost sure:", "Likely:"))


def test_a_relief_valve_renewed_in_vain_was_in_somebodys_hands():
    work = ("work", {"cause": "pump_relief", "did": "renewed", "minutes": 60})
    readings = [
        ("reading", {"quantity": e.data.quantity, "value": e.data.value, "point": {
            "rpm": e.data.point.rpm, "load": "none", "warm": True}})
        for e in case_of().live() if e.kind == "reading"
    ]  # fmt: skip
    found = assess(case_of(work, *readings), {}, baseline=healthy_sheet())
    [odds] = found.odds
    assert odds.causes[0].cause == "pump_worn"
    assert "looks the same on every gauge" not in odds.statement


def test_an_estimate_for_the_pump_says_what_comes_before():
    lines = [{"what": "transfer pump", "cause": "pump_worn", "usd": 400}]
    quote = ("quote", {"lines": lines})
    found = assess(case_of(quote), {})
    text = str(paper_of(found, quote=True))
    assert "look before a pump is bought" in text
