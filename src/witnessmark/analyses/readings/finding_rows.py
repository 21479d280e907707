"""What a finding says of each cause, as the packs' finding tables have it."""

from __future__ import annotations

import math
from collections.abc import Mapping

from witnessmark.knowledge import Knowledge
from witnessmark.model.finding import Support

__all__ = ["NONE", "counted", "support_of", "supports_of", "tables_of"]

#: Key of a row for none of the listed causes.
NONE = ""
Row = Mapping[str, float]
Tests = tuple[str, ...] | None


def tables_of(knowledge: Knowledge | None, finding: str) -> dict[str, dict[str, Row]]:
    """Return family id -> outcome -> cause id -> P(outcome | cause alone), of one finding.

    Args:
        knowledge: the packs; there are no tables without them.
        finding: code of the finding.
    """
    found: dict[str, dict[str, Row]] = {}
    for family in knowledge.families.values() if knowledge is not None else ():
        for row in family.finding_tables:
            if row.finding == finding:
                found.setdefault(family.id, {})[row.outcome] = {**row.given, NONE: row.base}
    return found


def supports_of(
    knowledge: Knowledge | None, finding: str, outcome: str, *, holds: bool = True
) -> tuple[Support, ...]:
    """Return what one outcome of a finding says of the causes, or that it did not come out so.

    Args:
        knowledge: the packs.
        finding: code of the finding.
        outcome: its outcome.
        holds: whether it came out so.
    """
    found = []
    for family, table in tables_of(knowledge, finding).items():
        if outcome in table:
            rows = {c: p if holds else 1.0 - p for c, p in table[outcome].items()}
            found.append(support_of(family, rows))
    return tuple(found)


def support_of(family: str, rows: Row) -> Support:
    """Return the support of a row: the log of each chance over that of none of the listed."""
    base = rows[NONE]
    return Support(
        family, {c: math.log(p / base) for c, p in rows.items() if c != NONE and p != base}
    )


def counted(knowledge: Knowledge | None, finding: str) -> tuple[Tests, Tests]:
    """Return the tests that a finding stands for and those it has used, ``None`` without any."""
    rows = [
        row
        for family in (knowledge.families.values() if knowledge is not None else ())
        for row in family.finding_tables
        if row.finding == finding
    ]
    stands = dict.fromkeys(t for row in rows for t in row.stands_for)
    uses = dict.fromkeys(t for row in rows for t in row.uses_tests)
    return (tuple(stands), tuple(uses)) if stands or uses else (None, None)
