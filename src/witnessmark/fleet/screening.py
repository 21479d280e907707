"""Screening many recordings: what stands out in each, without a complaint to start from."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from witnessmark.analyses.an_analysis import Bench
from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.fleet.children import Children
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.finding import Finding
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Recording, TroubleCode
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.workflow.case.named_files import Reach
from witnessmark.workflow.dossier.assess_case import findings_of

__all__ = [
    "Screened",
    "Screening",
    "Task",
    "files_in",
    "screen",
    "screen_batch",
    "screen_file",
]

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
    truck: str = ""
    began: float | None = None
    duration_s: float | None = None
    codes: tuple[TroubleCode, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Screening:
    """What the user said about all the files.

    Attributes:
        dbc: DBC files.
        columns: what columns of tables were named, by heading.
        identity_key: key of the digests that tell trucks apart.
        limit_s: longest time one file may take [s]; the work on it is then ended.
        batch: files that a cluster's worker is given at once.
    """

    dbc: tuple[Path, ...] = ()
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    identity_key: bytes = b""
    limit_s: float | None = None
    batch: int = 8


_NOTHING_SAID = Screening()


@dataclass(frozen=True, slots=True)
class Task:
    """A file with what was said about it."""

    path: Path
    said: Screening


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
    said: Screening | None = None,
    skip: Collection[str] = (),
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
        said: what the user said about all the files.
        skip: paths that are done already.

    Raises:
        InputRefused: no scheduler answers there, it has no workers, or its library is missing.
    """
    rows = [
        _within_reach(file, folder, tuple(allow))
        for file, folder in _named(paths)
        if str(file) not in skip
    ]
    files = [row for row in rows if isinstance(row, Path)]
    done = (
        _on_cluster(files, cluster, said or Screening())
        if cluster is not None
        else _here(files, workers, said)
    )
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


def _here(files: Sequence[Path], workers: int, said: Screening | None) -> Iterator[Screened]:
    """Screen on this machine, each file in one of *workers* processes of its own."""
    limit = said.limit_s if said is not None else None
    items = files if said is None else [Task(file, said) for file in files]
    with Children(screen_file, min(workers, len(files)), limit_s=limit) as children:
        for file, found in zip(files, children.map(items), strict=True):
            if isinstance(found, Screened):
                yield found
            else:
                yield Screened(str(file), "", (), (_ended(file, found),), failed=True)


def _on_cluster(files: Sequence[Path], address: str, said: Screening) -> Iterator[Screened]:
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
        yield from _in_batches(client, files, said)


def _in_batches(client: Any, files: Sequence[Path], said: Screening) -> Iterator[Screened]:
    """Give the workers some files at a time; a batch whose workers die is taken apart.

    The scheduler gives the work of a lost worker to another one. A file that several workers died
    of is a row of its own, and costs none of the others.
    """
    groups = [files[n : n + said.batch] for n in range(0, len(files), said.batch)]
    futures = [
        client.submit(screen_batch, [Task(f.resolve(), said) for f in g], pure=False, retries=2)
        for g in groups
    ]
    for number, group in enumerate(groups):
        try:
            rows = futures[number].result()
        except Exception:  # whatever the workers died of
            rows = [_alone(client, file, said) for file in group]
        futures[number] = None  # what is fetched need not stay in the cluster
        for file, row in zip(group, rows, strict=True):
            yield replace(row, file=str(file))


def _alone(client: Any, file: Path, said: Screening) -> Screened:
    try:
        future = client.submit(screen_file, Task(file.resolve(), said), pure=False, retries=1)
        found: Screened = future.result()
    except Exception as error:  # whatever a worker died of; the other files go on
        what = f"The worker could not look at it ({type(error).__name__})."
        do = "See that the workers have this version installed and enough memory."
        return Screened(str(file), "", (), (Problem(str(file), what, do),), failed=True)
    return found


def screen_batch(tasks: Sequence[Task]) -> list[Screened]:
    """Look at some files, one after the other."""
    return [screen_file(task) for task in tasks]


def screen_file(item: Path | Task) -> Screened:
    """Look at one file; whatever goes wrong with it is a row with a sentence."""
    path = item.path if isinstance(item, Task) else item
    try:
        return _one(path, item.said) if isinstance(item, Task) else _one(path)
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


def _one(path: Path, said: Screening = _NOTHING_SAID) -> Screened:
    begin = time.process_time()
    settings = ReaderSettings(dbc=said.dbc, columns=said.columns, identity_key=said.identity_key)
    whole = read_recording(path, settings=settings)
    engines = [whole.of_bus(b) for b in (whole.buses[0], *whole.apart)] if whole.apart else [whole]
    found: list[Finding] = []
    for number, recording in enumerate(engines):
        bus = (whole.buses[0], *whole.apart)[number] if whole.apart else ""
        case = _case(path, recording.sha256)
        bench = Bench(case, {"r1": recording}, _knowledge(), case.stages())
        seen = [f for f in findings_of(bench) if f.outcome in {"seen", "inconclusive"}]
        found += [replace(f, sentence=f"Bus {bus}: {f.sentence}") for f in seen] if bus else seen
    epoch = whole.facts.get("epoch_s")
    return Screened(
        str(path),
        whole.sha256,
        tuple(found),
        whole.problems,
        truck=_truck(whole) if said.identity_key else "",
        began=float(epoch) if isinstance(epoch, int | float) else None,
        duration_s=whole.duration_s,
        codes=whole.trouble_codes,
        seconds=time.process_time() - begin,
    )


@cache
def _knowledge() -> Knowledge:
    return load_knowledge()


@cache
def _families() -> tuple[str, ...]:
    """Nobody complained, so every family that a recording can speak of is looked at."""
    return tuple(
        family.id
        for family in _knowledge().families.values()
        if family.finding_tables or any(test.recording for test in family.tests)
    )


def _truck(recording: Recording) -> str:
    """Return the digest of the vehicle identification, else of the engine's unit number."""
    told = recording.facts.get("identifiers")
    rows = told if isinstance(told, list) else []
    for row in rows:
        if row.get("what") == "vehicle identification":
            return str(row.get("digest", ""))
    for row in rows:
        if row.get("field") == "unit number" and row.get("source") == 0:
            return f"unit {row.get('digest', '')}"
    return ""


def _case(path: Path, sha256: str) -> Case:
    at = "1970-01-01T00:00:00Z"  # screening has no date of its own
    rows = [
        {"kind": "complaint", "id": "c1", "at": at,
         "data": {"words": "", "families": list(_families())}},
        {"kind": "recording", "id": "r1", "at": at,
         "data": {"path": path.name, "sha256": sha256}},
    ]  # fmt: skip
    return read_case("screening", [json.dumps(row) for row in rows])
