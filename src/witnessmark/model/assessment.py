"""The whole assessment of a case: what every door and every paper renders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ComplaintData, OutcomeData
from witnessmark.model.finding import Finding
from witnessmark.model.odds import Odds
from witnessmark.model.problem import Problem
from witnessmark.model.proof import Proof
from witnessmark.model.recording import Recording
from witnessmark.model.step import Step


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the entries of a case come to.

    Attributes:
        case: the entries.
        problems: faults in the user's material; the good rest was used.
        findings: in the order of their stage, then as the analyses gave them.
        odds: one record a family and complaint, for the state the truck is in now.
        steps: ranked, the one to do next first; empty when nothing is open.
        proofs: one record a complaint.
        recordings: entry id -> recording that could be read.
        packs: knowledge pack -> digest.
    """

    case: Case
    problems: tuple[Problem, ...]
    findings: tuple[Finding, ...]
    odds: tuple[Odds, ...]
    steps: tuple[Step, ...]
    proofs: tuple[Proof, ...]
    recordings: Mapping[str, Recording] = field(default_factory=dict)
    packs: Mapping[str, str] = field(default_factory=dict)

    def odds_of(self, family: str) -> Odds | None:
        """Return the odds of one family, ``None`` when the case has none."""
        return next((o for o in self.odds if o.family == family), None)

    def proof_of(self, complaint: str) -> Proof | None:
        """Return the proof of one complaint, ``None`` when it has none."""
        return next((p for p in self.proofs if p.complaint == complaint), None)

    def open_complaints(self) -> tuple[tuple[str, ComplaintData], ...]:
        """Return, with its id, every complaint that is not proven cured nor said to be gone."""
        said = {d.complaint: d.gone for _, d in self.case.of(OutcomeData)}
        proven = {p.complaint for p in self.proofs if p.verdict == "proven"}
        return tuple(
            (entry.id, data)
            for entry, data in self.case.complaints()
            if entry.id not in proven and said.get(entry.id) is not True
        )

    def why_no_step(self) -> str:
        """Return why no step is proposed, in a sentence; empty where one is."""
        if self.steps:
            return ""
        if not self.case.complaints():
            return "No complaint is written down yet: write down the driver's words."
        for identity, data in self.open_complaints():
            said = f"Complaint {identity} is open"
            if not data.families:
                return (
                    f"{said} and names no family, so no step can be worked out: look, measure, "
                    "write down what is found, and name a family if one fits."
                )
            if not any(self.odds_of(f) for f in data.families):
                names = ", ".join(data.families)
                return f"{said}, but no pack knows the family {names}: name another one."
            return (
                f"{said}, and no step is left that is known to settle it: measure the same points "
                "again, and look at what no pack lists."
            )
        return "No complaint is open: ask the customer whether it stayed away."
