"""Read what a case says about a drive; its safety stops come from its assessment."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from witnessmark.errors import NothingUsable
from witnessmark.knowledge import load_knowledge
from witnessmark.model.step import Step
from witnessmark.workflow.case.case_file import read_case_file
from witnessmark.workflow.case.packs_of_shop import pack_files
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.assess_case import assess_file
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.recordings.drive_card import CardDrive

__all__ = ["drive_of"]


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
    stops: tuple[Step, ...] = ()
    if case.families():
        found = (
            assess_file(path, packs=packs)
            if case_id is None
            else assess_in_shop(shop, case_id, packs=packs)
        )
        stops = tuple(s for s in found.steps if s.kind == "safety")
    return CardDrive(case.truck(), case.families(), load_knowledge(tuple(packs)), stops)
