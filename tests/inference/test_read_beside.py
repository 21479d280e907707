"""A reading beside another one says which instrument is false."""

from __future__ import annotations

import json
from typing import Any

import pytest

from witnessmark.errors import UnitRefused
from witnessmark.inference.family.staged_evidence import answers_of_readings
from witnessmark.inference.fuel.fuel_evidence import fuel_evidence
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import Case, read_case
from witnessmark.units import parse_difference


def case_of(family: str, *readings: dict[str, Any]) -> Case:
    rows = [
        ("truck", {"label": "unit 7", "engine": {"fuel_supply": "gallery"}}),
        ("complaint", {"words": "as said", "families": [family]}),
        *(("reading", r) for r in readings),
    ]
    return read_case("c", [
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ])  # fmt: skip


def read(quantity: str, value: str, rpm: int, **more: Any) -> dict[str, Any]:
    point = {"rpm": rpm, "load": "none", "warm": True}
    return {"quantity": quantity, "value": value, "point": point, **more}


def answered(family: str, *readings: dict[str, Any]) -> dict[str, str]:
    found = answers_of_readings(case_of(family, *readings), load_knowledge().families[family])
    return {test: result for (_, test), (result, _) in found.items()}


@pytest.mark.parametrize(
    ("display", "housing", "rpm", "result"),
    [
        ("228 degF", "187 degF", 1500, "positive"),
        ("228 degF", "222 degF", 1500, None),  # a probe on a housing reads a little low
        ("187 degF", "228 degF", 1500, None),
        ("228 degF", "187 degF", 700, None),  # not at the same point
    ],
)
def test_a_display_far_over_the_probe_answers_the_probes_test(display, housing, rpm, result):
    beside = (read("coolant_temperature", display, 1500),
              read("coolant_housing_temperature", housing, rpm))  # fmt: skip
    assert answered("overheat", *beside).get("o_true") == result


def test_a_gauge_that_is_false_is_told_by_either_second_instrument():
    heat = (read("coolant_temperature", "228 degF", 1500),
            read("coolant_housing_temperature", "187 degF", 1500))  # fmt: skip
    assert answered("gauge_false", *heat)["gft_second"] == "false"
    dash = read("oil_pressure", "8 psi", 700)
    gauge = read("oil_pressure", "31 psi", 700, instrument={"id": "mechanical gauge"})
    assert answered("gauge_false", dash, gauge)["gft_second"] == "false"
    assert "gft_second" not in answered("gauge_false", dash)


def test_what_the_circuit_cannot_explain_of_a_gauge_its_own_test_still_says():
    case = case_of("fuel_low", read("gauge_check_difference", "-38 psi", 1500))
    knowledge = load_knowledge()
    assert answered("fuel_low", read("gauge_check_difference", "-38 psi", 1500)) == {
        "f_mech": "positive"
    }
    (model,) = [f for f in fuel_evidence(case, knowledge).findings if f.code == "fuel_supply_model"]
    assert model.outcome == "inconclusive"
    assert "f_mech" not in (model.details.uses_tests or ())


def test_a_difference_has_no_zero_of_its_own():
    assert parse_difference("coolant_temperature", "18 degF") == pytest.approx(10.0)
    assert parse_difference("oil_pressure", "-5 psi") == pytest.approx(-5 * 6894.757, rel=1e-4)
    with pytest.raises(UnitRefused):
        parse_difference("oil_pressure", "5 degF")
