"""Hostile and mistaken forms of an inspection: each a sentence and a status, nothing stored."""

from __future__ import annotations

import html
from collections.abc import Iterator
from pathlib import Path

import pytest

from web.bench_page import Client, remembering
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.inspecting.inspect_case import sheet_of
from workflow.inspecting_lines import HEAD, shop_with

WALK = "/cases/unit/inspection"
STROKE = {
    "number": "2", "unit": "in", "place": "a2l", "gauge": "tape", "given.chamber": "c30",
    "given.tanks": "85", "unit_given.tanks": "psi",
}  # fmt: skip
FULL = {k: str(v) for k, v in HEAD.items()}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    made = shop_with(tmp_path_factory.mktemp("forms"))
    yield made
    made.close()


@pytest.fixture(scope="module")
def client(shop: Shop) -> Iterator[Client]:
    found = Client(create_app(shop, assess=remembering(shop)))
    yield found
    found.close()


READINGS: list[tuple[dict[str, str], str]] = [
    ({"number": "2 1/0"}, ""),
    ({"number": "1//2"}, ""),
    ({"number": "1 2 3/4"}, ""),
    ({"number": "-2"}, "below zero"),
    ({"number": "1e308"}, ""),
    ({"number": "9" * 400}, ""),
    ({"number": "nan"}, ""),
    ({"number": "inf in"}, ""),
    ({"number": "two"}, ""),
    ({"number": "<script>alert(1)</script>"}, ""),
    ({"number": "2\u0000"}, ""),
    ({"number": "٢"}, ""),
    ({"number": "40"}, "possible is"),
    ({"number": "2", "unit": "parsec"}, ""),
    ({"number": "2", "unit": "psi"}, "not in in"),
    ({"number": ""}, "none was typed"),
    ({"place": "a9l"}, "no place of this tractor"),
    ({"place": "../.."}, "no place of this tractor"),
    ({"place": ""}, "read at each place"),
    ({"gauge": "eye"}, "no instrument"),
    ({"gauge": "", "error": "minus a bit"}, ""),
    ({"gauge": "", "error": "-1/8 in"}, "below zero"),
    ({"gauge": "", "error": "1 psi"}, "not the error"),
    ({"gauge": "", "error": "0 in"}, "No instrument is without error"),
    ({"given.chamber": "c99"}, "no answer to"),
    ({"given.chamber": ""}, "Chamber: not said"),
    ({"given.tanks": "79"}, "80 to 100 psi"),
    ({"given.moon": "full"}, "not asked"),
    ({"result": "pass"}, "by its limit"),
    ({"result": "maybe"}, "no result"),
    ({"number": "", "result": "not_fitted", "gauge": ""}, "cannot be 'not fitted'"),
]


@pytest.mark.parametrize(("change", "why"), READINGS)
def test_a_reading_that_cannot_be_is_refused_in_words_and_kept_in_the_form(
    change: dict[str, str], why: str, client: Client, shop: Shop
) -> None:
    before = len(shop.case("unit").entries)
    answer = client.post(f"{WALK}/read/stroke", data={**STROKE, **change})
    text = html.unescape(answer.text)
    assert answer.status_code == 422, text[:600]
    assert why in text
    assert "<script>alert" not in answer.text
    assert "Traceback" not in text
    assert 'role="alert"' in text
    assert len(shop.case("unit").entries) == before


@pytest.mark.parametrize(
    ("method", "path", "data", "status"),
    [
        ("GET", "/cases/nobody/inspection", None, 404),
        ("GET", "/cases/nobody/inspection/paper.pdf", None, 404),
        ("POST", "/cases/nobody/inspection", {"point.wipers": "pass"}, 404),
        ("POST", "/cases/nobody/inspection/begin", FULL, 404),
        ("POST", "/cases/nobody/inspection/sign", {"inspector": "A. Inspector"}, 404),
        ("GET", f"{WALK}/read/nonsense", None, 404),
        ("GET", f"{WALK}/read/kingpin", None, 404),  # a trailer's
        ("GET", f"{WALK}/read/wipers", None, 404),  # looked at, not read
        ("GET", f"{WALK}/read/stroke?place=%00", None, 200),
        ("POST", f"{WALK}/read/kingpin", {"number": "1", "unit": "in"}, 404),
        ("POST", f"{WALK}/read/nonsense", STROKE, 404),
        ("POST", WALK, {}, 422),
        ("POST", WALK, {"point.kingpin": "pass"}, 422),  # no point of a tractor: nothing is left
        ("POST", WALK, {"point.wipers": "maybe"}, 422),
        ("POST", WALK, {"point.wipers": "fail/nonsense"}, 422),
        ("POST", WALK, {"point.stroke": "pass"}, 422),
        ("POST", WALK, {"point.frame": "not_fitted"}, 422),
        ("POST", f"{WALK}/repaired/nonsense", {"did": "x"}, 404),
        ("POST", f"{WALK}/repaired/kingpin", {"did": "x"}, 404),
        ("POST", f"{WALK}/repaired/wipers", {"did": " "}, 422),
        ("POST", f"{WALK}/repaired/wipers", {"did": "x", "minutes": "-5"}, 422),
        ("POST", f"{WALK}/repaired/wipers", {"did": "x", "minutes": "²"}, 422),
        ("POST", f"{WALK}/repaired/wipers", {"did": "x", "minutes": "9" * 400}, 422),
        ("POST", f"{WALK}/repaired/wipers", {"did": "x", "cause": "../etc"}, 422),
        ("POST", f"{WALK}/begin", {}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "vehicle": "ship"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "axles": "0"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "axles": "-3"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "axles": "99999999"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "dual_axles": "two"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "dual_axles": "9"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "built": "31.12.2015"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "qualified": "born"}, 422),
        ("POST", f"{WALK}/begin", {**FULL, "inspector": "x" * 5000}, 422),
        # a certificate while nothing was looked at, by nobody, and by another
        ("POST", f"{WALK}/sign", {"inspector": "A. Inspector", "accurate": "yes"}, 422),
        ("POST", f"{WALK}/sign", {}, 422),
        ("POST", f"{WALK}/sign", {"inspector": "C. Other", "accurate": "yes"}, 422),
    ],
)
def test_what_does_not_fit_has_a_sentence_and_a_status_and_stores_nothing(
    method: str, path: str, data: dict[str, str] | None, status: int, client: Client, shop: Shop
) -> None:
    before = len(shop.case("unit").entries)
    answer = client.request(method, path, data=data)
    assert answer.status_code == status, answer.text[:600]
    assert "Traceback" not in answer.text
    assert status == 200 or 'role="alert"' in answer.text or "<h1" in answer.text
    assert len(shop.case("unit").entries) == before


def test_a_forged_certificate_does_not_stand_on_page_and_paper(tmp_path: Path) -> None:
    shop = shop_with(tmp_path)
    forged = {"inspector": "A. Inspector", "brake_inspector": "B. Brakes", "accurate": True}
    client = Client(create_app(shop, assess=remembering(shop)))
    line = {"kind": "certificate", "id": "forged", "data": forged}
    sent = client.post("/api/cases/unit/entries", json=line)
    assert sent.status_code in {200, 201, 422}, sent.text
    if sent.status_code == 422:
        shop.add("unit", "certificate", forged)
    found = sheet_of(shop, shop.case("unit")).certificate
    assert found is not None
    assert not found.stands
    for path in (WALK, f"{WALK}/paper", f"{WALK}/paper?customer=true"):
        text = client.get(path).text
        assert "not looked at" in text, path
        assert "passed its yearly inspection" not in text, path
    client.close()
    shop.close()
