"""The smallest physical model there is: a level in a tank, read with an error of one unit."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.inference import models as m
from witnessmark.model.finding import Evidence, Finding, Support

CAUSES = {"primary_filter": -1.0, "air_ingress": 1.0}  # what each cause adds to the level


@dataclass(frozen=True)
class FlatModel:
    id: str = "flat"
    version: str = "1"
    needs: tuple[m.Need, ...] = (m.Need("the level in the tank", frozenset({"run_out"})),)
    traits: m.Traits = m.Traits(joint_draws=True)  # noqa: RUF009

    def likelihoods(self, levels):
        return {c: -0.5 * sum((x - a) ** 2 - x**2 for x in levels) for c, a in CAUSES.items()}

    def evidence(self, material):
        read = list(material.bench.readings("run_out"))
        if not material.complained():
            return m.ModelEvidence(self.id)
        if not read:
            missing = Finding("level", "Not read.", "not_run", "flat/1", "no level was read")
            return m.ModelEvidence(self.id, material.bound, (missing,))
        logs = self.likelihoods([r.value * 1e3 for r in read])
        support = tuple(Support(f, logs) for f in material.complained())
        entries = Evidence(tuple(r.entry.id for r in read))
        seen = Finding("level", "Read.", "seen", "flat/1", evidence=entries, support=support)
        return m.ModelEvidence(self.id, material.complained(), (seen,))

    def proposals(self, _):
        return ()

    def opening_waits(self, _):
        return False

    def draws(self, _):
        return m.JointDraws(
            (("primary_filter",),), {frozenset(): 0.75, frozenset({0}): 0.25}, (0.25,)
        )

    def examples(self):
        exact = "-(1 - 2) / 2, the square completed"
        return (m.Example("one reading", lambda: self.likelihoods([1.0])["air_ingress"], 0.5, 1e-9, "exact", exact),)  # fmt: skip  # noqa: E501
