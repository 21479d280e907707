"""A client of the application in this process."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx


class Client:
    """A client of the application in this process; one event loop for all its requests."""

    def __init__(self, app: Any, base: str = "http://testserver") -> None:
        self._loop = asyncio.new_event_loop()
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        self._client = httpx.AsyncClient(transport=transport, base_url=base)
        self.cookies = self._client.cookies

    def request(self, method: str, url: str, **options: Any) -> httpx.Response:
        options.setdefault("headers", {})
        options["headers"] = {"accept": "text/html", **options["headers"]}
        return self._loop.run_until_complete(self._client.request(method, url, **options))

    def get(self, url: str, **options: Any) -> httpx.Response:
        return self.request("GET", url, **options)

    def post(self, url: str, **options: Any) -> httpx.Response:
        return self.request("POST", url, **options)

    def close(self) -> None:
        self._loop.run_until_complete(self._client.aclose())
        self._loop.close()
