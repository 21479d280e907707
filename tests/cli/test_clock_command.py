"""Time by start and stop from the command line."""

from __future__ import annotations

import json
from pathlib import Path

from conftest import Run


def test_start_and_stop_by_name(witnessmark: Run, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    clock = ("case", "clock", shop, "c1")
    witnessmark("case", "new", shop, "c1", "--truck", "unit 7")
    assert "Nobody was on the clock" in witnessmark(*clock).stdout
    begun = witnessmark(*clock, "start", "--job", "diagnosis", "--by", "Ann", "--json")
    told = json.loads(begun.stdout)
    assert [(r["person"], r["job"]) for r in told["running"]] == [("Ann", "diagnosis")]
    nobody = witnessmark(*clock, "start", "--job", "diagnosis")
    assert (nobody.returncode, "Nobody is named" in nobody.stderr) == (2, True)
    said = ("--of", told["stored"], "--at", "2020-01-01T08:00")
    moved = witnessmark(*clock, "start", *said, "--by", "Ann")
    assert "when did you stop diagnosis" in moved.stdout
    end = ("--of", told["stored"], "--at", "2020-01-01T09:10")
    assert "clocked 1 h 10." in witnessmark(*clock, "stop", *end, "--by", "Ann").stdout
    assert witnessmark(*clock, "stop", "--by", "Ann").returncode == 2
    wrong = witnessmark(*clock, "stop", "--by", "Ann", "--at", "noon")
    assert (wrong.returncode, "no date and time" in wrong.stderr) == (2, True)
