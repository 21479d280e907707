"""Debian's Firefox, driven by its own protocol (Marionette): enough for a form and the queue."""

from __future__ import annotations

import contextlib
import json
import shutil
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

from patience import PATIENCE_S, wait_for

PROGRAM = shutil.which("firefox-esr")


class Firefox:
    """One window of a profile of its own."""

    def __init__(self, folder: Path) -> None:
        assert PROGRAM is not None
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        folder.mkdir()
        (folder / "user.js").write_text(
            f'user_pref("marionette.port", {port});\n'
            'user_pref("app.update.enabled", false);\n'
            'user_pref("datareporting.policy.dataSubmissionEnabled", false);\n'
            'user_pref("network.captive-portal-service.enabled", false);\n'
            'user_pref("network.connectivity-service.enabled", false);\n'
        )
        self._child = subprocess.Popen(
            [PROGRAM, "--headless", "--marionette", "--no-remote", "--profile", str(folder)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        end = time.monotonic() + PATIENCE_S
        while True:
            try:
                self._link = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
                break
            except OSError:
                assert time.monotonic() < end, "the browser did not start"
                time.sleep(0.2)
        self._count = 0
        self._read()
        self("WebDriver:NewSession", {})

    def __call__(self, command: str, parameters: dict[str, Any]) -> Any:
        """Send one command and return its value."""
        self._count += 1
        text = json.dumps([0, self._count, command, parameters]).encode()
        self._link.sendall(b"%d:%s" % (len(text), text))
        _, _, error, value = self._read()
        assert error is None, error
        return value.get("value") if isinstance(value, dict) else value

    def goto(self, url: str) -> None:
        """Open a page."""
        self("WebDriver:Navigate", {"url": url})

    def run(self, script: str) -> Any:
        """Return what a script returns."""
        return self("WebDriver:ExecuteScript", {"script": script, "args": []})

    def until(self, script: str) -> None:
        """Wait until a script returns something true."""
        wait_for(lambda: self.run(script), script)

    def element(self, selector: str) -> str:
        """Return an element's id."""
        found = self("WebDriver:FindElement", {"using": "css selector", "value": selector})
        return str(next(iter(found.values())))

    def type(self, selector: str, text: str) -> None:
        """Type into a field; of a file field, choose that file."""
        self("WebDriver:ElementSendKeys", {"id": self.element(selector), "text": text})

    def click(self, selector: str) -> None:
        """Click an element."""
        self("WebDriver:ElementClick", {"id": self.element(selector)})

    def close(self) -> None:
        """End the browser."""
        with contextlib.suppress(OSError, AssertionError, ValueError):
            self("Marionette:Quit", {"flags": ["eForceQuit"]})
        self._link.close()
        try:
            self._child.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()

    def _read(self) -> Any:
        head = b""
        while not head.endswith(b":"):
            piece = self._link.recv(1)
            assert piece, "the browser is gone"
            head += piece
        left, text = int(head[:-1]), b""
        while len(text) < left:
            text += self._link.recv(left - len(text))
        return json.loads(text)
