"""The dossier of a case: all that its entries come to under one standing.

One function makes it (``workflow.dossier.assess_case.dossier``). The page, the command, the JSON,
the report, the estimate, the ledger and the history only read it, so two doors cannot say two
things.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

from witnessmark.model.decision import Decision
from witnessmark.model.digest import digest
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ComplaintData, OutcomeData
from witnessmark.model.estimate import Estimate
from witnessmark.model.evidence import StagedEvidence
from witnessmark.model.finding import Finding
from witnessmark.model.known import Known
from witnessmark.model.odds import Odds
from witnessmark.model.problem import Problem
from witnessmark.model.proof import Proof
from witnessmark.model.step import OverriddenStop, Spread, Step

__all__ = ["Advice", "Dossier", "DossierStage"]


@dataclass(frozen=True, slots=True)
class Advice:
    """What the work that is quoted, or proposed first, usually comes to: for the shop alone.

    Attributes:
        estimate: the figures; ``None`` where no repair is proposed or quoted.
        why: what it is for, and what comes before it, in words.
        bare_usd: what the quoted jobs alone come to, without supplies and tax [USD], to be set
            beside the shop's own lines; ``None`` where nothing is quoted.
    """

    estimate: Estimate | None = None
    why: tuple[str, ...] = ()
    bare_usd: Spread | None = None


@dataclass(frozen=True, slots=True)
class DossierStage:
    """What was known in one state of the truck, from the entries up to its end and none later.

    Attributes:
        evidence: family id -> evidence of this stage and those before it.
        findings: what was found in this state.
        odds: one record a family and complaint.
        steps: ranked, the one to do next first; only for the state the truck is in now.
    """

    evidence: Mapping[str, StagedEvidence]
    findings: tuple[Finding, ...]
    odds: tuple[Odds, ...]
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Dossier:
    """What the entries of a case come to.

    Attributes:
        case: the entries.
        standing: digest of everything else it depends on.
        problems: faults in the user's material; the good rest was used.
        stages: one a state of the truck: as it came in, then after each work. The last is now.
        proofs: one record a complaint.
        advice: what the work usually comes to.
        packs: knowledge pack -> digest.
        overridden: stops against which something was done, by name and with a reason.
        decisions: what the first step of each complaint decides, in the order of the steps.
        known: every live reading, clue, test result and code, with what it did or why nothing.
        parts: part of what it depends on -> digest, for ``model.digest.why_again``.
        does_not_run: ``no_crank`` or ``no_start`` where the truck cannot move by itself.
    """

    case: Case
    standing: str
    problems: tuple[Problem, ...]
    stages: tuple[DossierStage, ...]
    proofs: tuple[Proof, ...]
    advice: Advice = Advice()
    packs: Mapping[str, str] = field(default_factory=dict)
    known: tuple[Known, ...] = ()
    parts: Mapping[str, str] = field(default_factory=dict)
    overridden: tuple[OverriddenStop, ...] = ()
    decisions: tuple[Decision, ...] = ()
    does_not_run: str = ""

    def __getstate__(self) -> dict[str, Any]:
        """Pickle the fields alone: the rest is read off them again."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @cached_property
    def key(self) -> str:
        """What it depends on, as one digest: two dossiers of one key say the same."""
        return digest((self.case.id, len(self.case.entries), self.standing, self.parts))

    @property
    def now(self) -> DossierStage:
        """The state that the truck is in now."""
        return self.stages[-1]

    @property
    def odds(self) -> tuple[Odds, ...]:
        """The odds of every complaint, for the state the truck is in now."""
        return self.now.odds

    @property
    def steps(self) -> tuple[Step, ...]:
        """The next steps, the one to do next first; empty when nothing is open."""
        return self.now.steps

    @property
    def stops(self) -> tuple[Step, ...]:
        """The safety stops that stand."""
        return tuple(step for step in self.steps if step.kind == "safety")

    @property
    def todo(self) -> tuple[Step, ...]:
        """The next steps without the stops: what is proposed to be done."""
        return tuple(step for step in self.steps if step.kind != "safety")

    @property
    def drive(self) -> str:
        """What may be done with the truck: park, tow, limp or drive.

        The strictest of the stops that stand; what does not run is not driven.
        """
        standing = {step.drive for step in self.stops}
        if self.does_not_run and "park" not in standing:
            return "tow"
        return next((word for word in ("park", "tow", "limp") if word in standing), "drive")

    def decision_of(self, step: Step) -> Decision | None:
        """Return what a step decides, ``None`` where it decides nothing or stands further down."""
        return next((d for d in self.decisions if d.step == step.step), None)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, in the order of the stages, then as the analyses gave them."""
        return tuple(finding for stage in self.stages for finding in stage.findings)

    def odds_of(self, family: str) -> Odds | None:
        """Return the odds of one family, ``None`` when the case has none."""
        return next((o for o in self.odds if o.family == family), None)

    def odds_before(self, work: int) -> tuple[Odds, ...]:
        """Return the odds as they were just before a work (0-based), when it was decided on."""
        return self.stages[work].odds

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
                    f"{said} and names no family. Say what it is about, or name your own suspects "
                    "and the tests that would part them: then there are steps. Until then look, "
                    "measure, and write down what is found."
                )
            if not any(self.odds_of(f) for f in data.families):
                names = ", ".join(data.families)
                return f"{said}, but no pack knows the family {names}: name another one."
            return (
                f"{said}, and no step is left that is known to settle it: measure the same points "
                "again, and look at what no pack lists."
            )
        return "No complaint is open: ask the customer whether it stayed away."
