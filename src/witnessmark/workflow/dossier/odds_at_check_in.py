"""What the odds were as the truck came in, before anything was measured or looked into."""

from __future__ import annotations

from witnessmark.inference.odds.case_odds import case_odds
from witnessmark.knowledge.standing import Standing
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.odds import Odds

__all__ = ["odds_at_check_in"]

#: Kinds of entry that are there before anything is measured or looked into.
_CHECK_IN = frozenset({"truck", "complaint", "note", "approval", "clue", "photo", "quote"})


def odds_at_check_in(dossier: Dossier, standing: Standing) -> tuple[Odds, ...]:
    """Return the odds from the truck, the complaint and the clues alone: nothing measured yet.

    Args:
        dossier: of the whole case.
        standing: what it was made by.
    """
    live = dossier.case.live()
    first = next((k for k, e in enumerate(live) if e.kind not in _CHECK_IN), len(live))
    case = Case(dossier.case.id, live[:first])
    return case_odds(case, standing.knowledge, (), standing.history)
