"""The standing that a case is judged by: made in one place, for every door and every paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from witnessmark import __version__
from witnessmark.inference.models import all_models
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.standing import Standing
from witnessmark.model.entries.case import Case
from witnessmark.workflow.case.packs_of_shop import pack_files
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.case.shop_settings import settings_of
from witnessmark.workflow.dossier.learnt_for_case import learnt

__all__ = ["model_versions", "standing_of", "standing_of_file"]


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


def standing_of_file(packs: Sequence[Path] = ()) -> Standing:
    """Return what a case in a file is judged by: the packs, and the defaults of everything else."""
    return Standing(load_knowledge(tuple(packs)), models=model_versions())


def model_versions() -> Mapping[str, str]:
    """Return what a change of the program or of a model's answers is seen by."""
    return {"witnessmark": __version__, **{m.id: m.version for m in all_models()}}


def _last_hand(shop: Shop, case_id: str) -> str:
    """Return who wrote in a case last, empty where nobody said."""
    return next((by for _, _, by in reversed(shop.casebook.log(case_id)) if by), "")
