"""Finished pages, kept until what they rest on changes; pressed once, sent many times."""

from __future__ import annotations

import gzip
import hashlib
import threading
from collections import OrderedDict
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

__all__ = ["Sheet", "Sheets"]

_KEEP = 64


@dataclass(frozen=True, slots=True)
class Sheet:
    """A finished page."""

    plain: bytes
    pressed: bytes
    etag: str

    def answer(self, request: Request) -> Response:
        """Send it, or say that the browser has it already."""
        headers = {"etag": self.etag, "vary": "accept-encoding, cookie"}
        if request.headers.get("if-none-match") == self.etag:
            return Response(status_code=304, headers=headers)
        if "gzip" in request.headers.get("accept-encoding", ""):
            headers["content-encoding"] = "gzip"
            return Response(self.pressed, media_type="text/html", headers=headers)
        return Response(self.plain, media_type="text/html", headers=headers)


class Sheets:
    """The finished pages of the cases that were looked at last."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[str, object], Sheet] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, name: str, key: object) -> Sheet | None:
        """Return the page of that name made for *key*, if it is here."""
        return self._held.get((name, key))

    def put(self, name: str, key: object, text: str) -> Sheet:
        """Keep a page and return it as a sheet."""
        plain = text.encode()
        sheet = Sheet(
            plain,
            gzip.compress(plain, 6, mtime=0),
            f'"{hashlib.sha256(plain).hexdigest()[:20]}"',
        )
        with self._lock:
            self._held[(name, key)] = sheet
            while len(self._held) > _KEEP:
                self._held.popitem(last=False)
        return sheet
