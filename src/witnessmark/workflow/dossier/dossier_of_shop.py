"""The dossier of a case of a shop: the newest there can be, made once for all that ask."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from witnessmark.knowledge.standing import Standing
from witnessmark.model.digest import digest
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.assess_case import dossier
from witnessmark.workflow.dossier.kept_dossiers import KeptDossiers
from witnessmark.workflow.dossier.standing_of import standing_of
from witnessmark.workflow.recordings.case_recordings import recordings_of_shop, recordings_seen

__all__ = ["KEPT", "assess_in_shop"]

#: By content alone, so that every shop and every door of this process may share them.
KEPT = KeptDossiers()


def assess_in_shop(shop: Shop, case_id: str, *, packs: Sequence[Path] = ()) -> Dossier:
    """Return the dossier of a case of a shop under the standing of this moment.

    Args:
        shop: the shop.
        case_id: case id.
        packs: packs besides the shipped ones and the shop's own.

    Raises:
        NotFound: no such case.
    """
    case = shop.case(case_id)
    standing = standing_of(shop, case, packs=packs)
    parts = {
        "case": digest((case.id, [e.line for e in case.entries], case.damaged, case.problems)),
        "recordings": digest(recordings_seen(shop, case)),
        **standing.parts,
    }
    return KEPT.get(case_id, parts, lambda: _made(shop, case, standing, parts))


def _made(shop: Shop, case: Case, standing: Standing, parts: dict[str, str]) -> Dossier:
    recordings, problems = recordings_of_shop(shop, case)
    return dossier(case, recordings, standing, problems=problems, parts=parts)
