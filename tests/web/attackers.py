"""A shop served by a real process, and the programs that attack its doors. Loopback only."""

from __future__ import annotations

import contextlib
import os
import re
import socket
import ssl
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import psutil

from patience import PATIENCE_S

ROOT = Path(__file__).resolve().parents[2]
HTML = {"accept": "text/html"}


@dataclass(frozen=True)
class Served:
    """A shop served in a process of its own."""

    address: str
    port: int
    shop_passphrase: str
    owner_passphrase: str
    child: subprocess.Popen[str]

    def memory(self) -> int:
        """Memory of the server and its children [bytes]."""
        process = psutil.Process(self.child.pid)
        rss = process.memory_info().rss
        for child in process.children(recursive=True):
            with contextlib.suppress(psutil.NoSuchProcess):
                rss += child.memory_info().rss
        return int(rss)

    def client(self, source: str = "127.0.0.1") -> httpx.Client:
        """Return a client that comes from *source*, one of 127.0.0.0/8."""
        # A connection for each request: one that the server has just ended is not used again.
        limits = httpx.Limits(max_keepalive_connections=0)
        transport = httpx.HTTPTransport(verify=False, local_address=source, limits=limits)
        return httpx.Client(
            transport=transport, base_url=self.address, timeout=PATIENCE_S, headers=HTML
        )

    @contextlib.contextmanager
    def signed_in(
        self, source: str = "127.0.0.1", *, owner: bool = False
    ) -> Iterator[httpx.Client]:
        """Give a client that is signed in."""
        with self.client(source) as client:
            text = self.owner_passphrase if owner else self.shop_passphrase
            answer = self.sign_in(client, text)
            assert answer.status_code == 303, answer.text
            yield client

    def sign_in(self, client: httpx.Client, text: str, name: str = "A. Example") -> httpx.Response:
        return client.post(
            "/login", data={"name": name, "passphrase": text}, headers={"origin": self.address}
        )

    def connect(self, source: str = "127.0.0.1", *, tls: bool = True) -> socket.socket:
        """Open a bare connection."""
        plain = socket.create_connection(
            ("127.0.0.1", self.port), timeout=100, source_address=(source, 0)
        )
        if not tls:
            return plain
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        return context.wrap_socket(plain)


@contextlib.contextmanager
def serving(folder: Path, *options: str) -> Iterator[Served]:
    """Serve a shop in the network's way (TLS, passphrases), bound to loopback's own network."""
    command = [sys.executable, "-m", "witnessmark", "serve", str(folder)]
    child = subprocess.Popen(
        [*command, "--host", "0.0.0.0", "--port", "0", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"},
    )
    try:
        said = ""
        assert child.stdout is not None
        while "certificate is the shop's own" not in said:
            line = child.stdout.readline()
            assert line, f"the server ended: {said}"
            said += line
        port = int(re.search(r"https://[^ ]+:(\d+)", said)[1])  # type: ignore[index]
        shop = re.search(r"of the shop, shown once: (\S+)", said)
        owner = re.search(r"of the owner, shown once: (\S+)", said)
        found = Served(
            f"https://127.0.0.1:{port}",
            port,
            shop[1] if shop else "",
            owner[1] if owner else "",
            child,
        )
        _until_it_answers(found)
        yield found
    finally:
        child.terminate()
        try:
            child.wait(30)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def _until_it_answers(served: Served) -> None:
    end = time.monotonic() + PATIENCE_S
    with served.client() as client:
        while True:
            with contextlib.suppress(httpx.TransportError):
                client.get("/login")
                return
            assert time.monotonic() < end, "the page does not answer"
            time.sleep(0.2)


def wrong_passphrases(served: Served, tries: int, source: str = "127.0.0.2") -> Counter[int]:
    """Try wrong passphrases all at once; gives how often each status came."""

    def one(number: int) -> int:
        with served.client(source) as client:
            return served.sign_in(client, f"wrong-number-{number}").status_code

    with ThreadPoolExecutor(tries) as pool:
        return Counter(pool.map(one, range(tries)))


def slow_connections(
    served: Served, count: int, sources: int, kind: str
) -> tuple[list[socket.socket], int]:
    """Open connections that say little: ``handshake``, ``head`` or ``body``.

    Returns those that stayed open at first, and how many were turned away.
    """
    opened: list[socket.socket] = []
    away = 0
    lock = threading.Lock()

    def one(number: int) -> None:
        nonlocal away
        try:
            found = served.connect(f"127.0.1.{1 + number % sources}", tls=kind != "handshake")
            if kind == "handshake":
                found.sendall(b"\x16\x03")
            elif kind == "head":
                found.sendall(b"GET /login HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
            else:
                found.sendall(
                    b"POST /login HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 900\r\n"
                    b"Content-Type: application/x-www-form-urlencoded\r\n\r\npassphrase="
                )
        except OSError:
            with lock:
                away += 1
        else:
            with lock:
                opened.append(found)

    with ThreadPoolExecutor(32) as pool:
        list(pool.map(one, range(count)))
    return opened, away


def still_open(connections: list[socket.socket]) -> int:
    """Say how many of the connections the server has not ended."""
    count = 0
    for found in connections:
        found.settimeout(0.005)
        try:
            count += found.recv(1) != b""
        except (TimeoutError, ssl.SSLWantReadError):
            count += 1
        except OSError:
            continue
    return count


def close_all(connections: list[socket.socket]) -> None:
    for found in connections:
        with contextlib.suppress(OSError):
            found.close()


def polls(served: Served, count: int, page: str, cookies: Any = None) -> Counter[int]:
    """Ask the same page many times at once."""

    def some(number: int) -> Counter[int]:
        found: Counter[int] = Counter()
        with served.client(f"127.0.2.{1 + number}") as client:
            client.headers["accept"] = "application/json"
            if cookies is not None:
                client.cookies.update(cookies)
            for _ in range(count // 20):
                found[client.get(page).status_code] += 1
        return found

    with ThreadPoolExecutor(20) as pool:
        return sum(pool.map(some, range(20)), Counter())


def listeners(served: Served, count: int, page: str, cookie: str = "") -> list[socket.socket]:
    """Open event streams and read nothing."""
    opened = []
    for number in range(count):
        with contextlib.suppress(OSError):
            found = served.connect(f"127.0.3.{1 + number % 20}")
            lines = [f"GET {page} HTTP/1.1", "Host: 127.0.0.1"]
            lines += [f"Cookie: {cookie}"] if cookie else []
            found.sendall(("\r\n".join(lines) + "\r\n\r\n").encode())
            opened.append(found)
    return opened


def served_meanwhile(client: httpx.Client, page: str, tries: int = 20) -> list[float]:
    """Return how long a signed-in user waits for a page, try by try [s]; fails when refused."""
    found = []
    for _ in range(tries):
        begun = time.monotonic()
        answer = client.get(page)
        assert answer.status_code == 200, answer.status_code
        found.append(time.monotonic() - begun)
    return found
