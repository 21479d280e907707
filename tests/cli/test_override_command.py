"""Overrides from the command line: recorded with a reason, scored once a cause is proven."""

from __future__ import annotations

import json
from pathlib import Path

from conftest import Run


def test_an_override_is_recorded_and_scored(witnessmark: Run, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    made = witnessmark("case", "new", shop, "leak", "--truck", "Example 9", "--words", "drips",
                       "--family", "oil_leak")  # fmt: skip
    assert made.returncode == 0
    done = witnessmark("override", "add", shop, "leak", "ol_rear", "--because", "seen it before")
    assert done.returncode == 0, done.stderr
    assert "did repair ol_rear" in done.stdout
    assert "seen it before" in done.stdout
    score = json.loads(witnessmark("override", "score", shop, "--json").stdout)
    assert (score["tool"], score["technician"], score["open"]) == (0, 0, 1)
    assert score["overrides"][0]["chosen"] == "ol_rear"


def test_an_override_needs_a_reason_and_a_step_that_exists(
    witnessmark: Run, tmp_path: Path
) -> None:
    shop = tmp_path / "shop"
    witnessmark("case", "new", shop, "leak", "--words", "drips", "--family", "oil_leak")
    bare = witnessmark("override", "add", shop, "leak", "ol_rear", "--because", " ")
    assert bare.returncode == 2
    assert "reason" in bare.stderr
    wrong = witnessmark("override", "add", shop, "leak", "gremlin", "--because", "a hunch")
    assert wrong.returncode == 2
    assert "gremlin" in wrong.stderr
    assert "Traceback" not in wrong.stderr + bare.stderr
