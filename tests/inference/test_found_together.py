"""Causes that are found together: the pack's pairs in the odds and in the fuel model."""

from __future__ import annotations

import numpy as np
import pytest

from witnessmark.inference import family_belief
from witnessmark.inference.family.staged_evidence import Stage, StagedEvidence
from witnessmark.inference.fuel.draws.fuel_posterior import default_log_prior
from witnessmark.inference.fuel.fuel_groups import GROUPS, HYPOTHESES, RELIEF, RETURN, TOGETHER
from witnessmark.knowledge import load_knowledge

KNOWLEDGE = load_knowledge()
FAMILY = KNOWLEDGE.families["fuel_low"]


def chance_of_both(belief, one, other):
    causes = list(belief.causes)
    held = belief.model.present[[causes.index(one), causes.index(other)]] > 0
    both = float(belief.states[held.all(axis=0)].sum())
    return both / float(belief.states[held[0]].sum())


def test_the_return_regulator_is_weak_beside_the_relief_valve_as_often_as_the_pack_says():
    belief = family_belief(FAMILY, StagedEvidence((), (Stage(),)), conditions=KNOWLEDGE.conditions)
    # the pack's words: nearly one of five
    assert chance_of_both(belief, "pump_relief", "return_regulator") == pytest.approx(
        0.18, abs=0.03
    )
    # a part that is in no pair is no likelier beside the relief valve than alone
    alone = float(belief.marginals()[list(belief.causes).index("secondary_filter")])
    assert chance_of_both(belief, "pump_relief", "secondary_filter") < alone


def test_the_models_own_prior_holds_the_pair_at_the_packs_odds():
    plain = default_log_prior(together={})
    found = default_log_prior()
    pair = HYPOTHESES.index(frozenset((RELIEF, RETURN)))
    others = [i for i, h in enumerate(HYPOTHESES) if len(h) == 2 and i != pair]
    risen = (found - plain)[pair] - (found - plain)[others]
    assert np.exp(risen) == pytest.approx(TOGETHER[frozenset((RELIEF, RETURN))])
    singles = [i for i, h in enumerate(HYPOTHESES) if len(h) == 1]
    assert found[singles] == pytest.approx(plain[singles])
    [mine] = FAMILY.together
    assert mine.odds == TOGETHER[frozenset((RELIEF, RETURN))]
    assert set(mine.causes) == set(GROUPS[RELIEF].causes + GROUPS[RETURN].causes)
