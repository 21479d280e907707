"""How well each set of places at fault explains the readings of one state of the truck.

Every set is nothing, one place or two. For each the best fitting circuit is sought (damped
Gauss-Newton in standard normals), then draws are made around it and from the prior and weighted
exactly, so that what comes out is the mean likelihood over all circuits of that set (importance
sampling from a Laplace proposal with a share of the prior, as in any text of Bayesian computation).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from witnessmark.inference.circuits.circuit import Bools, Circuit, Floats, Observed
from witnessmark.inference.discrepancy import shape_covariance
from witnessmark.inference.fuel.draws.normal_law import chi_square_quantile

__all__ = [
    "CircuitWeights",
    "log_prior_of",
    "marginals",
    "set_chances",
    "sets_of",
    "weigh_circuit",
]

_DRAWS, _SHARE, _WIDER = 320, 0.15, 1.07
_STEPS, _STEPS_OF_TWO = 8, 4
#: Sets so far behind the best get no draws; Laplace's figure does for them [natural log].
_FAR = 9.0
#: Misfit that one in two hundred sound models would show.
_QUANTILE = 0.995


@dataclass(frozen=True)
class CircuitWeights:
    """What the readings of one state say.

    Attributes:
        circuit: the circuit.
        observed: the readings.
        sets: sets of numbers of places at fault.
        log_likelihood: of each set, natural log.
        log_other: of something the model does not hold.
        z: draws, (sets, draws, dimensions).
        log_weight: of each draw within its set, (sets, draws); their exponentials sum to 1.
        predicted: what the draws would show, (sets, draws, readings).
        effective: effective number of draws of each set.
        misfit: of the best fitting circuit (chi square).
        limit: misfit from which on nothing known explains the readings.
    """

    circuit: Circuit
    observed: tuple[Observed, ...]
    sets: tuple[frozenset[int], ...]
    log_likelihood: Floats
    log_other: float
    z: Floats
    log_weight: Floats
    predicted: Floats
    effective: Floats
    misfit: float
    limit: float

    @property
    def fits(self) -> bool:
        """Whether some circuit explains the readings."""
        return self.misfit <= self.limit


def sets_of(circuit: Circuit) -> tuple[frozenset[int], ...]:
    """Return nothing, every place alone, every pair."""
    spots = range(len(circuit.spots))
    singles = [frozenset((s,)) for s in spots]
    return (frozenset(), *singles, *(frozenset(p) for p in combinations(spots, 2)))


def weigh_circuit(circuit: Circuit, observed: Sequence[Observed]) -> CircuitWeights:
    """Weigh every set of places by the readings of one state."""
    return _weighed(circuit, tuple(observed))


@lru_cache(maxsize=24)
def _weighed(circuit: Circuit, seen: tuple[Observed, ...]) -> CircuitWeights:
    sets = sets_of(circuit)
    bad = np.zeros((len(sets), len(circuit.spots)), dtype=bool)
    for row, places in enumerate(sets):
        bad[row, list(places)] = True
    value = np.array([o.value for o in seen])
    whiten = np.linalg.inv(np.linalg.cholesky(_covariance(seen)))
    best, precision, misfit = _best(circuit, seen, bad, value, whiten)
    scale = float(np.log(np.diag(whiten)).sum()) - 0.5 * len(seen) * np.log(2.0 * np.pi)
    log_like = scale - 0.5 * misfit - 0.5 * np.linalg.slogdet(precision)[1]
    z = np.repeat(best[:, None], _DRAWS, axis=1)
    log_weight = np.full(z.shape[:2], -np.log(_DRAWS))
    predicted = np.repeat(circuit.predict(best, bad, seen)[:, None], _DRAWS, axis=1)
    effective = np.full(len(sets), float(_DRAWS))
    near = np.flatnonzero(log_like > log_like.max() - _FAR)
    z[near], log_ratio = _draws(best[near], precision[near])
    rows = np.repeat(bad[near], _DRAWS, axis=0)
    shown = circuit.predict(z[near].reshape(-1, circuit.dimensions), rows, seen)
    left = (value - shown) @ whiten.T
    total = scale - 0.5 * np.square(left).sum(axis=1).reshape(len(near), _DRAWS) + log_ratio
    top = total.max(axis=1, keepdims=True)
    weight = np.exp(total - top)
    summed = weight.sum(axis=1)
    log_like[near] = np.log(summed / _DRAWS) + top[:, 0]
    log_weight[near] = np.log(np.maximum(weight / summed[:, None], 1e-300))
    predicted[near] = shown.reshape(len(near), _DRAWS, len(seen))
    effective[near] = summed**2 / np.square(weight).sum(axis=1)
    return CircuitWeights(
        circuit=circuit,
        observed=seen,
        sets=sets,
        log_likelihood=log_like,
        log_other=-float(np.log([max(o.channel.wide, 1e-9) for o in seen]).sum()),
        z=z,
        log_weight=log_weight,
        predicted=predicted,
        effective=effective,
        misfit=float(misfit.min()),
        limit=chi_square_quantile(max(len(seen), 1), _QUANTILE),
    )


def _covariance(observed: Sequence[Observed]) -> Floats:
    own = np.diag([o.sd**2 for o in observed])
    return np.asarray(own + shape_covariance([o.where() for o in observed], lambda _a, _b: 0.0))


def _best(
    circuit: Circuit, seen: Sequence[Observed], bad: Bools, value: Floats, whiten: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the best circuit of every set, its precision and its misfit.

    Nothing and single places are sought from two starts, pairs from what their two gave.
    """
    alone = len(circuit.spots) + 1
    found = []
    for size in (-0.6, 1.0):
        start = np.zeros((alone, circuit.dimensions))
        start[:, circuit.scatter :] = np.where(bad[:alone], size, 0.0)
        found.append(_sought(circuit, seen, bad[:alone], value, whiten, start, _STEPS))
    cost = np.stack([f[2] for f in found])
    pick, rows = cost.argmin(axis=0), np.arange(alone)
    z, precision = (np.stack([f[k] for f in found])[pick, rows] for k in (0, 1))
    misfit = cost.min(axis=0)
    start = np.zeros((len(bad) - alone, circuit.dimensions))
    for row, (a, b) in enumerate(combinations(range(len(circuit.spots)), 2)):
        first, second = (a, b) if misfit[a + 1] <= misfit[b + 1] else (b, a)
        start[row] = z[first + 1]
        start[row, circuit.scatter + second] = z[second + 1, circuit.scatter + second]
    two = _sought(circuit, seen, bad[alone:], value, whiten, start, _STEPS_OF_TWO)
    joined = zip((z, precision, misfit), two, strict=True)
    z, precision, misfit = (np.concatenate(pair) for pair in joined)
    return z, precision, misfit


def _sought(
    circuit: Circuit,
    seen: Sequence[Observed],
    bad: Bools,
    value: Floats,
    whiten: Floats,
    start: Floats,
    steps: int,
) -> tuple[Floats, Floats, Floats]:
    """Return best coordinates, precision there and misfit, by damped Gauss-Newton steps."""
    sets, dims = start.shape
    step = 1e-3
    rows = np.repeat(bad, dims + 1, axis=0)
    kick = np.vstack([np.zeros(dims), step * np.eye(dims)])

    def cost(z: Floats, shown: Floats) -> Floats:
        left = (value - shown) @ whiten.T
        return np.asarray(np.square(left).sum(axis=-1) + np.square(z).sum(axis=-1))

    z, slope = start, np.zeros((sets, len(seen), dims))
    now = cost(z, circuit.predict(z, bad, seen))
    for _ in range(steps):
        shown = circuit.predict((z[:, None] + kick).reshape(-1, dims), rows, seen)
        shown = shown.reshape(sets, dims + 1, len(seen))
        slope = np.einsum("ij,hkj->hik", whiten, (shown[:, 1:] - shown[:, :1]) / step)
        left = (value - shown[:, 0]) @ whiten.T
        normal = np.einsum("hik,hil->hkl", slope, slope) + np.eye(dims)
        pull = np.einsum("hik,hi->hk", slope, left) - z
        move = np.linalg.solve(normal, pull[..., None])[..., 0]
        for part in (1.0, 0.4, 0.12):
            tried = np.clip(z + part * move, -6.0, 6.0)
            then = cost(tried, circuit.predict(tried, bad, seen))
            better = then < now
            z = np.where(better[:, None], tried, z)
            move = np.where(better[:, None], 0.0, move)
            now = np.where(better, then, now)
    normal = np.einsum("hik,hil->hkl", slope, slope) + np.eye(dims)
    return z, normal, now


def _draws(best: Floats, precision: Floats) -> tuple[Floats, Floats]:
    """Return draws around the best and from the prior, and log(prior / proposal) of each."""
    dims = best.shape[1]
    rng = np.random.default_rng(29)
    unit = rng.standard_normal((_DRAWS, dims))
    root = np.linalg.cholesky(np.linalg.inv(precision)) * _WIDER
    near = best[:, None] + np.einsum("hij,nj->hni", root, unit)
    plain = np.broadcast_to(unit, near.shape)
    count = int(_SHARE * _DRAWS)
    z = np.concatenate([plain[:, :count], near[:, count:]], axis=1)
    prior = -0.5 * np.square(z).sum(axis=2)
    off = z - best[:, None]
    spread = np.einsum("hni,hij,hnj->hn", off, precision, off) / _WIDER**2
    log_det = 0.5 * np.linalg.slogdet(precision)[1] - dims * np.log(_WIDER)
    local = log_det[:, None] - 0.5 * spread
    proposal = np.logaddexp(np.log(1.0 - _SHARE) + local, np.log(_SHARE) + prior)
    return z, prior - proposal


def marginals(sets: Sequence[frozenset[int]], chance: Floats, count: int) -> Floats:
    """Return P(place at fault) of every place."""
    held = np.array([[s in places for places in sets] for s in range(count)], dtype=float)
    return np.asarray(held @ chance)


def set_chances(weights: CircuitWeights, log_prior: Floats) -> Floats:
    """Return P(set at fault | readings), without what the model does not hold, (sets,)."""
    total = log_prior + weights.log_likelihood
    chance = np.exp(total - total.max())
    return np.asarray(chance / chance.sum())


def log_prior_of(
    circuit: Circuit, share: Mapping[int, float], two: float, nothing: float, humility: float
) -> Floats:
    """Return the log prior of every set of places.

    Args:
        circuit: the circuit.
        share: group -> share among single faults, whatever their sum.
        two: P(two places | a fault).
        nothing: P(nothing wrong).
        humility: part of the weight given to all parts alike (nobody has counted the shares).
    """
    spots = np.zeros(len(circuit.spots))
    for number, group in enumerate(circuit.groups):
        for key, weight in group.shows.items():
            spots[circuit.number(key)] += share.get(number, 0.0) * weight
    spots = spots / max(spots.sum(), 1e-300)
    part = np.array([s.part for s in circuit.spots])
    spots[part] = (1.0 - humility) * spots[part] + humility * spots[part].sum() / part.sum()
    pairs = [float(spots[a] * spots[b]) for a, b in combinations(range(len(spots)), 2)]
    scale = sum(pairs)
    held = [
        nothing,
        *((1.0 - nothing) * (1.0 - two) * spots),
        *(np.array(pairs) / scale * (1.0 - nothing) * two),
    ]
    return np.log(np.maximum(held, 1e-12))
