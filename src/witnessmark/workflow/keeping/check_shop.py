"""Checking a shop: every digest, every line, every link, what is missing, who may look in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from witnessmark.casebook.chain import broken
from witnessmark.casebook.files import Originals
from witnessmark.casebook.files_elsewhere import OriginalsElsewhere
from witnessmark.casebook.store import Casebook
from witnessmark.errors import NotFound, StorageFault, WitnessmarkError
from witnessmark.model.entries.case import read_case
from witnessmark.model.problem import Problem
from witnessmark.workflow.case.private_files import open_to_others
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.keeping.backup import _hash as hash_of
from witnessmark.workflow.keeping.backup import referenced

__all__ = ["Checked", "accept_place", "check_shop", "note_place"]

_SHA256 = re.compile(r"[0-9a-f]{64}")
_PLACE = "place"


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check found.

    Attributes:
        cases: cases looked at.
        lines: lines looked at.
        originals: originals read.
        faults: what is hurt or missing.
        remarks: what is no fault.
    """

    cases: int
    lines: int
    originals: int
    faults: tuple[Problem, ...]
    remarks: tuple[Problem, ...]


def check_shop(shop: Shop) -> Checked:
    """Read everything a shop holds and compare it with what proves it."""
    faults = list(_database(shop.casebook))
    remarks: list[Problem] = []
    cases = lines = 0
    for row in shop.list_cases():
        cases += 1
        try:
            links = shop.casebook.chain(row.id)
        except WitnessmarkError as error:
            faults.append(Problem.of(error, where=row.id))
            continue
        lines += len(links)
        if len(links) != row.lines:
            faults.append(
                Problem(row.id, f"{row.lines} lines were stored; {len(links)} are here.", _BACK)
            )
        for position, what in broken(row.id, links):
            faults.append(Problem(f"{row.id} line {position + 1}", f"{what}.".capitalize(), _BACK))
        case = read_case(row.id, [one.line for one in links], where=row.id)
        # A line that is no entry was stored as it came in: nothing is lost, and nothing is hurt.
        remarks += [
            p for p in case.problems if any(f"line {n + 1}" in p.where for n, _ in case.damaged)
        ]
    count, hurt, loose = _originals(shop)
    faults += hurt
    remarks += loose
    faults += [
        Problem(str(path), "Others of this machine may read it.", "It is closed on the next start.")
        for path in open_to_others(shop.folder)
    ]
    remarks += list(_place(shop))
    return Checked(cases, lines, count, tuple(faults), tuple(remarks))


def note_place(shop: Shop) -> None:
    """Remember where the casebook's file lies, so that a file copy of it can be told."""
    if not shop.casebook.read_only and shop.casebook.setting(_PLACE) is None:
        accept_place(shop)


def accept_place(shop: Shop) -> None:
    """Take this folder for the shop's own from now on."""
    found = _where(shop.casebook)
    if found is not None:
        shop.casebook.set_setting(_PLACE, found)


_BACK = "Keep the folder as it is, and bring the last backup back beside it to compare."


def _database(casebook: Casebook) -> Iterator[Problem]:
    if not casebook.database.is_file:
        return
    try:
        with casebook.database.read() as connection:
            said = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    except WitnessmarkError as error:
        yield Problem.of(error, where="casebook.sqlite")
        return
    for words in said:
        if words != "ok":
            yield Problem("casebook.sqlite", f"The file is torn or damaged: {words}.", _BACK)
    if loose:
        yield Problem("casebook.sqlite", f"{len(loose)} rows belong to nothing.", _BACK)


def _originals(shop: Shop) -> tuple[int, list[Problem], list[Problem]]:
    faults: list[Problem] = []
    remarks: list[Problem] = []
    folder = shop.folder / "recordings"
    here = {p.name: p for p in folder.iterdir()} if folder.is_dir() else {}
    try:
        wanted = referenced(shop.casebook)
    except WitnessmarkError as error:
        return 0, [Problem.of(error, where="casebook.sqlite")], []
    read = 0
    for name, path in sorted(here.items()):
        if _SHA256.fullmatch(name) is None or not path.is_file():
            remarks.append(
                Problem(f"recordings/{name[:80]}", "It is no original.", "It is swept on start.")
            )
            continue
        read += 1
        try:
            if hash_of(path) != name:
                faults.append(
                    Problem(f"recordings/{name}", "Its bytes are not those that came in.", _BACK)
                )
        except OSError as error:
            words = f"It cannot be read: {error.strerror}."
            faults.append(Problem(f"recordings/{name}", words, _BACK))
    for name in sorted(wanted - set(here)):
        said = _elsewhere(shop.originals, name)
        read += not said
        if said:
            faults.append(Problem(f"recordings/{name}", said, _BACK))
    remarks += [
        Problem(f"recordings/{name}", "No case speaks of it.", "")
        for name in sorted(set(here) - wanted)
        if _SHA256.fullmatch(name)
    ]
    return read, faults, remarks


def _elsewhere(originals: Originals, sha256: str) -> str:
    """Say what is wrong with an original that is not in the folder; nothing where it is whole."""
    if not isinstance(originals, OriginalsElsewhere):
        return "The casebook names it; it is missing."
    try:
        whole = originals.proven(sha256)
    except NotFound:
        return "The casebook names it; it is neither here nor in the store."
    except StorageFault as error:
        return error.what
    return "" if whole else "Its bytes in the store are not those that came in."


def _place(shop: Shop) -> Iterator[Problem]:
    noted, found = shop.casebook.setting(_PLACE), _where(shop.casebook)
    if noted is not None and found is not None and noted != found:
        yield Problem(
            "casebook.sqlite",
            "This folder is a file copy of a shop, or was moved to another disk. What was written "
            "while it was copied may be missing or torn.",
            "For copies use 'witnessmark backup'. If it was moved while nothing was served, say "
            "so with 'witnessmark check SHOP --here'.",
        )


def _where(casebook: Casebook) -> list[int] | None:
    path: Path | None = casebook.database.path
    if path is None or not path.is_file():
        return None
    seen = path.stat()
    return [seen.st_dev, seen.st_ino]
