"""Screening many recordings: what stands out in each, without a complaint to start from."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from witnessmark.errors import WitnessmarkError
from witnessmark.model.assessment import Assessment
from witnessmark.model.case import Case, read_case
from witnessmark.model.finding import Finding
from witnessmark.model.problem import Problem
from witnessmark.readers import read_recording
from witnessmark.workflow.assess import assess

__all__ = ["Screened", "files_in", "screen"]

#: Nobody complained, so every family that a recording can speak of is looked at.
FAMILIES = ("cool_unstable", "electrical", "vib_load", "vib_speed")


@dataclass(frozen=True, slots=True)
class Screened:
    """One recording after screening.

    Attributes:
        file: the path as given.
        sha256: digest, empty when the file was refused.
        findings: what was seen or could not be told; what was looked for and not seen is left out.
        problems: faults of the file.
    """

    file: str
    sha256: str
    findings: tuple[Finding, ...]
    problems: tuple[Problem, ...]


def files_in(paths: Sequence[Path]) -> list[Path]:
    """Return the files that the paths name, folders opened, in order of their names."""
    found: list[Path] = []
    for path in paths:
        found += sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]
    return found


def screen(paths: Sequence[Path], *, workers: int = 1) -> Iterator[Screened]:
    """Screen the files one by one, or several at a time; a refused file does not stop the rest."""
    files = files_in(paths)
    if workers <= 1 or len(files) <= 1:
        yield from map(_one, files)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_one, files)


def _one(path: Path) -> Screened:
    try:
        recording = read_recording(path)
    except WitnessmarkError as error:
        return Screened(str(path), "", (), (Problem.of(error, where=str(path)),))
    assessment = assess(_case(path, recording.sha256), {"r1": recording})
    return Screened(str(path), recording.sha256, _worth(assessment), recording.problems)


def _case(path: Path, sha256: str) -> Case:
    at = "1970-01-01T00:00:00Z"  # screening has no date of its own
    rows = [
        {"kind": "complaint", "id": "c1", "at": at,
         "data": {"words": "", "families": list(FAMILIES)}},
        {"kind": "recording", "id": "r1", "at": at,
         "data": {"path": path.name, "sha256": sha256}},
    ]  # fmt: skip
    return read_case("screening", [json.dumps(row) for row in rows])


def _worth(assessment: Assessment) -> tuple[Finding, ...]:
    return tuple(f for f in assessment.findings if f.outcome in {"seen", "inconclusive"})
