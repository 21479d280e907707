"""What a file costs when many are screened: by processes, by plain multiprocessing, by Dask alone.

PYTHONPATH=src:benchmarks python benchmarks/fleet.py [--few N] [--many N] [--write]

Invented logs of twelve drives: ten minutes (about 59,000 frames, 3 MB), the same cut to the first
minute for the long run, and ten minutes of a busy bus (500,000 frames, 25 MB, ``make_logs.py``).
Every file has stamps of its own day, so none is another's copy. Each way of working is a process of
its own; what counts is the processor time of it and all its children as the system accounts it.
*After the first* is the median of what each file took within its process, without the first of each
process, which loads libraries. The rivals in their best form: a pool of the standard library whose
processes are forked from one that has loaded the libraries, results in any order (forked from one
that has read a file it hangs, for threads do not survive a fork); Dask, one thread a worker, its
workers warmed before, files in batches of eight. Both do the same work on a file as ours and keep
nothing.
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing
import os
import platform
import re
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import psutil
from make_logs import bus_hour

from witnessmark.demo.machines.demo_recordings import cycling_recording
from witnessmark.fleet.fleet_folder import FleetFolder
from witnessmark.fleet.screening import Screening, screen, screen_file

#: What a ten-minute log may cost after the first [s].
WANTED_S = 0.12
_DRIVES = 12
_MINUTE = 5_900


def made(folder: Path, count: int, *, kind: str = "whole") -> list[Path]:
    """Write *count* files of distinct content; those that are there stay."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{kind}-{n:05d}.log" for n in range(count)]
    drives: dict[int, bytes] = {}
    for number, path in enumerate(paths):
        if path.exists():
            continue
        drive = number % _DRIVES
        if kind == "busy":
            bus_hour(path, seconds=600, seed=1 + number)
            continue
        if drive not in drives:
            sticks = 7.0 if drive % 3 == 0 else 0.0
            text = gzip.decompress(cycling_recording(drive, sticks=sticks, minutes=10.0))
            lines = text.splitlines(keepends=True)
            drives[drive] = text if kind == "whole" else b"".join(lines[:_MINUTE])
        day = 86_400 * number
        path.write_bytes(
            re.sub(rb"(?m)^\((\d{10})", lambda m, d=day: b"(%d" % (int(m[1]) + d), drives[drive])
        )
    return paths


def ours(paths: list[Path], workers: int) -> list[float]:
    """Screen into a folder, as the command does."""
    with tempfile.TemporaryDirectory() as out:
        folder = FleetFolder(Path(out))
        said = Screening(identity_key=folder.key())
        found = screen(paths, workers=workers, said=said)
        seconds = [float(row["seconds"]) for row in folder.take(found)]
        folder.parts()
    return seconds


def plain(paths: list[Path], workers: int) -> list[float]:
    """The standard library's pool: nothing is kept, a killed process ends it."""
    with multiprocessing.get_context("fork").Pool(workers) as pool:
        return [one.seconds for one in pool.imap_unordered(screen_file, paths, chunksize=8)]


def dask_alone(paths: list[Path], workers: int) -> list[float]:
    """A local cluster and its map: nothing is kept."""
    from distributed import Client, LocalCluster  # noqa: PLC0415  (an extra)

    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        client.run(screen_file, paths[0])
        found = client.gather(client.map(screen_file, paths, pure=False, batch_size=8))
        return [one.seconds for one in found]


WAYS: dict[str, Callable[[list[Path], int], list[float]]] = {
    "ours": ours, "plain": plain, "dask": dask_alone,
}  # fmt: skip


def measured(way: str, folder: Path, kind: str, count: int, workers: int) -> dict[str, float]:
    """Run one way in a process of its own; return what it cost."""
    command = [sys.executable, __file__, "--folder", str(folder), "--run",
               json.dumps([way, kind, count, workers])]  # fmt: skip
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.monotonic()
    with subprocess.Popen(command, stdout=subprocess.PIPE) as running:
        me = psutil.Process(running.pid)
        highest = 0
        while running.poll() is None:
            try:
                several = me.children(recursive=True)
                highest = max(highest, *(c.memory_info().rss for c in several), 0)
            except (psutil.Error, TypeError):
                pass
            time.sleep(0.5)
        assert running.stdout is not None
        seconds = json.loads(running.stdout.read())
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    behind = seconds[workers:] or seconds
    return {
        "each": used / count,
        "later": statistics.median(behind),
        "begin": statistics.median(behind[:50]),
        "end": statistics.median(behind[-50:]),
        "peak": highest / 2**20,
        "wall": time.monotonic() - begin,
    }


def main() -> None:
    """Run and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "wm-fleet")
    arguments.add_argument("--few", type=int, default=50)
    arguments.add_argument("--many", type=int, default=5000)
    arguments.add_argument("--write", action="store_true")
    arguments.add_argument("--run", help=argparse.SUPPRESS)
    chosen = arguments.parse_args()
    if chosen.run:
        way, kind, count, workers = json.loads(chosen.run)
        paths = made(chosen.folder, count, kind=kind)
        print(json.dumps(WAYS[way](paths, workers)))
        return
    rows, judged = [], []
    few, many = chosen.few, chosen.many
    for what, way, kind, count, workers in (
        ("ours, ten minutes", "ours", "whole", few, 1),
        ("ours, ten minutes", "ours", "whole", few, 2),
        ("plain multiprocessing, ten minutes", "plain", "whole", few, 2),
        ("Dask alone, ten minutes", "dask", "whole", few, 2),
        ("ours, busy bus, 500,000 frames", "ours", "busy", 8, 1),
        ("ours, one minute", "ours", "minute", few, 2),
        ("ours, one minute", "ours", "minute", many, 2),
    ):
        made(chosen.folder, count, kind=kind)
        cost = measured(way, chosen.folder, kind, count, workers)
        rows.append(
            f"| {what} | {count:,} | {workers} | {cost['each']:.3f} s | {cost['later']:.3f} s | "
            f"{cost['begin']:.3f} s | {cost['end']:.3f} s | {cost['peak']:.0f} MiB |"
        )
        print(rows[-1], f"{cost['wall']:.0f} s", flush=True)
        if way == "ours" and kind != "minute" and workers == 1:
            word = "reached" if cost["later"] <= WANTED_S else "**missed**"
            judged.append(f"{word} by {what} ({cost['later']:.3f} s)")
    text = (
        "# Fleet: measured\n\nMade by `benchmarks/fleet.py` in one run, logs of distinct content. "
        f"Python {platform.python_version()}, {os.cpu_count()} processors, load average "
        f"{os.getloadavg()[0]:.0f} at the end: a machine as busy as that makes every second of "
        "processor time dearer, so the lines are to be held against each other. *A file* counts "
        "everything, starting the processes and their libraries too; *after the first* is the "
        "median of the files without the first of each process; then the same of the first and of "
        "the last fifty.\n\n"
        "| how | files | processes | processor time a file | after the first | first fifty | "
        "last fifty | peak of a process |\n|---|---|---|---|---|---|---|---|\n"
        + "\n".join(rows)
        + f"\n\nAt most {WANTED_S} s a file after the first: {', '.join(judged)}. The busy logs "
        "are noise without any course, so that jumps are found in many channels and each is held "
        "against all others.\n\nOurs writes its rows as they come and goes on after a kill; the "
        "other two keep nothing. The form of each rival stands in the program.\n"
    )
    if chosen.write:
        Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
