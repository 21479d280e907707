"""Cards for the bay: the tightenings of a case with what can hurt, and how its jobs go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.job_cards import JobCard, job_cards
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.step import Step
from witnessmark.report.cards.torque_lines import CardLine, card_lines

__all__ = ["JobSheet", "TorqueSheet", "job_sheet", "torque_sheet", "warnings_of"]


@dataclass(frozen=True, slots=True)
class TorqueSheet:
    """The torque card of a case.

    Attributes:
        lines: the tightenings.
        warned: stops and cautions of the jobs, in words, each once.
    """

    lines: tuple[CardLine, ...]
    warned: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobSheet:
    """How the jobs of a case go.

    Attributes:
        cards: of the jobs that have one, in order: quoted, done, proposed first.
        without: causes whose repair has no card.
        stops: what stops the work, in words.
    """

    cards: tuple[JobCard, ...]
    without: tuple[str, ...]
    stops: tuple[str, ...]


def job_sheet(case: Case, steps: Sequence[Step] = ()) -> JobSheet:
    """Return the job cards of a case.

    Args:
        case: the entries.
        steps: the next steps; the first repair among them is a job, stops stand above all.
    """
    wanted = [line.cause for _, q in case.of(QuoteData) for line in q.lines if line.cause]
    wanted += [data.cause for _, data in case.of(WorkData) if data.cause]
    wanted += [step.step for step in steps if step.kind == "repair"][:1]
    once, known = tuple(dict.fromkeys(wanted)), job_cards()
    return JobSheet(
        tuple(known[cause] for cause in once if cause in known),
        tuple(cause for cause in once if cause not in known),
        tuple(step.name for step in steps if step.kind == "safety"),
    )


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
