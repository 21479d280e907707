"""The whole assessment of a case: what every door and every paper renders."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.model.entries.case import Case
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
