"""The three worlds keep their own rules: the same truck for every policy, errors where they say."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from witnessmark.inference.family.family_belief import FamilyModel
from witnessmark.knowledge import load_knowledge
from witnessmark.model.shop_record import History
from witnessmark.planner.ranking.costs import shop_minutes

ROOT = Path(__file__).resolve().parent.parent.parent
KNOWLEDGE = load_knowledge()
FAMILY = KNOWLEDGE.families["exhaust_leak"]


@pytest.fixture(scope="module")
def study():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.three_worlds import shops, tables, worlds
    finally:
        sys.path.remove(str(ROOT))
    return worlds, shops, tables


@pytest.mark.parametrize("name", ["A", "B", "C"])
def test_every_policy_ends_and_the_same_truck_costs_the_same_again(study, name):
    worlds, shops, _ = study
    truth = worlds.world_of(name, FAMILY, KNOWLEDGE, np.random.default_rng(5))
    truck = worlds.draw(name, truth, KNOWLEDGE, 5)
    model = FamilyModel(FAMILY, KNOWLEDGE.conditions)
    policies = ("ours", "simple rule, 4", "all-knowing")
    runs = [shops.POLICIES[p](truck.fresh(), KNOWLEDGE, model) for p in policies]
    again = [shops.POLICIES[p](truck.fresh(), KNOWLEDGE, model) for p in policies]
    assert runs == again
    assert all(run.usd > 0 for run in runs)
    assert runs[0].again == 0
    assert runs[2].needless == 0


def test_in_world_c_a_test_comes_as_often_as_its_table_says_but_for_misreading(study):
    worlds, _, _ = study
    truth = worlds.world_of("C", FAMILY, KNOWLEDGE, np.random.default_rng(6))
    test = FAMILY.tests[0]
    fault = frozenset({FAMILY.causes[0].id})
    told = []
    for seed in range(1500):
        truck = worlds.OddTruck(
            truth, fault, (), seed, worlds.draw("C", truth, KNOWLEDGE, 1).settings
        )
        told.append(truck.test(test) == test.outcomes[-1])
    nothing = float(truth.chances(test, fault)[-1])
    wrong = worlds.MISREAD_C
    assert np.mean(told) == pytest.approx(nothing * (1 - wrong) + (1 - nothing) * wrong, abs=0.045)


def test_holms_rule_rejects_in_order_and_stops_at_the_first_that_stands(study):
    holm = study[2].holm
    assert holm([0.01, 0.04, 0.03]) == [True, False, False]
    assert holm([0.01, 0.04, 0.02]) == [True, True, True]
    assert holm([0.5]) == [False]


def test_a_shops_closings_bring_shares_and_times_nearer_to_its_own_truth():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.three_worlds import learner, worlds
    finally:
        sys.path.remove(str(ROOT))
    rng = np.random.default_rng(3)
    truth = worlds.moved_world(FAMILY, KNOWLEDGE, rng, 1.0)
    own = learner.own_figures(FAMILY, rng)
    past, jobs = learner.closings(replace(truth, family=own), KNOWLEDGE, rng, 300)
    history = History(past, jobs)
    model = FamilyModel(FAMILY, KNOWLEDGE.conditions, history)
    pack = np.array([c.prior for c in FAMILY.causes]) / sum(c.prior for c in FAMILY.causes)
    learnt = np.array([model.share[c.id] for c in FAMILY.causes])
    assert np.abs(learnt - truth.shares).sum() < 0.5 * np.abs(pack - truth.shares).sum()
    off = [
        (
            abs(np.log(shop_minutes(c, history).typical / o.minutes.typical)),
            abs(np.log(c.minutes.typical / o.minutes.typical)),
        )
        for c, o in zip(FAMILY.causes, own.causes, strict=True)
    ]
    assert np.sum(off, axis=0)[0] < 0.5 * np.sum(off, axis=0)[1]
    assert learner.jobs_of(jobs, 20) == tuple(
        j for j in jobs if j.case in {f"c{k}" for k in range(20)}
    )
