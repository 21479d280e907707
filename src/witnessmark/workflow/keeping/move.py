"""Moving a shop's book to a server for several sites, and back to a folder."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from witnessmark.casebook.copying import copy_into
from witnessmark.casebook.engine import DEFAULT_SHOP, place_of
from witnessmark.casebook.store import Casebook
from witnessmark.errors import InputRefused, StorageDamaged
from witnessmark.workflow.case.shop_on_disk import open_shop

__all__ = ["Moved", "export_digest", "move", "move_between"]


@dataclass(frozen=True, slots=True)
class Moved:
    """What was moved; *export* is the sha256 over every line, the same on both sides."""

    cases: int
    lines: int
    export: str


def move(source: Casebook, target: Casebook, *, say: Callable[[str], None] | None = None) -> Moved:
    """Copy a casebook into an empty one and prove that the same bytes come out of it.

    The source stays as it is. Originals are not moved: several sites share their folder.

    Raises:
        InputRefused: the target holds cases already, or is the source.
        StorageDamaged: what came out is not what went in; the target must not be used.
    """
    if source.database.url == target.database.url and source.database.shop == target.database.shop:
        raise InputRefused("Source and target are the same.", where=place_of(target.database.url))
    counts = copy_into(source, target, say=say)
    before, after = export_digest(source), export_digest(target)
    if before != after:
        raise StorageDamaged(
            "What came out is not what went in: something was written to the source meanwhile.",
            where=target.database.place,
            do="Stop the servers, empty the target, and move again.",
        )
    return Moved(counts["cases"], counts["lines"], after)


def move_between(
    source: str, target: str, name: str, *, say: Callable[[str], None] | None = None
) -> Moved:
    """Move between a shop's folder and a server's address, whichever way round.

    Args:
        source: folder or address.
        target: folder or address.
        name: the shop's name on the server; its usual name when empty.
        say: told what is being done.

    Raises:
        NotFound: the source is no shop.
        InputRefused: the target holds cases already.
    """
    reading = _book(source, name, create=False)
    try:
        writing = _book(target, name, create=True)
        try:
            return move(reading, writing, say=say)
        finally:
            writing.close()
    finally:
        reading.close()


def _book(place: str, name: str, *, create: bool) -> Casebook:
    if "://" in place:
        return Casebook(place, shop=name or DEFAULT_SHOP)
    return open_shop(Path(place), create=create).casebook


def export_digest(casebook: Casebook) -> str:
    """Return the sha256 over every line of every case, in the order of the cases' names."""
    seen = hashlib.sha256()
    for case_id in sorted(row.id for row in casebook.cases()):
        seen.update(f"{case_id}\n".encode())
        for line in casebook.lines(case_id):
            seen.update(f"{line}\n".encode())
    return seen.hexdigest()
