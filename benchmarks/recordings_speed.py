"""Whole processes against their rivals: 1.5 million frames, a table of 105 MB, the import alone.

PYTHONPATH=src:benchmarks python benchmarks/recordings_speed.py [--folder DIR] [--write]

Each run is a process of its own; what counts is its processor time, all threads together, as the
system accounts it. Medians of five, in turns. The rival of the log is polars in the form of
``polars_extraction`` of recordings.py: one scan with blanks between the columns, fixed slices
instead of regular expressions, the wanted messages filtered before their bytes are read, each byte
once; other forms were not tried. It reads the signals only; ours also checks every line and stamp,
counts identifiers, reads codes and packets. The rival of the table is ``polars.read_csv`` told
names and types, so that it has nothing to find out.
"""

from __future__ import annotations

import argparse
import compileall
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from make_logs import bus_hour, wide_table

import witnessmark

REPEATS = 5
_OURS = "from witnessmark.readers import read_recording; read_recording({path!r})"
_POLARS_LOG = (
    "import recordings; from pathlib import Path; recordings.polars_extraction(Path({path!r}))"
)
_POLARS_TABLE = (
    "import polars as pl; t = pl.read_csv({path!r}, has_header=False, skip_rows=1, "
    "schema={{f'c{{i}}': pl.Float64 for i in range(40)}}); [t[c].to_numpy() for c in t.columns]"
)
_PANDAS_TABLE = (
    "import pandas as pd; t = pd.read_csv({path!r}, header=None, skiprows=1, dtype=float); "
    "[t[c].to_numpy() for c in t.columns]"
)
_IMPORT = "import witnessmark.readers"


def used(code: str) -> float:
    """Return the processor time of a process that runs *code* [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-c", code], check=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def against(ours: str, theirs: str) -> tuple[float, float]:
    """Return the medians of both, run in turns."""
    pairs = [(used(ours), used(theirs)) for _ in range(REPEATS)]
    return (statistics.median(a for a, _ in pairs), statistics.median(b for _, b in pairs))


def main() -> None:
    """Run and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "wm-bench")
    arguments.add_argument("--write", action="store_true")
    chosen = arguments.parse_args()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    # As after an installation: the byte code of ours lies ready, as that of the rivals does.
    compileall.compile_dir(str(Path(witnessmark.__file__).parent), quiet=1)
    log, table = chosen.folder / "half.log", chosen.folder / "wide.csv"
    frames = bus_hour(log, seconds=1800) if not log.exists() else log.stat().st_size // 51
    if not table.exists():
        wide_table(table)
    empty = statistics.median(used("pass") for _ in range(REPEATS))
    rows = []
    for what, ours, theirs, rival, wanted in (
        (f"log of {frames:,} frames", _OURS.format(path=str(log)),
         _POLARS_LOG.format(path=str(log)), "polars, the same signals", "at most 0.45 s"),
        ("table of 105 MB", _OURS.format(path=str(table)), _POLARS_TABLE.format(path=str(table)),
         "polars told the types", "at most 1.0 x polars"),
        ("the same", _OURS.format(path=str(table)), _PANDAS_TABLE.format(path=str(table)),
         "pandas told the types", "-"),
        ("import of the readers", _IMPORT, "import polars", "import of polars", "at most 0.15 s"),
    ):  # fmt: skip
        mine, other = against(ours, theirs)
        rows.append(f"| {what} | {mine:.2f} s | {rival} | {other:.2f} s | {mine / other:.2f} | "
                    f"{wanted} |")  # fmt: skip
    load = os.getloadavg()[0]
    text = (
        "# Recordings: whole processes\n\nMade by `benchmarks/recordings_speed.py`: processor time "
        f"of whole processes, medians of {REPEATS}, in turns, in one run. Python "
        f"{platform.python_version()}, {os.cpu_count()} processors, load average {load:.0f} at the "
        f"end: a machine as busy as that makes everything dearer, so the ratio says more than the "
        f"seconds. An empty process takes {empty:.2f} s.\n\n"
        "| what | ours | rival | theirs | ours / theirs | wanted |\n|---|---|---|---|---|---|\n"
        + "\n".join(rows)
        + "\n\nThe form of each rival stands in the program.\n"
    )
    print(text)
    if chosen.write:
        Path(__file__).with_suffix(".md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
