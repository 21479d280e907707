"""The further numbers of a finding are a record of its kind, read by name; no loose mapping."""

from __future__ import annotations

import ast
import dataclasses
import pickle
from pathlib import Path

import pytest

from witnessmark.model.details import code_details, reading_details, shake_details, trace_details
from witnessmark.model.details.finding_details import NO_DETAILS, Details
from witnessmark.model.details.reading_details import AgainstBand, ReadingsModel
from witnessmark.model.details.trace_details import JumpCircuit, Jumps, StandsStill

ROOT = Path(__file__).parents[2]
ROOMS = (code_details, reading_details, trace_details, shake_details)
KINDS = [
    kind
    for room in ROOMS
    for name in room.__all__
    if isinstance(kind := getattr(room, name), type) and issubclass(kind, Details)
]


def loosely_read(text: str) -> list[int]:
    """Return the lines that read or write the details of a finding as a mapping."""

    def details(node: ast.expr) -> bool:
        return (isinstance(node, ast.Attribute) and node.attr == "details") or (
            isinstance(node, ast.Name) and node.id == "details"
        )

    found = []
    for node in ast.walk(ast.parse(text)):
        subscript = isinstance(node, ast.Subscript) and details(node.value)
        asked = (
            isinstance(node, ast.Attribute)
            and node.attr in {"get", "items", "keys", "values"}
            and details(node.value)
        )
        spread = isinstance(node, ast.Dict) and any(
            key is None and details(value)
            for key, value in zip(node.keys, node.values, strict=True)
        )
        written = (
            isinstance(node, ast.keyword)
            and node.arg == "details"
            and isinstance(node.value, ast.Dict)
        )
        if subscript or asked or spread or written:
            found.append(getattr(node, "lineno", 0))
    return found


@pytest.mark.parametrize(
    "text",
    ['f.details["kind"]', 'f.details.get("kind")', "{**f.details}", 'Finding(details={"a": 1})'],
)
def test_a_loose_reader_would_be_seen(text: str) -> None:
    assert loosely_read(text)


def test_nobody_reads_or_writes_details_as_a_mapping() -> None:
    files = [p for room in ("src", "studies", "benchmarks") for p in (ROOT / room).rglob("*.py")]
    assert len(files) > 300
    found = {str(p.relative_to(ROOT)): loosely_read(p.read_text("utf-8")) for p in files}
    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
def test_a_record_that_overrides_a_question_has_a_default(kind: type[Details]) -> None:
    # Without one, the question's property itself would pass for the default.
    asked = {n for n, v in vars(Details).items() if isinstance(v, property)}
    fields = {f.name: f for f in dataclasses.fields(kind)}
    for name in asked & set(fields):
        assert not isinstance(fields[name].default, property), name
        assert fields[name].default is not dataclasses.MISSING, name
    assert kind.__dataclass_params__.frozen
    assert "__slots__" in vars(kind)


def test_every_kind_is_here() -> None:
    assert len(KINDS) > 25
    # A class with slots is made twice: by name.
    assert {k.__name__ for k in KINDS} == {k.__name__ for k in Details.__subclasses__()}


def test_what_is_missing_is_null_and_what_does_not_apply_is_left_out() -> None:
    assert NO_DETAILS.to_json() == {}
    assert AgainstBand(verdict="inside", conformity=0.97, band_low=1.0).to_json() == {
        "verdict": "inside", "conformity": 0.97, "band_low": 1.0, "band_high": None,
    }  # fmt: skip
    assert StandsStill(kind="stuck").to_json() == {"kind": "stuck"}
    still = StandsStill(kind="stuck", stands_for=("a",), uses_tests=())
    assert list(still.to_json().items()) == [
        ("kind", "stuck"), ("stands_for", ["a"]), ("uses_tests", []),
    ]  # fmt: skip
    assert still.uncounted() == StandsStill(kind="stuck")


def test_series_stay_out_of_json_and_the_circuit_is_told() -> None:
    jumps = Jumps(
        difference=True, kind="drops", probability=1.0, log_bayes_factor=float("inf"), kinds={},
        times_s=(1.5, 2.5), ends_s=(), changes=(), largest_credible_rate=0.5, movement="",
        picture={"overview": {}}, lanes={"oil_pressure": (1.5,)},
        circuit=JumpCircuit(series_ohm=None, shunt_ohm=120.0, ground_lift_v=0.2),
    )  # fmt: skip
    assert jumps.to_json() == {
        "difference": True, "kind": "drops", "probability": 1.0, "log_bayes_factor": None,
        "ends_s": [], "changes": [], "largest_credible_rate": 0.5, "movement": "",
        "covered_s": None, "series_ohm": None, "shunt_ohm": 120.0, "ground_lift_v": 0.2,
    }  # fmt: skip


def test_details_pass_from_process_to_process() -> None:
    model = ReadingsModel(fits=False, chi_square=9.0, chi_square_limit=4.0, adaptive=True)
    assert pickle.loads(pickle.dumps(model)) == model
    assert model.stands_for is None
    assert model.covered_s is None
