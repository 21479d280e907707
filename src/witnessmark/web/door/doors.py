"""The locks on the doors: who may come in, from where, with how much, and what pages may do."""

from __future__ import annotations

import ipaddress
import json
import socket
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Literal
from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from witnessmark.errors import Forbidden, WitnessmarkError
from witnessmark.workflow.case.locks import has_passphrase, read_session
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["COOKIE", "CSP", "Access", "Doors", "Throttle", "TooMany", "Viewer"]

COOKIE = "wm_session"
#: No inline script or style, nothing from elsewhere, nobody may frame us.
CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; "
    "manifest-src 'self'; worker-src 'self'"
)
#: Largest body of an ordinary request [bytes]; uploads have a limit of their own.
SMALL_BODY = 256 << 10
#: Largest photo or file sent with a form [bytes].
FORM_FILE = 256 << 20
_PIECE_BODY = (4 << 20) + 4096
_SAFE = {"GET", "HEAD", "OPTIONS"}
_OPEN = ("/static/", "/login", "/c/", "/health")
_HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), accelerometer=(self), gyroscope=(self), "
    "geolocation=(), microphone=(), usb=(), payment=()",
}


@dataclass(frozen=True, slots=True)
class Viewer:
    """Who is looking."""

    name: str
    role: Literal["owner", "technician", "nobody"]

    def must_own(self) -> None:
        """Refuse anybody but the owner.

        Raises:
            Forbidden: not the owner.
        """
        if self.role != "owner":
            raise Forbidden(
                "Only the owner may do this.", do="Sign in with the owner's passphrase."
            )


@dataclass(frozen=True, slots=True)
class Access:
    """How the page is reached.

    Attributes:
        lan: reached from other machines: a passphrase is asked for.
        address: the address other devices use, empty on loopback.
        hosts: further host names that are ours.
        secure: served over HTTPS.
    """

    lan: bool = False
    address: str = ""
    hosts: tuple[str, ...] = ()
    secure: bool = False


class TooMany(WitnessmarkError):
    """Too many tries in too short a time."""


@dataclass(slots=True)
class Throttle:
    """Counts failed tries, from one address and from all together.

    Attributes:
        most: failures allowed from one address within *window_s*.
        most_of_all: failures allowed from everywhere within *window_s*.
        window_s: length of the window [s].
    """

    most: int = 5
    most_of_all: int = 30
    window_s: float = 300.0
    _tries: dict[str, deque[float]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def check(self, address: str) -> None:
        """Refuse while there were too many failures.

        Raises:
            TooMany: wait.
        """
        now = time.monotonic()
        with self._lock:
            for key in list(self._tries):
                tries = self._tries[key]
                while tries and now - tries[0] > self.window_s:
                    tries.popleft()
                if not tries:
                    del self._tries[key]
            own = len(self._tries.get(address, ()))
            everyone = sum(len(t) for t in self._tries.values())
        if own >= self.most or everyone >= self.most_of_all:
            raise TooMany("Too many wrong passphrases.", do="Wait five minutes and try again.")

    def failed(self, address: str) -> None:
        """Count a failure."""
        with self._lock:
            self._tries.setdefault(address, deque()).append(time.monotonic())


class Doors:
    """Middleware that every request passes: host, origin, size, session; then headers."""

    def __init__(self, app: ASGIApp, *, shop: Shop, access: Access) -> None:
        self._app = app
        self._shop = shop
        self._access = access
        self._hosts = _own_hosts(access)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it at the door."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _answer(scope, send, *refusal)
            return
        limit = _limit(scope["path"])
        length = headers.get("content-length", "")
        if length.isdigit() and int(length) > limit:
            await _answer(scope, send, 413, f"At most {limit >> 10} KiB are taken here.")
            return
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > limit:
                    # Ends the body: what came so far is refused by whoever reads it.
                    return {"type": "http.disconnect"}
            return message

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, text in _HEADERS.items():
                    if name not in out:
                        out[name] = text
                if "cache-control" not in out:
                    out["cache-control"] = "private, no-cache"
            await send(message)

        await self._app(scope, counted, dressed)

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if not self._known_host(host):
            return 421, "This page is not served under that name."
        if scope["method"] not in _SAFE and not _same_origin(headers, host):
            return 403, "This came from another page and was not done."
        viewer = self._viewer(headers)
        scope.setdefault("state", {})["viewer"] = viewer
        if viewer.role == "nobody" and not scope["path"].startswith(_OPEN):
            return 401, "Sign in first."
        return None

    def _viewer(self, headers: Headers) -> Viewer:
        if not self._access.lan:
            return Viewer("", "owner")
        token = _cookie(headers, COOKIE)
        found = read_session(self._shop, token) if token else None
        if found is None or not has_passphrase(self._shop):
            return Viewer("", "nobody")
        return Viewer(*found)

    def _known_host(self, host: str) -> bool:
        try:
            name = urlsplit(f"//{host}").hostname or ""
            port_ok = urlsplit(f"//{host}").port is None or True
        except ValueError:
            return False
        if name in self._hosts:
            return port_ok
        if not self._access.lan:
            return _is_loopback(name)
        return _is_address(name)


def _own_hosts(access: Access) -> frozenset[str]:
    names = {"localhost", "testserver", *access.hosts}
    if access.lan:
        machine = socket.gethostname().lower()
        names |= {machine, f"{machine}.local"}
    return frozenset(names)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _is_loopback(name: str) -> bool:
    return _is_address(name) and ipaddress.ip_address(name).is_loopback


def _same_origin(headers: Headers, host: str) -> bool:
    """Browsers always say where a write comes from; a client that is none says nothing."""
    site = headers.get("sec-fetch-site")
    if site is not None and site not in {"same-origin", "none"}:
        return False
    origin = headers.get("origin")
    if origin is not None:
        return origin != "null" and urlsplit(origin).netloc == host
    referer = headers.get("referer")
    return referer is None or urlsplit(referer).netloc == host


def _cookie(headers: Headers, name: str) -> str:
    try:
        jar = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[name].value if name in jar else ""


def _limit(path: str) -> int:
    if path.startswith("/uploads/"):
        return _PIECE_BODY
    if path.endswith(("/photo", "/recording", "/import")):
        return FORM_FILE
    return 2 << 20 if path.startswith("/api/") else SMALL_BODY


async def _answer(scope: Scope, send: Send, status: int, what: str) -> None:
    headers = Headers(scope=scope)
    html = "text/html" in headers.get("accept", "") and scope["method"] in _SAFE
    out: dict[str, str] = {**_HEADERS, "cache-control": "no-store"}
    if status == 401 and html:
        here = scope["path"] + ("?" + scope["query_string"].decode("latin-1")).rstrip("?")
        status, body = 303, b""
        out["location"] = f"/login?next={quote(here, safe='')}"
    else:
        body = json.dumps({"what": what, "where": "", "do": ""}).encode()
        out["content-type"] = "application/json"
    out["content-length"] = str(len(body))
    raw = [(k.encode("latin-1"), v.encode("latin-1")) for k, v in out.items()]
    await send({"type": "http.response.start", "status": status, "headers": raw})
    await send({"type": "http.response.body", "body": body})
