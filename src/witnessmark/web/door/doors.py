"""The locks on the doors: who may come in, from where, with how much, and what pages may do."""

from __future__ import annotations

import asyncio
import ipaddress
import json
import logging
import re
import socket
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Literal
from urllib.parse import quote, urlsplit

from anyio import CapacityLimiter, to_thread
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from witnessmark.errors import Forbidden, StorageFault, http_status
from witnessmark.web.door.connections import Connections
from witnessmark.workflow.case.locks import read_session
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["COOKIE", "CSP", "DEVICE", "HEADERS", "Access", "Doors", "Viewer", "cookie"]

_LOG = logging.getLogger("witnessmark.web")
#: The prefix lets browsers take it only over TLS, from this host, for all of it.
COOKIE = "__Host-wm_session"
#: Says that somebody was signed in on this device before; opens nothing by itself.
DEVICE = "__Host-wm_device"
_LONGEST_TOKEN = 200
_HOST = re.compile(
    r"(?P<name>\[[0-9A-Fa-f:.]{2,45}\]|[A-Za-z0-9._-]{1,253})(?::(?P<port>[0-9]{1,5}))?"
)
#: Browsers that were here over TLS come back over TLS only.
HSTS = "max-age=31536000"
#: Longest pause within a body, and time for a body beside its size at the slowest pace [s].
IDLE_S = 15.0
BODY_S = 30.0
#: Slowest pace of a body after its first half minute [bytes a second].
SLOWEST = 8192
#: Time for a piece of an answer to be taken [s].
SEND_S = 60.0
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
_OPEN = ("/static/", "/c/", "/certificate/")
_OPEN_PAGES = {"/login", "/logout", "/certificate", "/sw.js"}
#: What stands on every answer.
HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-permitted-cross-domain-policies": "none",
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
        proxy: address of a proxy of ours that ends TLS and says who asks; empty without one.
    """

    lan: bool = False
    address: str = ""
    hosts: tuple[str, ...] = ()
    secure: bool = False
    proxy: str = ""


class Doors:
    """Middleware that every request passes: host, origin, size, time, session; then headers."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        shop: Shop,
        access: Access,
        connections: Connections | None = None,
        fault: Callable[[Scope, Exception], Response] | None = None,
    ) -> None:
        self._app = app
        self._shop = shop
        self._access = access
        self._connections = connections or Connections()
        self._fault = fault
        self._hosts = _own_hosts(access)
        self._headers = HEADERS | ({"strict-transport-security": HSTS} if access.secure else {})
        # Asking for a session must not wait behind pages that are being made.
        self._threads = CapacityLimiter(8)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it at the door."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no page of ours speaks anything else
        self._connections.asked(scope.get("client"))
        try:
            await self._request(scope, receive, send)
        finally:
            self._connections.answered(scope.get("client"))

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        started = gone = False

        async def dressed(message: Message) -> None:
            nonlocal started, gone
            if message["type"] == "http.response.start":
                started = True
                self._dress(message)
            try:
                async with asyncio.timeout(SEND_S):
                    await send(message)
            except (TimeoutError, OSError):
                gone = True
                raise

        try:
            refusal = await self._refusal(scope, headers)
            if refusal is not None:
                await _answer(scope, dressed, *refusal)
                return
            limit = _limit(scope["path"])
            length = headers.get("content-length", "")
            if length.isdigit() and int(length) > limit:
                await _answer(scope, dressed, 413, f"At most {limit >> 10} KiB are taken here.")
                return
            await self._app(scope, _counted(scope, receive, limit), dressed)
        except StorageFault as error:
            if not started:
                await _answer(scope, dressed, http_status(error), error.what, error.do)
        except Exception as error:
            if gone:
                return  # nobody reads the answer any more
            _LOG.exception("%s %s", scope["method"], _told(scope["path"]))
            if started:
                return
            if self._fault is None:
                await _answer(scope, dressed, 500, "A fault of ours.")
            else:
                await self._fault(scope, error)(scope, receive, dressed)

    def _dress(self, message: Message) -> None:
        out = MutableHeaders(scope=message)
        for name, text in self._headers.items():
            if name not in out:
                out[name] = text
        if "cache-control" not in out:
            out["cache-control"] = "private, no-cache"

    async def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        host = headers.get("host", "")
        if not self._known_host(host, scope.get("server")):
            return 421, "This page is not served under that name."
        if scope["method"] not in _SAFE and not _same_origin(headers, host):
            return 403, "This came from another page and was not done."
        viewer = await self._viewer(headers)
        scope.setdefault("state", {})["viewer"] = viewer
        if viewer.role != "nobody":
            self._connections.knows(scope.get("client"))
        elif not _is_open(scope["path"]):
            return 401, "Sign in first."
        return None

    async def _viewer(self, headers: Headers) -> Viewer:
        if not self._access.lan:
            return Viewer("", "owner")
        token = cookie(headers, COOKIE)
        if not token or len(token) > _LONGEST_TOKEN:
            return Viewer("", "nobody")
        found = await to_thread.run_sync(read_session, self._shop, token, limiter=self._threads)
        return Viewer("", "nobody") if found is None else Viewer(*found)

    def _known_host(self, host: str, server: tuple[str, int | None] | None) -> bool:
        """Say whether a request names us: by a name of ours, or by the address it arrived at."""
        shape = _HOST.fullmatch(host)
        if shape is None or int(shape["port"] or 0) > 65535:
            return False
        name = shape["name"].lower().strip("[]").rstrip(".")
        if name in self._hosts or _arrived_at(name, server):
            return True
        # Through a tunnel to this machine the name is loopback's, whatever it arrived at.
        return not self._access.lan and _is_loopback(name)


def _counted(scope: Scope, receive: Receive, limit: int) -> Receive:
    """Give the body on, within a size and at no less than a slow phone's pace."""
    taken, begun, whole = 0, time.monotonic(), False

    async def counted() -> Message:
        nonlocal taken, whole
        if whole:
            return await receive()
        left = begun + BODY_S + taken / SLOWEST - time.monotonic()
        try:
            async with asyncio.timeout(max(0.0, min(IDLE_S, left))):
                message = await receive()
        except TimeoutError:
            scope.setdefault("state", {})["too_slow"] = True
            return {"type": "http.disconnect"}
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            whole = not message.get("more_body", False)
            if taken > limit:
                # Ends the body: what came so far is refused by whoever reads it.
                return {"type": "http.disconnect"}
        return message

    return counted


def _own_hosts(access: Access) -> frozenset[str]:
    names = {"localhost", *(host.lower() for host in access.hosts)}
    if access.address:
        names.add((urlsplit(access.address).hostname or "localhost").lower())
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


def _arrived_at(name: str, server: tuple[str, int | None] | None) -> bool:
    """Say whether *name* is the address at which the request arrived."""
    if server is None:
        return False
    if name == server[0].lower():
        return True
    try:
        return ipaddress.ip_address(name) == ipaddress.ip_address(server[0])
    except ValueError:
        return False


def _told(path: str) -> str:
    """Return a path as the log may say it: a customer's link opens his case."""
    return "/c/..." if path.startswith("/c/") else path


def _is_open(path: str) -> bool:
    return path in _OPEN_PAGES or path.startswith(_OPEN)


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


def cookie(headers: Headers, name: str) -> str:
    """Return a cookie of a request, empty where there is none."""
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


async def _answer(scope: Scope, send: Send, status: int, what: str, do: str = "") -> None:
    headers = Headers(scope=scope)
    html = "text/html" in headers.get("accept", "") and scope["method"] in _SAFE
    out: dict[str, str] = {"cache-control": "no-store"}
    if status == 401 and html:
        here = scope["path"] + ("?" + scope["query_string"].decode("latin-1")).rstrip("?")
        status, body = 303, b""
        out["location"] = f"/login?next={quote(here, safe='')}"
    else:
        body = json.dumps({"what": what, "where": "", "do": do}).encode()
        out["content-type"] = "application/json"
    out["content-length"] = str(len(body))
    raw = [(k.encode("latin-1"), v.encode("latin-1")) for k, v in out.items()]
    await send({"type": "http.response.start", "status": status, "headers": raw})
    await send({"type": "http.response.body", "body": body})
