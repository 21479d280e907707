"""The odds of shipped families against pyAgrum: the same noisy-OR network, built independently.

The complaint is a node of the network: it is there whenever a cause is, and by its leak otherwise
(the unlisted cause). Evidence: the complaint, the test results.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from witnessmark.inference import family_belief
from witnessmark.inference.family.likelihood import as_known
from witnessmark.inference.family.prior import first_weights
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence, TestResult
from witnessmark.knowledge import load_knowledge

with warnings.catch_warnings():  # its extension module warns while it loads
    warnings.simplefilter("ignore")
    import pyagrum

KNOWLEDGE = load_knowledge()


def network(family, tests):
    odds, unlisted = first_weights(
        np.asarray([c.prior for c in family.causes]), family.second_cause, family.none_listed
    )
    model = pyagrum.BayesNet()
    for cause, o in zip(family.causes, odds, strict=True):
        model.add(pyagrum.LabelizedVariable(cause.id, "", 2))
        model.cpt(cause.id).fillWith([float(1 / (1 + o)), float(o / (1 + o))])
    model.addNoisyORNet(pyagrum.LabelizedVariable("complaint", "", 2), float(unlisted))
    for cause in family.causes:
        model.addWeightedArc(cause.id, "complaint", 1.0)
    for test in map(as_known, tests):
        leak = test.base[0]
        model.addNoisyORNet(pyagrum.LabelizedVariable(test.id, "", 2), float(leak))
        for cause in family.causes:
            row = test.row(cause.id)[0]
            if row > leak:
                model.addWeightedArc(cause.id, test.id, float((row - leak) / (1.0 - leak)))
    return model


def independent(family):
    """Tests with two outcomes that share nothing with each other and lower nothing."""
    chosen = []
    for test in family.tests:
        known = as_known(test)
        lowers = any(known.row(c.id)[0] < known.base[0] - 1e-12 for c in family.causes)
        if len(test.outcomes) > 2 or lowers:
            continue
        if any(test.id in g and c.id in g for g in family.dependent_tests for c in chosen):
            continue
        chosen.append(test)
    return chosen


@pytest.mark.parametrize(
    "name", ["electrical", "coolant_cross", "overheat", "hard_start", "low_power", "vib_speed"]
)
def test_the_odds_of_a_family_are_pyagrums(name):
    family = KNOWLEDGE.families[name]
    tests = independent(family)
    assert len(tests) >= 6
    rng = np.random.default_rng(sum(map(ord, name)))
    results = [(t, "positive" if rng.random() < 0.4 else "negative") for t in tests[:8]]
    stage = Stage(tests=tuple(TestResult(t.id, r) for t, r in results))
    belief = family_belief(family, StagedEvidence((), (stage,)), conditions=KNOWLEDGE.conditions)
    engine = pyagrum.LazyPropagation(network(family, [t for t, _ in results]))
    engine.setEvidence({"complaint": 1, **{t.id: int(r == "positive") for t, r in results}})
    engine.setTargets({c.id for c in family.causes})
    engine.makeInference()
    theirs = [engine.posterior(c.id)[1] for c in family.causes]
    assert belief.marginals() == pytest.approx(theirs, abs=1e-12)
