"""Measure the readers against what a shop could use instead; ratios within one run.

    PYTHONPATH=src python benchmarks/recordings.py [--folder DIR] [--write]

Every figure is a median of five, wall time and processor time, taken in turns on the same files.
The files (an hour of invented bus traffic, a wide table) are made anew where they are not there.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import asammdf
import can
import cantools
import duckdb
import polars as pl
from make_logs import bus_hour, long_log, traffic, wide_table
from make_mf4 import mf4_log

from witnessmark.readers import read_recording
from witnessmark.readers.bus.j1939_signals import SIGNALS, by_group
from witnessmark.readers.files.kept_channels import load_window, store
from witnessmark.workflow.recordings.look_into import as_json, look

REPEATS = 5
GROUPS = by_group(tuple(s for s in SIGNALS if s.bytes_needed <= 8))
Times = tuple[float, float]


def main() -> None:
    """Run everything and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "wm-bench")
    arguments.add_argument("--write", action="store_true", help="write benchmarks/recordings.md")
    chosen = arguments.parse_args()
    warnings.simplefilter("ignore")
    files = make(chosen.folder)
    rows = [*logs(files), *tables(files), *measurement_files(files), *cached(files), *memory(files)]
    text = table(rows)
    print(text)
    if chosen.write:
        page = Path(__file__).with_suffix(".md")
        page.write_text(text, encoding="utf-8")


def make(folder: Path) -> dict[str, Path]:
    """Make the files that are not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {
        n: folder / n
        for n in ("hour.log", "slice.log", "wide.csv", "part.mf4", "all.dbc", "long.log")
    }
    if not files["hour.log"].exists():
        bus_hour(files["hour.log"])
    if not files["slice.log"].exists():
        with files["hour.log"].open("rb") as file:
            files["slice.log"].write_bytes(b"".join(file.readline() for _ in range(300_000)))
    if not files["wide.csv"].exists():
        wide_table(files["wide.csv"])
    if not files["part.mf4"].exists():
        time_s, identifier, data = traffic(3600, 1)
        mf4_log(files["part.mf4"], time_s[:500_000], identifier[:500_000], data[:500_000])
    if not files["long.log"].exists():
        long_log(files["long.log"], files["hour.log"], 10)
    files["all.dbc"].write_text(dbc())
    return files


def logs(files: dict[str, Path]) -> list[list[str]]:
    """Text logs: the usual loop, a data-frame library, ours; then looking against decoding."""
    hour, part = files["hour.log"], files["slice.log"]
    database = load_dbc(files["all.dbc"])
    ours, loop = compete(lambda: read_recording(part), lambda: usual_loop(part, database))
    rows = [
        row("bus log of 300,000 frames", "python-can + cantools loop", ours, loop, "at least 20 x")
    ]
    ours, frames = compete(lambda: read_recording(hour), lambda: polars_extraction(hour))
    rows.append(row("bus log, 1 hour, 3.0 M frames", "polars, same signals", ours, frames,
                    "at most 1.1 x its time"))  # fmt: skip
    again, base = compete(lambda: read_recording(hour), lambda: duckdb_extraction(hour))
    rows.append(row("the same", "DuckDB, same signals", again, base, "(or of DuckDB)"))
    looked, decoded = compete(lambda: as_json(look([hour])[0]), lambda: read_recording(hour))
    rows.append(row("look at that log", "decoding it", looked, decoded, "under 1.5 x its time"))
    return rows


def tables(files: dict[str, Path]) -> list[list[str]]:
    """A wide table with layout detection against libraries that are told the layout."""
    path = files["wide.csv"]
    names = {f"c{i}": pl.Float64 for i in range(40)}
    types = ",".join(f"'c{i}':'DOUBLE'" for i in range(40))
    query = f"select * from read_csv('{path}',header=true,delim=',',columns={{{types}}})"  # noqa: S608

    def polars_told() -> object:
        told = pl.read_csv(path, has_header=False, skip_rows=1, schema=names)
        return [told[c].to_numpy() for c in told.columns]

    ours, duck = compete(lambda: read_recording(path), lambda: duckdb.sql(query).fetchnumpy())
    again, told = compete(lambda: read_recording(path), polars_told)
    return [
        row("table of 105 MB, 40 columns", "DuckDB told the layout", ours, duck, "at most 1.2 x"),
        row("the same", "polars told the layout", again, told, "at most 1.2 x (or DuckDB)"),
    ]


def measurement_files(files: dict[str, Path]) -> list[list[str]]:
    """MF4 bus logs against the reference reader's extraction of the same signals."""
    path, database = files["part.mf4"], files["all.dbc"]

    def extraction() -> object:
        with asammdf.MDF(path) as mdf:
            return mdf.extract_bus_logging({"CAN": [(database, 0)]})

    ours, theirs = compete(lambda: read_recording(path), extraction)
    return [row("MF4 of 500,000 frames", "asammdf bus extraction", ours, theirs, "at least 2 x")]


def cached(files: dict[str, Path]) -> list[list[str]]:
    """Ten seconds out of a cached hour."""
    folder = files["hour.log"].parent / "channels"
    recording = read_recording(files["hour.log"])
    store(recording, folder)
    window = timed(lambda: load_window(folder, recording.sha256, 1800.0, 1810.0))
    wall, cpu = (1000 * t for t in window)
    return [["10 s of the cached hour, all channels", "-", f"{wall:.1f} ms", "-", "-",
             f"{cpu:.1f} ms of processor", "under 20 ms"]]  # fmt: skip


def memory(files: dict[str, Path]) -> list[list[str]]:
    """Peak memory of a process that reads an hour, and ten; what an idle one takes beside it."""
    program = (
        "import sys\nfrom pathlib import Path\nfrom witnessmark.readers import read_recording\n"
        "from witnessmark.readers.files.kept_channels import load, store\n"
        "def peak():\n"
        "    lines = Path('/proc/self/status').read_text().splitlines()\n"
        "    return next(int(x.split()[1]) / 1024 for x in lines if x.startswith('VmHWM'))\n"
        "empty = peak()\nrecording = read_recording(sys.argv[1])\nprint(empty, peak())\n"
        "size = sum(c.values.nbytes + c.quality.nbytes for c in recording.channels)\n"
        "size += sum({id(c.time_s): c.time_s.nbytes for c in recording.channels}.values())\n"
        "print(recording.frames, size / 2**20)"
    )
    rows = []
    for name, file, wanted in (("1 hour log", "hour.log", "at most 200 MiB"),
                               ("10 hour log, read in pieces", "long.log", "-")):  # fmt: skip
        run = subprocess.run(
            [sys.executable, "-c", program, str(files[file])],
            capture_output=True, text=True, check=True, env={**os.environ},
        )  # fmt: skip
        empty, peak, _, size = (float(x) for x in run.stdout.split())
        rows.append([f"peak memory, {name}", "-", f"{peak:.0f} MiB", "-", "-",
                     f"{empty:.0f} MiB before reading; the file has "
                     f"{files[file].stat().st_size / 2**20:,.0f} MiB, its channels {size:,.0f} MiB",
                     wanted])  # fmt: skip
    return rows


def compete(ours: Callable[[], object], theirs: Callable[[], object]) -> tuple[Times, Times]:
    """Time both in turns; each once before, so that nothing is loaded while it counts."""
    ours()
    theirs()
    mine, other = [], []
    for _ in range(REPEATS):
        mine.append(once(ours))
        other.append(once(theirs))
    return middle(mine), middle(other)


def timed(work: Callable[[], object]) -> Times:
    work()
    return middle([once(work) for _ in range(REPEATS)])


def once(work: Callable[[], object]) -> Times:
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def middle(times: list[Times]) -> Times:
    return statistics.median(t[0] for t in times), statistics.median(t[1] for t in times)


def usual_loop(path: Path, database: object) -> int:
    """What is done today: a loop over the frames."""
    found = 0
    with can.CanutilsLogReader(path) as reader:
        for message in reader:
            pgn = (message.arbitration_id >> 8) & 0x3FFFF
            known = database.get(pgn if (pgn >> 8) & 255 >= 240 else pgn & 0x3FF00)  # type: ignore[attr-defined]
            if known is not None:
                known.decode(bytes(message.data), decode_choices=False, allow_truncated=True)
                found += 1
    return found


def polars_extraction(path: Path) -> dict[tuple[object, ...], pl.DataFrame]:
    """The same signals by a data-frame library; neither codes nor checks of the time stamps."""
    schema = {"t": pl.String, "bus": pl.String, "f": pl.String}
    raw = pl.scan_csv(path, has_header=False, separator=" ", schema=schema, quote_char=None)
    frames = raw.select(
        t=pl.col("t").str.slice(1, 17).cast(pl.Float64),
        id=pl.col("f").str.slice(0, 8).str.to_integer(base=16, dtype=pl.UInt32),
        data=pl.col("f").str.slice(9),
    ).with_columns(pgn=(pl.col("id") // 256) % 262144, sa=pl.col("id") % 256)
    frames = frames.filter(pl.col("pgn").is_in(list(GROUPS)))
    frames = frames.with_columns(
        [
            pl.col("data")
            .str.slice(2 * i, 2)
            .str.to_integer(base=16, dtype=pl.UInt32)
            .alias(f"b{i}")
            for i in range(8)
        ]
    )
    found = {}
    for (pgn, source), group in frames.collect().partition_by(["pgn", "sa"], as_dict=True).items():
        columns = []
        for signal in GROUPS[int(str(pgn))]:
            first, count = signal.start // 8, (signal.bits + 7) // 8
            number = pl.lit(0, dtype=pl.UInt64)
            for i in range(count):
                number = number + pl.col(f"b{first + i}").cast(pl.UInt64) * 256**i
            if signal.bits < 8:
                number = (number // 2 ** (signal.start % 8)) % 2**signal.bits
            top = {8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}.get(signal.bits, 2**signal.bits - 3)
            value = number.cast(pl.Float64) * signal.scale + signal.offset
            columns.append(pl.when(number <= top).then(value).alias(signal.name))
        found[pgn, source] = group.select("t", *columns)
    return found


def duckdb_extraction(path: Path) -> dict[tuple[int, int], object]:
    """The same signals by a database; neither codes nor checks of the time stamps."""
    bytes_ = " + ".join(
        f"(('0x' || substr(f, {10 + 2 * i}, 2))::UBIGINT << {8 * i})" for i in range(8)
    )
    known = ",".join(map(str, GROUPS))
    with duckdb.connect() as base:
        base.execute(
            f"create table frames as select * from (select substr(t, 2, 17)::DOUBLE t, "  # noqa: S608
            f"('0x' || substr(f, 1, 8))::UINTEGER id, (id >> 8) % 262144 pgn, id % 256 sa, f "
            f"from read_csv('{path}', header=false, delim=' ', quote='', escape='', "
            "columns={'t':'VARCHAR','bus':'VARCHAR','f':'VARCHAR'})) "
            f"where pgn in ({known})"
        )
        base.execute(f"create table words as select t, pgn, sa, {bytes_} w from frames")  # noqa: S608
        found: dict[tuple[int, int], object] = {}
        for pgn, source in base.execute("select distinct pgn, sa from words").fetchall():
            columns = []
            for signal in GROUPS[pgn]:
                raw = f"((w >> {signal.start}) & {(1 << signal.bits) - 1})"
                top = {8: 0xFA, 16: 0xFAFF, 32: 0xFAFFFFFF}.get(signal.bits, 2**signal.bits - 3)
                columns.append(
                    f"case when {raw} <= {top} then {raw} * {signal.scale!r} + {signal.offset!r} "
                    f"end as {signal.name}"
                )
            found[pgn, source] = base.execute(
                f"select t, {', '.join(columns)} from words where pgn={pgn} and sa={source}"  # noqa: S608
            ).fetchnumpy()
    return found


def dbc() -> str:
    """Return our table of signals as a DBC file for the other libraries."""
    lines = ['VERSION ""', "BS_:", "BU_:"]
    for pgn, signals in GROUPS.items():
        lines.append(f"BO_ {0x80000000 | 6 << 26 | pgn << 8 | 0xFE} P{pgn}: 8 X")
        lines += [
            f' SG_ S{s.spn} : {s.start}|{s.bits}@1+ ({s.scale:.12g},{s.offset:.12g}) [0|0] "" X'
            for s in signals
        ]
    lines.append(
        'BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","ExtendedCAN","reserved","J1939PG";'
    )
    lines.append('BA_DEF_DEF_ "VFrameFormat" "J1939PG";')
    lines += [
        f'BA_ "VFrameFormat" BO_ {0x80000000 | 6 << 26 | pgn << 8 | 0xFE} 3;' for pgn in GROUPS
    ]
    lines += ['BA_DEF_ "ProtocolType" STRING ;', 'BA_DEF_DEF_ "ProtocolType" "";',
              'BA_ "ProtocolType" "J1939";']  # fmt: skip
    return "\n".join(lines) + "\n"


def load_dbc(path: Path) -> dict[int, object]:
    messages = cantools.database.load_file(path, strict=False).messages
    return {(m.frame_id >> 8) & 0x3FFFF: m for m in messages}


def row(what: str, against: str, ours: Times, theirs: Times, wanted: str) -> list[str]:
    """Return a line: times and the ratio theirs / ours."""
    wall, cpu = theirs[0] / ours[0], theirs[1] / ours[1]
    return [what, against, f"{ours[0]:.2f} s", f"{theirs[0]:.2f} s", f"{wall:.2f}", f"{cpu:.2f}",
            wanted]  # fmt: skip


def table(rows: list[list[str]]) -> str:
    """Return the page."""
    head = ["what", "against", "ours", "theirs", "theirs / ours, wall", "theirs / ours, processor",
            "wanted"]  # fmt: skip
    lines = [
        "# Recordings: measured",
        "",
        "Made by `benchmarks/recordings.py`: medians of five, in turns, in one run, on files made "
        "by `make_logs.py` and `make_mf4.py`.",
        f"Python {platform.python_version()}, {os.cpu_count()} processors, load average "
        f"{os.getloadavg()[0]:.1f} at the end of the run. Wall times suffer from a busy machine; "
        "processor time is the work done by all threads.",
        "",
        "A ratio of 20 means that ours needs a twentieth of the time.",
        "",
        "| " + " | ".join(head) + " |",
        "|" + "---|" * len(head),
        *("| " + " | ".join(cells) + " |" for cells in rows),
        "",
        "The data-frame library and the database read only the signals (the same values, the "
        "database without their order); ours also counts every identifier and sender, checks "
        "every line and time stamp, reassembles multi-packet messages, reads the trouble codes, "
        "marks start-up defaults and computes the file's digest. All use two threads where they "
        "can, the usual loop one.",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
