"""Screening goes on whatever a file does to the process that looks at it."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from witnessmark.cli.for_recordings.screen_command import command
from witnessmark.fleet.children import Children
from witnessmark.fleet.screening import Screened, screen, screen_file

FILES = ["fine1", "killed", "memory", "fine2", "panic", "exits", "disk", "fine3"]


class Panic(BaseException):
    """What some compiled libraries raise: no Exception."""


def misbehave(path: Path) -> Any:
    """Stand in for the reader, in the child."""
    name = path.name
    if name == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if name == "exits":
        os._exit(7)
    raised: dict[str, BaseException] = {
        "memory": MemoryError(), "panic": Panic("index out of range"),
        "disk": OSError(5, "Input/output error"), "wrong": ZeroDivisionError("division by zero"),
    }  # fmt: skip
    if name in raised:
        raise raised[name]
    return Screened(name, "0" * 64, (), ()) if name == "good" else name


def look_badly(path: Path) -> Any:
    """Do the real work's own catching around the misbehaving reader."""
    from witnessmark.fleet import screening as module

    module._one = misbehave
    return module.screen_file(path)


@pytest.mark.parametrize("workers", [1, 3])
def test_every_kind_of_end_is_an_answer(workers: int) -> None:
    with Children(look_badly, workers) as children:
        found = dict(zip(FILES, children.map([Path(f) for f in FILES]), strict=True))
    assert [found[f"fine{n}"] for n in (1, 2, 3)] == ["fine1", "fine2", "fine3"]
    assert found["killed"] == "was ended by the system (SIGKILL)"
    assert found["exits"] == "ended in the middle of it"
    assert "more memory" in found["memory"].problems[0].what
    assert "Panic: index out of range" in found["panic"].problems[0].what
    assert "input/output error" in found["disk"].problems[0].what
    for name in ("memory", "panic", "disk"):
        assert found[name].failed
        assert found[name].problems[0].do


def test_a_killed_process_costs_one_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The row says what happened, and the next file is looked at."""
    monkeypatch.setattr("witnessmark.fleet.screening.screen_file", look_badly)
    rows = list(screen([tmp_path / "killed", tmp_path / "wrong"]))
    assert [row.failed for row in rows] == [True, True]
    assert "SIGKILL" in rows[0].problems[0].what
    assert "--workers" in rows[0].problems[0].do
    assert "ZeroDivisionError" in rows[1].problems[0].what


def test_a_refused_file_is_no_failure(tmp_path: Path) -> None:
    (tmp_path / "notes.bin").write_bytes(b"\x00nothing")
    assert not screen_file(tmp_path / "notes.bin").failed


def test_the_exit_code_says_that_a_file_failed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """2 where something was usable and something failed; 3 where nothing was usable."""
    monkeypatch.setattr("witnessmark.fleet.screening.screen_file", look_badly)
    good, killed = tmp_path / "good", tmp_path / "killed"
    for names, code in (([good, killed, good], 2), ([good], 0), ([killed], 3)):
        run = CliRunner().invoke(
            command, [*map(str, names), "--json"], standalone_mode=False, catch_exceptions=False
        )
        assert run.return_value == code
        assert len(json.loads(run.stdout)) == len(names)
        assert "Traceback" not in run.output
