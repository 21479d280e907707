"""Screening many recordings: what stands out in each, without a complaint to start from."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.model.assessment import Assessment
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.finding import Finding
from witnessmark.model.problem import Problem
from witnessmark.readers import read_recording
from witnessmark.workflow.dossier.assess_case import assess

__all__ = ["Screened", "files_in", "screen"]

#: Nobody complained, so every family that a recording can speak of is looked at.
FAMILIES = ("cool_unstable", "electrical", "vib_load", "vib_speed")
#: How long a scheduler and its first worker may take to answer [s].
_ANSWER_S = 6
_ADDRESS = re.compile(r"(tcp|tls)://[^\s/:]+:\d{1,5}")


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


def screen(
    paths: Sequence[Path], *, workers: int = 1, cluster: str | None = None
) -> Iterator[Screened]:
    """Screen the files one by one, or several at a time; a refused file does not stop the rest.

    Args:
        paths: files and folders.
        workers: processes of this machine.
        cluster: address of a scheduler (``tcp://host:port``) whose workers see the files under
            the same paths and have this version installed; then *workers* does not count.

    Raises:
        InputRefused: no scheduler answers there, it has no workers, or its library is missing.
    """
    files = files_in(paths)
    if cluster is not None:
        yield from _on_cluster(files, cluster)
        return
    if workers <= 1 or len(files) <= 1:
        yield from map(_one, files)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_one, files)


def _on_cluster(files: Sequence[Path], address: str) -> Iterator[Screened]:
    try:
        from distributed import Client  # noqa: PLC0415  (an extra; slow to load)
    except ModuleNotFoundError:
        raise InputRefused(
            "Screening on a cluster needs a library that is not installed.",
            do="Install witnessmark[cluster], or use --workers on this machine.",
        ) from None
    silent = InputRefused(
        f"No scheduler answers at '{address:.80}'.",
        do="Start one, and give its address as tcp://host:port.",
    )
    if not _ADDRESS.fullmatch(address):
        raise silent
    connect: Any = Client  # the library's own constructor is not typed
    try:
        client = connect(address, timeout=_ANSWER_S, set_as_default=False)
    except OSError:
        raise silent from None
    with client:
        try:
            client.wait_for_workers(1, timeout=_ANSWER_S)
        except TimeoutError:
            raise InputRefused(
                f"The scheduler at {address:.80} has no workers.", do="Start at least one."
            ) from None
        futures = client.map(_one, [path.resolve() for path in files], pure=False)
        for path, future in zip(files, futures, strict=True):
            try:
                yield replace(future.result(), file=str(path))
            except Exception as error:  # whatever a worker died of; the other files go on
                what = f"The worker could not look at it ({type(error).__name__})."
                do = "See that the workers have this version installed and enough memory."
                yield Screened(str(path), "", (), (Problem(str(path), what, do),))


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
