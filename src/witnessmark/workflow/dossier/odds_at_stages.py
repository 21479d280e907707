"""What the odds were at each stage: as the truck came in, and before every later work."""

from __future__ import annotations

from witnessmark.inference.odds.case_odds import case_odds
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.assessment import Assessment
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.odds import Odds
from witnessmark.model.shop_record import History

__all__ = ["odds_at_check_in", "odds_at_stages"]

#: Kinds of entry that are there before anything is measured or looked into.
_CHECK_IN = frozenset({"truck", "complaint", "note", "approval", "clue", "photo", "quote"})


def odds_at_stages(
    assessment: Assessment,
    *,
    knowledge: Knowledge | None = None,
    history: History | None = None,
) -> tuple[tuple[Odds, ...], ...]:
    """Return the odds of every complaint at every stage before a work, in order.

    Item *k* is what was known just before work *k* (0-based), from the entries and findings up to
    then and nothing later. The state the truck is in now is not in it: that is the assessment's.

    Args:
        assessment: of the whole case.
        knowledge: the packs; the shipped ones when not given.
        history: what the shop has learnt.
    """
    knowledge = knowledge or load_knowledge()
    works = [place for place, entry in enumerate(assessment.case.live()) if entry.kind == "work"]
    found = []
    for stage, place in enumerate(works):
        known = assessment.case.live()[:place]
        findings = [f for f in assessment.findings if f.stage <= stage]
        found.append(case_odds(_case(assessment.case.id, known), knowledge, findings, history))
    return tuple(found)


def odds_at_check_in(
    assessment: Assessment,
    *,
    knowledge: Knowledge | None = None,
    history: History | None = None,
) -> tuple[Odds, ...]:
    """Return the odds from the truck, the complaint and the clues alone: nothing measured yet.

    Args:
        assessment: of the whole case.
        knowledge: the packs; the shipped ones when not given.
        history: what the shop has learnt.
    """
    live = assessment.case.live()
    first = next((k for k, e in enumerate(live) if e.kind not in _CHECK_IN), len(live))
    case = _case(assessment.case.id, live[:first])
    return case_odds(case, knowledge or load_knowledge(), (), history)


def _case(identity: str, entries: tuple[Entry, ...]) -> Case:
    return Case(identity, entries)
