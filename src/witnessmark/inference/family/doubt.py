"""How well the odds themselves are known: the doubt in the judged figures that made them.

The odds are exact for the figures that go in; the figures are judged. Here every judged figure is
moved by its doubt, one at a time, and what that does to each cause's log odds is added up in
squares (the delta method with finite steps). What was found before a repair is carried through it
backwards, so that its doubt counts as long as it bears on what is left.

The doubts (one standard deviation; judgements about judgements):

- a row of a test: a factor of two in the odds of each of its figures; a figure that the pack
  gives for many causes at once ("nothing special") is one figure and moves for all of them;
- the share of a cause, how many trucks have a second cause, how often it is none of the listed,
  and how often a repair fails: a factor of two as well;
- the weight of a clue, of a trouble code, and of what a linked complaint says: half of its
  logarithm, at most a factor of two.

Measured and handbook figures stay where they are; the shop's own proven closings narrow rows and
shares as they outweigh the pack's.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.family_belief import (
    CURED_BY_THE_WAY,
    CURED_WITH_ITS_TWIN,
    Belief,
)
from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.half_tables import HalfTables, marginals_of, pairs_of, tilted_sums
from witnessmark.inference.family.likelihood import (
    JUDGED_LOG_SD,
    Floats,
    MaxRow,
    how_many,
    max_row,
    present_in,
)
from witnessmark.inference.family.misreading import same_again
from witnessmark.inference.family.prior import clue_doubt
from witnessmark.inference.family.stage_reports import StageReports
from witnessmark.knowledge import Test

__all__ = ["Doubt", "doubt_of", "moved_row"]

#: Standard deviations from the middle to an end of the band: one time in ten the truth is beyond.
SIDE = NormalDist().inv_cdf(0.9)
#: States that are less likely than this are left out.
NEGLECTED = 1e-9

_Key = tuple[str, ...]
#: What a figure moved up, and moved down, changes in P(cause, evidence) and in P(evidence).
_Moves = dict[_Key, Floats]


@dataclass(frozen=True, slots=True)
class Doubt:
    """How far each cause's probability may be off.

    Attributes:
        low: P(cause present) if the judged figures are off against it; nine times in ten what the
            true figures give is not lower, shape (n,).
        high: and in its favour; nine times in ten it is not higher.
        parts: standard deviation of the log odds of every cause by kind of figure: ``share``,
            ``clue``, ``code``, ``repair``, ``link``, or a test's id.
    """

    low: Floats
    high: Floats
    parts: Mapping[str, Floats]


def doubt_of(belief: Belief) -> Doubt:
    """Return how far the probabilities of a belief may be off."""
    moves: _Moves = {}
    chances = belief.marginals()
    later = None
    _add(moves, _in_stage(belief, later))
    while belief.before is not None:
        told = belief.states / np.maximum(belief.start, 1e-300)
        every = _rows(belief.model, later, np.arange(len(belief.states)))
        later, repair = _before_repair(belief.before, belief.repaired[-1], every * told)
        belief = belief.before
        _add(moves, repair)
        _add(moves, _in_stage(belief, later))
    _add(moves, _at_the_start(belief, later))
    return _summed(chances, moves)


def _rows(model: FamilyModel, later: Floats | None, states: npt.NDArray[np.intp]) -> Floats:
    """Return what the evidence after a stage says of some states, shape (n + 1, states).

    One row a cause, P(it is present now and the later evidence | state); the last is the evidence
    as a whole. Without later evidence (``None``) a cause is there or not.
    """
    if later is not None:
        return np.asarray(later[:, states])
    held = present_in(states, len(model.causes))
    return np.concatenate([held, np.ones((1, len(states)))])


def moved_row(row: tuple[float, ...], number: int, step: float) -> tuple[float, ...]:
    """Return a test's row with the log odds of one of its figures moved by *step*."""
    p = min(max(row[number], 1e-9), 1.0 - 1e-9)
    odds = p / (1.0 - p) * float(np.exp(step))
    q = odds / (1.0 + odds)
    rest = (1.0 - q) / (1.0 - p)
    return tuple(q if k == number else x * rest for k, x in enumerate(row))


def _summed(chance: Floats, moves: _Moves) -> Doubt:
    inside = np.clip(chance, 1e-12, 1.0 - 1e-12)
    variance: dict[str, Floats] = defaultdict(lambda: np.zeros_like(chance))
    for key, change in moves.items():
        part = np.clip(inside + change[:, :-1], 1e-15, None)
        rest = np.clip(1.0 - inside + change[:, -1:] - change[:, :-1], 1e-15, None)
        odds = np.log(part) - np.log(rest)
        variance[key[0]] = variance[key[0]] + (0.5 * (odds[0] - odds[1])) ** 2
    sd = np.sqrt(np.sum(list(variance.values()), axis=0)) if variance else np.zeros_like(chance)
    # The probability is the mean over the doubt, and a mean lies nearer to the middle than the
    # odds it is the mean of (MacKay 1992, for log odds that scatter normally).
    middle = (np.log(inside) - np.log1p(-inside)) * np.sqrt(1.0 + np.pi / 8.0 * sd**2)
    low, high = (1.0 / (1.0 + np.exp(-(middle + side * sd))) for side in (-SIDE, SIDE))
    return Doubt(low, high, {k: np.sqrt(v) for k, v in variance.items()})


def _add(moves: _Moves, more: Iterable[tuple[_Key, Floats]]) -> None:
    """Add changes; the same figure used in two stages is off in both the same way."""
    for key, change in more:
        moves[key] = moves[key] + change if key in moves else change


def _at_the_start(belief: Belief, later: Floats | None) -> Iterator[tuple[_Key, Floats]]:
    """Move the shares of the causes and the weights of the clues."""
    model = belief.model
    if later is None:
        rows = []
        unlisted = np.append(np.zeros(len(model.causes)), belief.unlisted())
        inside = np.concatenate([pairs_of(belief.states), [belief.marginals()]])
    else:
        rows = [row * belief.states for row in later]
        unlisted = np.asarray([row[-1] for row in rows])
        inside = np.asarray([marginals_of(row) for row in rows])  # P(evidence row, cause present)
    clues = clue_doubt(model.family.causes, belief.clues, model.conditions)
    for number, cause in enumerate(belief.causes):
        for kind, sd in (("share", model.share_doubt.get(cause, 0.0)), ("clue", clues[cause])):
            if sd > 0.0:
                steps = np.expm1([sd, -sd])
                yield (kind, cause), steps[:, None] * inside[:, number]
    if model.family.source.kind != "judgement":
        return
    sides = np.asarray([JUDGED_LOG_SD, -JUDGED_LOG_SD])
    yield ("two causes",), np.asarray([_more_at_once(belief, rows, side) for side in sides])
    yield ("not listed",), np.outer(np.expm1(sides), unlisted)


def _more_at_once(belief: Belief, rows: Sequence[Floats], side: float) -> Floats:
    """Return what every cause beyond the first changes when it is likelier by exp(*side*).

    Args:
        belief: the belief at the start.
        rows: the later evidence times P(state); none where there is none.
        side: the log of the factor.
    """
    if rows:
        count = np.maximum(how_many(len(belief.causes)), 1) - 1
        change = np.expm1(side * np.arange(len(belief.causes)))[count]
        return np.asarray([row @ change for row in rows])
    total, joint = tilted_sums(belief.states, float(np.exp(side)))
    listed = 1.0 - belief.none_present()
    return np.append(joint - belief.marginals(), total - listed)


def _in_stage(belief: Belief, later: Floats | None) -> Iterator[tuple[_Key, Floats]]:
    """Move every judged row of the tests recorded in a stage, and what other complaints say."""
    # Nearly all sets of causes are out of the question by now; the rest carry the sums.
    seen = belief.states if later is None else belief.states * later[-1]
    kept = np.flatnonzero(seen > NEGLECTED)
    states, back = belief.states[kept], _rows(belief.model, later, kept)
    for kind, told in (("link", belief.message), ("code", belief.pointed)):
        if told is None:
            continue
        logs = np.log(np.maximum(told / told.max(), 1e-300))
        half = 0.5 * np.clip(logs[kept], -2.0 * JUDGED_LOG_SD, 0.0)
        yield (kind,), np.asarray((states * np.expm1([half, -half])) @ back.T)
    reports = belief.reports
    for identity, trust in reports.trusts.items():
        test = belief.model.family.test(identity)
        if test is None or not any(belief.model.row_doubt(test).values()):
            continue
        unit = states
        if identity in belief.earlier:
            unit = unit * (1.0 - same_again(test) * belief.earlier[identity][1][kept])
        hint = reports.hints.get(identity)
        # What a clue had said of the test already is taken off again.
        parts = [(trust, 1.0)] if hint is None else [(trust * hint, 1.0), (hint, -1.0)]
        for told, sense in parts:
            some = sense * unit
            sign = belief.model.sign_of.get(identity)
            if sign is None:
                table = belief.model.halves(test)
                likely = _likely(reports, test, told, table, kept)
                moved = _of_test(belief.model, test, told, back * (some / likely), kept)
            else:
                shows = reports.shows(sign, hints_only=sense < 0.0)[kept]
                branches = [
                    (table, back * (some * share / _likely(reports, test, told, table, kept)))
                    for table, share in zip(
                        belief.model.branches(test), (1.0 - shows, shows), strict=True
                    )
                ]
                moved = _of_report(belief.model, test, told, branches, kept)
            yield from moved


def _likely(
    reports: StageReports, test: Test, trust: Floats, table: HalfTables, kept: npt.NDArray[np.intp]
) -> Floats:
    """Return the likelihood of a recorded test under some states."""
    fresh = trust @ table.at(kept)
    if test.id in reports.earlier:
        again = same_again(test) * reports.earlier[test.id][1][kept]
        fresh = again * float(trust @ reports.last(test)) + (1.0 - again) * fresh
    return np.asarray(np.maximum(fresh, 1e-300))


def _of_report(
    model: FamilyModel,
    record: Test,
    trust: Floats,
    branches: Sequence[tuple[HalfTables, Floats]],
    kept: npt.NDArray[np.intp],
) -> Iterator[tuple[_Key, Floats]]:
    """Move the rows of a test that reports a sign, what the sign shows being held.

    A row moves the test alike where the sign shows and where it does not.

    Args:
        model: the family's tables.
        record: the test as the pack has it.
        trust: weight of each outcome.
        branches: without and with the sign, P(outcome | state) and P(row of the evidence, state)
            for one unit of the test's likelihood.
        kept: the states that count.
    """
    test, doubts = model.known(record), model.row_doubt(record)
    present = present_in(kept, len(model.causes))
    tied = np.asarray([test.row(c) == test.base for c in model.causes])
    held = np.vstack([present, ~(present[~tied] > 0.0).any(axis=0)])
    step = np.diff(trust, prepend=0.0)
    inside = np.zeros((len(step) - 1, len(branches[0][1]), len(held)))
    for table, unit in branches:
        beyond = np.cumsum(table.at(kept)[::-1], axis=0)[::-1]
        for k in range(1, len(step)):
            inside[k - 1] += (unit * (step[k] * beyond[k])) @ held.T
    rows = [(c, i, test.row(c)) for i, c in enumerate(model.causes) if not tied[i]]
    for cause, column, row in (("", len(tied), test.base), *rows):
        for number in range(len(step) if len(step) > 2 else 1):
            sides = []
            for sd in (doubts[cause], -doubts[cause]):
                ratio = _beyond(moved_row(row, number, sd)) / _beyond(row)
                sides.append((ratio - 1.0) @ inside[:, :, column])
            yield (record.id, cause, str(number)), np.asarray(sides)


def _beyond(row: tuple[float, ...]) -> Floats:
    """Return P(no outcome more telling than k) of a row, for every k but the first."""
    return np.asarray(np.cumsum(row[::-1])[::-1][1:])


def _of_test(
    model: FamilyModel, record: Test, trust: Floats, unit: Floats, kept: npt.NDArray[np.intp]
) -> Iterator[tuple[_Key, Floats]]:
    """Move the rows of one recorded test, the weights of its outcomes being held.

    Args:
        model: the family's tables.
        record: the test as the pack has it.
        trust: weight of each outcome.
        unit: P(row of the evidence, state) for one unit of the test's likelihood.
        kept: the states that count.
    """
    test, row, doubts = model.known(record), model.row(record), model.row_doubt(record)
    present = present_in(kept, len(model.causes))
    fresh = model.halves(record).at(kept)
    # L(set) = sum over k of step[k] * P(no outcome more telling than k | set), and a cause's
    # row enters each of these by one factor: so its change is exact in one sum a cause and k.
    step = np.diff(trust, prepend=0.0)
    beyond = np.cumsum(fresh[::-1], axis=0)[::-1]
    inside = np.asarray([(unit * (step[k] * beyond[k])) @ present.T for k in range(1, len(step))])
    tied = {c for c in model.causes if test.row(c) == test.base}
    for cause in ("", *(c for c in model.causes if c not in tied)):
        for number in range(len(step) if len(step) > 2 else 1):
            sides = []
            for sd in (doubts[cause], -doubts[cause]):
                moved = _moved(test, {cause} if cause else tied, cause, number, sd)
                rows = max_row(moved, model.causes)
                if cause and np.array_equal(rows.leak, row.leak):
                    i = model.number[cause]
                    ratio = rows.factor[1:, i] / row.factor[1:, i]
                    sides.append((ratio - 1.0) @ inside[:, :, i])
                else:
                    change = trust @ (_likelihoods(rows, present, kept) - fresh)
                    sides.append(unit @ change)
            yield (record.id, cause, str(number)), np.asarray(sides)


def _likelihoods(rows: MaxRow, present: Floats, kept: npt.NDArray[np.intp]) -> Floats:
    """Return P(outcome | state) of some states under moved rows."""
    survival = rows.leak[:, None] * np.exp(np.log(rows.factor) @ present)
    chance = np.maximum(survival - np.vstack([survival[1:], np.zeros(len(kept))]), 0.0)
    none = ~present.any(axis=0)
    chance[:, none] = rows.base[:, None]
    return np.asarray(chance)


def _moved(test: Test, causes: set[str], cause: str, number: int, step: float) -> Test:
    """Return the test with a figure moved: of some causes' rows, and of the base with them."""
    rows = {c: moved_row(test.row(c), number, step) for c in causes}
    base = test.base if cause else moved_row(test.base, number, step)
    return replace(test, base=base, probability={**test.probability, **rows})


def _before_repair(
    before: Belief, cause: str, later: Floats
) -> tuple[Floats, list[tuple[_Key, Floats]]]:
    """Carry the later evidence back through a repair; move how often that repair fails."""
    number = before.model.number.get(cause)
    if number is not None:
        failed = before.failed_repair(cause)
        back, gain = _transposed(later, number, failed)
        slope = gain @ before.states
        odds = failed / (1.0 - failed) * np.exp([JUDGED_LOG_SD, -JUDGED_LOG_SD])
        return back, [(("repair", cause), np.outer(odds / (1.0 + odds) - failed, slope))]
    back = (1.0 - CURED_BY_THE_WAY) * later + CURED_BY_THE_WAY * later[:, :1]
    for twin in reversed(before.model.twins(cause)):
        back, _ = _transposed(back, twin, 1.0 - CURED_WITH_ITS_TWIN)
    return back, []


def _transposed(later: Floats, number: int, failed: float) -> tuple[Floats, Floats]:
    """Return what a repair leaves of the later evidence, and what one more failure changes."""
    n = (later.shape[1] - 1).bit_length() - 1
    sets = later[:, :-1].reshape(len(later), 2 ** (n - 1 - number), 2, 2**number)
    back, gain = later.copy(), np.zeros_like(later)
    change = sets[:, :, 1] - sets[:, :, 0]
    inner = back[:, :-1].reshape(sets.shape)
    inner[:, :, 1] = sets[:, :, 0] + failed * change
    gain[:, :-1].reshape(sets.shape)[:, :, 1] = change
    return back, gain
