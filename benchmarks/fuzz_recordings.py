"""Read ten thousand damaged files: no crash, no hang over 5 s, no memory blow-up.

PYTHONPATH=src:tests python benchmarks/fuzz_recordings.py [COUNT] [SEED]
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path

from readers.compliance import assert_honest, assert_sentence
from readers.mutants import mutants, seeds
from witnessmark.analyses.steady import steady_points
from witnessmark.errors import WitnessmarkError
from witnessmark.readers import read_recording
from witnessmark.workflow.recordings.look_into import Look, as_json


def main() -> int:
    """Run, print one line a kind of failure, return their number."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    shared = Path(__file__).resolve().parents[2] / "shared"
    files = seeds(shared if shared.is_dir() else None)
    warnings.simplefilter("error")
    failures: Counter[str] = Counter()
    read = refused = 0
    longest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "mutant"
        for name, data in mutants(files, count, seed):
            path.write_bytes(data)
            before = time.process_time()
            try:
                recording = read_recording(path)
                assert_honest(recording, name)
                shown = Look(name, recording, steady_points(recording), recording.problems)
                json.dumps(as_json(shown), allow_nan=False)
                read += 1
            except WitnessmarkError as error:
                assert_sentence(error)
                refused += 1
            except Exception as error:  # every other kind is what this looks for
                last = traceback.extract_tb(error.__traceback__)[-1]
                place = f"{Path(last.filename).name}:{last.lineno}"
                failures[f"{type(error).__name__} {str(error)[:80]} at {place} ({name})"] += 1
            longest = max(longest, time.process_time() - before)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{count:,} inputs from {len(files)} files, seed {seed}: {read:,} read, {refused:,} "
        f"refused in a sentence, {sum(failures.values())} failures; longest "
        f"{longest:.2f} s of processor, peak {peak:.0f} MiB"
    )
    for failure, times in failures.most_common():
        print(f"{times:6} x {failure}")
    return sum(failures.values())


if __name__ == "__main__":
    sys.exit(min(main(), 1))
