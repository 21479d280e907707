"""Serving the bench page: loopback by default; in the shop's network with a lock and HTTPS."""

from __future__ import annotations

import asyncio
import ipaddress
import logging
import socket
import ssl
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from witnessmark.errors import InputRefused
from witnessmark.machine import listen_alone, many_handles
from witnessmark.web.app import create_app
from witnessmark.web.door.certificate import authority_file, certificate, fingerprint
from witnessmark.web.door.connections import Connections, Listening, address_key, own_address
from witnessmark.web.door.doors import HEADERS, Access
from witnessmark.workflow.case.locks import (
    has_passphrase,
    set_passphrase,
    suggest_passphrase,
    sweep_locks,
)
from witnessmark.workflow.case.private_files import make_private
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.uploads import sweep as sweep_uploads
from witnessmark.workflow.keeping.check_shop import note_place
from witnessmark.workflow.shop.worker import Worker

__all__ = ["is_loopback", "own_address", "serve"]

#: How often a running server looks whether its certificate is near its end [s].
_LEAF_LOOK_S = 6 * 3600.0


def serve(
    shop: Shop,
    *,
    host: str = "127.0.0.1",
    port: int = 8740,
    names: Sequence[str] = (),
    proxy: str = "",
    say: Callable[[str], None] = print,
    ready: Callable[[str], None] | None = None,
    stopper: Callable[[Callable[[], None]], None] | None = None,
) -> None:
    """Serve a shop until it is stopped.

    Args:
        shop: the open shop; the caller closes it.
        host: address to listen on; anything but loopback asks for a passphrase and uses HTTPS.
        port: port; 0 takes a free one.
        names: further names under which the page is reached.
        proxy: address of a proxy of ours that ends TLS and says who asks.
        say: says the address and, once, the passphrases that were made.
        ready: called with the address when requests are taken.
        stopper: given a function that stops the server, for callers that run it in a thread.

    Raises:
        InputRefused: the address or port cannot be had.
    """
    connections = Connections(trusted=frozenset({address_key(proxy)} if proxy else ()))
    listening = _socket(host, port, connections)
    real_port = int(listening.getsockname()[1])
    lan = not is_loopback(host) or bool(proxy)
    files: tuple[Path, Path] | None = None
    tls, certified = shop.folder / "tls", [host, *names]
    if lan:
        name = own_address() if host in {"0.0.0.0", "::", ""} else host  # noqa: S104
        certified = [name, host, *names]
        files = certificate(tls, certified)
        _lock(shop, say)
        address = f"https://{_bracketed(name)}:{real_port}"
        access = Access(lan=True, address=address, hosts=tuple(names), secure=True, proxy=proxy)
    else:
        address = f"http://{_bracketed(host)}:{real_port}"
        access = Access()
    # One for every connection, and as many again for the work.
    many_handles(2 * connections.in_all + 512)
    sweep_locks(shop)
    sweep_uploads(shop)
    shop.originals.sweep()
    note_place(shop)
    for path in make_private(shop.folder):
        say(f"Others of this machine can read {path}, and that could not be changed.")
    app = create_app(
        shop,
        access=access,
        assess=Worker(shop.folder, database=_server_of(shop)),
        connections=connections,
    )

    looked = [time.monotonic()]

    async def sweep() -> None:
        connections.sweep()
        if files and time.monotonic() - looked[0] > _LEAF_LOOK_S:
            looked[0] = time.monotonic()
            _renewed(config, *certificate(tls, certified))

    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
        ssl_certfile=str(files[0]) if files else None,
        ssl_keyfile=str(files[1]) if files else None,
        http=_Protocol,
        callback_notify=sweep,
        timeout_notify=1,
        backlog=1024,
        # Who asks is whoever is connected, unless a proxy of ours says otherwise.
        proxy_headers=bool(proxy),
        forwarded_allow_ips=proxy or "",
    )
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
    logging.getLogger("uvicorn.error").addFilter(_no_cut_off_answers)
    watchers = app.state.bench.watchers
    server = _Server(
        config,
        lambda: ready(address) if ready else None,
        lambda: setattr(watchers, "stopping", True),
    )
    if stopper is not None:
        stopper(lambda: setattr(server, "should_exit", True))
    say(f"The bench page is at {address} (stop with Ctrl-C).")
    if lan:
        say("The certificate is the shop's own: the browser asks once whether to trust it.")
        say(f"A device that takes it in works without the link, too: {address}/certificate")
        say(f"Its fingerprint (SHA-256): {fingerprint(authority_file(tls))}")
    server.run(sockets=[listening])


def is_loopback(host: str) -> bool:
    """Say whether a host is this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _no_cut_off_answers(record: logging.LogRecord) -> bool:
    """Drop what is said of an answer that was cut off because the server was stopped."""
    kind = record.exc_info[0] if record.exc_info else None
    return kind is None or not issubclass(kind, asyncio.CancelledError)


class _Protocol(H11Protocol):
    """Answers what is no HTTP with the same headers as everything else."""

    def send_400_response(self, msg: str) -> None:
        headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
        headers += [(k.encode(), v.encode()) for k, v in HEADERS.items()]
        answer = h11.Response(status_code=400, headers=headers, reason=b"Bad Request")
        for event in (answer, h11.Data(data=msg.encode("ascii")), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()


class _Server(uvicorn.Server):
    def __init__(
        self, config: uvicorn.Config, started: Callable[[], None], stopping: Callable[[], None]
    ) -> None:
        super().__init__(config)
        self._started, self._stopping = started, stopping

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        self._started()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self._stopping()  # open pages are let go before their answers would be cut off
        await super().shutdown(sockets)


def _renewed(config: uvicorn.Config, public: Path, private: Path) -> None:
    """Let new connections have the certificate as it lies on disk now."""
    if isinstance(config.ssl, ssl.SSLContext):
        config.ssl.load_cert_chain(public, private)


def _lock(shop: Shop, say: Callable[[str], None]) -> None:
    """Make passphrases where there are none: the network never sees an open page."""
    if not has_passphrase(shop, "technician"):
        made = suggest_passphrase()
        set_passphrase(shop, "technician", made)
        say(f"Passphrase of the shop, shown once: {made}")
    if not has_passphrase(shop, "owner"):
        made = suggest_passphrase()
        set_passphrase(shop, "owner", made)
        say(f"Passphrase of the owner, shown once: {made}")


def _socket(host: str, port: int, connections: Connections) -> socket.socket:
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, protocol, _, address = found[0]
        listening = Listening(family, kind, protocol)
        listening.connections = connections
        listen_alone(listening)
        listening.bind(address)
        listening.listen(1024)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputRefused(
            f"The page cannot be served at {host} port {port}: {reason}.",
            do="Choose another with --host and --port; --port 0 takes a free one.",
        ) from None
    return listening


def _server_of(shop: Shop) -> str:
    database = shop.casebook.database
    return "" if database.is_file else database.url


def _bracketed(host: str) -> str:
    return f"[{host}]" if ":" in host else host
