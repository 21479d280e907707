"""Damaged files, read one after the other: what came of them, how long, and how much memory."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path

from readers.compliance import assert_honest, assert_sentence
from readers.mutants import mutants, seeds
from witnessmark.errors import WitnessmarkError
from witnessmark.readers import read_recording
from witnessmark.workflow.recordings.look_into import as_json, look


@dataclass(frozen=True)
class Told:
    read: int
    slowest: str
    slowest_s: float
    peak_mb: float


def read_mutants(shared: Path | None, path: Path, count: int, seed: int) -> Told:
    """Write ``count`` mutants to ``path`` in turn; each is refused in a sentence or read."""
    read, slowest, slowest_s = 0, "none", 0.0
    for name, data in mutants(seeds(shared), count, seed=seed):
        path.write_bytes(data)
        before = time.process_time()
        try:
            recording = read_recording(path)
        except WitnessmarkError as error:
            assert_sentence(error)
        else:
            read += 1
            assert_honest(recording, name)
            (one,) = look([path])
            json.dumps(as_json(one), allow_nan=False)
        took = time.process_time() - before
        if took > slowest_s:
            slowest, slowest_s = name, took
    return Told(read, slowest, slowest_s, _peak_mb())


def _peak_mb() -> float:
    """Of this program alone: ``getrusage`` also counts what its parent held before it."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise AssertionError("/proc/self/status names no peak of memory")
