"""The locks: who may come in, from where, and with how much."""

from __future__ import annotations

import logging
from dataclasses import replace

import pytest

from patience import PATIENCE_S
from witnessmark.errors import Forbidden
from witnessmark.web.door.attempts import HashQueue, Throttle, TooMany
from witnessmark.web.door.connections import Connections, address_key
from witnessmark.web.door.doors import COOKIE, DEVICE, Access
from witnessmark.web.pages import pages_login
from witnessmark.web.pages.pages_login import _inside
from witnessmark.workflow.case.locks import customer_token, set_passphrase, suggest_passphrase
from witnessmark.workflow.inspecting.inspect_case import begin, sheet_of, sign

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
    assert "__host-wm_session=" in cookie
    assert "path=/" in cookie
    assert "domain" not in cookie
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
    good = locked.cookies[COOKIE]
    for forged in ("", "x", good[:-2] + "xx", good + "x", good.swapcase(), "x" * 5000):
        locked.cookies.clear()
        locked.cookies.set(COOKIE, forged)
        assert locked.get("/").status_code == 303, forged


@pytest.mark.usefixtures("locked")
def test_passphrases_are_stored_as_argon2_only_and_never_in_the_casebook(shop):
    held = shop.locks.passphrases()["role:technician"]
    assert held.hash.startswith("$argon2id$")
    shop.close()
    assert SHOP.encode() not in (shop.folder / "locks.sqlite").read_bytes()
    assert b"argon2" not in (shop.folder / "casebook.sqlite").read_bytes()
    assert (shop.folder / "locks.sqlite").stat().st_mode & 0o077 == 0


def test_what_an_earlier_version_kept_in_the_casebook_is_moved(lan, shop):
    from argon2 import PasswordHasher

    old = {"technician": PasswordHasher().hash(SHOP), "generation": 3}
    shop.casebook.set_setting("locks", old)
    shop.casebook.set_setting("secret", "s" * 43)
    assert sign_in(lan, SHOP).status_code == 303
    assert shop.casebook.setting("locks") is None
    assert shop.casebook.setting("secret") is None


def test_wrong_passphrases_are_slowed_down(locked):
    for _ in range(5):
        assert sign_in(locked, "wrong-passphrase").status_code == 403
    answer = sign_in(locked, SHOP)
    assert answer.status_code == 429
    assert "Wait" in answer.text


def test_the_throttle_counts_before_it_looks_and_only_the_one_who_tries():
    now = [0.0]
    found = Throttle(most=2, window_s=100, clock=lambda: now[0])
    found.count("a")
    found.count("a")
    with pytest.raises(TooMany, match="Too many"):
        found.count("a")
    for other in range(5000):
        found.count(f"b{other}")
    with pytest.raises(TooMany):
        found.count("a")
    now[0] = 101
    found.count("a")
    found.forgive("a")
    found.count("a")
    found.count("a")


def test_the_queue_of_the_hash_has_a_bound_and_keeps_places_for_known_devices():
    import threading

    queue, hold, inside, refused = HashQueue(2, 3, 1), threading.Event(), [], []

    def slow():
        inside.append(1)
        assert hold.wait(PATIENCE_S)

    def one(known=False):
        try:
            queue.run(slow, known=known)
        except TooMany as error:
            refused.append(error)

    threads = [threading.Thread(target=one) for _ in range(9)]
    for thread in threads:
        thread.start()
    while len(refused) < 4:
        threads[0].join(0.01)
    known = threading.Thread(target=one, args=(True,))
    known.start()
    known.join(0.1)
    assert len(inside) == 2, "two hashes at a time"
    assert len(refused) == 4, "five are let in, and one of a known device"
    hold.set()
    for thread in (*threads, known):
        thread.join(PATIENCE_S)
    assert len(inside) == 6


def test_connections_from_one_address_and_in_all_have_bounds():
    now, shut = [0.0], []
    found = Connections(per_address=3, in_all=5, idle_s=10, clock=lambda: now[0])

    def come(address, port):
        now[0] += 0.1
        return found.come((address, port), lambda: shut.append((address, port)))

    assert all(come("192.0.2.1", port) for port in range(3))
    found.asked(("192.0.2.1", 0))
    assert come("192.0.2.1", 3), "the newest is let in"
    assert shut == [("192.0.2.1", 1)], "for the one idle longest; a busy one is left alone"
    assert come("192.0.2.2", 0)
    assert come("192.0.2.2", 1)
    assert come("192.0.2.3", 0)
    assert len(found) == 5
    assert shut == [("192.0.2.1", 1), ("192.0.2.1", 2)]
    for address, port in (("192.0.2.1", 3), ("192.0.2.2", 0), ("192.0.2.2", 1), ("192.0.2.3", 0)):
        found.asked((address, port))
    assert not come("192.0.2.4", 0), "where everybody is served the next one waits outside"
    found.answered(("192.0.2.3", 0))
    now[0] += 11
    assert found.sweep() == 1
    assert len(found) == 4


def test_who_is_signed_in_is_the_last_to_be_shut_out():
    shut = []
    found = Connections(per_address=99, in_all=3)
    for port in range(3):
        found.come(("192.0.2.1", port), lambda p=port: shut.append(p))
    for port, known in ((0, True), (1, False)):
        found.asked(("192.0.2.1", port))
        if known:
            found.knows(("192.0.2.1", port))
        found.answered(("192.0.2.1", port))
    for port in (3, 4, 5):
        found.come(("192.0.2.2", port), lambda p=port: shut.append(p))
    assert shut == [2, 3, 4], "those that never asked anything come first"


def test_an_ipv6_network_counts_as_one_address():
    assert address_key("2001:db8:1:2::1") == address_key("2001:db8:1:2:ffff::9")
    assert address_key("2001:db8:1:2::1") != address_key("2001:db8:1:3::1")
    assert address_key("::ffff:192.0.2.1") == "192.0.2.1"


def test_wrong_tries_from_one_address_lock_nobody_else_out(locked):
    from web.bench_page import from_address

    for _ in range(9):
        sign_in(from_address(locked, "192.0.2.66"), "wrong-passphrase")
    assert sign_in(from_address(locked, "192.0.2.66"), SHOP).status_code == 429
    assert sign_in(from_address(locked, "192.0.2.67"), SHOP).status_code == 303


def test_a_device_that_was_signed_in_is_not_locked_out_by_its_neighbour(locked):
    assert sign_in(locked, SHOP).status_code == 303
    device = locked.cookies[DEVICE]
    locked.cookies.clear()
    for _ in range(9):
        sign_in(locked, "wrong-passphrase")
    assert sign_in(locked, SHOP).status_code == 429
    locked.cookies.set(DEVICE, device)
    assert sign_in(locked, SHOP).status_code == 303


def test_signing_out_ends_the_session_wherever_it_was_copied(locked):
    sign_in(locked, SHOP)
    copied = locked.cookies[COOKIE]
    assert locked.get("/").status_code == 200
    assert locked.post("/logout").status_code == 303
    locked.cookies.clear()
    locked.cookies.set(COOKIE, copied)
    assert locked.get("/").status_code == 303


def test_a_session_that_nobody_uses_ends_also_when_the_clock_goes_backwards(locked, monkeypatch):
    import time

    sign_in(locked, SHOP)
    real = time.time()
    for away in (3.1 * 86400, -3.1 * 86400):
        monkeypatch.setattr("witnessmark.workflow.case.locks.time.time", lambda a=away: real + a)
        assert locked.get("/").status_code == 303
    monkeypatch.setattr("witnessmark.workflow.case.locks.time.time", lambda: real + 3600)
    assert locked.get("/").status_code == 200


@pytest.fixture
def people(locked, shop):
    from witnessmark.workflow.case.shop_settings import Person, save_person

    save_person(shop, Person("A. Example"))
    save_person(shop, Person("B. Owner", "owner"))
    return locked


def test_nobody_signs_as_another(people, shop):
    sign_in(people, SHOP, "A. Example")
    form = {"current": SHOP, "own": "four-lazy-pistons-sang"}
    assert people.post("/me", data=form).status_code == 200
    assert people.get("/").status_code == 303, "signed out everywhere"
    from web.bench_page import from_address

    for number, name in enumerate(("A. Example", "a.  example", "\uff21. Example")):
        other = from_address(people, f"192.0.2.{number}")
        other.cookies.clear()
        assert sign_in(other, SHOP, name).status_code == 403, name
        assert sign_in(other, OWNER, name).status_code == 403, name
    people.cookies.clear()
    for name in ("\u0410. Example", "Somebody Else"):  # a Cyrillic letter that looks the same
        assert sign_in(people, SHOP, name).status_code == 403, name
    elsewhere = from_address(people, "192.0.2.99")
    assert sign_in(elsewhere, "four-lazy-pistons-sang", "A. Example").status_code == 303
    people.post("/cases/unit7/add/note", data={"words": "mine"})
    assert shop.casebook.log("unit7")[-1][2] == "A. Example"
    assert people.post("/settings/figures", data={"tax_percent_parts": "1"}).status_code == 403


def test_who_is_turned_away_by_the_crowd_has_tried_nothing(locked):
    crowd = locked.transport.app.state.bench.hashes
    crowd._inside = crowd.at_once + crowd.waiting  # the others of a crowd at the door
    for _ in range(12):
        answer = sign_in(locked, SHOP)
        assert answer.status_code == 429
        assert "Many sign in at this moment" in answer.text
    crowd._inside = 0
    assert sign_in(locked, SHOP).status_code == 303


def test_nobody_signs_an_inspection_as_another(locked, shop):
    begin(shop, "unit7", {"vehicle": "truck", "inspector": "B. Inspector"})
    sign_in(locked, SHOP, "A. Example")
    signed = {"inspector": "B. Inspector", "accurate": True}
    entry = {"kind": "certificate", "data": signed}
    ours = {"accept": "application/json"}
    refused = locked.post("/api/cases/unit7/entries", json=entry, headers=ours)
    assert refused.status_code == 403
    assert "A. Example is signed in; B. Inspector signs himself" in refused.json()["what"]
    sheet = replace(sheet_of(shop, shop.case("unit7")), withheld=())
    with pytest.raises(Forbidden, match="signs himself"):
        sign(shop, "unit7", signed, sheet, by="A. Example")
    assert all(e.kind != "certificate" for e in shop.case("unit7").entries)
    sign(shop, "unit7", signed, sheet, by="b.  inspector")
    assert shop.case("unit7").entries[-1].kind == "certificate"


def test_a_fault_tells_no_customers_link_to_the_log(locked, shop, monkeypatch, caplog):
    token = customer_token(shop, "unit7", 7)
    assert locked.get(f"/c/{token}").status_code == 200

    def broken(*_):
        raise ZeroDivisionError

    monkeypatch.setattr(pages_login, "customer_case", broken)
    with caplog.at_level(logging.DEBUG):
        assert locked.get(f"/c/{token}").status_code == 500
    ours = [r for r in caplog.records if not r.name.startswith("http")]
    assert [r.exc_info[0] for r in ours if r.exc_info] == [ZeroDivisionError]
    assert all(token not in f"{r.getMessage()}{r.exc_text}" for r in ours)


@pytest.mark.parametrize(
    "bus",
    [
        "slcan:spy:///dev/null?file=written",
        "slcan:socket://192.0.2.1:22",
        "slcan:/etc/passwd",
        "slcan:/dev/../etc/passwd",
        "socketcan:can0\x00",
        "seeedstudio:" + "a" * 200,
    ],
)
def test_a_drive_opens_adapters_and_nothing_else(client, bus):
    answer = client.post("/cases/unit7/drive", data={"bus": bus})
    assert answer.status_code == 422
    assert "no adapter of this machine" in answer.text.replace("&#39;", "'")


def test_a_pin_opens_only_a_device_that_was_signed_in_on(people):
    sign_in(people, SHOP, "A. Example")
    for weak in ("123456", "111111", "20240101", "000000"):
        assert people.post("/me", data={"current": SHOP, "own": weak}).status_code == 422, weak
    assert people.post("/me", data={"current": SHOP, "own": "730418"}).status_code == 200
    assert sign_in(people, "730418", "A. Example").status_code == 303
    people.cookies.clear()
    assert sign_in(people, "730418", "A. Example").status_code == 403


def test_the_owner_takes_a_forgotten_passphrase_away(people):
    sign_in(people, SHOP, "A. Example")
    people.post("/me", data={"current": SHOP, "own": "four-lazy-pistons-sang"})
    assert sign_in(people, SHOP, "A. Example").status_code == 403
    sign_in(people, OWNER, "B. Owner")
    assert "own passphrase" in people.get("/settings").text
    assert people.post("/settings/forgot", data={"name": "A. Example"}).status_code == 303
    assert sign_in(people, SHOP, "A. Example").status_code == 303


@pytest.mark.parametrize(
    "weak",
    [
        "password123",
        "qwertyuiop",
        "1234567890",
        "aaaaaaaaaaaa",
        "short",
        "diesel1234",
        "iloveyou12",
    ],
)
def test_weak_passphrases_are_refused(shop, weak):
    from witnessmark.errors import InputRefused

    with pytest.raises(InputRefused):
        set_passphrase(shop, "technician", weak)
    assert not shop.locks.passphrases()


def test_links_are_listed_ended_and_end_with_a_passphrase_change(locked, shop):
    sign_in(locked, OWNER, "B. Owner")
    for days in ("0", "91", "-3", "x", "1e3", "\u0663", "99999999999999999999"):
        answer = locked.post("/cases/unit7/hand-over", data={"days": days})
        assert answer.status_code == 422, days
    page = locked.post("/cases/unit7/hand-over", data={"days": "3"}).text
    token = page.split("/c/")[1].split("<")[0]
    assert locked.get(f"/c/{token}").status_code == 200
    (link,) = shop.locks.links()
    assert link.id in locked.get("/cases/unit7/hand-over").text
    assert link.id in locked.get("/settings").text
    locked.post("/cases/unit7/hand-over", data={"end": link.id})
    assert locked.get(f"/c/{token}").status_code == 403
    token = customer_token(shop, "unit7", 3)
    assert locked.get(f"/c/{token}").status_code == 200
    set_passphrase(shop, "technician", "another-long-one")
    assert locked.get(f"/c/{token}").status_code == 403


def test_no_token_is_stored_as_it_is(locked, shop):
    sign_in(locked, SHOP)
    tokens = [locked.cookies[COOKIE], locked.cookies[DEVICE]]
    tokens.append(customer_token(shop, "unit7", 3))
    shop.locks.close()
    stored = b"".join(p.read_bytes() for p in shop.folder.glob("*.sqlite*"))
    assert all(token.encode() not in stored for token in tokens)


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


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "192.0.2.9",
        "x:y:z",
        "[",
        "a" * 300,
        "",
        "a@testserver",
        "testserver/x",
        "testserver:99999",
        "testserver evil.example",
    ],
)
def test_another_host_name_is_not_served_on_loopback(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "host", ["evil.example", "192.0.2.9", "192.0.2.7.evil.example", "testserver"]
)
def test_another_host_name_is_not_served_in_the_network(lan, host):
    assert lan.get("/", headers={"host": host}).status_code == 421
    assert lan.get("/login", headers={"host": "192.0.2.7:8740"}).status_code == 200


def test_security_headers_stand_on_faults_too_and_tls_is_remembered(shop, monkeypatch):
    from web.bench_page import Client, remembering
    from witnessmark.web.app import create_app

    def broken(*_):
        raise RuntimeError("secret words of the machine")

    monkeypatch.setattr("witnessmark.web.pages.pages_cases.ledger_page", broken)
    client = Client(create_app(shop, access=Access(secure=True), assess=remembering(shop)))
    answer = client.get("/")
    client.close()
    assert answer.status_code == 500
    assert "secret words" not in answer.text
    assert "Nothing that was saved is lost" in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "max-age=" in answer.headers["strict-transport-security"]


def test_a_body_that_comes_too_slowly_is_cut_off(client, shop, monkeypatch):
    import asyncio

    monkeypatch.setattr("witnessmark.web.door.doors.IDLE_S", 0.2)

    async def slow():
        yield b"words="
        await asyncio.sleep(5)
        yield b"late"

    answer = client.post(
        "/cases/unit7/add/note",
        content=slow(),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    assert answer.status_code == 408
    assert "too slowly" in answer.text
    assert len(shop.case("unit7").entries) == 6


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
    monkeypatch.setattr("witnessmark.workflow.case.locks.time.time", lambda: later)
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

    folder = tmp_path / "tls"
    public, private = certificate(folder, ["192.0.2.7"])
    for key in (private, folder / "authority-key.pem"):
        assert key.stat().st_mode & 0o177 == 0, "its owner alone"
    made, above = x509.load_pem_x509_certificates(public.read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.0.2.7" in {str(n) for n in names.get_values_for_type(x509.IPAddress)}
    assert (made.not_valid_after_utc - made.not_valid_before_utc).days <= 31, "a short life"
    bounds = above.extensions.get_extension_for_class(x509.NameConstraints)
    assert bounds.critical
    assert "192.0.2.7/32" in {str(n.value) for n in bounds.value.permitted_subtrees}
    first, authority = public.read_bytes(), (folder / "authority.pem").read_bytes()
    assert certificate(folder, ["192.0.2.7"])[0].read_bytes() == first
    certificate(folder, [])
    assert (folder / "authority.pem").read_bytes() == authority, "devices keep what they took in"
    certificate(folder, ["192.0.2.8"])
    assert public.read_bytes() != first, "for a new address a new one is made"
    assert (folder / "authority.pem").read_bytes() != authority, "it may not sign for that address"


@pytest.mark.parametrize(("name", "taken"), [("127.0.0.1", True), ("bank.example", False)])
def test_the_authority_vouches_for_the_shops_names_alone(tmp_path, name, taken):
    """A real handshake; the stolen key of the authority signs for somebody else's name."""
    import ssl
    from unittest.mock import patch

    from witnessmark.web.door import certificate as door

    folder = tmp_path / "tls"
    door.certificate(folder, [])
    held = door._authority(folder, {"127.0.0.1"})
    with patch.object(door, "_authority", lambda *_: held):
        public, private = door.certificate(folder, [name])
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(public, private)
    client = ssl.create_default_context(cafile=str(folder / "authority.pem"))
    there, here = (ssl.MemoryBIO(), ssl.MemoryBIO()), None
    asking = client.wrap_bio(there[0], there[1], server_hostname=name)
    giving = server.wrap_bio(there[1], there[0], server_side=True)
    for _ in range(6):
        for end in (asking, giving):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
            except ssl.SSLCertVerificationError as error:
                here = error
                break
        if here:
            break
    assert (here is None) == taken, here
    if here is not None:
        assert "permitted subtree" in str(here)


def test_loopback_is_told_from_the_network():
    from witnessmark.web.serving import is_loopback

    assert all(map(is_loopback, ("127.0.0.1", "localhost", "::1", "127.1.2.3")))
    assert not any(map(is_loopback, ("0.0.0.0", "192.0.2.7", "::", "shop.local")))
    assert Access() == Access(lan=False)
