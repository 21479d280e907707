"""A tiny exact belief by brute force over all sets of causes. For tests only.

Independent of the inference room: one cause by its share, two or more by the product of the
shares; a test finds nothing only if it finds nothing of any cause that is present (noisy-OR).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True)
class TinyModel:
    family: object

    def chances(self, test):
        base = np.array(test.base)
        rows = np.array([test.row(c.id) for c in self.family.causes])
        states = np.arange(2 ** len(rows))
        nothing = np.full(states.size, base[-1])
        found = np.zeros((base.size - 1, states.size))
        for k, row in enumerate(rows):
            there = states >> k & 1 == 1
            nothing = np.where(there, nothing * row[-1] / base[-1], nothing)
            found += np.outer(row[:-1], there)
        nothing = np.minimum(nothing, 0.99)
        total = found.sum(axis=0)
        found = np.where(total > 0, found / np.where(total > 0, total, 1) * (1 - nothing), 0)
        found[:, 0] = base[:-1]
        nothing[0] = base[-1]
        table = np.vstack([found, nothing])
        return np.hstack([table, base[:, None]])

    def support_at(self, support, states):
        return self.support(support)[states]

    def support(self, support):
        causes = [c.id for c in self.family.causes]
        logs = np.zeros(2 ** len(causes))
        for state in range(logs.size):
            present = {c for k, c in enumerate(causes) if state >> k & 1}
            if hasattr(support, "groups"):
                key = frozenset(k for k, g in enumerate(support.groups) if present & set(g))
                logs[state] = support.log_likelihood.get(key, 0.0)
            else:
                logs[state] = sum(support.log_likelihood.get(c, 0.0) for c in present)
        if hasattr(support, "groups"):
            logs -= max(support.log_likelihood.values())
        return np.append(np.exp(logs), np.exp(logs[0]))


@dataclass(frozen=True)
class TinyBelief:
    family: object
    given: object = None  # frozenset of cause ids -> probability, instead of the shares
    second: float = 0.12
    none: float = 0.02
    halved: frozenset = frozenset()

    @cached_property
    def model(self):
        return TinyModel(self.family)

    @property
    def causes(self):
        return tuple(c.id for c in self.family.causes)

    def chances_at(self, test, states):
        return self.model.chances(test)[:, states]

    @cached_property
    def states(self):
        n = len(self.causes)
        states = np.arange(2**n)
        if self.given is not None:
            weights = np.full(2**n + 1, 1e-12)
            for causes, probability in self.given.items():
                number = sum(1 << self.causes.index(c) for c in causes) if causes else 2**n
                weights[number] = probability
            weights[0] = 0.0
            return weights / weights.sum()
        weights = np.ones(2**n)
        for k, cause in enumerate(self.family.causes):
            weights = np.where(states >> k & 1 == 1, weights * cause.prior, weights)
        size = np.array([int(s).bit_count() for s in states])
        one, more = size == 1, size > 1
        weights[one] *= (1 - self.second - self.none) / weights[one].sum()
        weights[more] *= self.second / weights[more].sum()
        weights[0] = 0.0
        return np.append(weights, self.none)

    def marginals(self):
        states = np.arange(2 ** len(self.causes))
        return np.array(
            [self.states[:-1][states >> k & 1 == 1].sum() for k in range(len(self.causes))]
        )

    def none_present(self):
        return float(self.states[-1])

    def healthy(self):
        return 0.0

    def found(self):
        """Shares alone are words; what is given was read off something."""
        return self.given is not None


def sure_of(family, *causes):
    """The belief of someone who knows."""
    return TinyBelief(family, {frozenset(causes): 1.0})
