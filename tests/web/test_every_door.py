"""Every way of the page is locked alike: nobody is let in, nothing is written from elsewhere."""

from __future__ import annotations

import re

import pytest

from web.bench_page import Client
from witnessmark.web.app import create_app
from witnessmark.web.door.doors import HEADERS, HSTS
from witnessmark.workflow.case.locks import set_passphrase

SHOP = "barley-in-the-yard"
#: What is shown to somebody who is not signed in, and holds nothing of the shop.
OPEN = {
    "/login", "/logout", "/certificate", "/certificate/witnessmark.crt", "/sw.js", "/static/{name}",
    "/c/{token}", "/c/{token}/estimate",
}  # fmt: skip
FOREIGN = (
    {"origin": "https://evil.example"},
    {"origin": "null"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"referer": "https://evil.example/x"},
)


def ways(shop) -> list[tuple[str, str, str]]:
    """Return (method, path with its names filled in, path) of everything that is offered."""
    fill = {"case_id": "unit7", "entry_id": "r0", "entry": "e2", "kind": "note", "place": "0",
            "family": "fuel_low", "family_id": "fuel_low", "cause": "pump_worn", "point": "tread",
            "what": "figures", "name": "bench.css", "token": "x" * 32, "upload_id": "0" * 32,
            "label": "unit 7"}  # fmt: skip
    found = []
    for route in create_app(shop, assess=lambda _: pytest.fail("nothing is assessed")).state.ways:
        path = re.sub(r"{(\w+)(?::\w+)?}", lambda m: fill[m[1]], route.path)
        found += [(m, path, route.path) for m in sorted(route.methods)]
    return [*found, ("GET", "/api/openapi.json", "/api/openapi.json")]


@pytest.fixture
def locked(lan: Client, shop) -> Client:
    set_passphrase(shop, "technician", SHOP)
    set_passphrase(shop, "owner", "the-owner-of-notown")
    return lan


def test_no_way_is_open_to_somebody_who_is_not_signed_in(locked: Client, shop) -> None:
    before = shop.export("unit7")
    seen = set()
    for method, path, named in ways(shop):
        answer = locked.request(method, path)
        seen.add(named)
        for name, value in {**HEADERS, "strict-transport-security": HSTS}.items():
            told = answer.headers.get(name, "")
            assert told == value or name == "content-security-policy", (method, path, name)
        assert "default-src 'none'" in answer.headers["content-security-policy"], path
        if named not in OPEN:
            assert answer.status_code in {303, 401}, (method, path, answer.status_code)
            if answer.status_code == 303:
                assert answer.headers["location"].startswith("/login?next="), path
            assert "unit 7" not in answer.text
    assert len(seen) > 85
    assert seen >= OPEN
    assert shop.export("unit7") == before


def test_no_write_is_taken_from_another_page(locked: Client, shop) -> None:
    locked.post("/login", data={"name": "A. Example", "passphrase": SHOP})
    assert locked.get("/cases/unit7/reading").status_code == 200
    before = shop.export("unit7")
    count = 0
    for method, path, _ in ways(shop):
        for headers in FOREIGN if method not in {"GET", "HEAD"} else ():
            count += 1
            answer = locked.request(method, path, headers=headers)
            assert answer.status_code == 403, (method, path, headers)
    assert count > 150
    assert shop.export("unit7") == before
    assert locked.get("/cases/unit7/reading").status_code == 200, "still signed in"


def test_no_way_takes_more_than_its_size(locked: Client, shop) -> None:
    locked.post("/login", data={"name": "A. Example", "passphrase": SHOP})
    much = b"words=" + b"x" * (5 << 20)
    headers = {"content-type": "application/x-www-form-urlencoded"}
    for method, path, _ in ways(shop):
        if method not in {"POST", "PUT"} or path.endswith(("/photo", "/recording")):
            continue
        answer = locked.request(method, path, content=much, headers=headers)
        assert answer.status_code == 413, (method, path, answer.status_code)


@pytest.mark.parametrize(
    "name", ["..%2f..%2fetc%2fpasswd", "%00", "%ed%a0%80", "%2e%2e", "a%0d%0ab"]
)
def test_no_name_in_a_path_leads_out_or_breaks(client: Client, shop, name: str) -> None:
    fields = ("unit7", "r0", "e2", "note", "fuel_low", "pump_worn", "tread", "bench.css")
    for method, path, _ in ways(shop):
        for part in fields:
            if method != "GET" or f"/{part}" not in path or "events" in path:
                continue
            answer = client.get(path.replace(f"/{part}", f"/{name}"))
            assert answer.status_code in {303, 404, 405, 422}, (path, answer.status_code)
            assert "root:" not in answer.text
