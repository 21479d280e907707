"""Backup of a shop while it is being used: consistent, incremental by digest, verified.

A backup folder holds ``originals/`` (each file once, by its sha256) and ``states/`` (one folder a
backup: casebook, packs, settings, and a manifest that proves them). A state appears under its name
only when it is whole; what a kill leaves behind begins with a dot and is swept away next time.
Passphrases and sessions are not in it: a stolen backup opens no door.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from witnessmark.casebook.chain import broken
from witnessmark.casebook.copying import copy_casebook
from witnessmark.casebook.faults import disk_fault, in_words
from witnessmark.casebook.files import digest
from witnessmark.casebook.store import Casebook
from witnessmark.errors import InputRefused, NotFound, StorageBusy, StorageDamaged
from witnessmark.machine import (
    close_to_others,
    freeze,
    put_in_place,
    take_away,
    to_disk,
)
from witnessmark.model.entries.entry_data import PhotoData, RecordingData
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.keeping.one_at_a_time import Held, held_alone

__all__ = ["FORMAT", "Backup", "State", "back_up", "last_backup", "referenced", "states"]

FORMAT = "witnessmark.backup/1"
_ASIDE = ("shop.toml",)


@dataclass(frozen=True, slots=True)
class State:
    """One backup in a backup folder."""

    name: str
    folder: Path
    manifest: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup did.

    Attributes:
        state: its name.
        cases: cases in it.
        entries: lines in it.
        copied: originals that were copied now.
        kept: originals that were there from earlier.
        missing: originals that the casebook names and the shop does not have.
        damaged: originals of the shop whose bytes are not those of their name.
    """

    state: str
    cases: int
    entries: int
    copied: int
    kept: int
    missing: tuple[str, ...]
    damaged: tuple[str, ...]


def back_up(
    shop: Shop, target: Path, *, verify: bool = False, say: Callable[[str], None] | None = None
) -> Backup:
    """Back a shop up into *target*.

    Args:
        shop: the open shop; others may write to it meanwhile.
        target: the backup folder; made when it is not there.
        verify: read the originals of earlier backups again and compare their digests.
        say: told what is being done.

    Raises:
        InputRefused: the folder holds something else, or lies in the shop's own folder.
        StorageFault: the disk failed; earlier states are as they were.
    """
    _must_be_apart(shop.folder, target)
    try:
        with _alone(target):
            return _back_up(shop, target, verify, say or (lambda _: None))
    except OSError as error:
        raise disk_fault(error, str(target)) from error


def states(target: Path) -> list[State]:
    """Return the whole states of a backup folder, the newest first."""
    found = []
    for folder in sorted((target / "states").glob("[0-9]*"), reverse=True):
        with contextlib.suppress(OSError, ValueError):
            manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
            if isinstance(manifest, dict) and manifest.get("format") == FORMAT:
                found.append(State(folder.name, folder, manifest))
    return found


def last_backup(shop: Shop) -> datetime | None:
    """Return when the last backup of a shop was finished, ``None`` before the first."""
    found = shop.casebook.setting("backup")
    try:
        return datetime.fromisoformat(found["at"])
    except (TypeError, KeyError, ValueError):
        return None


def referenced(casebook: Casebook) -> set[str]:
    """Return the digests of all originals that a casebook speaks of."""
    found = set(casebook.file_names())
    for row in casebook.cases():
        found |= set(casebook.attachments(row.id).values())
        for entry in casebook.case(row.id).entries:
            if isinstance(entry.data, (RecordingData, PhotoData)) and entry.data.sha256:
                found.add(entry.data.sha256)
    return found


def _back_up(shop: Shop, target: Path, verify: bool, say: Callable[[str], None]) -> Backup:
    _sweep(target)
    name = _name(target)
    making = target / "states" / f".making-{name}"
    making.mkdir(mode=0o700)
    say("Copying the casebook.")
    _copy_casebook(shop, making / "casebook.sqlite")
    for path in (*(shop.folder / n for n in _ASIDE), *sorted(shop.folder.glob("packs/*.toml"))):
        if path.is_file():
            into = making / path.relative_to(shop.folder)
            into.parent.mkdir(exist_ok=True, mode=0o700)
            shutil.copyfile(path, into)
    book = Casebook(f"sqlite:///{(making / 'casebook.sqlite').resolve()}")
    try:
        cases, entries = _proven(book)
        wanted = sorted(referenced(book))
    finally:
        book.close()
    _one_file(making / "casebook.sqlite")
    copied, kept, missing, damaged = _originals(shop, target, wanted, verify, say)
    manifest = {
        "format": FORMAT,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "shop": shop.name,
        "cases": cases,
        "originals": [w for w in wanted if w not in missing and w not in damaged],
        "missing": missing,
        "damaged": damaged,
        "files": {
            p.relative_to(making).as_posix(): digest(p)
            for p in sorted(making.rglob("*"))
            if p.is_file()
        },
    }
    _write(making / "manifest.json", json.dumps(manifest, indent=1))
    for path in making.rglob("*"):
        close_to_others(path)
        to_disk(path)
    making.rename(target / "states" / name)
    to_disk(target / "states")
    if not shop.casebook.read_only:
        shop.casebook.set_setting("backup", {"at": manifest["made"], "to": str(target.resolve())})
    return Backup(name, len(cases), entries, copied, kept, tuple(missing), tuple(damaged))


def _copy_casebook(shop: Shop, into: Path) -> None:
    source = shop.casebook.database.path
    if source is None:
        copy_casebook(shop.casebook, into)
        return
    with (
        in_words(str(source)),
        closing(sqlite3.connect(source, timeout=30)) as book,
        closing(sqlite3.connect(into)) as copy,
    ):
        book.backup(copy, pages=2000)


def _proven(book: Casebook) -> tuple[dict[str, dict[str, Any]], int]:
    """Return case -> lines and last link; refuse a copy whose chains do not hold."""
    with book.database.read() as connection:
        said = connection.exec_driver_sql("PRAGMA integrity_check(5)").scalar()
    if said != "ok":
        raise StorageDamaged(
            f"The casebook is damaged: {said}.",
            do="Nothing was overwritten; 'witnessmark check SHOP' says more.",
        )
    found: dict[str, dict[str, Any]] = {}
    for row in book.cases():
        links = book.chain(row.id)
        wrong = broken(row.id, links)
        if wrong or len(links) != row.lines:
            raise StorageDamaged(
                f"The lines of case '{row.id}' do not hold together.",
                where=f"line {wrong[0][0] + 1}: {wrong[0][1]}" if wrong else "",
                do="Nothing was overwritten; 'witnessmark check SHOP' says more.",
            )
        found[row.id] = {"lines": row.lines, "head": links[-1].chain if links else ""}
    return found, sum(int(c["lines"]) for c in found.values())


def _originals(
    shop: Shop, target: Path, wanted: list[str], verify: bool, say: Callable[[str], None]
) -> tuple[int, int, list[str], list[str]]:
    folder = target / "originals"
    folder.mkdir(exist_ok=True, mode=0o700)
    copied = kept = 0
    missing: list[str] = []
    damaged: list[str] = []
    for sha256 in wanted:
        final = folder / sha256
        if final.is_file() and (not verify or _hash(final) == sha256):
            kept += 1
            continue
        try:
            source = shop.originals.path(sha256)
        except (NotFound, InputRefused):
            missing.append(sha256)
            continue
        if _copy(source, final) != sha256:
            take_away(final)
            damaged.append(sha256)
            continue
        copied += 1
        if copied % 100 == 0:
            say(f"{copied} originals copied.")
    to_disk(folder)
    return copied, kept, missing, damaged


def _copy(source: Path, final: Path) -> str:
    """Copy a file, and return the sha256 of what was read back from the copy."""
    fresh = final.with_name(f".incoming-{final.name}")
    take_away(fresh)
    shutil.copyfile(source, fresh)
    to_disk(fresh)
    freeze(fresh)
    found = _hash(fresh)
    put_in_place(fresh, final)
    return found


def _hash(path: Path) -> str:
    """Read a file and return its sha256; nothing remembered counts here."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _one_file(path: Path) -> None:
    """Put a casebook's log into it and take the log away."""
    with closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA journal_mode=DELETE")


def _must_be_apart(folder: Path, target: Path) -> None:
    inner, outer = target.resolve(), folder.resolve()
    if inner == outer or outer in inner.parents:
        raise InputRefused(
            "A backup inside the shop's own folder is none.",
            where=str(target),
            do="Choose another disk.",
        )
    if target.exists() and not target.is_dir():
        raise InputRefused("The backup needs a folder; this is a file.", where=str(target))
    if target.is_dir() and any(target.iterdir()) and not (target / "states").is_dir():
        raise InputRefused(
            "The folder holds something else.", where=str(target), do="Choose an empty folder."
        )


@contextmanager
def _alone(target: Path) -> Iterator[None]:
    """Hold the backup folder; a lock of the system goes away with its process."""
    (target / "states").mkdir(parents=True, exist_ok=True, mode=0o700)
    try:
        with held_alone(target / ".lock"):
            yield
    except Held:
        raise StorageBusy(
            "Another backup into this folder is running.",
            where=str(target),
            do="Wait until it is done.",
        ) from None


def _sweep(target: Path) -> None:
    for left in (target / "states").glob(".making-*"):
        shutil.rmtree(left, ignore_errors=True)
    for left in (target / "originals").glob(".incoming-*"):
        take_away(left)


def _name(target: Path) -> str:
    """Return a name after all others, also when the clock went backwards."""
    name = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    newest = max((p.name for p in (target / "states").glob("[0-9]*")), default="")
    return name if name > newest else f"{newest}1"


def _write(path: Path, text: str) -> None:
    with path.open("w", encoding="utf-8") as out:
        out.write(text)
        out.flush()
        os.fsync(out.fileno())
