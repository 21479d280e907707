"""The locks: who may come in, from where, and with how much."""

from __future__ import annotations

import pytest

from witnessmark.web.door.doors import Access, Throttle, TooMany
from witnessmark.web.pages.pages_login import _inside
from witnessmark.workflow.case.locks import customer_token, set_passphrase, suggest_passphrase

SHOP, OWNER = "barley-in-the-yard", "the-owner-of-notown"


@pytest.fixture
def locked(lan, shop):
    set_passphrase(shop, "technician", SHOP)
    set_passphrase(shop, "owner", OWNER)
    return lan


def sign_in(client, passphrase, name="A. Example"):
    return client.post("/login", data={"name": name, "passphrase": passphrase, "next": "/"})


def test_in_the_network_nobody_comes_in_without_the_passphrase(locked):
    for page in ("/", "/cases/unit7", "/settings", "/api", "/files/unit7/e1"):
        answer = locked.get(page)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/login?next=")
    assert locked.get("/api/cases", headers={"accept": "application/json"}).status_code == 401
    assert locked.post("/cases/unit7/add/note", data={"words": "x"}).status_code == 401
    assert locked.get("/static/bench.css").status_code == 200


def test_without_any_passphrase_set_the_network_stays_out(lan):
    assert lan.get("/").status_code == 303
    assert sign_in(lan, "").status_code == 403


def test_a_technician_works_and_the_owner_owns(locked, shop):
    assert sign_in(locked, "wrong-passphrase").status_code == 403
    answer = sign_in(locked, SHOP)
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "secure" in cookie
    assert "samesite=lax" in cookie
    assert locked.post("/cases/unit7/add/note", data={"words": "hello"}).status_code == 303
    assert shop.casebook.log("unit7")[-1][2] == "A. Example"
    for page, form in (
        ("/settings/figures", {"labour_usd_per_hour": "1"}),
        ("/settings/passphrase", {"role": "owner", "passphrase": "x" * 12}),
        ("/knowledge/fuel_low", {"cause": "pump_worn", "share": "9", "why": "x"}),
        ("/cases/unit7/hand-over", {"days": "3"}),
    ):
        assert locked.post(page, data=form).status_code == 403, page
    sign_in(locked, OWNER, "B. Owner")
    assert locked.post("/settings/figures", data={"labour_usd_per_hour": "160"}).status_code == 303


def test_a_changed_passphrase_signs_everybody_out(locked, shop):
    sign_in(locked, SHOP)
    assert locked.get("/").status_code == 200
    set_passphrase(shop, "technician", "another-long-one")
    assert locked.get("/").status_code == 303


def test_a_forged_session_opens_nothing(locked):
    sign_in(locked, SHOP)
    good = locked.cookies["wm_session"]
    for forged in ("", "x", good[:-2] + "xx", "WyJvIiwib3duZXIiLDJd." + good.split(".", 1)[1]):
        locked.cookies.clear()
        locked.cookies.set("wm_session", forged)
        assert locked.get("/").status_code == 303, forged


@pytest.mark.usefixtures("locked")
def test_passphrases_are_stored_as_argon2_only(shop):
    stored = shop.casebook.setting("locks")
    assert stored["technician"].startswith("$argon2id$")
    assert SHOP not in str(stored)


def test_wrong_passphrases_are_slowed_down(locked):
    for _ in range(5):
        assert sign_in(locked, "wrong-passphrase").status_code == 403
    answer = sign_in(locked, SHOP)
    assert answer.status_code == 429
    assert "Wait" in answer.text


def test_the_throttle_counts_one_address_and_all_together():
    found = Throttle(most=2, most_of_all=3, window_s=100)
    found.failed("a")
    found.failed("a")
    with pytest.raises(TooMany):
        found.check("a")
    found.check("b")
    found.failed("b")
    with pytest.raises(TooMany):
        found.check("c")


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"referer": "https://evil.example/page"},
    ],
)
def test_a_write_from_another_page_is_not_done(client, shop, headers):
    for method, page in (
        ("POST", "/cases/unit7/add/note"),
        ("POST", "/api/cases/unit7/entries"),
        ("POST", "/theme"),
        ("PUT", "/uploads/00?offset=0"),
        ("DELETE", "/uploads/00"),
    ):
        answer = client.request(method, page, data={"words": "x"}, headers=headers)
        assert answer.status_code == 403, page
    assert len(shop.case("unit7").entries) == 6


def test_a_write_from_this_page_is_done(client):
    headers = {"origin": "http://testserver", "sec-fetch-site": "same-origin"}
    answer = client.post("/cases/unit7/add/note", data={"words": "x"}, headers=headers)
    assert answer.status_code == 303


@pytest.mark.parametrize("host", ["evil.example", "192.0.2.9", "x:y:z", "[", "a" * 300])
def test_another_host_name_is_not_served_on_loopback(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


def test_too_much_is_not_taken(client):
    big = "x" * (300 << 10)
    answer = client.post("/cases/unit7/add/note", data={"words": big})
    assert answer.status_code == 413


def test_a_body_that_lies_about_its_length_is_cut_off(client, shop):
    async def endless():
        for _ in range(400):
            yield b"words=" + b"x" * 2048

    answer = client.post(
        "/cases/unit7/add/note",
        content=endless(),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    assert 400 <= answer.status_code < 500
    assert len(shop.case("unit7").entries) == 6


def test_the_customers_link_shows_one_case_and_ends(lan, shop, monkeypatch):
    token = customer_token(shop, "unit7", 3)
    answer = lan.get(f"/c/{token}")
    assert answer.status_code == 200
    assert "low fuel pressure" in answer.text
    assert "/cases/unit7" not in answer.text
    assert lan.get("/cases/unit7").status_code == 303, "the link opens nothing else"
    assert lan.get(f"/c/{token[:-3]}abc").status_code == 403
    import time

    later = time.time() + 3 * 86400 + 60
    monkeypatch.setattr("itsdangerous.timed.time.time", lambda: later)
    late = lan.get(f"/c/{token}")
    assert late.status_code == 403
    assert "past its day" in late.text


@pytest.mark.parametrize(
    ("where", "goes"),
    [
        ("/cases/x?a=b", "/cases/x?a=b"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("https://evil.example", "/"),
        ("/a\nb", "/"),
        ("", "/"),
    ],
)
def test_after_signing_in_one_stays_on_this_page(where, goes):
    assert _inside(where) == goes


def test_security_headers_stand_on_everything(client):
    for page in ("/", "/nope", "/static/bench.css", "/api/openapi.json"):
        headers = client.get(page).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["referrer-policy"] == "same-origin"


def test_suggested_passphrases_differ_and_are_long():
    found = {suggest_passphrase() for _ in range(50)}
    assert len(found) == 50
    assert all(len(text) == 19 for text in found)


def test_the_certificate_names_the_machine_and_is_kept(tmp_path):
    from cryptography import x509

    from witnessmark.web.door.certificate import certificate

    public, private = certificate(tmp_path / "tls", ["192.0.2.7"])
    assert private.stat().st_mode & 0o077 == 0
    made = x509.load_pem_x509_certificate(public.read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.0.2.7" in {str(n) for n in names.get_values_for_type(x509.IPAddress)}
    first = public.read_bytes()
    assert certificate(tmp_path / "tls", ["192.0.2.7"])[0].read_bytes() == first
    certificate(tmp_path / "tls", ["192.0.2.8"])
    assert public.read_bytes() != first, "for a new address a new one is made"


def test_loopback_is_told_from_the_network():
    from witnessmark.web.serving import is_loopback

    assert all(map(is_loopback, ("127.0.0.1", "localhost", "::1", "127.1.2.3")))
    assert not any(map(is_loopback, ("0.0.0.0", "192.0.2.7", "::", "shop.local")))
    assert Access() == Access(lan=False)
