"""Proposals for the adaptive step: normals near the draws that carry weight, and their mixture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import solve_triangular
from scipy.special import ndtr, ndtri

from witnessmark.inference.fuel_groups import HYPOTHESES
from witnessmark.inference.fuel_prior import (
    BIAS_SHARE,
    DIMENSIONS,
    LAYOUT_SHARES,
    RETURN_SPRING_SHARE,
    SPRING_SHARE,
    TYPE_DIMENSIONS,
    UNIT_DIMENSIONS,
)
from witnessmark.inference.fuel_samples import STEP_DIMENSIONS, Batch, join

__all__ = ["Gaussian", "fit", "pool"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_FIRST = TYPE_DIMENSIONS + UNIT_DIMENSIONS


@dataclass(frozen=True, slots=True)
class Gaussian:
    """A proposal: normal with mean and lower root, in D coordinates."""

    mean: Floats
    root: Floats
    inverse: Floats
    log_scale: float

    def draw(self, n: int, rng: np.random.Generator) -> Floats:
        """Return n draws, shape (n, D)."""
        return self.mean + rng.standard_normal((n, len(self.mean))) @ self.root.T

    def log_density(self, z: Floats) -> Floats:
        """Return the log density at z of shape (n, D)."""
        white = (z - self.mean) @ self.inverse.T
        return np.asarray(-0.5 * np.einsum("ij,ij->i", white, white) - self.log_scale)


def gaussian(mean: Floats, covariance: Floats) -> Gaussian:
    """Return the normal with this mean and covariance."""
    root = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    inverse = solve_triangular(root, np.eye(len(root)), lower=True, check_finite=False)
    scale = np.log(np.diag(root)).sum() + 0.5 * len(root) * np.log(2 * np.pi)
    return Gaussian(mean, root, inverse, float(scale))


def fit(
    batch: Batch, log_likelihood: Floats, white: Floats, h: int, width: int, repairs: int
) -> list[tuple[float, Gaussian]]:
    """Propose normals where the draws of a hypothesis carry weight, one per kind of fault.

    Each is the exact posterior of a straight-line model fitted to the draws nearby, with what
    the line leaves over added to the errors of the readings; directions that no reading
    touches so keep the width of the prior. The prior itself is always one of the proposals.

    Args:
        batch: the draws so far.
        log_likelihood: of every draw, shape (n,).
        white: predicted minus read of every draw, whitened, shape (n, m).
        h: number of the hypothesis.
        width: number of coordinates of the new draws.
        repairs: number of repairs; what each did is drawn wider, its rare outcomes matter.

    Returns:
        (share, normal) of every proposal.
    """
    here = np.flatnonzero(batch.hypothesis == h)
    z = batch.z[here]
    weight = _tempered((batch.log_weight + log_likelihood)[here], 250.0)
    wide = np.ones(width)
    for number in range(repairs):
        wide[DIMENSIONS + STEP_DIMENSIONS * number] = 1.7
    found = [(0.15, gaussian(np.zeros(width), np.diag(wide**2)))]
    if not white.shape[1]:
        return [(1.0, found[0][1])]
    cells = _cells(z, h)
    for cell in np.unique(cells[weight > 0]):
        inside = np.flatnonzero((cells == cell) & (weight > 0))
        share = float(weight[inside].sum())
        if share < 0.02:
            continue
        if len(inside) > 1500:
            inside = inside[np.argpartition(-weight[inside], 1500)[:1500]]
            share = float(weight[inside].sum())
        line = _line(z[inside], white[here[inside]], weight[inside] / share)
        found.append((0.85 * share, _widened(line, width, wide)))
    total = sum(share for share, _ in found)
    return [(share / total, g) for share, g in found]


def _line(z: Floats, y: Floats, w: Floats) -> tuple[Floats, Floats]:
    """Return mean and covariance of the posterior of a straight-line model.

    Args:
        z: coordinates, shape (n, D).
        y: predicted minus read, whitened: errors of unit size and independent, shape (n, m).
        w: weights that add up to 1, shape (n,).
    """
    known = z.shape[1]
    mean_z, mean_y = w @ z, w @ y
    dz, dy = z - mean_z, y - mean_y
    gram = (dz * w[:, None]).T @ dz + 0.01 * np.eye(known)
    slope = np.linalg.solve(gram, (dz * w[:, None]).T @ dy)  # (known, m)
    left = dy - dz @ slope
    # a line through few draws fits them too well: what it leaves over is scaled up again
    effective = 1.0 / float(np.square(w).sum())
    scale = effective / max(effective - known, 0.2 * effective)
    error = np.eye(y.shape[1]) + scale * (left * w[:, None]).T @ left
    at_zero = mean_y - mean_z @ slope
    spread = slope.T @ slope + error
    gain = np.linalg.solve(spread, slope.T).T  # (known, m)
    cov = np.eye(known) - gain @ slope.T
    return -gain @ at_zero, 0.5 * (cov + cov.T)


def _widened(line: tuple[Floats, Floats], width: int, wide: Floats) -> Gaussian:
    mean, cov = np.zeros(width), np.diag(wide**2)
    known = len(line[0])
    mean[:known] = line[0]
    cov[:known, :known] = 1.1 * line[1] + 0.01 * np.eye(known)
    return gaussian(mean, cov)


def _tempered(log_w: Floats, enough: float) -> Floats:
    """Return weights flattened until at least *enough* draws count."""
    log_w = log_w - log_w.max()
    weight = np.exp(log_w)
    for power in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05):
        weight = np.exp(power * log_w)
        weight /= weight.sum()
        if 1.0 / np.square(weight).sum() >= min(enough, 0.5 * len(weight)):
            break
    return np.asarray(weight)


def _cells(z: Floats, h: int) -> Ints:
    """Return which kind of fault and layout a draw is of: they are islands to a normal."""
    edges = np.cumsum(LAYOUT_SHARES)
    cell = (ndtr(z[:, 0]) > edges[0]).astype(np.int64) + (ndtr(z[:, 0]) > edges[1])
    cuts = {0: SPRING_SHARE, 1: RETURN_SPRING_SHARE, 7: BIAS_SHARE}
    for place, group in enumerate(sorted(HYPOTHESES[h])):
        if group in cuts:
            column = z[:, _FIRST + 3 * place]
            cell = cell * 2 + (column > ndtri(cuts[group]))
    return np.asarray(cell, dtype=np.int64)


def pool(
    drawn: Sequence[Batch],
    proposals: Mapping[int, Sequence[tuple[float, Gaussian]]],
    from_prior: Floats | None,
) -> Batch:
    """Join all draws with deterministic mixture weights.

    Args:
        drawn: batches of draws.
        proposals: hypothesis -> (number of draws, normal) of all proposals they came from.
        from_prior: number of draws per hypothesis that came from the prior, if any did.
    """
    joined = join(drawn)
    width = joined.z.shape[1]
    log_prior = -0.5 * (np.einsum("ij,ij->i", joined.z, joined.z) + width * np.log(2 * np.pi))
    joined.log_weight = np.zeros(len(joined))
    for h in np.unique(joined.hypothesis):
        here = np.flatnonzero(joined.hypothesis == h)
        z = joined.z[here]
        terms = [np.log(size) + g.log_density(z) for size, g in proposals.get(int(h), [])]
        if from_prior is not None:
            terms.append(np.log(from_prior[h]) + log_prior[here])
        joined.log_weight[here] = log_prior[here] - _log_sum(np.stack(terms))
    return joined


def _log_sum(terms: Floats) -> Floats:
    """Return the log of the sum of exp over the first axis."""
    top = terms.max(axis=0)
    return np.asarray(top + np.log(np.exp(terms - top).sum(axis=0)))
