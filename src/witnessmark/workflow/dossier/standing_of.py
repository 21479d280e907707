"""The standing that a case is judged by: made in one place, for every door and every paper."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.standing import Standing
from witnessmark.model.entries.case import Case
from witnessmark.workflow.case.packs_of_shop import pack_files
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import settings_of
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.dossier.standing_of_file import model_versions

__all__ = ["standing_of"]


def standing_of(shop: Shop, case: Case, *, packs: Sequence[Path] = ()) -> Standing:
    """Return what a case of a shop is judged by: its packs, rates, history and healthy engines.

    Args:
        shop: the shop.
        case: the case; what the shop learnt from it does not count for itself.
        packs: packs besides the shipped ones and the shop's own.
    """
    own = pack_files(shop)
    knowledge = load_knowledge((*own, *(p for p in packs if p not in own)))
    history, baseline = learnt(shop, case, knowledge=knowledge)
    return Standing(
        knowledge=knowledge,
        settings=settings_of(shop),
        history=history,
        baseline=baseline,
        technician=_last_hand(shop, case.id),
        models=model_versions(),
    )


def _last_hand(shop: Shop, case_id: str) -> str:
    """Return who wrote in a case last, empty where nobody said."""
    return next((by for _, _, by in reversed(shop.casebook.log(case_id)) if by), "")
