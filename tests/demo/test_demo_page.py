"""``witnessmark demo``: the invented shop on its page, on this machine only."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from patience import PATIENCE_S

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.slow
def test_page_shows_the_invented_trucks_and_ends_when_told(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONUNBUFFERED": "1"}
    command = [
        sys.executable,
        "-m",
        "witnessmark",
        "demo",
        "--no-browser",
        "--port",
        "0",
        "--json",
        "--shop",
        str(tmp_path / "shop"),
    ]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as running:
        try:
            assert running.stdout is not None
            lines = ""
            while "}" not in lines:
                line = running.stdout.readline()
                assert line, running.stderr.read() if running.stderr else ""
                lines += line
            address = json.loads(lines)["address"]
            assert address.startswith("http://127.0.0.1:")
            with urllib.request.urlopen(address, timeout=PATIENCE_S) as answer:
                page = answer.read().decode()
            for name in (
                "Pretend Gravel mixer 31",
                "Supposed Sawmill chipper 14",
                "Nowhere Rescue tender 5",
                "Mock Movers van 9",
                "Sham County gritter 6",
                "Placeholder Freight 19",
                "Dummy Dairy tanker 13",
                "Makebelieve Mulch tipper 16",
                "Pretended Laundry van 8",
                "Imaginary Orchard flatbed 27",
            ):
                assert name in page
        finally:
            running.send_signal(signal.SIGINT)
            running.communicate(timeout=PATIENCE_S)
    assert running.returncode in {0, 130, -signal.SIGINT}
