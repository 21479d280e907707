"""Expected cost to a proven cure, as numbers only.

The problem is decision-theoretic troubleshooting (Heckerman, Breese and Rommelse 1995): repairs
and tests with costs, a table of hypotheses (which parts are at fault) with their weights, and the
question what to do next. A repair is a test too: after it the truck is measured again, and either
the complaint is gone or the search goes on with what that has taught.

All values here are *unnormalised*: they are expected costs times the weight of the state, so a
branch needs no division and a state nobody reaches costs nothing. ``sequence`` prices the best
plan without tests: repairs in the order of probability over cost (optimal for one fault and
independent perfect repairs, Kadane and Simon 1977), stopped where an open-ended search becomes
cheaper. The lookahead over tests and repairs stands in ``lookahead``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["RepairProblem", "SearchState", "left_after", "savings", "sequence", "start"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class RepairProblem:
    """A troubleshooting problem with H hypotheses, A repairs and T tests of at most O outcomes.

    Attributes:
        members: (H, A) bool, hypothesis h has the part of repair a at fault. A hypothesis
            without members is "none of these".
        repair_usd: (A,) cost of one repair with its re-measurement [USD].
        fixes: (A,) P(part healthy after the repair | it was at fault).
        luck: (A,) P(complaint gone after the repair | its part was not at fault).
        test_usd: (T,) cost of one test [USD].
        outcomes: (T, O, H) P(outcome | hypothesis); unused outcomes are zero.
        dulled: (T, O, H) the same once a test of the same kind has been done.
        kin: (T, T) bool, tests that see the same thing through the same instrument.
        search_usd: (H,) cost of the open-ended search that ends in a proven cure [USD].
        repair_saves: (S, A) what a repair saves when it follows S [USD]: row t is test t, which
            has left its disassembly open; the last row is something else that lies open.
        test_saves: (S, T) the same for tests.
        slots: (H, size) the members of each hypothesis by number, A where there are fewer.
        held: (H,) P(cured once every member has been renewed).
        credit: (H, A) how much of a hypothesis a repair can take credit for.
        stays: (A, H) share of a hypothesis that stays when the repair did not cure.
        source: (A, H) the hypothesis that turns into this one, H for none.
        moves: (A, H) the share of that one which does.
        rows: (2P, H) the rows of *outcomes* that are used, test by test, and those of *dulled*.
        first: (T,) the first row of each test.
        counts: (T,) how many rows it has.
    """

    members: Bools
    repair_usd: Floats
    fixes: Floats
    luck: Floats
    test_usd: Floats
    outcomes: Floats
    dulled: Floats
    kin: Bools
    search_usd: Floats
    repair_saves: Floats
    test_saves: Floats
    slots: Ints
    held: Floats
    credit: Floats
    stays: Floats
    source: Ints
    moves: Floats
    rows: Floats
    first: Ints
    counts: Ints

    @classmethod
    def of(
        cls,
        *,
        members: Bools,
        repair_usd: Floats,
        fixes: Floats,
        luck: Floats,
        test_usd: Floats,
        outcomes: Floats,
        search_usd: Floats,
        dulled: Floats | None = None,
        kin: Bools | None = None,
        repair_saves: Floats | None = None,
        test_saves: Floats | None = None,
    ) -> RepairProblem:
        """Build a problem and the tables that follow from it.

        Raises:
            ValueError: the shapes do not fit each other, or a cost is not positive.
        """
        hypotheses, repairs = members.shape
        tests = test_usd.shape[0]
        if outcomes.shape[0] != tests or (tests and outcomes.shape[2] != hypotheses):
            raise ValueError("outcomes must have one row a test and one column a hypothesis")
        if np.any(repair_usd <= 0) or np.any(test_usd < 0) or np.any(search_usd <= 0):
            raise ValueError("repairs and the search need a positive cost")
        size = members.sum(axis=1)
        width = max(1, int(size.max(initial=0)))
        slots = np.full((hypotheses, width), repairs, dtype=np.intp)
        for h in range(hypotheses):
            found = np.flatnonzero(members[h])
            slots[h, : found.size] = found
        # One fault: exact also with luck, for its own repair does not get a second chance.
        left = np.prod(np.where(members, fixes, 1.0), axis=1)
        alone = size == 1
        own_luck = np.where(members, luck, 0.0).sum(axis=1)
        held = np.where(alone, 1.0 - (1.0 - left) / np.maximum(1e-9, 1.0 - own_luck), left)
        held = np.where(size == 0, 0.0, held)
        credit = members * fixes / np.maximum(size, 1)[:, None]
        stays, source, moves = _transitions(members, fixes, luck)
        dull = outcomes if dulled is None else dulled
        used = outcomes.any(axis=2) | dull.any(axis=2)
        counts = used.sum(axis=1)
        return cls(
            members,
            repair_usd,
            fixes,
            luck,
            test_usd,
            outcomes,
            dull,
            np.eye(tests, dtype=np.bool_) if kin is None else kin,
            search_usd,
            np.zeros((tests + 1, repairs)) if repair_saves is None else repair_saves,
            np.zeros((tests + 1, tests)) if test_saves is None else test_saves,
            slots,
            held,
            credit,
            stays,
            source,
            moves,
            np.concatenate([outcomes[used], dull[used]]),
            np.cumsum(counts) - counts,
            counts,
        )


@dataclass(frozen=True, slots=True)
class SearchState:
    """A batch of B states.

    Attributes:
        weights: (B, H) unnormalised weights of the hypotheses.
        repaired: (B, A) repairs already done.
        tested: (B, T) tests already done.
        opened: (B,) the test that was made last, T for something else that lies open, -1 for
            nothing.
    """

    weights: Floats
    repaired: Bools
    tested: Bools
    opened: Ints

    def take(self, rows: Ints | Bools) -> SearchState:
        """Return some of the states."""
        return SearchState(
            self.weights[rows], self.repaired[rows], self.tested[rows], self.opened[rows]
        )


def start(
    problem: RepairProblem,
    weights: Floats,
    *,
    repaired: Bools | None = None,
    tested: Bools | None = None,
    opened: int = -1,
) -> SearchState:
    """Return the batch of one state that *weights* (H,) describe."""
    done_repairs = np.zeros(problem.repair_usd.shape, np.bool_) if repaired is None else repaired
    done_tests = np.zeros(problem.test_usd.shape, np.bool_) if tested is None else tested
    return SearchState(
        weights[None, :],
        done_repairs[None, :],
        done_tests[None, :],
        np.array([opened], dtype=np.intp),
    )


def left_after(problem: RepairProblem, weights: Floats, repair: int | Ints) -> Floats:
    """Return the weights (..., H) that are left when *repair* did not cure, unnormalised."""
    padded = np.concatenate([weights, np.zeros((*weights.shape[:-1], 1))], axis=-1)
    moved = np.take_along_axis(padded, problem.source[repair], axis=-1) * problem.moves[repair]
    return np.asarray(weights * problem.stays[repair] + moved, dtype=np.float64)


def sequence(problem: RepairProblem, state: SearchState) -> tuple[Floats, Ints]:
    """Price the best plan without tests.

    Returns:
        (B,) expected cost times weight, and (B,) the first repair, -1 for the search.
    """
    weights = state.weights
    batch = weights.shape[0]
    repairs = problem.repair_usd.size
    search = weights @ problem.search_usd
    if repairs == 0:
        return search, np.full(batch, -1, dtype=np.intp)
    saving = savings(problem.repair_saves, state.opened)
    worth = (weights @ problem.credit) / np.maximum(1e-9, problem.repair_usd - saving)
    worth[state.repaired] = -1.0
    order = np.argsort(-worth, axis=1)
    rows, width = np.arange(batch), repairs + 1
    begins = rows[:, None] * width
    place = np.empty((batch, width), dtype=np.intp)
    place.reshape(-1)[order + begins] = np.arange(repairs)
    place[:, :repairs][state.repaired] = repairs  # a part renewed in vain is found by the search
    place[:, repairs] = -1
    last = place.take(problem.slots[:, 0], axis=1)
    for slot in range(1, problem.slots.shape[1]):
        np.maximum(last, place.take(problem.slots[:, slot], axis=1), out=last)
    last[:, problem.slots[:, 0] == repairs] = repairs
    last += begins
    cured = weights * problem.held
    cured_at = np.bincount(last.ravel(), cured.ravel(), batch * width).reshape(batch, width)
    cured *= problem.search_usd
    saved_at = np.bincount(last.ravel(), cured.ravel(), batch * width).reshape(batch, width)
    alive = np.ones((batch, width))
    np.cumprod((1.0 - problem.luck)[order], axis=1, out=alive[:, 1:])
    usd = problem.repair_usd[order]
    usd[np.arange(repairs) >= repairs - state.repaired.sum(axis=1)[:, None]] = np.inf
    if problem.repair_saves.any():  # only the first repair finds the disassembly still open
        usd[:, 0] -= saving[rows, order[:, 0]]
    before = weights.sum(axis=1)[:, None] - np.cumsum(cured_at, axis=1) + cured_at
    before = before[:, :repairs] * alive[:, :repairs]
    totals = np.empty((batch, width))
    totals[:, 0] = search
    with np.errstate(invalid="ignore"):
        spent = np.cumsum(usd * before, axis=1)
    saved = np.cumsum(saved_at[:, :repairs], axis=1)
    totals[:, 1:] = spent + alive[:, 1:] * (search[:, None] - saved)
    totals[np.isnan(totals)] = np.inf
    stop = np.argmin(totals, axis=1)
    return totals[rows, stop], np.where(stop > 0, order[:, 0], -1)


def savings(saves: Floats, opened: Ints) -> Floats:
    """Return what each move of each state saves because its disassembly is open, (B, moves)."""
    return np.where(opened[:, None] >= 0, saves[opened], 0.0)


def _transitions(members: Bools, fixes: Floats, luck: Floats) -> tuple[Floats, Ints, Floats]:
    """Return what a repair that did not cure leaves of every hypothesis.

    Returns:
        (A, H) share that stays; (A, H) the hypothesis that turns into this one (H: none); (A, H)
        the share of that one which does.
    """
    hypotheses, repairs = members.shape
    size = members.sum(axis=1)
    stays = np.where(members.T, (1.0 - fixes)[:, None], (1.0 - luck)[:, None])
    source = np.full((repairs, hypotheses), hypotheses, dtype=np.intp)
    moves = np.zeros((repairs, hypotheses))
    number = {members[h].tobytes(): h for h in range(hypotheses)}
    for h in np.flatnonzero(size >= 2):
        for a in np.flatnonzero(members[h]):
            rest = members[h].copy()
            rest[a] = False
            target = number.get(rest.tobytes())
            if target is None:  # not among the hypotheses: it stays where it is
                stays[a, h] = 1.0
            else:
                source[a, target] = h
                moves[a, target] = fixes[a]
    return stays, source, moves
