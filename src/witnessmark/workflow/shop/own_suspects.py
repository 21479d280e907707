"""The technician's own suspects of a complaint: written down with it, and saved for the shop."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from witnessmark.errors import InputRefused, NotFound
from witnessmark.knowledge.loader import check_pack
from witnessmark.knowledge.own.own_family import own_pack
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ComplaintData
from witnessmark.model.entries.own_list import OwnList
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.shop.sounds_like import written_again

__all__ = ["name_suspects", "save_own_family"]


def name_suspects(
    shop: Shop,
    case_id: str,
    complaint: str,
    own: Mapping[str, Any],
    *,
    by: str | None = None,
    entry_id: str | None = None,
) -> str:
    """Write the technician's own suspects down with a complaint; it keeps the families it has.

    Args:
        shop: the shop.
        case_id: the case.
        complaint: the entry that holds the complaint.
        own: the list as JSON types: ``called``, ``suspects``, ``tests``; see docs/entries.md.
        by: who says so.
        entry_id: id of the new line; the same id again changes nothing.

    Returns:
        The id of the complaint now.

    Raises:
        NotFound: no such complaint.
        InputRefused: the list has no suspect, names one twice, or a test shows none of them.
    """
    case = shop.case(case_id)
    if entry_id and any(e.id == entry_id for e in case.entries):
        return entry_id
    entry, data = _complaint(shop, case_id, complaint)
    try:
        told = OwnList.model_validate(own)
    except ValidationError as error:
        raise InputRefused(
            "; ".join(_fault(item) for item in error.errors(include_url=False)),
            where="suspects",
            do="Name each suspect once, and for every test at least one of them that it shows.",
        ) from None
    if told == data.own:
        return entry.id
    before = data.own.family if data.own is not None else ""
    families = [f for f in data.families if f != before]
    change = {
        "families": [*families, told.family],
        "own": told.model_dump(exclude_none=True, mode="json"),
    }
    return written_again(shop, case_id, entry, change, by=by, entry_id=entry_id)


def save_own_family(shop: Shop, case_id: str, complaint: str) -> Path:
    """Save the suspects of a complaint as a family of the shop's own; it is offered from then on.

    Returns:
        The pack file; it can be written on by hand (docs/add_a_family.md).

    Raises:
        NotFound: no such complaint.
        InputRefused: it has no suspects of its own, or the shop has that family already.
    """
    _, data = _complaint(shop, case_id, complaint)
    if data.own is None:
        raise InputRefused(
            "The complaint has no suspects of its own.",
            where=complaint[:80],
            do="Name the suspects first.",
        )
    family = data.own.family
    if family in knowledge_of(shop).families:
        raise InputRefused(
            f"The shop has a family '{family}' already.",
            where=family,
            do="Write on its file in the folder packs, or give the list another name.",
        )
    folder = shop.folder / "packs"
    folder.mkdir(exist_ok=True)
    path, trial = folder / f"{family}.toml", folder / f"{family}.trial"
    trial.write_text(own_pack(data.own), encoding="utf-8")
    try:
        faults, _, _ = check_pack(trial)
        if faults:
            raise InputRefused(
                f"The list makes no sound family: {faults[0].what}",
                where=faults[0].where,
                do=faults[0].do,
            )
        trial.replace(path)
    finally:
        trial.unlink(missing_ok=True)
    return path


def _complaint(shop: Shop, case_id: str, complaint: str) -> tuple[Entry, ComplaintData]:
    found = next(((e, d) for e, d in shop.case(case_id).complaints() if e.id == complaint), None)
    if found is None:
        raise NotFound("There is no such complaint in the case.", where=complaint[:80])
    return found


def _fault(item: Any) -> str:
    place = ".".join(str(p) for p in item["loc"])
    message = str(item["msg"]).removeprefix("Value error, ")
    return f"{place}: {message}" if place else f"{message[:1].upper()}{message[1:]}"
