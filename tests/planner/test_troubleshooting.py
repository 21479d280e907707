"""Expected cost to a proven cure: theorems, constructed cases and the exact optimum."""

import json
from itertools import permutations

import numpy as np
import pytest

from planner.exact_reference import Model, optimal_cost, plan_cost, random_model
from witnessmark.planner.ranking.lookahead import first_moves, greedy, look_ahead, thorough
from witnessmark.planner.ranking.troubleshooting import RepairProblem, sequence, start


def one_fault(model: Model) -> RepairProblem:
    positive = model.positive
    return RepairProblem.of(
        members=np.eye(model.prior.size, dtype=bool),
        repair_usd=model.repair_usd,
        fixes=model.fixes,
        luck=model.luck,
        test_usd=model.test_usd,
        outcomes=np.stack([positive, 1.0 - positive], axis=1),
        search_usd=model.search_usd,
    )


def perfect(p, c, test_usd=(), positive=None) -> Model:
    """Perfect repairs, no search worth its money."""
    n = len(p)
    return Model(
        prior=np.array(p, float),
        repair_usd=np.array(c, float),
        fixes=np.ones(n),
        luck=np.zeros(n),
        test_usd=np.array(test_usd, float),
        positive=np.zeros((0, n)) if positive is None else np.array(positive, float),
        search_usd=np.full(n, 1e6),
    )


def follow(problem: RepairProblem, *, depth: int | None = None, width: int = 4):
    """The plan that looks ahead anew before every move, thoroughly without a depth."""

    def choose(weights, repaired, tested):
        state = start(problem, weights, repaired=repaired, tested=tested)
        if depth is None:
            moves = thorough(problem, state)
        else:
            moves = look_ahead(problem, state, depth=depth, width=width)
        prices = np.concatenate([moves.repair[0], moves.test[0], moves.search])
        number = int(np.argmin(prices))
        if number < repaired.size:
            return "repair", number
        if number < repaired.size + tested.size:
            return "test", number - repaired.size
        return "search", 0

    return choose


def in_order(order):
    def choose(_weights, repaired, _tested):
        left = [a for a in order if not repaired[a]]
        return ("repair", left[0]) if left else ("search", 0)

    return choose


@pytest.mark.parametrize("check", ["D-pc1", "D-pc2", "D-pc3"])
def test_probability_over_cost_order_is_the_best_order(shared, check):
    """checks.json D-pc1..3: Kadane and Simon 1977; Heckerman, Breese, Rommelse 1995
    (constructed numbers); expected best, worst and by-probability cost."""
    row = _check(shared, check)
    p, c = row["inputs"]["p"], row["inputs"]["c"]
    best, worst, by_p = row["expected"]
    model = perfect(p, c)
    problem = one_fault(model)
    value, first = sequence(problem, start(problem, model.prior))
    assert value[0] == pytest.approx(best, abs=1e-9)
    order = row["inputs"]["order"]
    assert first[0] == order[0] - 1
    all_orders = [plan_cost(model, in_order(o)) for o in permutations(range(len(p)))]
    assert min(all_orders) == pytest.approx(value[0], abs=1e-9)
    assert max(all_orders) == pytest.approx(worst, abs=1e-9)
    habit = sorted(range(len(p)), key=lambda k: -p[k])
    assert plan_cost(model, in_order(habit)) == pytest.approx(by_p, abs=1e-9)


def test_inspect_then_repair(shared):
    """checks.json D-obs: Heckerman et al. 1995 formula (constructed numbers): 276, and 256 when
    the last inspection, which cannot change anything, is skipped. The planner finds the 256."""
    _full, skipped = _check(shared, "D-obs")["expected"]
    model = perfect([0.5, 0.3, 0.2], [300, 200, 100], [40, 20, 10], np.eye(3))
    problem = one_fault(model)
    assert plan_cost(model, follow(problem, depth=4)) == pytest.approx(skipped, abs=1e-9)
    assert look_ahead(problem, start(problem, model.prior), depth=5).best()[0] == pytest.approx(
        skipped, abs=1e-9
    )
    assert optimal_cost(model) == pytest.approx(skipped, abs=1e-9)


def test_a_test_that_breaks_even_is_priced_at_what_it_saves(shared):
    """checks.json D-test: Bayes and one-step lookahead (constructed: exactly breaks even)."""
    plain, p_positive, post_positive, post_negative, with_test = _check(shared, "D-test")[
        "expected"
    ]
    model = perfect([0.6, 0.4], [400, 100], [30], [[0.9, 0.15]])
    problem = one_fault(model)
    state = start(problem, model.prior)
    moves = first_moves(problem, state)
    assert moves.plain[0] == pytest.approx(plain, abs=1e-9)
    assert moves.test[0, 0] == pytest.approx(with_test, abs=1e-9)
    after = model.prior * model.positive[0]
    assert after.sum() == pytest.approx(p_positive, abs=1e-9)
    assert after[0] / after.sum() == pytest.approx(post_positive, abs=1e-9)
    other = model.prior * (1 - model.positive[0])
    assert other[0] / other.sum() == pytest.approx(post_negative, abs=1e-9)


def test_plans_stay_near_the_exact_optimum_and_under_one_step_lookahead():
    rng = np.random.default_rng(20260302)
    deep, shallow = [], []
    for _ in range(10):
        model = random_model(rng)
        problem = one_fault(model)
        best = optimal_cost(model)
        deep.append(plan_cost(model, follow(problem)) / best)
        shallow.append(plan_cost(model, follow(problem, depth=1)) / best)
    assert min(deep) >= 1.0 - 1e-9
    assert np.mean(deep) <= 1.005
    assert np.quantile(deep, 0.95) <= 1.02
    assert all(d <= s + 1e-9 for d, s in zip(deep, shallow, strict=True))


def test_prices_of_the_root_are_upper_bounds_that_fall_with_depth():
    rng = np.random.default_rng(5)
    for _ in range(5):
        model = random_model(rng)
        problem = one_fault(model)
        state = start(problem, model.prior)
        best = optimal_cost(model)
        values = [look_ahead(problem, state, depth=d, width=4).best()[0] for d in (1, 2, 3)]
        assert values[0] >= values[1] - 1e-9 >= values[2] - 2e-9
        assert values[2] >= best - 1e-6


def test_the_one_step_plan_is_priced_exactly():
    rng = np.random.default_rng(7)
    for _ in range(4):
        model = random_model(rng)
        problem = one_fault(model)
        value = greedy(problem, start(problem, model.prior))
        assert value[0] == pytest.approx(plan_cost(model, follow(problem, depth=1)), rel=1e-6)


def test_two_faults_both_have_to_be_repaired():
    members = np.array([[1, 0], [0, 1], [1, 1]], bool)
    problem = RepairProblem.of(
        members=members,
        repair_usd=np.array([100.0, 200.0]),
        fixes=np.ones(2),
        luck=np.zeros(2),
        test_usd=np.zeros(0),
        outcomes=np.zeros((0, 2, 3)),
        search_usd=np.full(3, 1e5),
    )
    value, _ = sequence(problem, start(problem, np.array([0.0, 0.0, 1.0])))
    assert value[0] == pytest.approx(300.0)
    value, first = sequence(problem, start(problem, np.array([0.7, 0.2, 0.1])))
    assert first[0] == 0
    assert value[0] == pytest.approx(100 + 0.3 * 200)
    after = first_moves(problem, start(problem, np.array([0.0, 0.0, 1.0])))
    assert after.repair[0] == pytest.approx([300.0, 300.0])


def test_nothing_listed_ends_in_the_search():
    members = np.array([[1, 0], [0, 1], [0, 0]], bool)
    problem = RepairProblem.of(
        members=members,
        repair_usd=np.array([100.0, 200.0]),
        fixes=np.full(2, 0.9),
        luck=np.full(2, 0.03),
        test_usd=np.zeros(0),
        outcomes=np.zeros((0, 2, 3)),
        search_usd=np.array([700.0, 800.0, 600.0]),
    )
    value, first = sequence(problem, start(problem, np.array([0.0, 0.0, 1.0])))
    assert first[0] == -1
    assert value[0] == pytest.approx(600.0)


def test_a_second_look_through_the_same_instrument_counts_half():
    outcomes = np.array([[[0.9, 0.1], [0.1, 0.9]]] * 2)
    dull = np.sqrt(outcomes)
    dull = dull / dull.sum(axis=1, keepdims=True)
    model = {
        "members": np.eye(2, dtype=bool),
        "repair_usd": np.array([500.0, 500.0]),
        "fixes": np.ones(2),
        "luck": np.zeros(2),
        "test_usd": np.array([10.0, 10.0]),
        "outcomes": outcomes,
        "search_usd": np.full(2, 1e5),
    }
    weights = np.array([0.5, 0.5])
    kin = np.ones((2, 2), bool)
    alone = RepairProblem.of(**model)
    linked = RepairProblem.of(**model, dulled=dull, kin=kin)
    done = np.array([True, False])
    free = first_moves(alone, start(alone, weights, tested=done)).test[0, 1]
    tied = first_moves(linked, start(linked, weights, tested=done)).test[0, 1]
    assert tied > free
    assert tied == pytest.approx(10 + 500 + 500 * dull[0, 1, 0])


def test_what_a_test_has_opened_is_not_opened_twice():
    model = {
        "members": np.eye(2, dtype=bool),
        "repair_usd": np.array([300.0, 300.0]),
        "fixes": np.ones(2),
        "luck": np.zeros(2),
        "test_usd": np.array([50.0]),
        "outcomes": np.array([[[1.0, 0.0], [0.0, 1.0]]]),
        "search_usd": np.full(2, 1e5),
    }
    weights = np.array([0.5, 0.5])
    shared = RepairProblem.of(
        **model,
        repair_saves=np.array([[80.0, 0.0], [80.0, 0.0]]),
        test_saves=np.array([[0.0], [45.0]]),
    )
    apart = RepairProblem.of(**model)
    assert first_moves(apart, start(apart, weights)).test[0, 0] == pytest.approx(350)
    assert first_moves(shared, start(shared, weights)).test[0, 0] == pytest.approx(350 - 0.5 * 80)
    still_open = first_moves(shared, start(shared, weights, opened=1))
    assert still_open.repair[0] == pytest.approx([220 + 150, 300 + 150])
    assert still_open.test[0, 0] == pytest.approx(350 - 40 - 45)


def test_shapes_and_costs_are_checked():
    with pytest.raises(ValueError, match="positive cost"):
        RepairProblem.of(
            members=np.eye(1, dtype=bool),
            repair_usd=np.zeros(1),
            fixes=np.ones(1),
            luck=np.zeros(1),
            test_usd=np.zeros(0),
            outcomes=np.zeros((0, 2, 1)),
            search_usd=np.ones(1),
        )


def _check(shared, name):
    rows = json.loads((shared / "checks" / "checks.json").read_text("utf-8"))
    return next(row for row in rows if row["id"] == name)
