"""A physical model whose evidence is what analyses find: it proposes no readings of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from typing import cast

from witnessmark.analyses.an_analysis import Analysis
from witnessmark.inference.models import (
    Example,
    JointDraws,
    Material,
    ModelEvidence,
    Need,
    Traits,
)
from witnessmark.model.candidate import Candidate
from witnessmark.model.finding import Finding

__all__ = ["AnalysisModel"]


@dataclass(frozen=True, slots=True)
class AnalysisModel:
    """Analyses as a model.

    Attributes:
        id: see :class:`~witnessmark.inference.models.Model`, as the next three.
        version: of its answers.
        needs: what it reads.
        traits: what it is like.
        modules: the analyses, in order; loaded when a case has something for them.
        numbers: makes the examples.
    """

    id: str
    version: str
    needs: tuple[Need, ...]
    traits: Traits
    modules: tuple[str, ...]
    numbers: Callable[[], tuple[Example, ...]]

    def evidence(self, material: Material) -> ModelEvidence:
        """Return the findings of its analyses; they speak of the bound families and no other."""
        found = [
            _of_the_bound(finding, material.bound)
            for name in self.modules
            for finding in cast("Analysis", import_module(name)).analyse(material.bench)
        ]
        spoken = {s.family for f in found for s in f.support}
        families = tuple(f for f in material.bound if f in spoken or f in material.complained())
        return ModelEvidence(self.id, families, tuple(found))

    def proposals(self, evidence: ModelEvidence) -> tuple[Candidate, ...]:
        """Return nothing: the packs' tests are what it asks for."""
        del evidence
        return ()

    def opening_waits(self, evidence: ModelEvidence) -> bool:
        """Return ``False``: nothing waits for its readings."""
        del evidence
        return False

    def draws(self, evidence: ModelEvidence) -> JointDraws | None:
        """Return ``None``: its findings speak cause by cause."""
        del evidence
        return None

    def examples(self) -> tuple[Example, ...]:
        """Return numbers that its physics must give."""
        return self.numbers()


def _of_the_bound(finding: Finding, bound: Sequence[str]) -> Finding:
    kept = tuple(s for s in finding.support if s.family in bound)
    return finding if len(kept) == len(finding.support) else replace(finding, support=kept)
