"""Bringing a backup back: into a new folder, proven byte by byte before it gets its name."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from witnessmark.casebook.faults import disk_fault
from witnessmark.errors import InputRefused, NotFound, StorageDamaged
from witnessmark.machine import to_disk, writable_by_owner
from witnessmark.workflow.keeping.backup import State, states
from witnessmark.workflow.keeping.backup import _copy as copy_proven

__all__ = ["Restored", "restore"]


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did; *missing* originals were missing in the shop already."""

    state: str
    cases: int
    originals: int
    missing: tuple[str, ...]


def restore(target: Path, folder: Path, *, at: str | None = None) -> Restored:
    """Make a shop of the newest backup in *target*, or of the one named *at*.

    The folder appears under its name only when everything in it is proven.

    Raises:
        NotFound: no such backup.
        InputRefused: the folder is there already.
        StorageDamaged: the backup itself is damaged; it is left as it is.
        StorageFault: the disk failed.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputRefused(
            "There is something in that folder already.",
            where=str(folder),
            do="Move it away first; a restore overwrites nothing.",
        )
    state = _chosen(target, at)
    making = folder.with_name(f".{folder.name}.restoring")
    try:
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(parents=True, mode=0o700)
        count = _fill(state, target, making)
        if folder.exists():
            folder.rmdir()
        making.rename(folder)
        to_disk(folder.parent)
    except OSError as error:
        raise disk_fault(error, str(folder)) from error
    return Restored(
        state.name, len(state.manifest["cases"]), count, tuple(state.manifest.get("missing", ()))
    )


def _chosen(target: Path, at: str | None) -> State:
    found = states(target)
    chosen = next((s for s in found if at is None or s.name == at), None)
    if chosen is None:
        names = ", ".join(s.name for s in found[:5])
        raise NotFound(
            "There is no whole backup of that name." if at else "There is no whole backup here.",
            where=str(target),
            do=f"There are: {names}." if names else "Choose the folder a backup was made into.",
        )
    return chosen


def _fill(state: State, target: Path, making: Path) -> int:
    for name, expected in state.manifest["files"].items():
        into = making / name
        if making.resolve() not in into.resolve().parents:
            raise StorageDamaged("The manifest names a file outside.", where=str(state.folder))
        into.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        _proven(state.folder / name, into, expected)
        writable_by_owner(into)
    originals = making / "recordings"
    originals.mkdir(mode=0o700)
    for sha256 in state.manifest["originals"]:
        _proven(target / "originals" / sha256, originals / sha256, sha256)
    return len(state.manifest["originals"])


def _proven(source: Path, into: Path, expected: str) -> None:
    if not source.is_file() or copy_proven(source, into) != expected:
        raise StorageDamaged(
            "A file of the backup is missing or damaged.",
            where=str(source),
            do="Take an earlier backup with --at, or another copy of the backup folder.",
        )
