"""Exact dynamic programming for one-fault models: the yardstick, slow and plain.

State: which repairs were done (A bits) and, for every test, not done or its outcome (base 3).
Weights factorise over both, so the tables are small. Independent of the planner's own code.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Model:
    prior: np.ndarray  # (A,) one fault each
    repair_usd: np.ndarray  # (A,)
    fixes: np.ndarray  # (A,)
    luck: np.ndarray  # (A,)
    test_usd: np.ndarray  # (T,)
    positive: np.ndarray  # (T, A) P(+ | fault)
    search_usd: np.ndarray  # (A,)


def random_model(rng: np.random.Generator, actions: int = 8, tests: int = 6) -> Model:
    """Costs over a decade and a half, some tests sharp and some blunt, some parts likely."""
    repair_usd = np.exp(rng.uniform(np.log(40), np.log(1500), actions))
    sharp = rng.random((tests, actions)) < rng.uniform(0.15, 0.5)
    return Model(
        prior=rng.dirichlet(np.full(actions, rng.uniform(0.4, 3.0))),
        repair_usd=repair_usd,
        fixes=rng.uniform(0.85, 1.0, actions),
        luck=rng.uniform(0.0, 0.08, actions),
        test_usd=np.exp(rng.uniform(np.log(8), np.log(150), tests)),
        positive=np.where(
            sharp,
            rng.uniform(0.6, 0.97, (tests, actions)),
            rng.uniform(0.02, 0.3, (tests, actions)),
        ),
        search_usd=rng.uniform(400, 900) + repair_usd,
    )


def optimal_cost(model: Model) -> float:
    """Return the least expected cost to a cure over all plans."""
    actions, tests = model.repair_usd.size, model.test_usd.size
    digits = np.stack(np.meshgrid(*[np.arange(3)] * tests, indexing="ij"), axis=-1).reshape(
        -1, tests
    )
    seen = np.repeat(model.prior[None, :], len(digits), axis=0)
    for t in range(tests):
        table = np.stack([np.ones(actions), model.positive[t], 1.0 - model.positive[t]])
        seen = seen * table[digits[:, t]]
    power = 3 ** np.arange(tests - 1, -1, -1)
    unknown = (digits == 0).sum(axis=1)
    levels = [np.flatnonzero(unknown == k) for k in range(tests + 1)]
    value = np.empty((2**actions, len(digits)))
    for mask in range(2**actions - 1, -1, -1):
        left = np.ones(actions)
        for a in range(actions):
            if mask >> a & 1:
                stays = np.full(actions, 1.0 - model.luck[a])
                stays[a] = 1.0 - model.fixes[a]
                left = left * stays
        weights = seen * left
        mass = weights.sum(axis=1)
        best = weights @ model.search_usd
        for a in range(actions):
            if not mask >> a & 1:
                best = np.minimum(best, model.repair_usd[a] * mass + value[mask | 1 << a])
        value[mask] = best
        for level in levels[1:]:
            for t in range(tests):
                rows = level[digits[level, t] == 0]
                split = value[mask, rows + power[t]] + value[mask, rows + 2 * power[t]]
                price = model.test_usd[t] * mass[rows] + split
                value[mask, rows] = np.minimum(value[mask, rows], price)
    return float(value[0, 0])


def plan_cost(model: Model, choose) -> float:
    """Return the exact expected cost of the plan that *choose* follows.

    ``choose(weights, repaired, tested)`` returns ("repair", a), ("test", t) or ("search", 0).
    """

    def cost(weights, repaired, tested):
        mass = weights.sum()
        if mass < 1e-8:
            return float(weights @ model.search_usd)
        kind, number = choose(weights, repaired, tested)
        if kind == "search":
            return float(weights @ model.search_usd)
        if kind == "repair":
            assert not repaired[number]
            stays = np.full(weights.size, 1.0 - model.luck[number])
            stays[number] = 1.0 - model.fixes[number]
            done = repaired.copy()
            done[number] = True
            return model.repair_usd[number] * mass + cost(weights * stays, done, tested)
        assert not tested[number]
        done = tested.copy()
        done[number] = True
        positive = model.positive[number]
        return (
            model.test_usd[number] * mass
            + cost(weights * positive, repaired, done)
            + cost(weights * (1.0 - positive), repaired, done)
        )

    return cost(
        model.prior,
        np.zeros(model.repair_usd.size, bool),
        np.zeros(model.test_usd.size, bool),
    )
