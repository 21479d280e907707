"""The virtual shop keeps its own rules: same truck for every policy, nobody ends uncured."""

import sys
from pathlib import Path

import numpy as np
import pytest

from witnessmark.inference.belief import FamilyModel
from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(scope="module")
def shop():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.virtual_shop import other_fuel, policies, trucks
    finally:
        sys.path.remove(str(ROOT))
    return other_fuel, policies, trucks


@pytest.mark.parametrize("identity", ["fuel_low", "oil_leak"])
def test_every_policy_ends_with_a_cure_and_knowing_it_all_wastes_nothing(shop, identity):
    _, policies, trucks = shop
    knowledge = load_knowledge()
    family = knowledge.families[identity]
    model = FamilyModel(family, knowledge.conditions)
    world = trucks.World.of(family, knowledge, np.random.default_rng(1))
    for seed in range(3):
        truck = trucks.draw_truck(world, knowledge, seed)
        assert 1 <= len(truck.faults) <= 3
        runs = {n: p(truck.fresh(), knowledge, model) for n, p in policies.POLICIES.items()}
        assert all(run.usd > 0 and run.hours > 0 for run in runs.values())
        assert runs["all-knowing"].needless == 0
        again = policies.ours(truck.fresh(), knowledge, model)
        assert again.usd == runs["ours"].usd


def test_a_test_gives_every_policy_the_same_result(shop):
    _, _, trucks = shop
    knowledge = load_knowledge()
    family = knowledge.families["oil_leak"]
    world = trucks.World.of(family, knowledge, np.random.default_rng(2))
    truck = trucks.draw_truck(world, knowledge, 5)
    test = family.tests[0]
    first, second = truck.fresh(), truck.fresh()
    second.repair(next(c.id for c in family.causes if c.id not in truck.faults))
    assert first.test(test) == second.test(test)
    assert first.bill.usd < second.bill.usd


def test_the_other_fuel_circuit_shows_its_faults(shop):
    other_fuel, _, _ = shop
    rng = np.random.default_rng(3)
    signs = {
        "secondary_filter": "f_dp",
        "suction_line": "f_vac",
        "return_regulator": "f_return",
        "supply_restrict": "f_step",
    }
    for fault, test in signs.items():
        seen = [
            other_fuel.fuel_results(other_fuel.with_faults(frozenset({fault}), rng), rng)[test]
            for _ in range(6)
        ]
        assert seen.count("positive") >= 5
    sound = other_fuel.fuel_results(other_fuel.Circuit(), rng)
    assert set(sound.values()) == {"negative"}
