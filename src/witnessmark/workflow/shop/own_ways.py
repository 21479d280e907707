"""Doing something else than proposed: record it with its reason, and score both."""

from __future__ import annotations

from collections import defaultdict

from witnessmark.errors import InputRefused, NotFound
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.shop_record import History
from witnessmark.planner.own_way import ABOUT, Override, Score, override_words, overrides, score
from witnessmark.workflow.case.packs_of_shop import pack_files
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.learnt_for_case import learnt

__all__ = ["choices", "overrides_of", "record_override", "score_overrides"]


def choices(assessment: Dossier, knowledge: Knowledge) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what could be done instead of the step that stands first.

    Args:
        assessment: the case as assessed.
        knowledge: the packs in use.

    Returns:
        groups: heading, then (step id, name) of each; what is proposed comes first, then the
        other tests and the other repairs of the case's families.
    """
    steps = [s for s in assessment.steps if s.kind != "safety"]
    taken = {s.step for s in steps}
    families = [f for f in knowledge.families.values() if f.id in assessment.case.families()]
    tests = {t.id: t.name for f in families for t in f.tests if t.id not in taken}
    causes = {c.id: c.name for f in families for c in f.causes if c.id not in taken}
    groups = [
        ("Also proposed", [(s.step, s.name) for s in steps[1:]]),
        ("Another test", list(tests.items())),
        ("Another repair", list(causes.items())),
    ]
    return [(heading, rows) for heading, rows in groups if rows]


def overrides_of(case: Case) -> tuple[Override, ...]:
    """Return the overrides written down in a case; whether they were right is left open."""
    return overrides(case)


def record_override(
    shop: Shop,
    case_id: str,
    chosen: str,
    reason: str,
    *,
    by: str | None = None,
    assessment: Dossier | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Add the note that *chosen* is done instead of the step that stands first.

    Args:
        shop: the shop.
        case_id: the case.
        chosen: step id: a test, a measurement, or a cause whose part is renewed.
        reason: why.
        by: who decides.
        assessment: the case as assessed, where the caller has it.
        entry_id: id of the note; a second sending with the same id is stored once.

    Raises:
        InputRefused: no reason, nothing is proposed, or the choice is what was proposed.
        NotFound: no such case, or a step that neither the list nor the packs know.
    """
    found = assessment or assess_in_shop(shop, case_id)
    steps = [s for s in found.steps if s.kind != "safety"]
    if not steps:
        raise InputRefused("Nothing is proposed for this case, so there is nothing to override.")
    if steps[0].step == chosen:
        raise InputRefused(f"'{chosen}' is what stands first; that is no override.")
    listed = next((s for s in steps if s.step == chosen), None)
    if listed is not None:
        kind, usd = listed.kind, listed.expected_total_usd
        words = override_words(steps[0], (kind, chosen), reason, chosen_usd=usd)
    else:
        knowledge = load_knowledge(tuple(pack_files(shop)))
        words = override_words(steps[0], (_kind(chosen, knowledge), chosen), reason)
    return shop.add(case_id, "note", {"words": words, "about": ABOUT}, by=by, entry_id=entry_id)


def score_overrides(shop: Shop, history: History | None = None) -> Score:
    """Score the tool against the technician over every case of the shop.

    Only causes that were proven count; until then an override stays open.

    Args:
        shop: the shop.
        history: what its cases have taught, where the caller has it.
    """
    if history is None:
        history, _ = learnt(shop, Case("", ()))
    proven: dict[str, set[str]] = defaultdict(set)
    for closing in history.closings:
        if closing.proven:
            proven[closing.case].update(closing.causes)
    return score([shop.case(row.id) for row in shop.list_cases()], proven)


def _kind(chosen: str, knowledge: Knowledge) -> str:
    if knowledge.cause(chosen) is not None:
        return "repair"
    if knowledge.test(chosen) is not None:
        return "test"
    raise NotFound(
        f"'{chosen:.80}' is neither a step of the list nor a test or cause of the packs.",
        do="Take an id from the list of next steps.",
    )
