"""From readings to probabilities: the table re-weighted, and new draws where too few count.

P(readings | what is at fault) is the weighted mean of the likelihood over the draws of each
hypothesis. Where fewer than ``ENOUGH`` draws carry the weight, new draws are proposed near
those that do, in the same coordinates, and all draws are weighted by prior over the mixture
they came from (deterministic mixture weights), so the answer stays unbiased. Laplace's method is
not used: the circuit has kinks (a relief valve that opens, a pump that starves) and faults of
two kinds, and an expansion round one best point is far off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.fuel_complaint import complaint_shift
from witnessmark.inference.fuel.draws.fuel_judge import OTHER_INDEX, Judge
from witnessmark.inference.fuel.draws.fuel_likelihood import log_unsteady, unsteady_stages
from witnessmark.inference.fuel.draws.fuel_prior import (
    DIMENSIONS,
    TYPE_DIMENSIONS,
    UNIT_DIMENSIONS,
)
from witnessmark.inference.fuel.draws.fuel_proposals import Pool, Proposal, cuts_of, fit, normals
from witnessmark.inference.fuel.draws.fuel_samples import (
    STEP_DIMENSIONS,
    Batch,
    Repair,
    from_table,
    simulate,
)
from witnessmark.inference.fuel.draws.fuel_table import PriorTable
from witnessmark.inference.fuel.draws.normal_law import chi_square_quantile
from witnessmark.inference.fuel.fuel_groups import AIR, GROUPS, HYPOTHESES, TOGETHER
from witnessmark.inference.fuel.fuel_observations import (
    Observation,
    in_order,
)

__all__ = ["ENOUGH", "ENOUGH_AFTER_WORK", "Floats", "FuelPosterior", "default_log_prior", "infer"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: Effective draws from which on the table alone is used.
ENOUGH = 500.0
#: Draws of one adaptive round and number of rounds at most.
ROUND, ROUNDS = 5000, 4
#: Draws that a hypothesis gets in a round at least: fewer lose a fault whose draws lie far off.
LEAST = 600
#: Rounds in which every single part is drawn anew, whatever the table's draws made of it.
SECOND_LOOKS = 2
#: Draws of the table walked through the repairs of a case, about; new ones in the first round
#: then, which only finds the place, and in each further one; effective draws that are enough.
WALKED, FIRST_AFTER_WORK, ROUND_AFTER_WORK = 12000, 4000, 8000
ENOUGH_AFTER_WORK = 350.0
#: Further rounds after work, where the effective draws are still too few.
MORE_AFTER_WORK = 3
#: A best explanation worse than this quantile of chi square is called no explanation.
FIT_QUANTILE = 0.995
_SINGLES = np.array([len(h) == 1 for h in HYPOTHESES])
_PAIRS = np.array([len(h) == 2 for h in HYPOTHESES])
_SETS = 1 << 9  #: sets of the nine groups, as bits
_FIRST = TYPE_DIMENSIONS + UNIT_DIMENSIONS


@dataclass
class FuelPosterior:
    """Weighted draws after the readings.

    Attributes:
        batch: the draws.
        weight: normalised posterior weights, shape (n,).
        log_prior: of the hypotheses.
        log_evidence: log P(readings | hypothesis), shape (hypotheses,).
        effective: effective number of draws, 1/sum(weight^2).
        chi_square: of the best modelled explanation.
        limit: what chi square may be.
        adapted: whether the adaptive step ran.
        observations: the readings.
        root: lower root of the covariance of all readings, ``None`` without any.
        log_parts: (stages, n) log likelihood of the readings up to each stage.
        log_extra: (n,) log likelihood of the clear hose; it weighs the draws but is no part of
            the likelihoods handed to the odds, which know the test themselves.
    """

    batch: Batch
    weight: Floats
    log_prior: Floats
    log_evidence: Floats
    effective: float
    chi_square: float
    limit: float
    adapted: bool
    observations: tuple[Observation, ...]
    root: Floats | None
    log_parts: Floats
    log_extra: Floats

    @property
    def fits(self) -> bool:
        """Whether some modelled set of faults explains the readings."""
        return self.chi_square <= self.limit

    def group_probabilities(self, stage: int = -1) -> Floats:
        """Return P(group at fault) in a stage (default: the last), shape (9,)."""
        label = self.batch.labels[stage]
        return np.array([float(self.weight[(label >> g) & 1 == 1].sum()) for g in range(9)])

    def healthy(self, stage: int = -1) -> float:
        """Return P(nothing at fault) in a stage."""
        return float(self.weight[self.batch.labels[stage] == 0].sum())

    def set_log_likelihoods(self, stage: int) -> dict[frozenset[int], float]:
        """Return the log likelihood, per set of groups, that the readings of *stage* add.

        For stage 0 this is log P(readings | exactly these at fault). For a later stage it is
        log P(readings of that stage | these at fault now, all readings before it), so that
        the findings of all stages may be used one after the other.
        """
        label = self.batch.labels[min(stage, len(self.batch.labels) - 1)]
        base = self.log_prior[self.batch.hypothesis] + self.batch.log_weight
        upto = self.log_parts[stage]
        before = self.log_parts[stage - 1] if stage else np.zeros_like(upto)
        log_before = _sums_of(label, base + before, _SETS)
        log_upto = _sums_of(label, base + upto, _SETS)
        return {
            frozenset(g for g in range(9) if value >> g & 1): float(log_upto[value])
            - float(log_before[value])
            for value in np.flatnonzero(np.isfinite(log_before) & np.isfinite(log_upto)).tolist()
        }


def default_log_prior(
    shares: Sequence[float] | None = None,
    *,
    nothing: float = 0.10,
    two: float = 0.20,
    together: Mapping[frozenset[int], float] = TOGETHER,
) -> Floats:
    """Return the log prior of every hypothesis.

    10 % nothing wrong, 70 % one group, 20 % two (assumed, no source); inside these in
    proportion to the groups' shares, but for pairs that are found together.

    Args:
        shares: share of each of the nine groups, any scale; default ``GROUPS``.
        nothing: P(nothing at fault).
        two: P(two groups at fault).
        together: pair of groups -> factor on the odds of both beyond independence.
    """
    share = np.array([g.share for g in GROUPS] if shares is None else shares, dtype=float)
    share = np.maximum(share, 1e-9) / np.maximum(share, 1e-9).sum()
    weight = np.zeros(len(HYPOTHESES))
    pairs = np.array([len(h) == 2 for h in HYPOTHESES])
    for i, hypothesis in enumerate(HYPOTHESES):
        weight[i] = float(np.prod(share[list(hypothesis)])) if hypothesis else 1.0
        weight[i] *= together.get(hypothesis, 1.0)
    singles = np.array([len(h) == 1 for h in HYPOTHESES])
    weight[singles] *= (1.0 - nothing - two) / weight[singles].sum()
    weight[pairs] *= two / weight[pairs].sum()
    weight[0] = nothing
    return np.asarray(np.log(weight))


def infer(
    table: PriorTable,
    observations: Sequence[Observation],
    *,
    log_prior: Floats | None = None,
    repairs: Sequence[Repair] = (),
    bubbles: Sequence[tuple[int, bool]] = (),
    seed: int = 11,
    adapt: bool = True,
) -> FuelPosterior:
    """Weigh the draws by the readings.

    Args:
        table: prior draws of the type.
        observations: the readings; ``stage`` is the number of *repairs* before each.
        log_prior: of the hypotheses.
        repairs: the work between the stages, in order.
        bubbles: (stage, seen) of the clear hose.
        seed: of the adaptive draws.
        adapt: whether the adaptive step may run.
    """
    prior = default_log_prior() if log_prior is None else log_prior
    obs = in_order(observations)
    first = tuple(o for o in obs if o.stage == 0 or not repairs)
    batch = from_table(table, first)
    judge = Judge(first, 0, bubbles, ())
    start = _weigh(judge, [batch], batch, prior)
    shift = np.zeros(len(HYPOTHESES))
    if first:
        shift = complaint_shift(table, start.log_parts[-1])
        start = _told(start, shift, (), unsteady_stages(first))
    if not repairs and (start.effective >= ENOUGH or not adapt):
        return start
    found = _adapt(table, start, obs, prior, tuple(repairs), tuple(bubbles), seed)
    return _told(found, shift, repairs, unsteady_stages(obs))


def _weigh(judge: Judge, pieces: Sequence[Batch], joined: Batch, prior: Floats) -> FuelPosterior:
    """Weigh draws: *joined* holds those of the *pieces*, in their order."""
    judged = [judge.judged(piece) for piece in pieces]
    parts = np.concatenate([j.log_parts for j in judged], axis=1)
    square = np.concatenate([j.square for j in judged])
    extra = np.concatenate([j.log_extra for j in judged])
    batch, obs, law = joined, judge.obs, judge.laws[-1][1]
    total = prior[batch.hypothesis] + batch.log_weight + parts[-1] + extra
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    evidence = _sums_of(batch.hypothesis, batch.log_weight + parts[-1] + extra)
    modelled = batch.hypothesis != OTHER_INDEX
    best = float(square[modelled].min()) if len(obs) and np.any(modelled) else 0.0
    return FuelPosterior(
        batch=batch,
        weight=weight,
        log_prior=prior,
        log_evidence=evidence,
        effective=float(1.0 / np.square(weight).sum()),
        chi_square=best,
        limit=chi_square_quantile(max(len(obs), 1), FIT_QUANTILE),
        adapted=False,
        observations=obs,
        root=None if law is None else law.root,
        log_parts=parts,
        log_extra=extra,
    )


def _told(
    found: FuelPosterior, shift: Floats, repairs: Sequence[Repair], unsteady: Sequence[int]
) -> FuelPosterior:
    """Return it with what the complaint adds to each hypothesis, and an unsteady needle to each.

    A needle that swung before the air leak was dealt with says nothing of the air now.
    """
    swings = [s for s in unsteady if all(r.group != AIR or s >= r.after_stage for r in repairs)]
    if not np.any(shift) and not swings:
        return found
    batch = found.batch
    parts = found.log_parts + shift[batch.hypothesis]
    for stage in swings:
        parts[min(stage, len(parts) - 1) :] += log_unsteady(batch.circuits.air, batch.labels[-1])
    terms = batch.log_weight + parts[-1] + found.log_extra
    total = found.log_prior[batch.hypothesis] + terms
    weight = np.exp(total - total.max())
    weight /= weight.sum()
    return replace(
        found,
        weight=weight,
        log_parts=parts,
        log_evidence=_sums_of(batch.hypothesis, terms),
        effective=float(1.0 / np.square(weight).sum()),
    )


def _sums_of(hypothesis: Ints, log_terms: Floats, kinds: int = len(HYPOTHESES)) -> Floats:
    """Return the log of the sum of exp over the draws of each hypothesis, or other kind."""
    top = np.full(kinds, -np.inf)
    np.maximum.at(top, hypothesis, log_terms)
    safe = np.where(np.isfinite(top), top, 0.0)
    total = np.bincount(hypothesis, weights=np.exp(log_terms - safe[hypothesis]), minlength=kinds)
    with np.errstate(divide="ignore"):
        return np.asarray(safe + np.log(total), dtype=np.float64)


def _adapt(
    table: PriorTable,
    start: FuelPosterior,
    obs: tuple[Observation, ...],
    prior: Floats,
    repairs: tuple[Repair, ...],
    bubbles: tuple[tuple[int, bool], ...],
    seed: int,
) -> FuelPosterior:
    width = DIMENSIONS + STEP_DIMENSIONS * len(repairs)
    sizes = np.bincount(start.batch.hypothesis, minlength=len(HYPOTHESES)).astype(np.float64)
    standard, used = normals(width, seed), 0
    base = _pruned(start).batch
    if repairs:
        index, sizes = _thinned(base.hypothesis, sizes)
        few = base.take(index)
        used = len(index)
        z = np.hstack([few.z, standard[:used, DIMENSIONS:]])
        base = simulate(table, few.hypothesis, z, obs, repairs, before=few)
        base.log_weight = -np.log(sizes[few.hypothesis])
    # the draws that shape the proposals may not be counted beside them: where chance put many
    # of them the proposals are dense, and the sum would come out low
    part = 2 if repairs else 4
    shaping, counted = _split(base, part)
    shaping_sizes, sizes = sizes * (1.0 - 1.0 / part), sizes / part
    judge = Judge(obs, len(repairs), bubbles, repairs)
    current = _weigh(judge, [shaping], shaping, prior)
    drawn: list[Batch] = []
    pool = Pool()
    proposals: dict[int, list[tuple[float, Proposal]]] = {}
    for round_ in range(ROUNDS + (MORE_AFTER_WORK if repairs else 0)):
        if round_:
            pieces = [shaping, counted, *drawn]
            batch = pool.join(pieces, proposals, shaping_sizes + sizes)
            current = _weigh(judge, pieces, batch, prior)
        rows, of = [], []
        log_like = current.log_parts[-1] + current.log_extra
        white = _white(current)
        for h, count in _allocate(current, prior, bool(repairs), round_).items():
            cuts = cuts_of(h, table.prior.layout_shares, repairs)
            for share, proposal in fit(current.batch, log_like, white, h, width, cuts):
                size = max(round(count * share), 4)
                rows.append(proposal.draw(standard[(used + np.arange(size)) % len(standard)]))
                used += size
                of.append(np.full(size, h, dtype=np.int64))
                proposals.setdefault(h, []).append((float(size), proposal))
        drawn.append(simulate(table, np.concatenate(of), np.concatenate(rows), obs, repairs))
        pieces = [counted, *drawn]
        found = _weigh(judge, pieces, pool.join(pieces, proposals, sizes), prior)
        if found.effective >= (ENOUGH_AFTER_WORK if repairs else ENOUGH):
            break
    whole = pool.join(pieces, proposals, sizes, circuits=True)
    return replace(found, batch=whole, adapted=True)


def _split(batch: Batch, part: int) -> tuple[Batch, Batch]:
    """Return the draws less every *part*-th of each hypothesis, and those."""
    order = np.argsort(batch.hypothesis, kind="stable")
    taken = np.arange(len(order)) % part == 1
    return batch.take(np.sort(order[~taken])), batch.take(np.sort(order[taken]))


def _thinned(hypothesis: Ints, sizes: Floats) -> tuple[Ints, Floats]:
    """Return which of the table's draws are walked through the repairs, and of how many.

    The table's rows are a sequence that fills the space evenly however far it is followed, so
    the first part of each hypothesis' kept rows stands for the same part of all its rows.
    """
    keep = min(1.0, WALKED / max(len(hypothesis), 1))
    if keep == 1.0:
        return np.arange(len(hypothesis)), sizes
    chosen = []
    rest = sizes.copy()
    for h in np.unique(hypothesis):
        here = np.flatnonzero(hypothesis == h)
        some = max(int(np.ceil(keep * len(here))), min(60, len(here)))
        rest[h] = sizes[h] * some / len(here)
        chosen.append(here[np.linspace(0, len(here) - 1, some).astype(np.int64)])
    return np.concatenate(chosen), rest


def _allocate(current: FuelPosterior, prior: Floats, walked: bool, round_: int) -> dict[int, int]:
    """Return how many new draws each hypothesis gets: where the weight is, and some elsewhere.

    In the first rounds every single part gets some however little it carries, and later every
    pair with the likeliest part: many sharp readings can leave all of the table's draws of a
    fault far off, and nobody would look again.
    """
    log_post = prior + current.log_evidence
    post = np.exp(log_post - log_post.max())
    post /= post.sum()
    wanted = post ** (0.6 if walked else 0.75)
    wanted /= wanted.sum()
    after_work = ROUND_AFTER_WORK if round_ else FIRST_AFTER_WORK
    counts = ((after_work if walked else ROUND) * wanted).astype(int)
    live = (post > 1e-4) & (counts >= 20)
    if round_ < SECOND_LOOKS:
        live |= _SINGLES
    if round_:
        leading = int(np.argmax(np.where(_SINGLES, post, -1.0)))
        live |= _PAIRS & np.array([HYPOTHESES[leading] <= h for h in HYPOTHESES])
    return {int(h): int(max(counts[h], LEAST)) for h in np.flatnonzero(live)}


def _pruned(start: FuelPosterior) -> FuelPosterior:
    """Drop the draws that carry nothing; the mixture still counts them as drawn.

    Every hypothesis keeps its best draws, so its likelihood stays known however small it is.
    """
    log_like = start.log_parts[-1]
    keep = log_like > log_like.max() - 18.0
    for h in np.unique(start.batch.hypothesis):
        here = np.flatnonzero(start.batch.hypothesis == h)
        most = 1200 if len(start.observations) else 400
        if np.count_nonzero(keep[here]) > most:
            continue
        best = here[np.argpartition(-log_like[here], min(80, len(here) - 1))[:80]]
        keep[best] = True
    index = np.flatnonzero(keep)
    return replace(
        start,
        batch=start.batch.take(index),
        weight=start.weight[index],
        log_parts=start.log_parts[:, index],
        log_extra=start.log_extra[index],
    )


def _white(current: FuelPosterior) -> Floats:
    """Return predicted minus read of every draw, whitened, shape (n, m)."""
    if current.root is None:
        return np.zeros((len(current.batch), 0))
    value = np.array([o.value for o in current.observations])
    left = (current.batch.predictions - value).T
    return np.asarray((np.linalg.inv(current.root) @ left).T, dtype=np.float64)
