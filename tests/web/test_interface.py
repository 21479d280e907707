"""The programming interface: what it says of itself, and that nothing sent to it breaks it."""

from __future__ import annotations

import json
import re
from itertools import product

import jsonschema
import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from patience import PATIENCE_S
from web.bench_page import Client, fuel_lines, remembering, served, settled
from witnessmark.model.entries.entry_data import KINDS, ReadingData
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.units import QUANTITIES, UNITS
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import open_shop


@pytest.fixture(scope="module")
def api_shop(tmp_path_factory):
    shop = open_shop(tmp_path_factory.mktemp("api") / "shop", create=True)
    shop.new_case("unit7", fuel_lines())
    yield shop
    shop.close()


@pytest.fixture
def api(api_shop):
    client = Client(create_app(api_shop, assess=remembering(api_shop)))
    yield client
    client.close()


def test_the_description_asks_for_nothing_from_elsewhere(api):
    found = api.get("/api/openapi.json").json()
    assert set(found["paths"]) == {
        "/api/cases",
        "/api/cases/{case_id}/entries",
        "/api/cases/{case_id}/assessment",
        "/api/cases/{case_id}/inspection",
        "/api/cases/{case_id}/inspection/looks",
        "/api/cases/{case_id}/inspection/certificate",
        "/api/entry-schema",
    }
    assert "http" not in json.dumps(found).replace("HTTPValidationError", "")
    assert api.get("/docs").status_code == 404
    assert "GET /api/cases" in api.get("/api").text


def test_entries_go_in_once_and_come_out_to_the_letter(api, api_shop):
    entry = {
        "kind": "reading",
        "id": "api1",
        "data": {"quantity": "fuel_suction_vacuum", "value": "7,5 inHg"},
    }
    for _ in range(2):
        assert api.post("/api/cases/unit7/entries", json=entry).status_code == 201
    found = [e for e in api.get("/api/cases/unit7/entries").json() if e["id"] == "api1"]
    assert len(found) == 1
    assert json.loads(found[0]["line"])["data"] == entry["data"]
    values = [d.value for _, d in api_shop.case("unit7").of(ReadingData)]
    assert values.count("7,5 inHg") == 1
    bare = entry | {"id": "api2", "data": {"quantity": "fuel_suction_vacuum", "value": 7.5}}
    answer = api.post("/api/cases/unit7/entries", json=bare)
    assert answer.status_code == 422
    assert "bare number" in answer.json()["what"]
    assert api.get("/api/cases/nobody/assessment").status_code == 404
    settled(api)
    assert api.get("/api/cases/unit7/assessment").json()["case"]["id"] == "unit7"


def test_every_kind_of_entry_goes_in_and_every_method_is_named(api):
    """The interface takes what the format knows; a refused method is told which there are."""
    described = api.get("/api/openapi.json").json()["components"]["schemas"]["NewEntry"]
    assert described["properties"]["kind"]["enum"] == list(KINDS)
    for kind, data in (
        ("part", {"name": "pump", "state": "ordered"}),
        ("visit", {"odometer_in": "880120 km"}),
        ("labour", {"minutes": 40}),
        ("inspect", {"point": "steer_tyres", "result": "fail"}),
        ("decline", {"words": "wants to wait"}),
        ("close", {"complaint": "e2", "how": "declined"}),
    ):
        answer = api.post("/api/cases/unit7/entries", json={"kind": kind, "data": data})
        assert answer.status_code == 201, answer.text
    answer = api.request("DELETE", "/api/cases/unit7/entries")
    assert (answer.status_code, answer.headers["allow"]) == (405, "GET, POST")


def test_the_description_is_as_strict_as_the_server(api):
    """What it calls right is taken, quantity by quantity and test by test; what not, is not."""
    found = api.get("/api/openapi.json").json()["components"]["schemas"]
    rows = found["ReadingData"]["oneOf"]
    named = {q for r in rows for q in r["properties"]["quantity"]["enum"]}
    assert named == {name for name, row in QUANTITIES.items() if row.kind != "number"}
    for row in rows:
        pattern = re.compile(row["properties"]["value"]["pattern"])
        for unit in {u.symbol for u in UNITS.values()}:
            for value in (f"0 {unit}", f"9.999 {unit}"):
                if pattern.fullmatch(value):
                    for quantity in row["properties"]["quantity"]["enum"]:
                        ReadingData(quantity=quantity, value=value).house_value()
    tests = found["TestData"]["oneOf"]
    some = [(t["test"]["enum"][0], t["result"]["enum"]) for t in (r["properties"] for r in tests)]
    test, results = next((t, r) for t, r in some if len(r) > 4)
    entry = {"kind": "test", "data": {"test": test, "result": results[0]}}
    assert api.post("/api/cases/unit7/entries", json=entry).status_code == 201
    entry["data"]["result"] = "no_such_result"
    assert api.post("/api/cases/unit7/entries", json=entry).status_code == 422


def test_the_head_of_an_inspection_is_described_as_strictly_as_it_is_taken(api):
    found = api.get("/api/openapi.json").json()
    schema = {"$ref": "#/components/schemas/InspectionData", "components": found["components"]}
    described = jsonschema.Draft202012Validator(schema)
    statuses = set()
    for vehicle, axles, steer, duals in product(
        ("tractor", "trailer", "boat"), (None, 0, 1, 3, 13), (None, 0, 1, 4), (None, [], [2], [3])
    ):
        told = {"vehicle": vehicle, "axles": axles, "steer_axles": steer, "dual_axles": duals}
        head = {k: v for k, v in told.items() if v is not None}
        try:
            InspectionData.model_validate(head)
        except ValidationError:
            taken = False
        else:
            taken = True
        assert described.is_valid(head) is taken, head
        statuses.add(taken)
    assert statuses == {True, False}


@pytest.mark.slow
@pytest.mark.parametrize("right", [True, False], ids=["as described", "against the description"])
def test_nothing_that_is_sent_is_answered_with_a_fault_of_ours(api_shop, right):
    """Requests drawn by schemathesis from the description, and requests that break it."""
    schema = schemathesis.openapi.from_dict(create_app(api_shop).openapi())
    mode = schemathesis.GenerationMode.POSITIVE if right else schemathesis.GenerationMode.NEGATIVE
    operations = [result.ok() for result in schema.get_all_operations()]
    assert len(operations) == 9
    statuses: set[int] = set()
    with served(api_shop) as address:
        for operation in operations:
            drawn = operation.as_strategy(generation_mode=mode)
            if not right and not operation.body:
                continue

            @settings(
                max_examples=8,
                deadline=None,
                database=None,
                suppress_health_check=list(HealthCheck),
            )
            @given(case=drawn)
            def send(case):
                answer = case.call(base_url=address, timeout=PATIENCE_S)
                statuses.add(answer.status_code)
                assert answer.status_code < 500, (case.method, case.path, answer.text[:300])
                assert "Traceback" not in answer.text

            send()
    assert statuses & ({200, 201} if right else {422, 404, 400, 405, 415})


@given(
    path=st.text(max_size=60),
    query=st.text(max_size=60),
    body=st.binary(max_size=300),
    kind=st.sampled_from(
        ["application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "text/plain", ""]
    ),
)
@settings(max_examples=25, deadline=None, database=None, suppress_health_check=list(HealthCheck))
def test_no_form_and_no_path_is_answered_with_a_fault_of_ours(api_shop, path, query, body, kind):
    from urllib.parse import quote

    client = Client(create_app(api_shop))
    try:
        for where in (
            f"/{quote(path)}?{quote(query)}",
            f"/cases/{quote(path)}/from/{quote(query)}/0",
            f"/cases/unit7/recordings/{quote(path)}/window?c={quote(query)}",
            f"/cases/unit7/reading?quantity={quote(query)}",
            f"/trucks/{quote(path)}",
            f"/c/{quote(path)}",
        ):
            assert client.get(where).status_code < 500, where
        headers = {"content-type": kind} if kind else {}
        for where in (
            "/new",
            "/cases/unit7/reading",
            "/cases/unit7/looked",
            "/cases/unit7/add/work",
            "/cases/unit7/photo",
            "/settings/figures",
            "/login",
            "/uploads",
            "/theme",
        ):
            answer = client.post(where, content=body, headers=headers)
            assert answer.status_code < 500, (where, kind, body)
    finally:
        client.close()
