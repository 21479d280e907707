"""What merging many shops' files costs: seconds, processor time, memory, against reading JSON.

Run: OMP_NUM_THREADS=1 python benchmarks/merging.py FOLDER [files ...]. FOLDER takes the files (190
kB each; made once, found again) and is not emptied. Prints the table of merging.md.

The files hold every pack's tables with a blur as at a budget of 1, each signed by a key of its own;
the blur is drawn by the machine's fast generator here, not by the exact one, for that is only asked
once a quarter in a shop. Some of the tables are shared by several files, the closings are each
file's own. The rival is what no merge can go below: reading the same texts as JSON, in one process.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from witnessmark.knowledge import load_knowledge
from witnessmark.pooling.cells import judged_of
from witnessmark.pooling.merging import merge
from witnessmark.pooling.tally import AGES, CLASSES, MINUTES, TABLES, Shape, tally

SIZES = (100, 1000, 10_000)
KINDS = 40


def shape() -> Shape:
    """Return the cells of the packs."""
    families = load_knowledge().families
    return Shape(
        {name: tuple(c.id for c in f.causes) for name, f in families.items()},
        {name: {t.id: tuple(t.outcomes) for t in f.tests} for name, f in families.items()},
    )


def make(folder: Path, count: int) -> list[Path]:
    """Write what is missing of *count* files and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{k:05d}.json" for k in range(count)]
    wanting = [k for k, path in enumerate(paths) if not path.exists()]
    if not wanting:
        return paths
    cells, chance, kinds = shape(), np.random.default_rng(5), []
    empty = tally([], cells)
    for _ in range(KINDS):
        body = {
            "schema": "witnessmark-experience/1", "shop": "@@shop", "quarter": "2031Q2",
            "budget": {"epsilon": "1", "spent_with_this": "1", "unit": "", "tables": {}},
            "classes": list(CLASSES), "ages": list(AGES), "minutes_up_to": list(MINUTES),
            "causes": {f: list(c) for f, c in cells.causes.items()},
            "tests": {f: {t: list(r) for t, r in x.items()} for f, x in cells.tests.items()},
        }  # fmt: skip
        for table in TABLES:
            q = 1.0 - np.exp(-float(table.part) / table.most)
            body[table.name] = {
                key: (chance.geometric(q, c.shape) - chance.geometric(q, c.shape)).tolist()
                for key, c in empty[table.name].items()
            }
        body["closings"] = "@@closings"
        kinds.append(json.dumps(body, separators=(",", ":"), sort_keys=True))
    for k in wanting:
        key = Ed25519PrivateKey.generate()
        closings = {
            family: (chance.poisson(0.2, len(c)) + chance.integers(-6, 7, len(c))).tolist()
            for family, c in cells.causes.items()
        }
        plain = kinds[k % KINDS].replace("@@shop", key.public_key().public_bytes_raw().hex())
        told = json.dumps(closings, separators=(",", ":"), sort_keys=True)
        plain = plain.replace('"@@closings"', told)
        text = f'{plain[:-1]},"signature":"{key.sign(plain.encode()).hex()}"}}\n'
        paths[k].write_text(text, encoding="utf-8")
    return paths


def one(folder: Path, count: int) -> None:
    """Merge so many files in this process and its children, and print one row as JSON."""
    paths = make(folder, count)
    judged = judged_of(load_knowledge().families)
    begun, own, theirs = time.perf_counter(), time.process_time(), _children()
    found = merge(paths, judged)
    took, spent = time.perf_counter() - begun, time.process_time() - own + _children() - theirs
    few = paths[:200]
    start = time.process_time()
    for path in few:
        json.loads(path.read_text(encoding="utf-8"))
    plain = (time.process_time() - start) / len(few)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(json.dumps([count, found.files, took, spent, plain * count, peak, most]))


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Make the files, merge them in a process a size, print the table."""
    folder = Path(sys.argv[1])
    sizes = [int(word) for word in sys.argv[2:]] or list(SIZES)
    make(folder, max(sizes))
    print("| files | seconds | processor time, s | a file, ms | times reading its JSON alone |"
          " memory, MB | of the largest child, MB |")  # fmt: skip
    print("|---|---|---|---|---|---|---|")
    for count in sizes:
        words = [sys.executable, __file__, str(folder), "--one", str(count)]
        done = subprocess.run(words, capture_output=True, text=True, check=True, env=os.environ)
        files, counted, took, spent, plain, peak, most = json.loads(done.stdout)
        assert files == counted, "every file counts"
        print(f"| {files:,} | {took:.1f} | {spent:.1f} | {1000 * spent / files:.1f} | "
              f"{spent / plain:.1f} | {peak:.0f} | {most:.0f} |", flush=True)  # fmt: skip


if __name__ == "__main__":
    if "--one" in sys.argv:
        one(Path(sys.argv[1]), int(sys.argv[3]))
    else:
        main()
