"""Change one byte of a recording: nothing outside the edited record may change in silence.

PYTHONPATH=src:tests python benchmarks/fuzz_edits.py [COUNT] [SEED]

The decode of the edited file is held against the decode of the whole one. A sample that differs,
is missing or is new outside the edited line's own time counts as silent where no problem was
added that the whole file does not have. Headings are held to crashes only. Files whose stamps are
steps are left out: a shifted step cannot be seen.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

from readers.mutants import seeds
from witnessmark.errors import WitnessmarkError
from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording

#: Line by line, with a time of its own in every line.
KINDS = ("candump", "asc", "trc", "two buses", "adapter", "raw cells", "semicolon", "clock",
         "fixed width")  # fmt: skip
#: Lines of headings and units.
TABLES = {"semicolon": 2, "clock": 1, "fixed width": 1, "raw cells": 1}
Samples = set[tuple[str, int | None, str, float, float]]


def samples(recording: Recording, *, from_end: bool = False) -> Samples:
    """Return every reading as a row of its own, times counted from the start or from the end.

    Times begin with the first record: an edit of its stamp moves all of them by the same amount.
    """
    zero = (recording.duration_s or 0.0) if from_end else 0.0
    return {
        (c.name, c.source, c.bus, round(float(t) - zero, 5), round(float(v), 9))
        for c in recording.channels
        for t, v, good in zip(c.time_s, c.values, c.valid(), strict=True)
        if good
    }


def silent(whole: Recording, edited: Recording) -> str:
    """Return what changed in silence; empty where nothing did."""
    before = Counter((p.what, p.do) for p in whole.problems)
    after = Counter((p.what, p.do) for p in edited.problems)
    if after - before:
        return ""
    found = [_changed(whole, edited, from_end=from_end) for from_end in (False, True)]
    return "" if "" in found else found[0]


def _changed(whole: Recording, edited: Recording, *, from_end: bool) -> str:
    old, new = samples(whole, from_end=from_end), samples(edited, from_end=from_end)
    times = {row[3] for row in old ^ new}
    gone, come = old - new, new - old
    if len(times) <= 2 and len({row[3] for row in gone}) <= 1 and len({r[3] for r in come}) <= 1:
        return ""  # the edited record alone: another value, or the same at another time
    return f"{len(gone)} readings gone, {len(come)} new, at {len(times)} times"


def main() -> int:
    """Run, print a line a kind of silent change, return their number."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    random = np.random.default_rng(seed)
    files = {name: data for name, data in seeds(None).items() if name in KINDS}
    warnings.simplefilter("error")
    failures: Counter[str] = Counter()
    crashes: Counter[str] = Counter()
    read = refused = 0
    longest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "edited"
        whole = {}
        for name, data in files.items():
            path.write_bytes(data)
            whole[name] = read_recording(path)
        names = list(files)
        for _ in range(count):
            name = names[int(random.integers(len(names)))]
            data = bytearray(files[name])
            at, byte = int(random.integers(len(data))), int(random.integers(256))
            data[at] = (
                byte if random.uniform() < 0.5 else int(random.choice(list(b"0123456789AF.,;")))
            )
            path.write_bytes(data)
            before = time.process_time()
            try:
                found = read_recording(path)
                read += 1
                # A heading speaks for its whole column: changed to another heading it is one.
                line = files[name][:at].count(b"\n")
                heading = name in TABLES and line < TABLES[name]
                what = "" if heading else silent(whole[name], found)
                if what:
                    failures[f"{name} line {line + 1}: {what}"] += 1
                    if len(failures) <= 12:
                        print(name, at, bytes(data)[max(0, at - 30) : at + 20], what)
            except WitnessmarkError:
                refused += 1
            except Exception as error:  # every other kind is what this looks for
                crashes[f"{name}: {type(error).__name__} {str(error)[:80]}"] += 1
            longest = max(longest, time.process_time() - before)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count:,} edits of {len(files)} files, seed {seed}: {read:,} read, {refused:,} refused, "
        f"{sum(crashes.values())} crashes, {sum(failures.values())} silent changes; longest "
        f"{longest:.2f} s of processor, peak {peak:.0f} MiB"
    )
    for what, times in [*crashes.most_common(20), *failures.most_common(20)]:
        print(f"{times:6} x {what}")
    return sum(failures.values()) + sum(crashes.values())


if __name__ == "__main__":
    sys.exit(min(main(), 1))
