"""From one family's odds, tests and repairs to priced moves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import median

import numpy as np
import numpy.typing as npt

from witnessmark.inference.look_first import LookWaiting, OneWord
from witnessmark.knowledge import AccessGroup, Cause, Family, Test
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.candidate import Candidate
from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.model.step import Forecast, Spread
from witnessmark.planner.ranking.costs import (
    price_of_test,
    repair_usd,
    shared_minutes,
    shop_minutes,
    shop_parts,
    whose_figures,
)
from witnessmark.planner.ranking.hypotheses import AskedBelief, HypothesisTable, tabulate
from witnessmark.planner.ranking.lookahead import Moves, look_ahead, thorough
from witnessmark.planner.ranking.owner_money import OwnerMoney
from witnessmark.planner.ranking.read_again import checks_that_disagree, test_to_repeat
from witnessmark.planner.ranking.troubleshooting import RepairProblem, SearchState, start

__all__ = ["FamilyState", "Plan", "plan_family"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Tests of one kind count with half their log likelihood once one of them was done.
DULLED = 0.5
#: A part that was renewed comes back into question from this probability on.
AGAIN_FROM = 0.15
#: P(a complaint that a repair has not cured seems gone at first, so that the truck leaves and comes
#: back), judgement.
COMES_BACK = 0.2
#: Share of doubt in the odds before the list is given up (judgement).
DOUBT = 0.3


@dataclass(frozen=True, slots=True)
class FamilyState:
    """One open complaint family and where the work on it stands.

    Attributes:
        family: the pack's family.
        belief: its odds now.
        complaint: entry id of the complaint.
        tests_done: test and measurement ids done at this stage.
        repaired: cause ids whose part has been renewed, once for each time.
        candidates: readings a physical model proposes.
        forecasts: cause id -> what would be read after that repair.
        fits: ``False`` when no modelled cause explains the readings.
        waiting: causes that may not be renewed before a look at something cheap that reads the
            same; nobody renews them "while in there".
        looks_waiting: those looks.
        seen_bad: causes whose part a look has shown bad since the latest work.
        first: the pack's first measurement while nothing at all was measured.
        opening_waits: a physical model says that little was read yet.
        one_word: a physical model says that all it read is one instrument's word.
        measured: a physical model has readings that can tell a healthy truck.
        made_here: every test recorded at this stage, once for each time.
        unread: a work on it was neither read after nor asked about: nothing more is renewed.
    """

    family: Family
    belief: AskedBelief
    complaint: str = ""
    tests_done: frozenset[str] = frozenset()
    repaired: tuple[str, ...] = ()
    candidates: tuple[Candidate, ...] = ()
    forecasts: Mapping[str, tuple[Forecast, ...]] = field(default_factory=dict)
    fits: bool = True
    waiting: frozenset[str] = frozenset()
    looks_waiting: tuple[LookWaiting, ...] = ()
    seen_bad: frozenset[str] = frozenset()
    first: Measurement | None = None
    opening_waits: bool = False
    one_word: OneWord | None = None
    measured: bool = False
    made_here: tuple[str, ...] = ()
    unread: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """One family, priced.

    Attributes:
        state: what was priced.
        chances: P(present) per cause.
        table: hypotheses.
        problem: numbers.
        root: the batch of one state.
        moves: prices of the first moves.
        minutes: cause id -> time as this shop needs it.
        parts: cause id -> parts as this shop bills them [USD].
        told: cause id -> where time and parts come from, for those the shop's jobs have moved.
        tests: what stands behind the problem's test rows.
        shared_usd: (n, n) what two repairs through one opening save [USD].
        groups: disassembly of each repair, ``None`` for none of its own.
        repeat: the test that may be read again by another hand, empty for none.
        contested: tests that raised a stop whose other check lifts it; they are made once more.
    """

    state: FamilyState
    chances: Floats
    table: HypothesisTable
    problem: RepairProblem
    root: SearchState
    moves: Moves
    minutes: Mapping[str, Spread]
    parts: Mapping[str, Spread]
    told: Mapping[str, str]
    tests: tuple[Test | Candidate, ...]
    shared_usd: Floats
    groups: tuple[AccessGroup | None, ...]
    repeat: str = ""
    contested: frozenset[str] = frozenset()

    @property
    def once_more(self) -> frozenset[str]:
        """Return the tests that may be made once more."""
        return self.contested | {self.repeat}

    @property
    def read_as(self) -> dict[str, tuple[str, ...]]:
        """Return the tests that offered measurements take the place of, with those."""
        found: dict[str, tuple[str, ...]] = {}
        for test in self.tests:
            for seen in test.covers if isinstance(test, Candidate) else ():
                found[seen] = (*found.get(seen, ()), test.id)
        return found

    @property
    def best(self) -> float:
        """The lowest expected total."""
        return float(self.moves.best()[0])

    @property
    def without_test(self) -> float:
        """The lowest expected total when the next move is no test."""
        low = min(float(self.moves.plain[0]), float(self.moves.search[0]))
        return min(low, float(self.moves.repair.min(initial=np.inf)))

    @property
    def next_repair(self) -> int:
        """The number of the repair that is the best buy, -1 where the open search is better."""
        prices = self.moves.repair[0]
        best = int(np.argmin(prices)) if prices.size else -1
        return best if best >= 0 and prices[best] < self.moves.search[0] else -1


def plan_family(
    state: FamilyState,
    settings: Settings,
    *,
    access_groups: Mapping[str, AccessGroup] | None = None,
    history: History | None = None,
    warm: bool = False,
    opened: str = "",
    last_test: str = "",
    technician: str = "",
    depth: int | None = None,
    money: OwnerMoney | None = None,
) -> Plan:
    """Price every first move for one family.

    Args:
        state: the family, its odds, and what was done.
        settings: the shop's rates, the hours that the truck stands counted in.
        access_groups: disassembly that jobs share.
        history: the shop's own times.
        warm: whether the engine is warm now.
        opened: id of the disassembly that lies open now, empty for none.
        last_test: the test that was made last; what it has opened is open still.
        technician: who works on the truck, empty where not known.
        depth: moves looked ahead; thoroughly when not given.
        money: what the owner has said of time and money.
    """
    owner = money or OwnerMoney()
    table = tabulate(state.belief)
    family = state.family
    causes = [_cause(family, c) for c in table.causes]
    minutes = {c.id: shop_minutes(c, history, technician) for c in causes}
    parts = {
        c.id: shop_parts(c, history, technician, markup_percent=settings.parts_markup_percent)
        for c in causes
    }
    done = history.causes_done() if history is not None else frozenset()
    told = {c.id: whose_figures(c, history, technician) for c in causes if c.id in done}
    covered = {test for candidate in state.candidates for test in candidate.covers}
    plain = (test for test in family.tests if test.id not in covered)
    tests: tuple[Test | Candidate, ...] = (*plain, *state.candidates)
    known = access_groups or {}
    works = [(c.access_group, minutes[c.id]) for c in causes]
    looks = [(getattr(t, "access_group", ""), t.minutes) for t in tests]
    lying = [(opened, None)]
    rate = settings.labour_usd_per_hour / 60.0
    waits = [owner.wait_usd(c.id, settings) for c in causes]
    usd = np.array(
        [
            repair_usd(c, family, settings, minutes[c.id], parts[c.id], wait_usd=wait)
            for c, wait in zip(causes, waits, strict=True)
        ]
    )
    usd += _comeback_usd(causes, table, settings)
    outcomes = _outcomes(state, tests, table)
    problem = RepairProblem.of(
        members=table.members,
        repair_usd=usd,
        fixes=np.array([c.p_cured_if_cause for c in causes]),
        luck=np.array([c.p_cured_if_not for c in causes]),
        test_usd=np.array([price_of_test(t, settings, warm=warm) for t in tests]),
        outcomes=outcomes,
        dulled=_dull(outcomes),
        kin=_kin(family, tests),
        search_usd=search_usd(table.members, usd, np.array([c.prior for c in causes]), settings),
        repair_saves=rate * _shared([*looks, *lying], works, known),
        test_saves=rate * _shared([*looks, *lying], looks, known),
    )
    repeat = _to_repeat(state, table, usd, settings)
    results = {t: r for t, (r, _) in getattr(state.belief, "results", {}).items()}
    contested = checks_that_disagree(family.stops, results, state.made_here)
    done_tests = state.tests_done - {repeat} - contested
    last = next((k for k, t in enumerate(tests) if t.id == last_test), -1)
    root = start(
        problem,
        table.weights,
        repaired=_settled(state, table) | np.isin(table.causes, sorted(owner.refused)),
        tested=np.array([t.id in done_tests for t in tests], dtype=np.bool_),
        opened=len(tests) if opened else last,
    )
    moves = _priced(problem, root, depth)
    if float(moves.search[0]) <= float(moves.best()[0]) + 1e-9:
        # Before giving the list up, doubt the odds: would it still be right if they misled?
        table = _doubted(state, table)
        root = replace(root, weights=table.weights[None, :])
        moves = _priced(problem, root, depth)
    shared_usd = rate * _shared(works, works, known)
    groups = tuple(known.get(c.access_group) for c in causes)
    return Plan(
        state,
        state.belief.marginals(),
        table,
        problem,
        root,
        moves,
        minutes,
        parts,
        told,
        tests,
        shared_usd,
        groups,
        repeat,
        contested,
    )


def _to_repeat(state: FamilyState, table: HypothesisTable, usd: Floats, settings: Settings) -> str:
    """Return the test to read again before the repair of what leads, empty for none."""
    results = getattr(state.belief, "results", {})
    if not results or not state.made_here:
        return ""
    there = table.weights @ table.members
    there[[c in state.repaired for c in table.causes]] = 0.0
    lead = int(np.argmax(there))
    leader = (table.causes[lead], float(there[lead]), float(usd[lead]))
    known = {t: told for t, told in results.items() if t not in state.belief.halved}
    return test_to_repeat(state.family.tests, known, state.made_here, leader, settings)


def _priced(problem: RepairProblem, root: SearchState, depth: int | None) -> Moves:
    return thorough(problem, root) if depth is None else look_ahead(problem, root, depth=depth)


def _doubted(state: FamilyState, table: HypothesisTable) -> HypothesisTable:
    """Return the hypotheses with part of the weight given back to the pack's shares.

    The pack's likelihoods are judgement. When they leave nothing worth trying, they may have
    misled; parts that were not touched get their usual share of the doubt.
    """
    shares = np.zeros(table.weights.size)
    for number, identity in enumerate(table.causes):
        alone = (table.members.sum(axis=1) == 1) & table.members[:, number]
        cause = state.family.cause(identity)
        if cause is not None and identity not in state.repaired:
            shares[alone] = cause.prior
    if shares.sum() <= 0:
        return table
    weights = (1.0 - DOUBT) * table.weights + DOUBT * shares / shares.sum()
    return replace(table, weights=weights)


def search_usd(members: Bools, repair: Floats, shares: Floats, settings: Settings) -> Floats:
    """Return what the open-ended search costs under each hypothesis, with the repairs it ends in.

    A search without a list costs its time and, on average, some needless repairs of the family's
    usual size (judgement, in the settings). Where none of the listed causes is present, the
    repair it ends in is priced like a typical one.

    Args:
        members: (H, n) who is at fault.
        repair: (n,) cost of each repair [USD].
        shares: (n,) the pack's shares.
        settings: the shop's rates.
    """
    search = settings.search_minutes / 60.0 * settings.labour_usd_per_hour + settings.search_usd
    needless = settings.search_needless * float(repair @ shares / shares.sum())
    ends = members @ repair
    ends[members.sum(axis=1) == 0] = median(repair.tolist())
    return np.asarray(search + needless + ends, dtype=np.float64)


def _comeback_usd(causes: Sequence[Cause], table: HypothesisTable, settings: Settings) -> Floats:
    """Return what each repair costs on average because it may not hold [USD].

    The part was not at fault, the new one is bad or the work was wrong; now and then nobody notices
    before the truck comes back.
    """
    there = table.weights @ table.members
    cured = there * np.array([c.p_cured_if_cause for c in causes])
    return np.asarray(COMES_BACK * settings.comeback_usd * (1.0 - cured))


def _cause(family: Family, identity: str) -> Cause:
    found = family.cause(identity)
    if found is None:
        raise ValueError(f"the odds name '{identity}', which {family.id} does not list")
    return found


def _outcomes(
    state: FamilyState, tests: Sequence[Test | Candidate], table: HypothesisTable
) -> Floats:
    """Return P(outcome | hypothesis) of every test, padded to the same number of outcomes."""
    most = max((len(t.outcomes) for t in tests), default=1)
    found = np.zeros((len(tests), most, table.numbers.size))
    model = state.belief.model
    for number, test in enumerate(tests):
        if isinstance(test, Candidate):
            rows = np.stack(
                [
                    model.support_at(o.likelihood, table.numbers) * np.exp(_scale(o.likelihood))
                    for o in test.outcomes
                ]
            )
        else:
            rows = state.belief.chances_at(test, table.numbers)
        found[number, : rows.shape[0]] = rows / np.maximum(rows.sum(axis=0), 1e-300)
    return found


def _settled(state: FamilyState, table: HypothesisTable) -> Bools:
    """Return the repairs that need not be proposed again.

    A renewed part is proposed once more, and only once, when something was tested or measured since
    and points at it: then the repair itself has to be checked. That it did not cure is no such
    finding: the same repair is never made twice without a test between.
    """
    marginals = table.weights @ table.members
    belief = state.belief
    looked = bool(getattr(belief, "results", ()) or belief.halved or state.seen_bad)
    return np.array(
        [
            c in state.repaired
            and (not looked or marginals[k] < AGAIN_FROM or state.repaired.count(c) > 1)
            for k, c in enumerate(table.causes)
        ],
        dtype=np.bool_,
    )


def _scale(likelihood: Support | JointSupport) -> float:
    """Return the log factor that the odds take out of a joint likelihood."""
    if isinstance(likelihood, JointSupport) and likelihood.log_likelihood:
        return min(max(likelihood.log_likelihood.values()), 700.0)
    return 0.0


def _dull(outcomes: Floats) -> Floats:
    """Return the same with half the log likelihood, scaled to one again."""
    rows = np.where(outcomes > 0, np.maximum(outcomes, 1e-12) ** DULLED, 0.0)
    total = rows.sum(axis=1, keepdims=True)
    return np.asarray(rows / np.where(total > 0, total, 1.0), dtype=np.float64)


def _kin(family: Family, tests: Sequence[Test | Candidate]) -> Bools:
    number = {t.id: k for k, t in enumerate(tests)}
    kin = np.eye(len(tests), dtype=np.bool_)
    for group in family.dependent_tests:
        rows = [number[t] for t in group if t in number]
        for a in rows:
            kin[a, rows] = True
    hooks = [getattr(t, "sets_up", "") for t in tests]
    for a, hook in enumerate(hooks):
        for b, other in enumerate(hooks):
            if hook and hook == other:
                kin[a, b] = True
    return kin


def _shared(
    first: Sequence[tuple[str, Spread | None]],
    then: Sequence[tuple[str, Spread]],
    access_groups: Mapping[str, AccessGroup],
) -> Floats:
    """Return the minutes that each of *then* saves after each of *first*.

    Both are (disassembly, time); the time of the first is ``None`` where it lies open anyway.
    """
    found = np.zeros((len(first), len(then)))
    for row, (group, before) in enumerate(first):
        if group in access_groups:
            for column, (other, minutes) in enumerate(then):
                if other == group:
                    found[row, column] = shared_minutes(
                        access_groups[group].minutes, minutes, before
                    )
    return found
