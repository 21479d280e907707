"""The virtual shop keeps its own rules: same truck for every policy, nobody ends uncured."""

import sys
from pathlib import Path

import numpy as np
import pytest

from witnessmark.inference.family.family_belief import FamilyModel
from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture(scope="module")
def shop():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.virtual_shop import other_fuel, pairs, policies, trucks
    finally:
        sys.path.remove(str(ROOT))
    return other_fuel, policies, trucks, pairs


@pytest.mark.parametrize("identity", ["fuel_low", "oil_leak"])
def test_every_policy_ends_with_a_cure_and_knowing_it_all_wastes_nothing(shop, identity):
    _, policies, trucks, _ = shop
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
    _, _, trucks, _ = shop
    knowledge = load_knowledge()
    family = knowledge.families["oil_leak"]
    world = trucks.World.of(family, knowledge, np.random.default_rng(2))
    truck = trucks.draw_truck(world, knowledge, 5)
    test = family.tests[0]
    first, second = truck.fresh(), truck.fresh()
    second.repair(next(c.id for c in family.causes if c.id not in truck.faults))
    assert first.test(test) == second.test(test)
    assert first.bill.usd < second.bill.usd


def test_a_clue_weighs_at_no_distance_what_the_pack_says(shop):
    _, _, trucks, _ = shop
    knowledge = load_knowledge()
    family = knowledge.families["fuel_low"]
    none = trucks.Distance().times(0.0)
    world = trucks.World.of(family, knowledge, np.random.default_rng(6), none)
    fault = frozenset({"secondary_filter"})
    seen = [
        clue.seen
        for seed in range(2500)
        for clue in trucks.draw_truck(world, knowledge, seed, faults=fault).clues
        if clue.condition == "filters_overdue"
    ]
    rate = knowledge.conditions["filters_overdue"].base_rate
    times = family.cause("secondary_filter").odds_multipliers["filters_overdue"]
    assert np.mean(seen) == pytest.approx(times * rate, abs=0.045)


def test_what_a_test_has_opened_is_paid_once_by_every_policy(shop):
    _, _, trucks, _ = shop
    knowledge = load_knowledge()
    family = knowledge.families["vib_speed"]
    world = trucks.World.of(family, knowledge, np.random.default_rng(7))
    truck = trucks.draw_truck(world, knowledge, 8)
    look, other = family.test("s_balance"), family.test("s_seat")  # both with the wheels off
    alone, after = truck.fresh(), truck.fresh()
    alone.test(other)
    after.test(look)
    before = after.bill.usd
    after.test(other)
    assert after.bill.usd - before < alone.bill.usd - 20
    closed = truck.fresh()
    closed.test(look)
    closed.repair("shaft_bal")
    before = closed.bill.usd
    closed.test(other)
    assert closed.bill.usd - before == pytest.approx(alone.bill.usd)


def test_the_other_fuel_circuit_shows_its_faults(shop):
    other_fuel, _, _, _ = shop
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


def test_a_fault_that_no_pack_lists_is_found_by_the_search_only(shop):
    _, policies, trucks, _ = shop
    knowledge = load_knowledge()
    family = knowledge.families["vib_speed"]
    model = FamilyModel(family, knowledge.conditions)
    world = trucks.World.of(family, knowledge, np.random.default_rng(4))
    lone = frozenset({trucks.UNLISTED})
    truck = trucks.draw_truck(world, knowledge, 6, faults=lone)
    test = family.tests[0]
    assert world.chances(test, lone) == pytest.approx(world.base[test.id])
    runs = {n: p(truck.fresh(), knowledge, model) for n, p in policies.POLICIES.items()}
    assert runs["all-knowing"].needless == 0
    assert all(r.usd > runs["all-knowing"].usd for n, r in runs.items() if n != "all-knowing")


def test_a_shop_learns_from_its_own_closings_only_after_the_first(shop):
    _, policies, trucks, _ = shop
    knowledge = load_knowledge()
    family = knowledge.families["vib_speed"]
    model = FamilyModel(family, knowledge.conditions)
    world = trucks.World.of(family, knowledge, np.random.default_rng(5))
    learning = policies.Learning(knowledge, family)
    first = trucks.draw_truck(world, knowledge, 7)
    alone = policies.ours(first.fresh(), knowledge, model)
    assert learning.run(first.fresh()).usd == alone.usd
    assert len(learning.closings) == 1
    assert learning.closings[0].proven == bool(alone.cause)


def test_one_fault_behind_two_complaints_is_repaired_once(shop):
    _, _, _, pairs = shop
    knowledge = load_knowledge()
    linked = pairs.linked_pairs(knowledge)
    families = ("low_power", "smoke")
    models = {f: FamilyModel(knowledge.families[f], knowledge.conditions) for f in families}
    drawn = (
        pairs.draw_pair(families, linked[families], knowledge, models, seed) for seed in range(40)
    )
    pair = next(p for p in drawn if p.twin is not None)
    here, there = pair.fresh().trucks.values()
    assert here.bill is there.bill
    known = pairs.PAIR_POLICIES["all-knowing"](pair.fresh(), knowledge)
    ours = pairs.PAIR_POLICIES["ours, both planned together"](pair.fresh(), knowledge)
    assert known.needless == 0
    assert ours.usd >= known.usd  # the likeliest cheap repair may be the right one at once
    truck = pair.fresh()
    for _ in range(9):
        truck.trucks["low_power"].repair(truck.twin[0])
    truck.mended()
    assert not truck.open
