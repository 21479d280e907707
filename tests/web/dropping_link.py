"""A link between a browser and the shop's machine that is cut at a chosen moment."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading

#: Moments at which the link is cut by itself, each once: within the request of a write, when the
#: write has arrived and before its answer goes out, and within its answer.
SENDING, STORED, ANSWERING = "sending", "stored", "answering"


class Link:
    """Carries bytes from a port of its own to the shop's; down, it cuts whatever is there."""

    def __init__(self, port: int) -> None:
        self.up = True
        self.cut_at = ""
        self.cuts = 0
        self._port = port
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def leads_to(self, port: int) -> None:
        """Lead to another port from now on."""
        self._port = port

    def drop(self) -> None:
        """Cut everything, and let nothing through until :meth:`mend`."""
        with self._lock:
            self.up = False
            cut = list(self._open)
        for one in cut:
            _reset(one)

    def mend(self) -> None:
        """Let everything through again."""
        self.up, self.cut_at = True, ""

    def close(self) -> None:
        """Stop."""
        self.drop()
        self._listening.close()

    def _accept(self) -> None:
        while True:
            try:
                here, _ = self._listening.accept()
            except OSError:
                return
            if not self.up:
                _reset(here)
                continue
            try:
                there = socket.create_connection(("127.0.0.1", self._port))
            except OSError:
                _reset(here)
                continue
            with self._lock:
                carries = self.up
                if carries:
                    self._open |= {here, there}
            if not carries:  # cut while it was being opened
                _reset(here)
                _reset(there)
                continue
            writing = threading.Event()
            for ends in ((here, there, True), (there, here, False)):
                threading.Thread(target=self._carry, args=(*ends, writing), daemon=True).start()

    def _carry(
        self, start: socket.socket, end: socket.socket, asks: bool, writing: threading.Event
    ) -> None:
        with contextlib.suppress(OSError):
            while piece := start.recv(65536):
                if asks and piece.split(b" ", 1)[0] in {b"GET", b"POST"}:
                    (writing.set if piece.startswith(b"POST") else writing.clear)()
                if writing.is_set() and self._is_now(asks, piece, end):
                    self.cuts += 1
                    self.drop()
                    return
                end.sendall(piece)
        for one in (start, end):
            self._open.discard(one)
            one.close()

    def _is_now(self, asks: bool, piece: bytes, end: socket.socket) -> bool:
        if asks:
            if self.cut_at == SENDING:
                end.sendall(piece[: len(piece) // 2])
            return self.cut_at == SENDING
        if self.cut_at == ANSWERING:
            end.sendall(piece[:20])
        return self.cut_at in {STORED, ANSWERING}


def _reset(one: socket.socket) -> None:
    with contextlib.suppress(OSError):
        one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    with contextlib.suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
