"""Proposals for the adaptive step: normals near the draws that carry weight, and their mixture.

A part fails in one of a few ways, a type has one of three layouts, a repair went one of three
ways: each is a cut through one coordinate, and what lies beyond a cut is another circuit. A
proposal is therefore made for one side of every cut (a *cell*): along the cut coordinates it is
the prior inside the cell, along all others a normal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.draws.even_points import even_normals
from witnessmark.inference.fuel.draws.fuel_prior import (
    BIAS_SHARE,
    DIMENSIONS,
    FAULT_DIMENSIONS,
    RETURN_SPRING_SHARE,
    SLIP_SHARE,
    SPRING_SHARE,
    TYPE_DIMENSIONS,
    UNIT_DIMENSIONS,
)
from witnessmark.inference.fuel.draws.fuel_samples import (
    STEP_DIMENSIONS,
    WRONG_PART,
    Batch,
    Repair,
    join,
)
from witnessmark.inference.fuel.fuel_groups import HYPOTHESES
from witnessmark.late import late

if TYPE_CHECKING:
    from scipy import special
else:
    special = late("scipy.special")

__all__ = ["Cut", "Pool", "Proposal", "cuts_of", "fit", "normals"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_FIRST = TYPE_DIMENSIONS + UNIT_DIMENSIONS
_KIND_SHARE = {0: SPRING_SHARE, 1: RETURN_SPRING_SHARE, 3: SLIP_SHARE, 7: BIAS_SHARE}
#: Low-discrepancy points kept ready for the draws of one assessment.
_POINTS = 1 << 15
#: How much wider than the prior a repair's outcome is drawn at first: its rare ones matter.
_WIDE = 1.7
_LOG_2PI = float(np.log(2.0 * np.pi))


@dataclass(frozen=True, slots=True)
class Cut:
    """Coordinate that only matters by the side of its edges it lies on.

    Attributes:
        column: number of the coordinate.
        edges: standard normal values of the edges, rising, with -inf and inf at the ends.
        shares: prior probability of each piece.
    """

    column: int
    edges: Floats
    shares: Floats

    @classmethod
    def at(cls, column: int, shares: Sequence[float]) -> Cut:
        """Return the cut of a coordinate into pieces of these probabilities."""
        share = np.asarray(shares, dtype=np.float64)
        inner = np.clip(np.cumsum(share)[:-1], 0.0, 1.0)
        return cls(column, np.concatenate([[-np.inf], special.ndtri(inner), [np.inf]]), share)


@dataclass(frozen=True, slots=True)
class Proposal:
    """Normal over the free coordinates, the prior inside one piece along every cut one.

    Attributes:
        width: number of coordinates.
        free: numbers of the coordinates the normal is over.
        mean: of the normal.
        root: lower root of its covariance.
        inverse: of *root*.
        log_scale: log of the normal's norm.
        pieces: (cut, number of its piece) of the cell.
    """

    width: int
    free: Ints
    mean: Floats
    root: Floats
    inverse: Floats
    log_scale: float
    pieces: tuple[tuple[Cut, int], ...] = ()

    def draw(self, standard: Floats) -> Floats:
        """Return draws made of standard normals of shape (n, width)."""
        z = np.empty((len(standard), self.width))
        z[:, self.free] = self.mean + standard[:, self.free] @ self.root.T
        for cut, piece in self.pieces:
            below = float(cut.shares[:piece].sum())
            inside = below + float(cut.shares[piece]) * special.ndtr(standard[:, cut.column])
            low, high = cut.edges[piece], cut.edges[piece + 1]
            z[:, cut.column] = np.clip(
                special.ndtri(np.clip(inside, 1e-15, 1.0 - 1e-15)), low, high
            )
        return z

    def log_density(self, z: Floats) -> Floats:
        """Return the log density at z of shape (n, width)."""
        inside = np.arange(len(z))
        for cut, piece in self.pieces:
            x = z[inside, cut.column]
            inside = inside[(x >= cut.edges[piece]) & (x <= cut.edges[piece + 1])]
        there = z if len(inside) == len(z) else z[inside]
        free = there[:, self.free] if len(self.free) < self.width else there
        white = (free - self.mean) @ self.inverse.T
        log = -0.5 * np.einsum("ij,ij->i", white, white) - self.log_scale
        for cut, piece in self.pieces:
            x = there[:, cut.column]
            log -= 0.5 * x * x + 0.5 * _LOG_2PI + float(np.log(cut.shares[piece]))
        found = np.full(len(z), -np.inf)
        found[inside] = log
        return found


@lru_cache(maxsize=6)
def normals(width: int, seed: int) -> Floats:
    """Return standard normals that fill the space evenly, shape (many, width)."""
    return even_normals(width, _POINTS, seed)


def cuts_of(
    h: int, layout_shares: Sequence[float], repairs: Sequence[Repair] = ()
) -> tuple[Cut, ...]:
    """Return the cuts that matter to a hypothesis.

    Args:
        h: number of the hypothesis.
        layout_shares: probability of each layout; one entry where the type is given.
        repairs: what was renewed, where the draws hold the repairs' coordinates.
    """
    cuts = [Cut.at(0, layout_shares)] if len(layout_shares) > 1 else []
    for place, group in enumerate(sorted(HYPOTHESES[h])):
        if group in _KIND_SHARE:
            share = _KIND_SHARE[group]
            cuts.append(Cut.at(_FIRST + FAULT_DIMENSIONS * place, (share, 1.0 - share)))
    for number, repair in enumerate(repairs):
        in_vain = (1.0 - WRONG_PART) * (1.0 - repair.share)
        shares = [WRONG_PART, in_vain, 1.0 - WRONG_PART - in_vain]
        some = [share for share in shares if share > 1e-9]
        cuts.append(Cut.at(DIMENSIONS + STEP_DIMENSIONS * number, some))
    return tuple(cuts)


def _proposal(
    width: int, free: Ints, mean: Floats, cov: Floats, pieces: tuple[tuple[Cut, int], ...] = ()
) -> Proposal:
    root = np.asarray(np.linalg.cholesky(cov), dtype=np.float64)
    inverse = np.asarray(np.linalg.inv(root), dtype=np.float64)
    scale = float(np.log(np.diag(root)).sum()) + 0.5 * len(root) * _LOG_2PI
    return Proposal(width, free, mean, root, inverse, scale, pieces)


def fit(
    batch: Batch,
    log_likelihood: Floats,
    white: Floats,
    h: int,
    width: int,
    cuts: Sequence[Cut],
) -> list[tuple[float, Proposal]]:
    """Propose where the draws of a hypothesis carry weight, one proposal a cell.

    Each normal is the exact posterior of a straight-line model fitted to the draws nearby, with
    what the line leaves over added to the errors of the readings; directions that no reading
    touches so keep the width of the prior. The prior itself is always one of the proposals.

    Args:
        batch: the draws so far.
        log_likelihood: of every draw, shape (n,).
        white: predicted minus read of every draw, whitened, shape (n, m).
        h: number of the hypothesis.
        width: number of coordinates of the new draws.
        cuts: cuts that matter to the hypothesis, within the coordinates of *batch*.

    Returns:
        (share, proposal) of every proposal.
    """
    here = np.flatnonzero(batch.hypothesis == h)
    z = batch.z[here]
    log_w = (batch.log_weight + log_likelihood)[here]
    weight = _tempered(log_w, 250.0)
    wide = np.ones(width)
    wide[DIMENSIONS::STEP_DIMENSIONS] = _WIDE
    everything = np.arange(width)
    found = [(0.10, _proposal(width, everything, np.zeros(width), np.diag(wide**2)))]
    if not white.shape[1]:
        return [(1.0, found[0][1])]
    pieces = [np.searchsorted(c.edges[1:-1], z[:, c.column]) for c in cuts]
    cell = np.zeros(len(here), dtype=np.int64)
    for cut, piece in zip(cuts, pieces, strict=True):
        cell = cell * len(cut.shares) + piece
    known = np.setdiff1d(np.arange(z.shape[1]), [c.column for c in cuts])
    free = np.setdiff1d(everything, [c.column for c in cuts])
    for one in np.unique(cell[weight > 0]):
        inside = np.flatnonzero((cell == one) & (weight > 0))
        share = float(weight[inside].sum())
        if share < 0.01:
            continue
        if len(inside) > 1200:
            inside = inside[np.argpartition(-weight[inside], 1200)[:1200]]
        w = _tempered(log_w[inside], 100.0)
        line = _line(z[np.ix_(inside, known)], white[here[inside]], w)
        mean, cov = np.zeros(len(free)), np.diag(wide[free] ** 2)
        place = np.searchsorted(free, known)
        mean[place] = line[0]
        side = tuple((c, int(p[inside[0]])) for c, p in zip(cuts, pieces, strict=True))
        cov[np.ix_(place, place)] = 1.1 * line[1] + 0.02 * np.eye(len(known))
        found.append((0.90 * share, _proposal(width, free, mean, cov, side)))
    total = sum(share for share, _ in found)
    return [(share / total, proposal) for share, proposal in found]


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


class Pool:
    """All draws of an assessment joined with deterministic mixture weights.

    What a draw's density is under a proposal never changes, so it is worked out once and kept
    from round to round.
    """

    def __init__(self) -> None:
        self._rows: dict[int, list[tuple[int, Ints]]] = {}
        self._terms: dict[tuple[int, int, int], Floats] = {}
        self._kept: list[Batch] = []

    def join(
        self,
        drawn: Sequence[Batch],
        proposals: Mapping[int, Sequence[tuple[float, Proposal]]],
        from_prior: Floats,
        *,
        circuits: bool = False,
    ) -> Batch:
        """Join all draws.

        Args:
            drawn: batches of draws.
            proposals: hypothesis -> (number of draws, proposal) of all proposals they came
                from; the lists only ever grow.
            from_prior: number of draws per hypothesis that came from the prior.
            circuits: whether their circuits are wanted too; weighing needs none.
        """
        joined = join(drawn, circuits=circuits)
        joined.log_weight = np.concatenate(
            [self._weights(piece, proposals, from_prior) for piece in drawn]
        )
        return joined

    def _weights(
        self,
        piece: Batch,
        proposals: Mapping[int, Sequence[tuple[float, Proposal]]],
        from_prior: Floats,
    ) -> Floats:
        if id(piece) not in self._rows:
            self._kept.append(piece)
            order = np.argsort(piece.hypothesis, kind="stable")
            ends = np.flatnonzero(np.diff(piece.hypothesis[order])) + 1
            self._rows[id(piece)] = [
                (int(piece.hypothesis[rows[0]]), rows) for rows in np.split(order, ends)
            ]
        found = np.zeros(len(piece))
        for h, rows in self._rows[id(piece)]:
            z = piece.z[rows]
            log_prior = -0.5 * (np.einsum("ij,ij->i", z, z) + z.shape[1] * _LOG_2PI)
            terms = []
            for number, (size, proposal) in enumerate(proposals.get(h, [])):
                key = (id(piece), h, number)
                if key not in self._terms:
                    self._terms[key] = np.log(size) + proposal.log_density(z)
                terms.append(self._terms[key])
            if from_prior[h] > 0:
                terms.append(np.log(from_prior[h]) + log_prior)
            found[rows] = log_prior - _log_sum(np.stack(terms))
        return found


def _log_sum(terms: Floats) -> Floats:
    """Return the log of the sum of exp over the first axis."""
    top = terms.max(axis=0)
    return np.asarray(top + np.log(np.exp(terms - top).sum(axis=0)), dtype=np.float64)
