"""Debian's WebKit (webkit2gtk-driver), driven by the W3C protocol under an X server of its own."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from patience import PATIENCE_S, wait_for

DRIVER = shutil.which("WebKitWebDriver")
SCREEN = shutil.which("Xvfb")
PROGRAM = DRIVER if SCREEN else None
#: The driver is on this machine: no proxy between.
_STRAIGHT = urllib.request.build_opener(urllib.request.ProxyHandler({}))
_ELEMENT = "element-6066-11e4-a52e-4f735466cecf"


class Webkit:
    """One window with nothing kept from before."""

    def __init__(self, folder: Path) -> None:
        assert DRIVER is not None
        assert SCREEN is not None
        folder.mkdir()
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        reads, writes = os.pipe()
        self._screen = subprocess.Popen(
            [SCREEN, "-displayfd", str(writes), "-screen", "0", "820x1000x24", "-nolisten", "tcp"],
            pass_fds=(writes,),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(writes)
        # To the end: the number and its line come apart, and a screen cut off between them ends.
        with os.fdopen(reads) as told:
            display = told.readline().strip()
        assert display, "the screen did not start"
        here = {
            "DISPLAY": f":{display}",
            "HOME": str(folder),
            "XDG_CACHE_HOME": str(folder / "cache"),
            "XDG_DATA_HOME": str(folder / "data"),
            "WEBKIT_DISABLE_COMPOSITING_MODE": "1",  # no graphics card here
            "WEBKIT_DISABLE_DMABUF_RENDERER": "1",
            "NO_AT_BRIDGE": "1",
        }
        self._child = subprocess.Popen(
            [DRIVER, f"--port={port}", "--host=127.0.0.1"],
            env={**os.environ, **here},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self._at = f"http://127.0.0.1:{port}"
        self._session = ""
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                self._send("GET", "/status")
                break
            except OSError:
                assert time.monotonic() < end, "the driver did not start"
                time.sleep(0.2)
        begun = self._send("POST", "/session", {"capabilities": {"alwaysMatch": {}}})
        self._session = f"/session/{begun['sessionId']}"

    def goto(self, url: str) -> None:
        """Open a page."""
        self("POST", "/url", {"url": url})

    def run(self, script: str) -> Any:
        """Return what a script returns."""
        return self("POST", "/execute/sync", {"script": script, "args": []})

    def until(self, script: str) -> None:
        """Wait until a script returns something true."""
        wait_for(lambda: self.run(script), script)

    def element(self, selector: str) -> str:
        """Return an element's id."""
        found = self("POST", "/element", {"using": "css selector", "value": selector})
        return str(found[_ELEMENT])

    def type(self, selector: str, text: str) -> None:
        """Type into a field; of a file field, choose that file."""
        self("POST", f"/element/{self.element(selector)}/value", {"text": text})

    def click(self, selector: str) -> None:
        """Click an element."""
        self("POST", f"/element/{self.element(selector)}/click", {})

    def picture(self, path: Path) -> None:
        """Keep what is seen."""
        path.write_bytes(base64.b64decode(self("GET", "/screenshot")))

    def close(self) -> None:
        """End the browser, its driver and its screen."""
        with contextlib.suppress(OSError, AssertionError, ValueError):
            self("DELETE", "")
        for child in (self._child, self._screen):
            child.terminate()
            try:
                child.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()

    def __call__(self, method: str, path: str, data: dict[str, Any] | None = None) -> Any:
        """Send one command of the session and return its value."""
        return self._send(method, self._session + path, data)

    def _send(self, method: str, path: str, data: dict[str, Any] | None = None) -> Any:
        body = json.dumps(data).encode() if data is not None else None
        asked = urllib.request.Request(self._at + path, data=body, method=method)
        try:
            with _STRAIGHT.open(asked, timeout=PATIENCE_S) as answer:
                return json.load(answer)["value"]
        except urllib.error.HTTPError as error:
            raise AssertionError(error.read().decode(errors="replace")) from error
