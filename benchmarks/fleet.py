"""What a file costs when many are screened: by processes, by plain multiprocessing, by Dask alone.

PYTHONPATH=src python benchmarks/fleet.py [--few N] [--many N] [--write]

Invented ten-minute logs (about 59,000 frames, 3 MB) of twelve drives; every file has stamps of its
own day, so none is another's copy. Processor time of all processes together, as the system accounts
it, without what an idle worker costs to start where that is said.
"""

from __future__ import annotations

import argparse
import gzip
import multiprocessing
import os
import platform
import re
import resource
import tempfile
from collections.abc import Callable
from pathlib import Path

from witnessmark.demo.machines.demo_recordings import cycling_recording
from witnessmark.fleet.fleet_folder import FleetFolder
from witnessmark.fleet.screening import Screening, screen, screen_file

_DRIVES = 12


def made(folder: Path, count: int) -> list[Path]:
    """Write *count* files of distinct content; those that are there stay."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{n:05d}.log" for n in range(count)]
    drives: dict[int, bytes] = {}
    for number, path in enumerate(paths):
        if path.exists():
            continue
        drive = number % _DRIVES
        if drive not in drives:
            sticks = 7.0 if drive % 3 == 0 else 0.0
            drives[drive] = gzip.decompress(cycling_recording(drive, sticks=sticks, minutes=10.0))
        day = 86_400 * number
        path.write_bytes(
            re.sub(rb"(?m)^\((\d{10})", lambda m, d=day: b"(%d" % (int(m[1]) + d), drives[drive])
        )
    return paths


def used(work: Callable[[], object]) -> tuple[float, float]:
    """Return processor time of this process and its children [s], and their peak memory [MiB]."""

    def now() -> float:
        both = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        return sum(r.ru_utime + r.ru_stime for r in both)

    before = now()
    work()
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    return now() - before, peak


def ours(paths: list[Path], workers: int) -> None:
    """Screen into a folder, as the command does."""
    with tempfile.TemporaryDirectory() as out:
        folder = FleetFolder(Path(out))
        said = Screening(identity_key=folder.key())
        for _ in folder.take(screen(paths, workers=workers, said=said)):
            pass
        folder.parts()


def plain(paths: list[Path], workers: int) -> None:
    """The standard library's pool: nothing is kept, a killed process ends it."""
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for _ in pool.imap(screen_file, paths):
            pass


def dask_alone(paths: list[Path], workers: int) -> None:
    """A local cluster and its map: nothing is kept."""
    from distributed import Client, LocalCluster  # noqa: PLC0415  (an extra)

    with (
        LocalCluster(n_workers=workers, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        client.gather(client.map(screen_file, paths, pure=False))


def main() -> None:
    """Run and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "wm-fleet")
    arguments.add_argument("--few", type=int, default=50)
    arguments.add_argument("--many", type=int, default=5000)
    arguments.add_argument("--write", action="store_true")
    chosen = arguments.parse_args()
    paths = made(chosen.folder, chosen.many)
    few = paths[: chosen.few]
    rows = []
    start, _ = used(lambda: ours(few[:1], 1))
    for what, files, run in (
        ("one process at a time", few, lambda: ours(few, 1)),
        ("two processes", few, lambda: ours(few, 2)),
        ("two processes, many", paths, lambda: ours(paths, 2)),
        ("plain multiprocessing, two", few, lambda: plain(few, 2)),
        ("Dask alone, two workers", few, lambda: dask_alone(few, 2)),
    ):
        seconds, peak = used(run)
        rows.append(f"| {what} | {len(files):,} | {seconds / len(files):.3f} s | "
                    f"{peak:.0f} MiB |")  # fmt: skip
        print(rows[-1], flush=True)
    text = (
        "# Fleet: measured\n\nMade by `benchmarks/fleet.py`: ten-minute logs of about 59,000 "
        f"frames, distinct content, one run. Python {platform.python_version()}, "
        f"{os.cpu_count()} processors, load average {os.getloadavg()[0]:.0f} at the end (a machine "
        "as busy as that makes everything dearer). Starting one process and looking at its first "
        f"file takes {start:.2f} s of processor; it is in the figures.\n\n"
        "| how | files | processor time a file | peak of a process |\n|---|---|---|---|\n"
        + "\n".join(rows)
        + "\n\nOurs writes its rows as they come and goes on after a kill; the other two keep "
        "nothing.\n"
    )
    if chosen.write:
        Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
