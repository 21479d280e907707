"""Assess a case from a notebook: the same dossier that the page shows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from witnessmark.model.entries.case import read_case
from witnessmark.workflow.case.shop_on_disk import open_shop
from witnessmark.workflow.dossier.assess_case import assess_file, dossier
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.standing_of_file import standing_of_file

if TYPE_CHECKING:
    from witnessmark.model.dossier import Dossier

__all__ = ["assess"]


def assess(
    case: Path | str | Iterable[str],
    shop: Path | str | None = None,
    *,
    packs: Sequence[Path | str] = (),
) -> Dossier:
    """Return all that is known and proposed of a case.

    Args:
        case: with *shop*, the id of a case of it. Without, a case file (a path), or the entries
            themselves: JSON lines as docs/entries.md has them. Entries that name recordings need
            a file, which says where they lie.
        shop: the shop's folder; its history, packs and prices then count.
        packs: packs besides the shipped ones and the shop's own.

    Returns:
        The dossier: ``findings``, ``odds`` (one for each complaint family, causes likeliest
        first), ``steps`` (what to do next, the best first), ``proofs``. Frozen records; the page,
        the command line and the papers read the same.

    Raises:
        NotFound: no such shop or case.
        InputRefused: the file is not there or is no text.
        NothingUsable: not one entry in it can be read.
        PackRefused: a pack has faults; all of them are listed.
    """
    own = [Path(p) for p in packs]
    if shop is not None:
        opened = open_shop(Path(shop))
        try:
            return assess_in_shop(opened, str(case), packs=own)
        finally:
            opened.close()
    if isinstance(case, (str, Path)):
        return assess_file(Path(case), packs=own)
    return dossier(read_case("notebook", list(case)), {}, standing_of_file(own))
