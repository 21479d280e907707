"""The doors under attack: a real server, real connections, many addresses of loopback.

Here each attack is small; ``benchmarks/attacks.py`` runs them at full strength.
"""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from patience import PATIENCE_S
from web.attackers import (
    Served,
    close_all,
    listeners,
    polls,
    served_meanwhile,
    serving,
    slow_connections,
    still_open,
    wrong_passphrases,
)
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A shop in the network with one case that is quickly assessed."""
    folder = tmp_path_factory.mktemp("attacked") / "shop"
    shop = open_shop(folder, create=True)
    complaint = {"words": "oil pressure low at idle (invented)", "families": ["oil_press"]}
    shop.new_case("oil", [entry_line("complaint", complaint, entry_id="c1")])
    shop.close()
    with serving(folder) as found:
        yield found


def test_forty_wrong_passphrases_at_once(served: Served) -> None:
    with served.client("127.0.0.9") as client:
        served.sign_in(client, "wrong-first")  # what the first hash loads is loaded
    before = served.memory()
    assert wrong_passphrases(served, 40, "127.0.0.2") == {403: 5, 429: 35}
    assert served.memory() - before < 200 << 20, "two hashes of 64 MiB at a time"
    for number in range(3, 9):
        with served.client(f"127.0.0.{number}") as client:
            answer = served.sign_in(client, served.shop_passphrase)
            assert answer.status_code == 303, "from every other address one comes in"


@pytest.mark.parametrize("kind", ["handshake", "head", "body"])
def test_slow_connections_leave_a_user_served(served: Served, kind: str) -> None:
    with served.signed_in("127.0.0.20") as user:
        opened, away = slow_connections(served, 120, 1, kind)
        try:
            served_meanwhile(user, "/cases/oil", tries=3)
            with served.signed_in("127.0.1.1") as neighbour:
                served_meanwhile(neighbour, "/", tries=1)
            assert len(opened) + away == 120
            assert still_open(opened) <= 64
        finally:
            close_all(opened)


def test_a_connection_that_asks_nothing_is_ended(served: Served) -> None:
    opened, _ = slow_connections(served, 6, 5, "head")
    end = time.monotonic() + PATIENCE_S
    while still_open(opened):
        assert time.monotonic() < end, "it is not ended"
        time.sleep(0.5)
    close_all(opened)


def test_many_polls_leave_a_user_served(served: Served) -> None:
    assert set(polls(served, 40, "/cases/oil/version")) == {401}
    with served.signed_in("127.0.0.22") as user:
        cookie = "; ".join(f"{k}={v}" for k, v in user.cookies.items())
        opened = listeners(served, 60, "/cases/oil/events", cookie)
        try:
            served_meanwhile(user, "/cases/oil", tries=3)
            assert polls(served, 40, "/cases/oil/version", user.cookies) == {200: 40}
        finally:
            close_all(opened)


def test_events_tell_of_a_change_and_end_with_the_session(served: Served) -> None:
    with (
        served.signed_in("127.0.0.23") as user,
        served.signed_in("127.0.0.24") as writer,
        user.stream("GET", "/cases/oil/events") as answer,
    ):
        assert answer.headers["content-type"].startswith("text/event-stream")
        lines = (line for line in answer.iter_lines() if line.startswith("data:"))
        first = next(lines)
        sent = writer.post(
            "/cases/oil/add/note",
            data={"words": "heard on the road (invented)"},
            headers={"origin": served.address},
        )
        assert sent.status_code == 303
        assert next(lines) != first
        with served.client("127.0.0.25") as copy:
            copy.cookies.update(user.cookies)
            copy.post("/logout", headers={"origin": served.address})
        list(lines)  # ends by itself


def test_what_is_no_http_is_answered_with_the_same_headers(served: Served) -> None:
    with served.connect("127.0.0.26") as raw:
        raw.sendall(b"\x00\x01nonsense\r\n\r\n")
        answer = raw.recv(4096)
    assert b"400 Bad Request" in answer
    assert b"content-security-policy: default-src 'none'" in answer.lower()


def test_an_address_may_not_say_that_it_is_another(served: Served) -> None:
    statuses = []
    for number in range(8):
        with served.client("127.0.0.30") as client:
            client.headers["x-forwarded-for"] = f"192.0.2.{number}"
            statuses.append(served.sign_in(client, "wrong-again").status_code)
    assert statuses == [403] * 5 + [429] * 3


def test_a_head_without_end_is_refused(served: Served) -> None:
    with served.connect("127.0.0.31") as raw:
        raw.sendall(b"GET /login HTTP/1.1\r\nHost: 127.0.0.1\r\n")
        try:
            for _ in range(200):
                raw.sendall(b"X-Long: " + b"x" * 1000 + b"\r\n")
            answer = raw.recv(4096)
        except OSError:
            answer = b""
    assert answer == b"" or b" 400 " in answer.split(b"\r\n")[0]


def test_the_server_lives(served: Served, tmp_path: Path) -> None:
    del tmp_path
    assert served.child.poll() is None
    with socket.create_connection(("127.0.0.1", served.port), timeout=PATIENCE_S):
        pass
    with served.client() as client:
        answer = client.get("/login")
        assert answer.status_code == 200
        assert "max-age=" in answer.headers["strict-transport-security"]
    with pytest.raises(httpx.HTTPError):
        httpx.get(f"http://127.0.0.1:{served.port}/login", timeout=PATIENCE_S)
