"""What a case says about a drive: its truck, what its complaints need driven, the bands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from witnessmark.errors import NothingUsable
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.workflow.case.packs_of_shop import pack_files
from witnessmark.workflow.case.shop_on_disk import open_shop, read_case_file

__all__ = ["CardDrive", "drive_of"]


@dataclass(frozen=True, slots=True)
class CardDrive:
    """What a case says about a drive.

    Attributes:
        truck: the truck, ``None`` where it was not described.
        families: families of its complaints.
        knowledge: the packs, the shop's own with them.
    """

    truck: TruckData | None
    families: tuple[str, ...]
    knowledge: Knowledge


def drive_of(path: Path, case_id: str | None = None, *, packs: Sequence[Path] = ()) -> CardDrive:
    """Return what a case file says, or case *case_id* of the shop in folder *path*.

    Raises:
        NotFound: there is no such shop or case.
        InputRefused: there is no such file, or it is no text.
        NothingUsable: it describes no truck and names no complaint.
    """
    if case_id is not None:
        shop = open_shop(path)
        case = shop.case(case_id)
        own = tuple(pack_files(shop))
        packs = (*own, *(p for p in packs if p not in own))
    else:
        case = read_case_file(path)
    if case.truck() is None and not case.families():
        raise NothingUsable(
            "The case describes no truck and names no family of complaints.",
            where=str(path),
            do="Add a truck or a complaint; docs/entries.md shows how.",
        )
    return CardDrive(case.truck(), case.families(), load_knowledge(tuple(packs)))
