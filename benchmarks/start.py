"""What a cold start costs: processor time of one command in a process of its own.

    python benchmarks/start.py [--before REVISION] [--repeats 5] [--write]

Each figure is the least of several runs, in seconds of processor time (user and system) of the
whole process; ``--before`` measures an older revision of the repository in the same run, run by
run in turn. "First run" has nothing kept between runs. Prints ``start.md``; ``--write`` puts it
there.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import platform
import resource
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
AT = "2026-03-02T08:00:00Z"
#: Command -> (its arguments, the most it may take [s] or ``None``).
COMMANDS: dict[str, tuple[tuple[str, ...], float | None]] = {
    "assess, no fuel (shake under load)": (("assess", "shake.jsonl"), 0.7),
    "assess, no fuel (coolant needle hops)": (("assess", "needle.jsonl"), 0.7),
    "assess, fuel, two readings": (("assess", "fuel.jsonl"), 1.0),
    "look at a small bus log": (("look", "small.log"), 0.35),
    "import witnessmark": ((), None),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--before", help="revision to compare with")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        material(here)
        sources = {"now": ROOT / "src"}
        if given.before:
            sources = {"before": older(given.before, here / "before"), **sources}
        rows = table(sources, here, given.repeats)
    text = "\n".join([*heading(given), *rows, ""])
    print(text)
    if given.write:
        (Path(__file__).parent / "start.md").write_text(text, encoding="utf-8")


def heading(given: argparse.Namespace) -> list[str]:
    before = f" Before: revision {given.before}." if given.before else ""
    return [
        "# Cold start",
        "",
        "Made by `python benchmarks/start.py --write`. Processor time of a whole process, user and "
        f"system [s], the least of {given.repeats} runs;",
        f"Python {platform.python_version()} on a shared machine of {os.cpu_count()} cores."
        f"{before} The times belong to this machine; the ratio is the claim.",
        "",
    ]


def table(sources: dict[str, Path], here: Path, repeats: int) -> list[str]:
    names = [*sources, "first run", "goal"]
    rows = [f"| command | {' | '.join(names)} |", "|-" * (len(names) + 1) + "|"]
    for words, (arguments, goal) in COMMANDS.items():
        found: dict[str, list[float]] = {name: [] for name in (*sources, "first run")}
        for _ in range(repeats):
            for name, source in sources.items():
                found[name].append(spent(arguments, source, here, here / f"kept-{name}"))
            found["first run"].append(spent(arguments, sources["now"], here, None))
        # The first of each wrote what is kept; the least leaves it out.
        cells = [f"{min(times):.2f}" for times in found.values()]
        rows.append(f"| {words} | {' | '.join(cells)} | {'' if goal is None else goal} |")
    return rows


def spent(arguments: tuple[str, ...], source: Path, folder: Path, kept: Path | None) -> float:
    """Return the processor time of one process [s]."""
    command = ["-m", "witnessmark", *arguments] if arguments else ["-c", "import witnessmark"]
    environment = {
        **os.environ, "PYTHONPATH": str(source), "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1", "WITNESSMARK_CACHE": str(kept) if kept else "",
        # as an installed package has it: the compiled files are there from the second run on
        "PYTHONPYCACHEPREFIX": str(folder / "compiled"), "PYTHONDONTWRITEBYTECODE": "",
    }  # fmt: skip
    start = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *command], cwd=folder, env=environment, check=True, capture_output=True
    )
    end = resource.getrusage(resource.RUSAGE_CHILDREN)
    return end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime


def older(revision: str, folder: Path) -> Path:
    """Unpack the sources of a revision."""
    packed = subprocess.run(
        ["git", "archive", revision, "src"],  # noqa: S607
        cwd=ROOT, check=True, capture_output=True,
    ).stdout  # fmt: skip
    with tarfile.open(fileobj=io.BytesIO(packed)) as archive:
        archive.extractall(folder, filter="data")
    return folder / "src"


def material(folder: Path) -> None:
    """Write the invented cases and a small log of the bus."""
    case(folder / "shake.jsonl", "vib_load", clue="engbrake")
    case(folder / "needle.jsonl", "cool_unstable", clue="topups")
    gauge = [("64 psi", 690), ("79 psi", 1570)]
    case(folder / "fuel.jsonl", "fuel_low", clue="filters_recent", gauge=gauge)
    frames = []
    for k in range(600):
        rpm = int((900 + k % 300) / 0.125)
        data = f"FFFFFF{rpm & 255:02X}{rpm >> 8:02X}FFFFFF"
        frames.append(f"({1000 + 0.05 * k:.6f}) can0 0CF00400#{data}")
    (folder / "small.log").write_text("\n".join(frames) + "\n", encoding="utf-8")


def case(path: Path, family: str, *, clue: str, gauge: list[tuple[str, int]] | None = None) -> None:
    """Write a case of one complaint, one clue and some gauge readings."""
    entries = [
        ("complaint", {"words": "it does it again", "families": [family]}),
        ("clue", {"clue": clue, "seen": True}),
        *(
            ("reading", {"quantity": "fuel_gallery_pressure", "value": value,
                         "point": {"rpm": rpm, "load": "none"}})
            for value, rpm in gauge or []
        ),
    ]  # fmt: skip
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": AT, "data": data})
        for n, (kind, data) in enumerate(entries)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
