"""The fuel supply circuit: pump, valves, filters and losses as one hydraulic circuit.

The equations and their sources stand in ``physics.fuel`` and docs/fuel_supply.md.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from witnessmark.inference.models import (
    Example,
    JointDraws,
    Material,
    ModelEvidence,
    Need,
    Traits,
)
from witnessmark.model.candidate import Candidate
from witnessmark.model.entries.case import Case
from witnessmark.model.problem import Problem
from witnessmark.words.say import needs

__all__ = ["MODEL"]

#: What the truck's own sensor reads of the circuit.
_ON_THE_BUS = "fuel_delivery_pressure"
_READS = frozenset(
    {
        "fuel_gallery_pressure",
        "fuel_prefilter_pressure",
        "fuel_gallery_pressure_return_throttled",
        "fuel_suction_vacuum",
        "fuel_return_flow",
        "gauge_check_difference",
        _ON_THE_BUS,
    }
)
_NEEDS = (Need(needs.fuel_reading(), _READS),)
_TRAITS = Traits(joint_draws=True, wants_baseline=True)


@dataclass(frozen=True, slots=True)
class FuelModel:
    """The circuit's posterior behind the protocol of all models."""

    id: str = "fuel"
    version: str = "1"
    needs: tuple[Need, ...] = _NEEDS
    traits: Traits = _TRAITS

    def evidence(self, material: Material) -> ModelEvidence:
        """Return the likelihood of every set of groups of the circuit, stage by stage.

        It speaks of the first bound family that a complaint names, and of none without one.
        """
        from witnessmark.inference.fuel.fuel_evidence import fuel_evidence

        families = material.complained()[:1]
        if not families:
            return ModelEvidence(self.id)
        bench = material.bench
        bus = tuple(r for r in bench.readings(_ON_THE_BUS) if r.entry.id in bench.recordings)
        found = fuel_evidence(
            bench.case,
            bench.knowledge,
            history=material.history,
            baseline=material.baseline,
            bus=bus,
            family_id=families[0],
        )
        return ModelEvidence(
            self.id,
            families,
            found.findings,
            found.problems,
            found.forecasts,
            found,
            found.one_word,
        )

    def proposals(self, evidence: ModelEvidence) -> tuple[Candidate, ...]:
        """Return the readings that would separate the sides and parts still in question."""
        from witnessmark.inference.fuel.fuel_evidence import FuelEvidence
        from witnessmark.inference.fuel.offers.fuel_candidates import fuel_candidates

        inside = evidence.inside
        return fuel_candidates(inside) if isinstance(inside, FuelEvidence) else ()

    def question(self, case: Case, fresh: Collection[str]) -> Problem | None:
        """Return what is asked before a fuel reading is taken that no running engine shows."""
        from witnessmark.inference.fuel.offers.fuel_question import fuel_question

        return fuel_question(case, fresh)

    def opening_waits(self, evidence: ModelEvidence) -> bool:
        """Say whether only gallery pressures were read so far."""
        from witnessmark.inference.fuel.fuel_evidence import FuelEvidence
        from witnessmark.inference.fuel.offers.fuel_candidates import only_gallery_read

        inside = evidence.inside
        if not isinstance(inside, FuelEvidence) or inside.posterior is None:
            return False
        return only_gallery_read(inside.posterior)

    def draws(self, evidence: ModelEvidence) -> JointDraws | None:
        """Return P(set of groups at fault now), from the weighted draws."""
        from witnessmark.inference.fuel.fuel_evidence import FuelEvidence
        from witnessmark.inference.fuel.fuel_groups import GROUPS
        from witnessmark.inference.fuel.offers.fuel_candidates import set_probabilities

        inside = evidence.inside
        if not isinstance(inside, FuelEvidence) or inside.posterior is None:
            return None
        margins = tuple(float(p) for p in inside.posterior.group_probabilities())
        groups = tuple(g.causes for g in GROUPS)
        return JointDraws(groups, set_probabilities(inside.posterior), margins)

    def examples(self) -> tuple[Example, ...]:
        """Return numbers of the circuit that have a closed form."""
        from witnessmark.inference.fuel.fuel_examples import examples

        return examples()


MODEL = FuelModel()
