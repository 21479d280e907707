"""The entry format: every fault named, nothing unknown used, retractions honoured."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from witnessmark.errors import EntryRefused
from witnessmark.model.entries.case import read_case
from witnessmark.model.entries.entry import KINDS, json_schema, parse_entry

AT = "2026-03-02T08:00:00Z"
EXAMPLES: dict[str, dict[str, Any]] = {
    "truck": {
        "label": "unit 7",
        "engine": {
            "cylinders": 6, "displacement_l": 15, "firing_order": [1, 5, 3, 6, 2, 4],
            "fuel_supply": "gallery", "type": "example-15l",
        },
        "miles": 640000, "gears": {"9": 1.0, "10": 0.73}, "axle_ratio": 3.55,
        "tyre_rev_per_mile": 500,
    },
    "complaint": {"words": "low fuel pressure, lazy up grades", "families": ["fuel_low"]},
    "reading": {
        "quantity": "fuel_gallery_pressure", "value": "65 psi",
        "point": {"rpm": 650, "load": "none", "warm": True},
        "instrument": {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"},
    },
    "clue": {"clue": "orig_paint", "seen": True, "cause": "return_regulator"},
    "code": {"spn": 3251, "fmi": 4, "count": 3, "source": 0, "lamp": "amber warning"},
    "recording": {"path": "pull.candump.log.gz", "sha256": "a" * 64, "holds": "bus"},
    "test": {"test": "f_sight", "result": "negative"},
    "work": {
        "cause": "return_regulator", "did": "renewed", "minutes": 20,
        "parts": [{"name": "regulator", "usd": 58}, {"name": "O-ring", "usd": 4}],
    },
    "outcome": {"complaint": "e2", "gone": True, "after_days": 1},
    "quote": {"lines": [{"what": "regulator", "minutes": 45, "usd": 90}], "total_usd": 230},
    "approval": {"by": "owner", "how": "phone", "limit_usd": 500},
    "part": {"name": "regulator", "state": "ordered", "on": "2026-03-02", "core_usd": 20},
    "visit": {"odometer_in": "640,120 mi", "odometer_out": 640180, "promised": "2026-03-04"},
    "labour": {"start": "07:15", "stop": "09:40", "job": "wheel end"},
    "clock": {"does": "start", "person": "A. Example", "job": "diagnosis", "both": True},
    "inspect": {"point": "tire left front", "value": "9/32 in"},
    "inspection": {"vehicle": "tractor", "axles": 3, "inspector": "A. Inspector"},
    "certificate": {"inspector": "A. Inspector", "accurate": True},
    "decline": {"words": "brakes, wants to wait", "risk": "soon"},
    "close": {"complaint": "e2", "how": "not_found", "why": "not there on two drives"},
    "photo": {"path": "seat.jpg", "caption": "worn seat"},
    "note": {"words": "driver says since Tuesday"},
    "retract": {"entry": "e3", "why": "gauge not zeroed"},
}  # fmt: skip


def line(kind: str, data: dict[str, Any], **more: Any) -> str:
    return json.dumps({"kind": kind, "id": "e1", "at": AT, "data": data, **more})


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_reads_and_fits_the_published_schema(kind: str) -> None:
    text = line(kind, EXAMPLES[kind])
    entry, problems = parse_entry(text)
    assert entry.kind == kind
    assert entry.line == text
    assert problems == []
    jsonschema.validate(json.loads(text), json_schema())


def test_the_published_schema_file_is_current() -> None:
    page = Path(__file__).parents[2] / "docs/entry.schema.json"
    assert json.loads(page.read_text(encoding="utf-8")) == json_schema()


def test_a_bare_number_is_refused_and_says_so() -> None:
    for value in (65, "65"):
        with pytest.raises(EntryRefused, match="bare number"):
            parse_entry(line("reading", {**EXAMPLES["reading"], "value": value}))


def test_all_faults_at_once_with_their_path() -> None:
    text = json.dumps(
        {
            "kind": "reading",
            "id": "a b",
            "at": "yesterday",
            "data": {"quantity": "x", "value": "1 psi", "point": {"rpm": -1}},
        }
    )
    with pytest.raises(EntryRefused) as refusal:
        parse_entry(text, where="c.jsonl line 3")
    assert refusal.value.where == "c.jsonl line 3"
    for part in ("id:", "at:", "data.point.rpm"):
        assert part in refusal.value.what


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", '"x"', "{}", '{"kind":"reading"}', '{"kind":"reading","kind":"note"}',
     '{"kind":"note","id":"e1","at":"2026-03-02T08:00:00Z","data":{"words":NaN}}',
     "[" * 100_000, '{"a":' * 5000, "\x00", '{"kind": "weird", "id":"e1","at":"x","data":{}}'],
)  # fmt: skip
def test_damaged_lines_are_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(EntryRefused) as refusal:
        parse_entry(text)
    assert refusal.value.do


@pytest.mark.parametrize("load", [0, 1, 0.5, "half", "-5 %", "500 %", "5 psi"])
def test_a_load_without_meaning_is_refused(load: object) -> None:
    data = {**EXAMPLES["reading"], "point": {"rpm": 650, "load": load}}
    with pytest.raises(EntryRefused, match="load"):
        parse_entry(line("reading", data))


def test_unknown_fields_are_kept_reported_and_not_used() -> None:
    data = {**EXAMPLES["reading"], "colour": "blue", "point": {"rpm": 650, "moon": "full"}}
    entry, problems = parse_entry(line("reading", data, extra=1))
    assert "colour" in entry.line
    said = " ".join(p.what for p in problems)
    assert all(word in said for word in ("colour", "moon", "extra"))


def test_a_damaged_line_is_a_problem_with_its_number_and_the_rest_is_used() -> None:
    lines = [
        line("complaint", EXAMPLES["complaint"]),
        '{"kind": "rea',
        "",
        line("note", EXAMPLES["note"]).replace('"e1"', '"e2"'),
        line("note", EXAMPLES["note"]).replace('"e1"', '"e2"'),
    ]
    case = read_case("c", lines, where="c.jsonl")
    assert [e.id for e in case.entries] == ["e1", "e2"]
    assert [p.where for p in case.problems] == ["c.jsonl line 2", "c.jsonl line 5"]
    assert case.damaged[0] == (1, '{"kind": "rea')


def test_a_retraction_hides_and_a_retracted_retraction_does_not() -> None:
    def made(identity: str, kind: str, data: dict[str, Any]) -> str:
        return line(kind, data).replace('"id": "e1"', f'"id": "{identity}"')

    lines = [
        made("r1", "reading", EXAMPLES["reading"]),
        made("x1", "retract", {"entry": "r1", "why": "gauge not zeroed"}),
    ]
    assert [e.id for e in read_case("c", lines).live()] == []
    lines.append(made("x2", "retract", {"entry": "x1", "why": "it was zeroed"}))
    assert [e.id for e in read_case("c", lines).live()] == ["r1"]
    lines.append(made("x3", "retract", {"entry": "nothing", "why": "slip"}))
    case = read_case("c", lines)
    assert [e.id for e in case.live()] == ["r1"]
    assert any("nothing" in p.what for p in case.problems)


def test_work_splits_the_case() -> None:
    kinds = ["reading", "work", "reading", "work", "reading"]
    lines = [line(k, EXAMPLES[k]).replace('"e1"', f'"e{i}"') for i, k in enumerate(kinds)]
    assert read_case("c", lines).stages() == {"e0": 0, "e1": 0, "e2": 1, "e3": 1, "e4": 2}


@given(st.text(max_size=200))
def test_any_text_is_an_entry_or_a_refusal(text: str) -> None:
    with pytest.raises(EntryRefused):
        parse_entry(text)


@given(st.recursive(st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=8),
                    lambda inner: st.lists(inner, max_size=3)
                    | st.dictionaries(st.sampled_from(
                        ["quantity", "value", "point", "rpm", "load", "words", "cause", "parts"]),
                        inner, max_size=4), max_leaves=8),
       st.sampled_from(sorted(KINDS)))  # fmt: skip
def test_any_data_is_read_or_refused(data: object, kind: str) -> None:
    text = json.dumps({"kind": kind, "id": "e1", "at": AT, "data": data})
    try:
        entry, _ = parse_entry(text)
    except EntryRefused:
        return
    assert entry.kind == kind
