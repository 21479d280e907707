"""The customer's one page of a case: of a shop with its head, people and photos, or of a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from witnessmark.errors import WitnessmarkError
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.knowledge.own.own_family import with_own_lists
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import PhotoData
from witnessmark.model.quoted import OwnRates
from witnessmark.model.settings import Settings
from witnessmark.model.shop_head import ShopHead
from witnessmark.planner.estimate.approvals import ledger
from witnessmark.report.front.lay_out import one_page_html, one_page_pdf
from witnessmark.report.front.make_page import Agreed, one_page
from witnessmark.report.front.one_page import OnePage, PlacedPhoto
from witnessmark.words.say import front_page as say
from witnessmark.words.tongue import Tongue
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.photo import photo_bytes
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import (
    own_rates,
    settings_of,
    shop_head,
    shop_name,
    shows_si,
)
from witnessmark.workflow.dossier.assess_case import assess_file
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

__all__ = ["agreed_of", "page_of_file", "page_of_shop", "tongue_of", "write_page"]

_MOST_PHOTOS = 2
_PRINTED = {"image/jpeg", "image/png", "image/webp"}


def page_of_shop(
    shop: Shop,
    case_id: str,
    assessment: Dossier | None = None,
    *,
    language: str = "",
    name: str = "",
    si: bool = False,
) -> OnePage:
    """Return the page of a case of a shop.

    Args:
        shop: the shop.
        case_id: case id.
        assessment: of the case, where it is there already.
        language: ``en`` or ``es``; empty for that of the truck's owner.
        name: the name to show; empty for the shop's own.
        si: SI units, also where the shop shows others.
    """
    assessment = assessment or assess_in_shop(shop, case_id)
    case = assessment.case
    head = shop_head(shop)
    called = name or shop_name(shop) or shop.folder.name
    people = {i: by or "" for i, _, by in shop.casebook.log(case_id) if i}
    tongue = tongue_of(case, language)
    return one_page(
        assessment,
        tongue,
        shop=ShopHead(called, head.address, head.phone, head.licence, head.warranty),
        names=_names(knowledge_of(shop, case)),
        people=people,
        agreed=agreed_of(case, settings_of(shop)),
        rates=own_rates(shop),
        photos=_photos(shop, case, tongue),
        si=si or shows_si(shop),
    )


def page_of_file(
    path: Path,
    *,
    packs: Sequence[Path] = (),
    allow: Sequence[Path] = (),
    name: str = "",
    si: bool = False,
    language: str = "",
) -> tuple[str, OnePage]:
    """Return (case id, page) of a case in a file; photos are placed for a case of a shop only."""
    assessment = assess_file(path, packs=packs, allow=allow)
    knowledge = with_own_lists(load_knowledge(tuple(packs)), assessment.case)
    page = one_page(
        assessment,
        tongue_of(assessment.case, language),
        shop=ShopHead(name),
        names=_names(knowledge),
        agreed=agreed_of(assessment.case, Settings()),
        rates=OwnRates(),
        si=si,
    )
    return assessment.case.id, page


def write_page(page: OnePage, out: Path) -> None:
    """Write the page as HTML or PDF, by the ending of *out*."""
    pdf = out.suffix.lower() == ".pdf"
    out.write_bytes(one_page_pdf(page) if pdf else one_page_html(page).encode())


def agreed_of(case: Case, settings: Settings) -> Agreed | None:
    """Return what the customer agreed to in all, ``None`` where no yes counts."""
    found = ledger(case, settings)
    granted = [line for line in found.lines if line.granted and line.counts]
    if not granted:
        return None
    return Agreed(found.approved_usd, granted[-1].how, granted[-1].at[:10])


def tongue_of(case: Case, language: str = "") -> Tongue:
    """Return the language of the customer's papers: as asked for, else as the truck says."""
    truck = case.truck()
    return Tongue(language or (truck.language if truck is not None else None) or "en")


def _names(knowledge: Knowledge) -> Mapping[str, str]:
    names = {c.id: c.name for f in knowledge.families.values() for c in f.causes}
    for test in (t for f in knowledge.families.values() for t in f.tests):
        names[test.id] = test.name
        names |= {f"{test.id}/{o}": words for o, words in test.outcome_words.items() if words}
    return names


def _photos(shop: Shop, case: Case, tongue: Tongue) -> list[PlacedPhoto]:
    """Return the photos that are chosen for the page; the last ones where none is chosen."""
    rows = list(case.of(PhotoData))
    chosen = [row for row in rows if row[1].on_report] or rows[-_MOST_PHOTOS:]
    placed: list[PlacedPhoto] = []
    for entry, data in chosen:
        if len(placed) == _MOST_PHOTOS:
            break
        try:
            content, kind = photo_bytes(shop, case.id, entry.id)
        except (WitnessmarkError, OSError):
            continue  # a photo that is not there, or that cannot be freed of its private data
        if kind in _PRINTED:
            words = tongue.say(say.photo, words=data.caption or "\u2013", day=entry.at[:10])
            placed.append(PlacedPhoto(content, kind, words))
    return placed
