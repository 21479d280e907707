"""Cards for the bay: the tightenings of a case with what can hurt, and how its jobs go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.step import Step
from witnessmark.report.cards.torque_lines import CardLine, card_lines

__all__ = ["TorqueSheet", "torque_sheet", "warnings_of"]


@dataclass(frozen=True, slots=True)
class TorqueSheet:
    """The torque card of a case.

    Attributes:
        lines: the tightenings.
        warned: stops and cautions of the jobs, in words, each once.
    """

    lines: tuple[CardLine, ...]
    warned: tuple[str, ...]


def torque_sheet(case: Case, knowledge: Knowledge, steps: Sequence[Step] = ()) -> TorqueSheet:
    """Return the torque card of a case.

    Args:
        case: the entries.
        knowledge: the packs, for names and cautions.
        steps: the next steps; those that stop the work stand on the card.
    """
    names = {c.id: c.name for f in knowledge.families.values() for c in f.causes}
    causes = [data.cause for _, data in case.of(WorkData) if data.cause]
    return TorqueSheet(card_lines(case, names), warnings_of(causes, knowledge, steps))


def warnings_of(
    causes: Sequence[str], knowledge: Knowledge, steps: Sequence[Step] = ()
) -> tuple[str, ...]:
    """Return stops, then what can hurt the person or the truck at these jobs, each once."""
    told = [f"Stop: {step.name}" for step in steps if step.kind == "safety"]
    for cause_id in dict.fromkeys(causes):
        cause, family = knowledge.cause(cause_id), knowledge.family_of(cause_id)
        if cause is not None:
            told += [words for words in (cause.caution, cause.damage_risk) if words]
        if family is not None and family.safety:
            told.append(family.safety)
    return tuple(dict.fromkeys(told))
