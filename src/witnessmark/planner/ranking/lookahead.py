"""Looking ahead: what every first move costs until the cure is proven.

``first_moves`` looks one move ahead, ``look_ahead`` further along the most promising moves, and
``thorough`` is what the shop is shown: as deep as the time of a page allows, and never dearer
than the one-step plan. Prices are expected costs times the weight of the state.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.planner.ranking.troubleshooting import (
    RepairProblem,
    SearchState,
    left_after,
    savings,
    sequence,
)

__all__ = ["Moves", "first_moves", "greedy", "look_ahead", "thorough"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

#: A branch lighter than this share of its root is priced without looking deeper.
LIGHT = 1e-2
#: The same for following the one-step plan to its end, in problems of more than SMALL pairs of a
#: repair and a test; in smaller ones every branch is followed.
ROLLED, SMALL = 0.08, 100
#: First moves looked at two moves deep, and three.
LISTED, FOLLOWED = 8, 4


@dataclass(frozen=True, slots=True)
class Moves:
    """Expected costs of every first move of a batch of states, unnormalised; inf: not possible.

    Attributes:
        repair: (B, A).
        test: (B, T).
        search: (B,) the open-ended search at once.
        plain: (B,) the best plan without any test.
    """

    repair: Floats
    test: Floats
    search: Floats
    plain: Floats

    def best(self) -> Floats:
        """Return the lowest of all, (B,)."""
        low = np.minimum(self.search, self.plain)
        if self.repair.shape[1]:
            low = np.minimum(low, self.repair.min(axis=1))
        if self.test.shape[1]:
            low = np.minimum(low, self.test.min(axis=1))
        return low


def first_moves(problem: RepairProblem, state: SearchState) -> Moves:
    """Price every first move with the best test-free plan behind it (one-step lookahead)."""
    plain, _ = sequence(problem, state)
    search = state.weights @ problem.search_usd
    mass = state.weights.sum(axis=1)
    after, owner, move = _after_repairs(problem, state)
    repair = np.full(state.repaired.shape, np.inf)
    if owner.size:
        value, _ = sequence(problem, after)
        repair[owner, move] = _repair_price(problem, state, owner, move) * mass[owner] + value
    test = np.full(state.tested.shape, np.inf)
    after, owner, move = _after_tests(problem, state)
    if owner.size:
        value, _ = sequence(problem, after)
        test = _gather_tests(problem, state, mass, owner, move, value)
    return Moves(repair, test, search, plain)


def look_ahead(
    problem: RepairProblem, state: SearchState, *, depth: int = 2, width: int = 5
) -> Moves:
    """Price first moves with *depth* further moves looked at, the best *width* of each state.

    Moves outside the best *width* keep the price of the one-step lookahead, which is an upper
    bound of the same kind.
    """
    moves = first_moves(problem, state)
    return moves if depth <= 1 else _followed(problem, state, moves, depth, width)


def thorough(problem: RepairProblem, state: SearchState) -> Moves:
    """Price first moves as well as 50 ms allow; this is what the shop is shown.

    The eight best are looked at two moves deep, so that the list can be compared fairly, and the
    four best three moves deep. The winner and the choice of the one-step lookahead are priced
    with the one-step plan followed to its end as well. A plan that takes the lowest of these
    prices before every move never costs more than the one-step plan: after each move the plan
    that was priced is still there to be followed, and so is the one-step plan. (In large
    problems light branches are not followed to their end, and this holds up to those.)
    """
    pairs = problem.repair_usd.size * problem.test_usd.size
    light = 0.0 if pairs <= SMALL else ROLLED
    moves = first_moves(problem, state)
    chosen = [_cheapest(moves)]
    moves = _followed(problem, state, moves, 2, LISTED)
    moves = _followed(problem, state, moves, 3, FOLLOWED)
    chosen.append(_cheapest(moves))
    picked = np.zeros((state.weights.shape[0], moves.repair.shape[1] + moves.test.shape[1] + 1))
    for move in chosen:
        picked[np.arange(move.size), move] = 1.0
    return _priced(problem, state, moves, picked[:, :-1] > 0, 2, FOLLOWED, light)


def greedy(
    problem: RepairProblem, state: SearchState, *, root: Floats | None = None, light: float = 0.0
) -> Floats:
    """Return the expected cost of the plan that looks one step ahead before every move.

    Args:
        problem: the numbers.
        state: batch of states.
        root: (B,) weight that *light* is measured against, the state's own when not given.
        light: branches lighter than this share are priced by one lookahead instead.

    Returns:
        (B,) expected cost times weight.
    """
    batch = state.weights.shape[0]
    against = state.weights.sum(axis=1) if root is None else root
    total = np.zeros(batch)
    owner = np.arange(batch)
    repairs, tests = problem.repair_usd.size, problem.test_usd.size
    while owner.size:
        moves = first_moves(problem, state)
        choice = _cheapest(moves)
        mass = state.weights.sum(axis=1)
        ends = (choice == repairs + tests) | (mass <= light * against[owner])
        value = np.minimum(moves.best(), moves.search)
        total += np.bincount(owner[ends], value[ends], batch)
        going = np.flatnonzero(~ends)
        state, owner, choice, mass = state.take(going), owner[going], choice[going], mass[going]
        picked = np.zeros((going.size, repairs + tests), dtype=np.bool_)
        picked[np.arange(going.size), choice] = True
        fixed, fixer, repair = _after_repairs(problem, state, picked[:, :repairs])
        paid = _repair_price(problem, state, fixer, repair) * mass[fixer]
        total += np.bincount(owner[fixer], paid, batch)
        looker, test = np.nonzero(picked[:, repairs:])
        usd = problem.test_usd - savings(problem.test_saves, state.opened)
        paid = np.maximum(0.0, usd[looker, test]) * mass[looker]
        total += np.bincount(owner[looker], paid, batch)
        looked, seer, _ = _after_tests(problem, state, picked[:, repairs:])
        owner = np.concatenate([owner[fixer], owner[seer]])
        state = SearchState(
            np.concatenate([fixed.weights, looked.weights]),
            np.concatenate([fixed.repaired, looked.repaired]),
            np.concatenate([fixed.tested, looked.tested]),
            np.concatenate([fixed.opened, looked.opened]),
        )
    return total


def _followed(
    problem: RepairProblem, state: SearchState, moves: Moves, depth: int, width: int
) -> Moves:
    """Price the best *width* moves of each state again, *depth* moves deep."""
    priced = np.concatenate([moves.repair, moves.test], axis=1)
    width = min(width, priced.shape[1])
    if width == 0:
        return moves
    chosen = np.argpartition(priced, width - 1, axis=1)[:, :width]
    picked = np.zeros(priced.shape, dtype=np.bool_)
    np.put_along_axis(picked, chosen, np.ones(chosen.shape, np.bool_), axis=1)
    return _priced(problem, state, moves, picked & np.isfinite(priced), depth, width, None)


def _priced(
    problem: RepairProblem,
    state: SearchState,
    moves: Moves,
    picked: Bools,
    depth: int,
    width: int,
    light: float | None,
) -> Moves:
    """Price the picked moves again, *depth* moves deep.

    With *light* also with the one-step plan followed to its end, see :func:`greedy`.
    """
    repairs = moves.repair.shape[1]
    mass = state.weights.sum(axis=1)
    repair, test = moves.repair.copy(), moves.test.copy()
    after, owner, move = _after_repairs(problem, state, picked[:, :repairs])
    if owner.size:
        value = _deeper(problem, after, depth - 1, width, mass[owner], light)
        better = _repair_price(problem, state, owner, move) * mass[owner] + value
        repair[owner, move] = np.minimum(repair[owner, move], better)
    after, owner, move = _after_tests(problem, state, picked[:, repairs:])
    if owner.size:
        value = _deeper(problem, after, depth - 1, width, mass[owner], light)
        better_tests = _gather_tests(problem, state, mass, owner, move, value)
        test = np.minimum(test, better_tests)
    return Moves(repair, test, moves.search, moves.plain)


def _cheapest(moves: Moves) -> Ints:
    """Return the first move with the lowest price: a repair, A + a test, or A + T the search."""
    prices = np.concatenate([moves.repair, moves.test, moves.search[:, None]], axis=1)
    return np.asarray(np.argmin(prices, axis=1), dtype=np.intp)


def _deeper(
    problem: RepairProblem,
    state: SearchState,
    depth: int,
    width: int,
    root: Floats,
    light: float | None,
) -> Floats:
    """Return the best value of each state, light branches priced without looking deeper."""
    mass = state.weights.sum(axis=1)
    value, _ = sequence(problem, state)
    heavy = np.flatnonzero(mass > LIGHT * root)
    if heavy.size:
        some = state.take(heavy)
        narrower = max(2, width - 1)
        found = look_ahead(problem, some, depth=depth, width=narrower).best()
        if light is not None:
            found = np.minimum(found, greedy(problem, some, root=root[heavy], light=light))
        value[heavy] = np.minimum(value[heavy], found)
    return value


def _after_repairs(
    problem: RepairProblem, state: SearchState, allowed: Bools | None = None
) -> tuple[SearchState, Ints, Ints]:
    """Return the states after each repair that did not cure, with owner row and repair."""
    can = ~state.repaired if allowed is None else allowed & ~state.repaired
    owner, move = np.nonzero(can)
    left = left_after(problem, state.weights[owner], move)
    repaired = state.repaired[owner]
    repaired[np.arange(owner.size), move] = True
    closed = np.full(owner.size, -1, dtype=np.intp)
    return SearchState(left, repaired, state.tested[owner], closed), owner, move


def _after_tests(
    problem: RepairProblem, state: SearchState, allowed: Bools | None = None
) -> tuple[SearchState, Ints, Ints]:
    """Return the states after each outcome of each test, one row an outcome, in order."""
    can = ~state.tested if allowed is None else allowed & ~state.tested
    owner, move = np.nonzero(can)
    if owner.size == 0:
        return state.take(owner), owner, move
    dull = np.any(state.tested[owner] & problem.kin[move], axis=1)
    count = problem.counts[move]
    which = np.repeat(np.arange(owner.size), count)
    outcome = np.arange(which.size) - np.repeat(np.cumsum(count) - count, count)
    row = (problem.first[move] + dull * (len(problem.rows) // 2))[which] + outcome
    owner, move = owner[which], move[which]
    weights = problem.rows[row]
    weights *= state.weights[owner]
    tested = state.tested[owner]
    tested[np.arange(owner.size), move] = True
    return SearchState(weights, state.repaired[owner], tested, move), owner, move


def _gather_tests(
    problem: RepairProblem, state: SearchState, mass: Floats, owner: Ints, move: Ints, value: Floats
) -> Floats:
    """Add the outcomes of each test up and put the price of the test on top."""
    tests = state.tested.shape[1]
    cell = owner * tests + move
    size = state.tested.shape[0] * tests
    total = np.bincount(cell, value, size).reshape(-1, tests)
    there = np.bincount(cell, minlength=size).reshape(-1, tests) > 0
    usd = problem.test_usd - savings(problem.test_saves, state.opened)
    return np.where(there, total + np.maximum(0.0, usd) * mass[:, None], np.inf)


def _repair_price(problem: RepairProblem, state: SearchState, owner: Ints, move: Ints) -> Floats:
    saving = savings(problem.repair_saves, state.opened)
    return problem.repair_usd[move] - saving[owner, move]
