"""The odds of shipped families against pyAgrum: the same network, built independently.

The complaint is a node of the network: it is there whenever a cause is, and by its leak otherwise
(the unlisted cause). A sign is a node between the causes and the tests that report it; what is
written down is a node behind each test, and a second hand's reading is another. Evidence: the
complaint and what was written down.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pytest

from witnessmark.inference import family_belief
from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.likelihood import as_known
from witnessmark.inference.family.misreading import mistake_of
from witnessmark.inference.family.prior import first_weights
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence, TestResult
from witnessmark.knowledge import load_knowledge

with warnings.catch_warnings():  # its extension module warns while it loads
    warnings.simplefilter("ignore")
    import pyagrum

KNOWLEDGE = load_knowledge()


@dataclass
class Network:
    """A Bayesian network of one family, growing test by test."""

    family: object
    model: FamilyModel
    net: object

    @classmethod
    def of(cls, family):
        odds, unlisted = first_weights(
            np.asarray([c.prior for c in family.causes]), family.second_cause, family.none_listed
        )
        made = cls(family, FamilyModel(family, KNOWLEDGE.conditions), pyagrum.BayesNet())
        for cause, o in zip(family.causes, odds, strict=True):
            made.net.add(pyagrum.LabelizedVariable(cause.id, "", 2))
            made.net.cpt(cause.id).fillWith([float(1 / (1 + o)), float(o / (1 + o))])
        made.net.addNoisyORNet(pyagrum.LabelizedVariable("complaint", "", 2), float(unlisted))
        for cause in family.causes:
            made.net.addWeightedArc(cause.id, "complaint", 1.0)
        return made

    def noisy_or(self, name, base, rows):
        """Add a node that is brought about by the background and by each cause."""
        self.net.addNoisyORNet(pyagrum.LabelizedVariable(name, "", 2), float(base))
        for cause, row in zip(self.family.causes, rows, strict=True):
            if row > base + 1e-12:
                self.net.addWeightedArc(cause.id, name, float((row - base) / (1.0 - base)))

    def chosen(self, name, parents, table):
        """Add a node with P(1 | parents) written out, the first parent counting fastest."""
        self.net.add(pyagrum.LabelizedVariable(name, "", 2))
        for parent in parents:
            self.net.addArc(parent, name)
        for values, chance in table.items():
            at = dict(zip(parents, values, strict=True))
            self.net.cpt(name)[at] = [1.0 - chance, chance]

    def test(self, test):
        """Add a test, and its sign where it has one."""
        sign = self.model.sign_of.get(test.id)
        if sign is None:
            known = as_known(test)
            self.noisy_or(test.id, known.base[0], [known.row(c.id)[0] for c in self.family.causes])
            return
        if f"sign {sign.id}" not in self.net.names():
            self.noisy_or(f"sign {sign.id}", sign.base, sign.given)
        reporter = sign.reporters[test.id]
        rows = [1.0 - reporter.absent.leak[1] * f for f in reporter.absent.factor[1]]
        self.noisy_or(f"{test.id} absent", reporter.absent.base[0], rows)
        parents, shown = [f"sign {sign.id}", f"{test.id} absent"], float(reporter.shown.base[0])
        self.chosen(test.id, parents, {(0, 0): 0.0, (0, 1): 1.0, (1, 0): shown, (1, 1): shown})

    def reading(self, test, name):
        """Add what somebody writes down of a test."""
        wrong, base = mistake_of(test), as_known(test).base[0]
        anything = wrong * (0.5 * base + 0.25)
        self.chosen(name, [test.id], {(0,): anything, (1,): 1.0 - wrong + anything})


def fits(model, test):
    """Whether a test has two outcomes and lowers nothing, so that a noisy-OR node can hold it."""
    if len(test.outcomes) > 2:
        return False
    sign = model.sign_of.get(test.id)
    if sign is None:
        known = as_known(test)
        rows = [(known.base[0], [known.row(c)[0] for c in model.causes])]
    else:
        absent, shown = sign.reporters[test.id].absent, sign.reporters[test.id].shown
        if np.ptp(shown.factor[1]) > 1e-12:
            return False
        singles = [1.0 - absent.leak[1] * f for f in absent.factor[1]]
        rows = [(sign.base, sign.given), (absent.base[0], singles)]
    return all(min(each) >= base - 1e-12 for base, each in rows)


@pytest.mark.parametrize("name", ["electrical", "clutch", "pto_hydraulics", "vib_speed"])
def test_the_odds_of_a_family_are_pyagrums(name):
    family = KNOWLEDGE.families[name]
    made = Network.of(family)
    tests = [t for t in family.tests if fits(made.model, t)]
    # Those of the signs first; none beside another that only a half weight keeps apart.
    tests.sort(key=lambda t: t.id not in made.model.sign_of)
    beside = made.model.beside
    tests = [t for t in tests if t.id not in beside][:5]
    together = [made.model.sign_of[t.id].id for t in tests if t.id in made.model.sign_of]
    assert len(tests) == 5
    assert len(set(together)) < len(together)  # one sign at least has two reports
    rng = np.random.default_rng(sum(map(ord, name)))
    results = [(t, "positive" if rng.random() < 0.4 else "negative") for t in tests]
    written, evidence = [], {"complaint": 1}
    for k, (test, result) in enumerate(results):
        made.test(test)
        for by in ("", "another")[: 1 + (k < 2)]:
            # The second hand finds the opposite once, and the same once.
            said = result if not by or k else ("negative" if result == "positive" else "positive")
            made.reading(test, f"{test.id} {by}read")
            evidence[f"{test.id} {by}read"] = int(said == "positive")
            written.append(TestResult(test.id, said, by=by))
    belief = family_belief(
        family, StagedEvidence((), (Stage(tests=tuple(written)),)), model=made.model
    )
    engine = pyagrum.LazyPropagation(made.net)
    engine.setEvidence(evidence)
    engine.setTargets({c.id for c in family.causes})
    engine.makeInference()
    theirs = [engine.posterior(c.id)[1] for c in family.causes]
    assert belief.marginals() == pytest.approx(theirs, abs=1e-9)
