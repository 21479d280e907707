"""A circuit behind the protocol of all models; it is loaded when a case has something for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, cast

from witnessmark.inference.models import (
    Example,
    JointDraws,
    Material,
    ModelEvidence,
    Need,
    Traits,
)
from witnessmark.late import late
from witnessmark.model.candidate import Candidate

if TYPE_CHECKING:
    from witnessmark.inference.circuits import circuit_evidence, circuit_offers
    from witnessmark.inference.circuits.circuit import Circuit
else:
    circuit_evidence = late("witnessmark.inference.circuits.circuit_evidence")
    circuit_offers = late("witnessmark.inference.circuits.circuit_offers")

__all__ = ["CircuitPlug"]


@dataclass(frozen=True, slots=True)
class CircuitPlug:
    """A circuit as a model.

    Attributes:
        id: see :class:`~witnessmark.inference.models.Model`, as the next three.
        version: of its answers.
        needs: what it reads.
        module: of the circuit, with its ``CIRCUIT``.
        numbers: makes the examples.
        traits: what it is like.
    """

    id: str
    version: str
    needs: tuple[Need, ...]
    module: str
    numbers: Callable[[], tuple[Example, ...]]
    traits: Traits = Traits()  # noqa: RUF009 (frozen)

    def evidence(self, material: Material) -> ModelEvidence:
        """Return how every set of groups explains the readings, stage by stage."""
        circuit = cast("Circuit", import_module(self.module).CIRCUIT)
        found = circuit_evidence.circuit_evidence(circuit, material)
        if found is None:
            return ModelEvidence(self.id)
        return ModelEvidence(
            self.id, (found.family,), found.findings, found.problems, found.forecasts, found
        )

    def proposals(self, evidence: ModelEvidence) -> tuple[Candidate, ...]:
        """Return the readings worth taking next, the most telling first."""
        inside = evidence.inside
        if inside is None:
            return ()
        return circuit_offers.circuit_candidates(cast("circuit_evidence.CircuitEvidence", inside))

    def opening_waits(self, evidence: ModelEvidence) -> bool:
        """Return ``False``: what is opened here has its own looks before it."""
        del evidence
        return False

    def draws(self, evidence: ModelEvidence) -> JointDraws | None:
        """Return ``None``: places and causes are no one-to-one."""
        del evidence
        return None

    def examples(self) -> tuple[Example, ...]:
        """Return numbers that its physics must give."""
        return self.numbers()
