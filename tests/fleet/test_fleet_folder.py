"""A screening into a folder: rows as they come, gone on with after a kill, trucks ranked."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from cli.test_screen_command import scheduler
from conftest import ROOT, Run
from patience import PATIENCE_S
from readers.test_identity import VIN, log_with_vin
from witnessmark.fleet.children import Children
from witnessmark.fleet.fleet_folder import FleetFolder
from witnessmark.fleet.ranking import ranked
from witnessmark.fleet.screening import Screened, Screening, screen
from witnessmark.workflow.case.shop_on_disk import open_shop


def log(path: Path, seed: int, *, errors: int = 0, seconds: int = 20) -> Path:
    """An idling engine; the bus meets *errors* error frames."""
    noise = np.random.default_rng(seed)
    lines = []
    for n in range(seconds * 50):
        raw = int((700 + float(noise.normal(0, 3))) / 0.125)
        lines.append(
            f"({1.7e9 + seed * 86400 + n / 50:.6f}) can0 0CF00400#FFFFFF{raw & 255:02X}"
            f"{raw >> 8:02X}FFFFFF\n"
        )
        if n < errors:
            lines.append(f"({1.7e9 + seed * 86400 + n / 50 + 0.001:.6f}) can0 20000004#00000000\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("".join(lines))
    return path


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    folder = tmp_path / "fleet"
    for number in range(6):
        log(folder / "unit 12" / f"{number}.log", number)
        log(folder / "unit 19" / f"{number}.log", 50 + number, errors=9 if number > 2 else 0)
    (folder / "unit 12" / "notes.bin").write_bytes(b"\x00\x01nothing")
    return folder


def rows_of(out: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in (out / "screen.jsonl").read_text().splitlines()]


def test_a_ranked_list_as_page_table_and_paper(apart: Run, fleet: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    done = apart("screen", fleet, "--out", out, "--workers", 2)
    assert done.returncode == 0, done.stderr
    assert len(rows_of(out)) == 13
    first, second = (out / "fleet.csv").read_text().splitlines()[1:3]
    assert first.startswith("1,unit 19,")
    assert ",new," in first
    assert "2,unit 12," in (out / "fleet.csv").read_text()
    assert "unit 19" in (out / "fleet.html").read_text()
    assert (out / "fleet.pdf").read_bytes().startswith(b"%PDF")
    found = pl.read_parquet(out / "findings-0001.parquet")
    assert set(found["code"]) >= {"bus_error_frames"}
    assert second


def test_it_goes_on_after_a_kill(apart: Run, fleet: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    command = [sys.executable, "-m", "witnessmark", "screen", str(fleet), "--out", str(out)]
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL,
                          stderr=subprocess.DEVNULL) as running:  # fmt: skip
        path = out / "screen.jsonl"
        end = time.monotonic() + PATIENCE_S
        while not (path.is_file() and path.read_bytes().count(b"\n") >= 3):
            assert time.monotonic() < end
            time.sleep(0.02)
        running.send_signal(signal.SIGKILL)
        running.wait()
    with path.open("ab") as file:
        file.write(b'{"file": "cut off in the')
    before = path.read_bytes().count(b"\n")
    assert before < 13
    done = apart("screen", fleet, "--out", out)
    assert done.returncode == 0, done.stderr
    assert f"{before} files are done already" in done.stderr
    rows = rows_of(out)
    assert len(rows) == len({row["id"] for row in rows}) == 13


def test_a_file_that_changed_is_looked_at_again(apart: Run, fleet: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    apart("screen", fleet / "unit 12", "--out", out)
    log(fleet / "unit 12" / "3.log", 3, errors=7)
    apart("screen", fleet / "unit 12", "--out", out)
    assert len(rows_of(out)) == 8


def test_a_casebook_remembers_what_another_folder_did(tmp_path: Path) -> None:
    paths = [tmp_path / "unit 19" / f"{n}.log" for n in range(4)]
    paths[0].parent.mkdir()

    def screened(numbers: Iterable[int]) -> list[Screened]:
        for n in numbers:
            paths[n].write_text(f"{n}")
        return [Screened(str(paths[n]), f"{n}" * 64, (), (), truck="T") for n in numbers]

    shop = open_shop(tmp_path / "shop", create=True)
    one = FleetFolder(tmp_path / "one", memory=shop.casebook)
    assert len(list(one.take(screened((0, 1))))) == 2
    two = FleetFolder(tmp_path / "two", memory=shop.casebook)
    assert two.key() == one.key()
    assert {two.still(p) in two.done() for p in paths[:2]} == {True}
    paths[1].write_text("another drive")
    assert two.still(paths[1]) not in two.done()
    assert len(list(two.take(screened((1, 2))))) == 2
    assert len(two.latest()) == 3  # a file that changed is there once
    # What was not remembered before a kill is taken from the folder.
    with shop.casebook.database.write() as connection:
        connection.exec_driver_sql("DELETE FROM screened")
    assert len(two.done()) == 2
    assert len(shop.casebook.screened()) == 2
    failed = Screened(str(paths[3]), "", (), (), failed=True)
    paths[3].write_text("3")
    list(two.take([failed]))
    assert two.still(paths[3]) not in two.done()
    shop.close()


def test_the_command_goes_on_from_a_casebook(apart: Run, tmp_path: Path) -> None:
    open_shop(tmp_path / "shop", create=True).close()
    first = log(tmp_path / "unit 7" / "1.log", 1, seconds=5)
    for out, words in (("one", "1 recordings of 1 trucks"), ("two", "1 files are done already")):
        done = apart("screen", first, "--out", tmp_path / out, "--memory", tmp_path / "shop")
        assert words in done.stdout + done.stderr
    assert "unit 7" in (tmp_path / "two" / "fleet.csv").read_text()


def test_no_identification_stands_in_the_lists(apart: Run, tmp_path: Path) -> None:
    folder = tmp_path / f"truck {VIN}"
    folder.mkdir()
    log_with_vin(folder / f"{VIN}.log")
    out = tmp_path / "out"
    apart("screen", folder, "--out", out)
    for path in out.iterdir():
        assert VIN.encode() not in path.read_bytes(), path.name
    (row,) = rows_of(out)
    assert len(str(row["truck"])) == 16


def test_the_same_truck_is_one_wherever_its_files_lie() -> None:
    def row(folder: str, truck: str, number: int, codes: int = 0) -> dict[str, object]:
        code = {"spn": 100, "fmi": 1, "source": 0, "active": True, "lamps": ["red stop"]}
        return {
            "file": f"{folder}/{number}",
            "folder": folder,
            "truck": truck,
            "sha256": "x",
            "began": 1.7e9 + number * 86400,
            "findings": [],
            "codes": [code] * codes,
        }

    rows = [row("a", "T1", 0), row("b", "T1", 1, 1), row("c", "", 2), row("a", "", 3, 1)]
    first, second = ranked(rows)
    assert (first.name, first.recordings) == ("T1", 3)
    assert first.troubles[0].code == "100/1"
    assert first.troubles[0].since == "2023-11-15"
    assert (second.name, second.score) == ("c", 0.0)
    assert "no proof of health" in second.next


def test_a_file_that_takes_too_long_is_ended() -> None:
    with Children(time.sleep, 1, limit_s=1.5) as children:
        first, second = children.map([600, 0])
    assert "took more than 1.5 s" in first
    assert second is None


def test_a_killed_worker_of_a_cluster_costs_nothing(fleet: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    with scheduler(tmp_path, workers=1) as address:
        local = ("--host", "127.0.0.1", "--no-dashboard", "--no-nanny", "--nthreads", "1")
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, *local,
                  "--local-directory", str(tmp_path / "second")]  # fmt: skip
        environment = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
        with subprocess.Popen(worker, env=environment, stdout=subprocess.DEVNULL,
                              stderr=subprocess.DEVNULL) as doomed:  # fmt: skip
            from distributed import Client

            with Client(address, set_as_default=False) as client:
                client.wait_for_workers(2, timeout=PATIENCE_S)
                rows = []
                for row in screen([fleet], cluster=address, said=Screening(batch=2)):
                    rows.append(row)
                    if len(rows) == 1:
                        doomed.send_signal(signal.SIGKILL)
    assert len(rows) == 13
    assert not any(row.failed for row in rows)
    assert sum(bool(row.sha256) for row in rows) == 12
