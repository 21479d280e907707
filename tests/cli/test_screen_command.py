"""``witnessmark screen``: many recordings, the refused ones named, the rest looked at."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from conftest import ROOT, Run
from patience import PATIENCE_S


@pytest.fixture
def recordings(tmp_path: Path) -> Path:
    """A log of an idling engine, and a file that is no recording."""
    folder = tmp_path / "recordings"
    folder.mkdir()
    frames = "".join(f"({n / 50:.3f}) can0 0CF00400#FFFFFF{0x1C:02X}15FFFFFF\n" for n in range(500))
    (folder / "idle.log").write_text(frames)
    (folder / "notes.bin").write_bytes(b"\x00\x01nothing")
    return folder


@contextmanager
def process(module: str, *arguments: object) -> Iterator[None]:
    """Run a module in a process of its own until the test is done with it."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    command = [sys.executable, "-m", module, *map(str, arguments)]
    quiet = subprocess.DEVNULL
    with subprocess.Popen(command, env=environment, stdout=quiet, stderr=quiet) as running:
        try:
            yield
        finally:
            running.terminate()


@contextmanager
def scheduler(folder: Path, *, workers: int) -> Iterator[str]:
    """Start a real scheduler with workers on this machine and give its address."""
    told = folder / "scheduler.json"
    local = ("--host", "127.0.0.1", "--no-dashboard")
    with ExitStack() as stack:
        stack.enter_context(
            process("distributed.cli.dask_scheduler", *local, "--port", 0, "--scheduler-file", told)
        )
        end = time.monotonic() + PATIENCE_S
        while not (told.is_file() and told.read_text().strip().endswith("}")):
            assert time.monotonic() < end, "the scheduler did not start"
            time.sleep(0.1)
        address = json.loads(told.read_text())["address"]
        for _ in range(workers):
            stack.enter_context(
                process("distributed.cli.dask_worker", address, *local, "--nthreads", 1,
                        "--local-directory", folder)
            )  # fmt: skip
        yield address


def test_a_cluster_gives_what_this_machine_gives(
    apart: Run, recordings: Path, tmp_path: Path
) -> None:
    here = apart("screen", recordings, "--json")
    with scheduler(tmp_path, workers=1) as address:
        there = apart("screen", recordings, "--cluster", address, "--json")
    assert there.returncode == 0, there.stderr
    assert json.loads(there.stdout) == json.loads(here.stdout)


def test_a_cluster_that_is_not_there_or_has_no_workers(
    apart: Run, recordings: Path, tmp_path: Path
) -> None:
    with scheduler(tmp_path, workers=0) as address:
        idle = apart("screen", recordings, "--cluster", address)
    assert idle.returncode == 2
    assert "has no workers" in idle.stderr
    for wrong in ("tcp://127.0.0.1:9", "nonsense://x"):
        gone = apart("screen", recordings, "--cluster", wrong)
        assert gone.returncode == 2
        assert "No scheduler answers" in gone.stderr
        assert "Traceback" not in gone.stderr


def test_good_and_bad_files_side_by_side(apart: Run, recordings: Path) -> None:
    found = apart("screen", recordings, "--workers", 2, "--json")
    assert found.returncode == 0, found.stderr
    rows = {Path(row["file"]).name: row for row in json.loads(found.stdout)}
    assert len(rows["idle.log"]["sha256"]) == 64
    assert rows["notes.bin"]["sha256"] == ""
    assert rows["notes.bin"]["problems"][0]["what"]


def test_nothing_usable_is_exit_code_3(apart: Run, tmp_path: Path) -> None:
    (tmp_path / "notes.bin").write_bytes(b"\x00\x01nothing")
    assert apart("screen", tmp_path).returncode == 3
    empty = tmp_path / "empty"
    empty.mkdir()
    found = apart("screen", empty)
    assert found.returncode == 3
    assert "no file" in found.stderr
