"""Screening many recordings: what stands out in each, without a complaint to start from."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.fleet.children import Children
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.finding import Finding
from witnessmark.model.problem import Problem
from witnessmark.readers import read_recording
from witnessmark.workflow.case.named_files import Reach
from witnessmark.workflow.dossier.assess_case import assess

__all__ = ["Screened", "files_in", "screen", "screen_file"]

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
        failed: it could not be looked at for a reason that is not the file's own fault as far
            as is known: the work on it failed, or the process that did it ended.
    """

    file: str
    sha256: str
    findings: tuple[Finding, ...]
    problems: tuple[Problem, ...]
    failed: bool = False


def files_in(paths: Sequence[Path]) -> list[Path]:
    """Return the files that the paths name, folders opened, in order of their names.

    What is no ordinary file in a folder (a pipe, a link that leads out) is listed too: it is
    named when it is refused, not passed over in silence.
    """
    return [file for file, _ in _named(paths)]


def screen(
    paths: Sequence[Path],
    *,
    workers: int = 1,
    cluster: str | None = None,
    allow: Sequence[Path] = (),
) -> Iterator[Screened]:
    """Screen the files one by one, or several at a time; no file stops the rest.

    The work is done in processes of its own: one that is killed, or runs out of memory, costs
    the file it was at and is replaced.

    Args:
        paths: files and folders.
        workers: processes of this machine.
        cluster: address of a scheduler (``tcp://host:port``) whose workers see the files under
            the same paths and have this version installed; then *workers* does not count.
        allow: files and folders that links in the named folders may lead to; a link to anywhere
            else is refused.

    Raises:
        InputRefused: no scheduler answers there, it has no workers, or its library is missing.
    """
    rows = [_within_reach(file, folder, tuple(allow)) for file, folder in _named(paths)]
    files = [row for row in rows if isinstance(row, Path)]
    done = _on_cluster(files, cluster) if cluster is not None else _here(files, workers)
    for row in rows:
        yield next(done) if isinstance(row, Path) else row


def _named(paths: Sequence[Path]) -> Iterator[tuple[Path, Path | None]]:
    """Yield each file, with the folder it was found in where nobody typed its own name."""
    for path in paths:
        if not path.is_dir():
            yield path, None
            continue
        for file in sorted(path.rglob("*")):
            if not file.is_dir() or (file.is_symlink() and not _inside(file, path)):
                yield file, path


def _inside(link: Path, folder: Path) -> bool:
    return link.resolve().is_relative_to(folder.resolve())


def _within_reach(file: Path, folder: Path | None, allow: tuple[Path, ...]) -> Path | Screened:
    if folder is None:
        return file
    try:
        Reach(folder, allow).file(file.relative_to(folder))
    except WitnessmarkError as error:
        return Screened(str(file), "", (), (Problem.of(error, where=str(file)),))
    return file


def _here(files: Sequence[Path], workers: int) -> Iterator[Screened]:
    """Screen on this machine, each file in one of *workers* processes of its own."""
    with Children(screen_file, min(workers, len(files))) as children:
        for file, found in zip(files, children.map(files), strict=True):
            if isinstance(found, Screened):
                yield found
            else:
                yield Screened(str(file), "", (), (_ended(file, found),), failed=True)


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
        futures = client.map(screen_file, [path.resolve() for path in files], pure=False)
        for path, future in zip(files, futures, strict=True):
            try:
                yield replace(future.result(), file=str(path))
            except Exception as error:  # whatever a worker died of; the other files go on
                what = f"The worker could not look at it ({type(error).__name__})."
                do = "See that the workers have this version installed and enough memory."
                yield Screened(str(path), "", (), (Problem(str(path), what, do),), failed=True)


def screen_file(path: Path) -> Screened:
    """Look at one file; whatever goes wrong with it is a row with a sentence."""
    try:
        return _one(path)
    except WitnessmarkError as error:
        return Screened(str(path), "", (), (Problem.of(error, where=str(path)),))
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # some libraries raise past Exception when they panic
        return Screened(str(path), "", (), (_fault(path, error),), failed=True)


def _fault(path: Path, error: BaseException) -> Problem:
    if isinstance(error, MemoryError):
        return Problem(str(path), "It needs more memory than there is.",
                       "Cut it into shorter recordings.")  # fmt: skip
    if isinstance(error, OSError):
        reason = (error.strerror or type(error).__name__).lower()
        return Problem(str(path), f"It cannot be read: {reason}.",
                       "Check the disk and the permissions.")  # fmt: skip
    cause = f"{type(error).__name__}: {error!s:.200}"
    what = f"Looking at it failed on Witnessmark's own account ({cause})."
    return Problem(str(path), what, "Report it with the file. The other files were looked at.")


def _ended(path: Path, how: str) -> Problem:
    return Problem(
        str(path),
        f"The process that looked at it {how}.",
        "Most often memory ran out: cut it into shorter recordings, or use fewer --workers. The "
        "other files were looked at.",
    )


def _one(path: Path) -> Screened:
    recording = read_recording(path)
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


def _worth(assessment: Dossier) -> tuple[Finding, ...]:
    return tuple(f for f in assessment.findings if f.outcome in {"seen", "inconclusive"})
