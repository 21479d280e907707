"""The ledger: which cases are open, and what each of them waits for."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.agreed_data import ApprovalData, PartData, QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import (
    NoteData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.entries.ledger_data import CloseData
from witnessmark.workflow.dossier.clocked import clock_of

__all__ = ["PART_HERE", "PART_ORDERED", "Row", "Waits", "case_name", "row_of", "waits_for"]

Wait = Literal[
    "complaint", "stop", "reading", "look", "repair", "approval", "part", "proof", "word", "nothing"
]

#: ``about`` of the notes that say a part was ordered, and that it has come.
PART_ORDERED = "part_ordered"
PART_HERE = "part_here"

_WORDS: dict[Wait, str] = {
    "complaint": "the complaint",
    "stop": "a safety stop",
    "reading": "a reading",
    "look": "a look or a test",
    "repair": "the repair",
    "approval": "approval",
    "part": "a part",
    "proof": "proof",
    "word": "the customer's word",
    "nothing": "nothing, it is closed",
}


@dataclass(frozen=True, slots=True)
class Waits:
    """What a case waits for: the kind, and a few words more."""

    kind: Wait
    detail: str = ""

    @property
    def words(self) -> str:
        """The kind in words."""
        return _WORDS[self.kind]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the ledger; ``clocked``: who has a job there that was not stopped."""

    case: str
    truck: str
    customer: str
    complaint: str
    waits: Waits
    since: str
    clocked: tuple[str, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether anything is still to be done."""
        return self.waits.kind != "nothing"


def case_name(label: str, entry_id: str) -> str:
    """Return a name for a case: the truck's, and the end of its first entry's id."""
    plain = re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:40]
    tail = re.sub(r"[^A-Za-z0-9]+", "", entry_id)[-6:]
    return f"{plain or 'case'}-{tail or 'new'}"


def row_of(case: Case, assessment: Dossier | None = None) -> Row:
    """Return the ledger's row of a case; *assessment* makes the next step known."""
    truck = case.truck()
    complaints = case.complaints()
    return Row(
        case=case.id,
        truck=truck.label if truck else case.id,
        customer=(truck.customer or "") if truck else "",
        complaint="; ".join(data.words for _, data in complaints),
        waits=waits_for(case, assessment),
        since=case.entries[-1].at if case.entries else "",
        clocked=_on_the_clock(case),
    )


def _on_the_clock(case: Case) -> tuple[str, ...]:
    """Return who has a start without an end, here or copied, or an end that is asked for."""
    spans = clock_of(case, whole=True).spans
    waiting = (s for s in spans if s.stop is None or (s.state == "asked" and not s.elsewhere))
    return tuple(dict.fromkeys(s.person for s in waiting))


def waits_for(case: Case, assessment: Dossier | None = None) -> Waits:
    """Say what a case waits for, the thing that stops everything else first."""
    complaints = case.complaints()
    if not complaints:
        return Waits("complaint")
    if _all_gone(case):
        return Waits("nothing")
    quote = _asked_for(case)
    if quote:
        return Waits("approval", quote)
    part = _part_on_order(case)
    if part:
        return Waits("part", part)
    if _measured_since_work(case) is False:
        return Waits("proof", "measure the same points again after the work")
    if assessment is not None:
        return _from_assessment(assessment)
    if _measured_since_work(case):
        return Waits("proof")
    return Waits("reading")


def _from_assessment(assessment: Dossier) -> Waits:
    proofs = assessment.proofs
    if proofs and all(p.verdict == "proven" for p in proofs):
        return Waits("word", "ask whether the complaint stayed away")
    worked = any(True for _ in assessment.case.of(WorkData))
    if worked and proofs and any(p.verdict == "not enough evidence" for p in proofs):
        missing = next((m for p in proofs for m in p.missing), "")
        return Waits("proof", missing)
    if not assessment.steps:
        return Waits("proof" if worked else "reading")
    step = assessment.steps[0]
    kinds: dict[str, Wait] = {"measure": "reading", "repair": "repair", "safety": "stop"}
    return Waits(kinds.get(step.kind, "look"), step.name)


def _all_gone(case: Case) -> bool:
    """Whether every complaint is gone by the customer's word, or closed; the last word counts."""
    done: dict[str, bool] = {}
    for entry in case.live():
        if isinstance(entry.data, OutcomeData):
            done[entry.data.complaint] = entry.data.gone is True
        elif isinstance(entry.data, CloseData):
            done[entry.data.complaint] = True
    return all(done.get(entry.id, False) for entry, _ in case.complaints())


def _asked_for(case: Case) -> str:
    waiting = ""
    for entry in case.live():
        if isinstance(entry.data, QuoteData) and not entry.data.final:
            total = entry.data.total_usd
            waiting = f"of ${total:,.0f}" if total is not None else "of the estimate"
        elif isinstance(entry.data, ApprovalData):
            waiting = ""
    return waiting


def _part_on_order(case: Case) -> str:
    waiting = ""
    for entry in case.live():
        if isinstance(entry.data, NoteData) and entry.data.about == PART_ORDERED:
            waiting = entry.data.words or "ordered"
        elif isinstance(entry.data, PartData):
            coming = entry.data.state in {"ordered", "promised"}
            here = entry.data.state in {"arrived", "returned"}
            day = f", promised for {entry.data.on}" if entry.data.on else ""
            day = day if entry.data.state == "promised" else ""
            waiting = entry.data.name + day if coming else "" if here else waiting
        elif isinstance(entry.data, WorkData) or (
            isinstance(entry.data, NoteData) and entry.data.about == PART_HERE
        ):
            waiting = ""
    return waiting


def _measured_since_work(case: Case) -> bool | None:
    """Return whether anything was measured after the last work; ``None`` without any work."""
    found: bool | None = None
    for entry in case.live():
        if isinstance(entry.data, WorkData):
            found = False
        elif found is False and isinstance(entry.data, (ReadingData, RecordingData, TestData)):
            found = True
    return found
