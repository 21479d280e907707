"""What the planner asks of the odds, and the table of hypotheses it plans with.

A hypothesis is the set of parts that are at fault together. The odds hold the probability of
every such set; the planner keeps the heaviest ones, enough for all but a sliver of it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge import Test
from witnessmark.model.finding import JointSupport, Support

__all__ = ["AskedBelief", "HypothesisTable", "Model", "tabulate"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.intp]

#: Hypotheses are kept, the heaviest first, until this share of the probability is covered.
COVERED = 0.99
MOST = 100
_SMALLEST = 1e-9


class Model(Protocol):
    """Likelihoods over states.

    Bit k of a state's number is cause k; the last state is "a cause that the packs do not list".
    """

    def support(self, support: Support | JointSupport) -> Floats:
        """Return the likelihood over states of a finding, up to a factor."""

    def support_at(self, support: Support | JointSupport, states: Ints) -> Floats:
        """Return the same of some states alone."""


class AskedBelief(Protocol):
    """The odds of one family as the planner needs them."""

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the cause ids."""

    @property
    def model(self) -> Model:
        """Return the likelihoods over states."""

    @property
    def states(self) -> Floats:
        """Return P(state), shape (2**n + 1,); state 0 is "nothing is wrong any more"."""

    @property
    def halved(self) -> frozenset[str]:
        """Return the tests whose reading a finding has already used."""

    def chances_at(self, test: Test, states: Ints) -> Floats:
        """Return P(outcome | state) of a test made now for some states, (outcomes, states)."""

    def marginals(self) -> Floats:
        """Return P(present) per cause."""

    def none_present(self) -> float:
        """Return P(none of the listed causes is present)."""

    def healthy(self) -> float:
        """Return P(nothing is wrong any more)."""

    def found(self) -> bool:
        """Say whether anything was tested, measured or renewed."""


@dataclass(frozen=True, slots=True)
class HypothesisTable:
    """The heaviest hypotheses of one family, given that something is still wrong.

    Attributes:
        causes: cause ids.
        numbers: (H,) state numbers.
        members: (H, n) bool.
        weights: (H,) probabilities, scaled to one.
    """

    causes: tuple[str, ...]
    numbers: Ints
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


def tabulate(belief: AskedBelief, *, covered: float = COVERED, most: int = MOST) -> HypothesisTable:
    """Return the heaviest hypotheses of *belief*."""
    causes = tuple(belief.causes)
    n = len(causes)
    states = np.array(belief.states)
    states[0] = 0.0
    size = min(most, states.size)
    heavy = np.argpartition(-states, size - 1)[:size]
    heavy = heavy[np.argsort(-states[heavy], kind="stable")]
    share = np.cumsum(states[heavy]) / max(float(states.sum()), 1e-300)
    kept = {int(s) for s in heavy[: int(np.searchsorted(share, covered)) + 1]}
    # Single causes are kept so that a repair that leaves one of several faults leads somewhere.
    for state in list(kept):
        if state != 2**n:
            kept |= {state & ~(1 << k) for k in range(n) if state >> k & 1}
    kept |= {1 << k for k in range(n)} | {2**n}
    kept.discard(0)
    numbers = np.array(sorted(kept), dtype=np.intp)
    members = (numbers[:, None] >> np.arange(n)[None, :] & 1).astype(np.bool_)
    members[numbers == 2**n] = False
    weights = np.maximum(states[numbers], _SMALLEST)
    return HypothesisTable(causes, numbers, members, weights / weights.sum())
