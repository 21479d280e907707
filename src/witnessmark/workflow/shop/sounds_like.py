"""What a complaint may be about, by its words: a suggestion until a person says so."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from witnessmark.errors import InputRefused, NotFound
from witnessmark.knowledge.first_words.guessed_families import Said, guessed
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import OutcomeData
from witnessmark.words.say import guesses as say
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, new_entry_id

__all__ = ["Suggestion", "name_families", "sounds_like", "suggested_words", "written_again"]

#: So many of the shop's latest cases are heard for how its drivers speak.
_CASES = 300


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One family that the words may be about, in words."""

    family: str
    name: str
    because: str


def sounds_like(shop: Shop, words: str) -> tuple[Suggestion, ...]:
    """Return the families that the words may be about, the likeliest first, at most three."""
    knowledge = knowledge_of(shop)
    found = guessed(words, knowledge.families.values(), tuple(_earlier(shop)))
    return tuple(
        Suggestion(g.family, knowledge.families[g.family].name, say.because(g.because))
        for g in found
    )


def suggested_words(found: Sequence[Suggestion]) -> str:
    """Return the suggestion as a sentence."""
    return say.suggested([s.name for s in found])


def name_families(
    shop: Shop,
    case_id: str,
    complaint: str,
    families: Sequence[str],
    *,
    by: str | None = None,
    entry_id: str | None = None,
) -> str:
    """Say what a complaint is about: it is written down again with its families.

    Nothing that stands in a case is changed: the earlier line is taken back with its reason.

    Args:
        shop: the shop.
        case_id: the case.
        complaint: the entry that holds the complaint.
        families: what it is about, one or several.
        by: who says so.
        entry_id: id of the new line; the same id again changes nothing.

    Returns:
        The id of the new line; the old one where it says the same already.

    Raises:
        NotFound: no such complaint.
        InputRefused: no family, one that no pack knows, or the customer has spoken on it already.
    """
    case = shop.case(case_id)
    if entry_id and any(e.id == entry_id for e in case.entries):
        return entry_id
    held = next(((e, d) for e, d in case.complaints() if e.id == complaint), None)
    if held is None:
        raise NotFound("There is no such complaint in the case.", where=complaint[:80])
    wanted = list(dict.fromkeys(families))
    entry, data = held
    own = data.own.family if data.own is not None else ""
    _must_be_known(shop, [f for f in wanted if f != own] or wanted)
    if tuple(wanted) == data.families:
        return entry.id
    return written_again(shop, case_id, entry, {"families": wanted}, by=by, entry_id=entry_id)


def _must_be_known(shop: Shop, families: Sequence[str]) -> None:
    known = knowledge_of(shop).families
    if not families:
        raise InputRefused(
            "No family was named.", where="families", do="Name one, or your own suspects."
        )
    for family in families:
        if family not in known:
            raise InputRefused(
                f"'{family[:60]}' is no family that the packs know.",
                where="families",
                do="'witnessmark pack list' and the knowledge page name them.",
            )


def written_again(
    shop: Shop,
    case_id: str,
    entry: Entry,
    change: Mapping[str, Any],
    *,
    by: str | None = None,
    entry_id: str | None = None,
) -> str:
    """Write a complaint down anew with some of its data changed, and take the old line back.

    Returns:
        The id of the new line.

    Raises:
        InputRefused: the customer has spoken on it already, so that its id must stay.
    """
    if any(o.complaint == entry.id for _, o in shop.case(case_id).of(OutcomeData)):
        raise InputRefused(
            "The customer has spoken on this complaint already.",
            where=entry.id,
            do="Add a complaint of its own for what it is about, too.",
        )
    new = entry_id or new_entry_id()
    told = {**json.loads(entry.line)["data"], **change}
    lines = [
        entry_line("complaint", told, entry_id=new),
        entry_line(
            "retract", {"entry": entry.id, "why": say.named_why()}, entry_id=f"{new[:70]}.r"
        ),
    ]
    shop.append(case_id, lines, by=by)
    return new


def _earlier(shop: Shop) -> Iterator[Said]:
    for row in shop.list_cases()[:_CASES]:
        for _, data in shop.case(row.id).complaints():
            if data.families and data.words:
                yield Said(data.words, data.families)
