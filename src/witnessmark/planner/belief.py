"""What the planner asks of the odds, and the table of hypotheses it plans with.

A hypothesis is the set of parts that are at fault together. The planner keeps the heaviest ones,
enough for all but a sliver of the probability, with their exact weights.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Protocol

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Test
from witnessmark.model.finding import JointSupport, Support

__all__ = ["Belief", "Table", "tabulate"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: Hypotheses are added, the heaviest first, until this share of the probability is covered.
COVERED = 0.995
MOST = 120
_DEEP = 9


class Belief(Protocol):
    """The odds of one family as the planner needs them."""

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the cause ids."""

    def marginals(self) -> Floats:
        """Return P(present) per cause."""

    def none_present(self) -> float:
        """Return P(none of the listed causes is present)."""

    def set_log_weights(self, members: Bools) -> Floats:
        """Return the log probability, up to a constant, of exactly these causes, one row a set."""

    def outcome_table(self, test: Test, members: Bools) -> Floats:
        """Return P(outcome | exactly these causes), shape (outcomes, sets)."""

    def support_table(self, support: Support | JointSupport, members: Bools) -> Floats:
        """Return the log likelihood of a finding for exactly these causes, one a set."""


@dataclass(frozen=True, slots=True)
class Table:
    """The heaviest hypotheses of one family.

    Attributes:
        causes: cause ids.
        members: (H, n) bool.
        weights: (H,) probabilities, scaled to one.
    """

    causes: tuple[str, ...]
    members: Bools
    weights: Floats

    def leads(
        self, weights: Floats | None = None, *, most: int = 4
    ) -> tuple[tuple[str, float], ...]:
        """Return (cause id, probability) under *weights*, likeliest first."""
        given = self.weights if weights is None else weights
        total = given.sum()
        if total <= 0:
            return ()
        marginals = given @ self.members / total
        order = np.argsort(-marginals, kind="stable")[:most]
        return tuple((self.causes[k], float(marginals[k])) for k in order if marginals[k] > 0.005)


def tabulate(belief: Belief, *, covered: float = COVERED, most: int = MOST) -> Table:
    """Return the heaviest hypotheses of *belief*.

    None, every single cause and every pair are looked at, and larger sets of the likelier causes.
    """
    causes = tuple(belief.causes)
    n = len(causes)
    marginals = belief.marginals()
    rows = [(), *((k,) for k in range(n)), *combinations(range(n), 2)]
    likely = sorted(np.argsort(-marginals)[:_DEEP].tolist())
    rows += [*combinations(likely, 3), *combinations(likely[:7], 4)]
    members = np.zeros((len(rows), n), dtype=np.bool_)
    for number, row in enumerate(rows):
        members[number, list(row)] = True
    log_weights = belief.set_log_weights(members)
    weights = np.exp(log_weights - log_weights.max())
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable")
    enough = int(np.searchsorted(np.cumsum(weights[order]), covered)) + 1
    kept = set(order[: min(enough, most)].tolist())
    kept |= {k for k in range(n + 1) if weights[k] > 1e-9}  # none, and every single cause
    # a repair that leaves one of two faults behind leads to the smaller set
    number_of = {row: k for k, row in enumerate(rows)}
    for k in list(kept):
        for size in range(1, len(rows[k])):
            kept |= {number_of[sub] for sub in combinations(rows[k], size)}
    rows_kept: Sequence[int] = sorted(kept)
    chosen = weights[rows_kept]
    return Table(causes, members[rows_kept], chosen / chosen.sum())
