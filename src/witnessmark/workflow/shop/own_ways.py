"""Doing something else than proposed: record it with its reason, and score both."""

from __future__ import annotations

from collections import defaultdict

from witnessmark.errors import InputRefused, NotFound
from witnessmark.knowledge import Cause, Knowledge, Test, load_knowledge
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.shop_record import History
from witnessmark.model.step import forbidden_by
from witnessmark.planner.own_way import ABOUT, Override, Score, override_words, overrides, score
from witnessmark.words.say import stops as say
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
        other tests and the other repairs of the case's families; last what a stop forbids.
    """
    steps = assessment.todo
    taken = {s.step for s in steps}
    families = [f for f in knowledge.families.values() if f.id in assessment.case.families()]
    free: dict[bool, dict[bool, list[tuple[str, str]]]] = {
        barred: {True: [], False: []} for barred in (True, False)
    }
    for family in families:
        records: list[Test | Cause] = [*family.tests, *family.causes]
        for record in records:
            if record.id not in taken:
                barred = forbidden_by(assessment.stops, record.id, record.demands) is not None
                row = (record.id, record.name)
                free[barred][isinstance(record, Cause)].append(row)
    groups = [
        ("Also proposed", [(s.step, s.name) for s in steps[1:]]),
        ("Another test", list(dict.fromkeys(free[False][False]))),
        ("Another repair", list(dict.fromkeys(free[False][True]))),
        (say.only_by_name(), list(dict.fromkeys((*free[True][False], *free[True][True])))),
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
    name: str = "",
    assessment: Dossier | None = None,
    entry_id: str | None = None,
) -> Entry:
    """Add the note that *chosen* is done instead of the step that stands first.

    Args:
        shop: the shop.
        case_id: the case.
        chosen: step id: a test, a measurement, or a cause whose part is renewed.
        reason: why.
        by: who is signed in.
        name: who decides, where nobody is signed in; a stop is overridden only by name.
        assessment: the case as assessed, where the caller has it.
        entry_id: id of the note; a second sending with the same id is stored once.

    Raises:
        InputRefused: no reason, nothing is proposed, the choice is what was proposed, or a stop
            that stands forbids it and nobody gives his name.
        NotFound: no such case, or a step that neither the list nor the packs know.
    """
    found = assessment or assess_in_shop(shop, case_id)
    knowledge = load_knowledge(tuple(pack_files(shop)))
    listed = next((s for s in found.todo if s.step == chosen), None)
    record = knowledge.test(chosen) or knowledge.cause(chosen)
    against = None
    if listed is None and record is not None:
        against = forbidden_by(found.stops, chosen, record.demands)
    if not found.todo and against is None:
        raise InputRefused("Nothing is proposed for this case, so there is nothing to override.")
    proposed = found.todo[0] if found.todo else found.stops[0]
    if proposed.step == chosen:
        raise InputRefused(f"'{chosen}' is what stands first; that is no override.")
    kind = listed.kind if listed is not None else _kind(chosen, knowledge)
    usd = listed.expected_total_usd if listed is not None else None
    words = override_words(
        proposed, (kind, chosen), reason, chosen_usd=usd, against=against, by=by or name
    )
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
    return score([shop.case(name) for name in shop.casebook.cases_that_hold(ABOUT)], proven)


def _kind(chosen: str, knowledge: Knowledge) -> str:
    if knowledge.cause(chosen) is not None:
        return "repair"
    if knowledge.test(chosen) is not None:
        return "test"
    raise NotFound(
        f"'{chosen:.80}' is neither a step of the list nor a test or cause of the packs.",
        do="Take an id from the list of next steps.",
    )
