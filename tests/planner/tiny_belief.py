"""A tiny exact belief by brute force over all sets of up to three causes. For tests only.

One test outcome "nothing found" multiplies over the causes that are present (noisy-OR with the
base as leak); the other outcomes share the rest like the causes that are present do.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations

import numpy as np


@dataclass(frozen=True)
class TinyBelief:
    family: object
    log_likelihood: dict = field(default_factory=dict)  # frozenset -> log weight of the evidence
    second: float = 0.12
    none: float = 0.02

    @property
    def causes(self):
        return tuple(c.id for c in self.family.causes)

    def _sets(self):
        return [frozenset(s) for k in range(4) for s in combinations(self.causes, k)]

    def _table(self):
        sets = self._sets()
        norm = {}
        priors = {c.id: c.prior for c in self.family.causes}
        value = np.array([np.prod([priors[c] for c in s]) for s in sets])
        size = np.array([len(s) for s in sets])
        share = [self.none, 1 - self.second - self.none, 0.9 * self.second, 0.1 * self.second]
        for k in range(4):
            norm[k] = value[size == k].sum()
        weights = np.array([share[k] * v / norm[k] for k, v in zip(size, value, strict=True)])
        weights = weights * np.exp([self.log_likelihood.get(s, 0.0) for s in sets])
        return sets, weights / weights.sum()

    def marginals(self):
        sets, weights = self._table()
        return np.array(
            [sum(w for s, w in zip(sets, weights, strict=True) if c in s) for c in self.causes]
        )

    def none_present(self):
        return float(self._table()[1][0])

    def set_log_weights(self, members):
        sets, weights = self._table()
        known = dict(zip(sets, weights, strict=True))
        rows = [frozenset(np.array(self.causes)[row].tolist()) for row in members]
        return np.log([max(1e-300, known.get(r, 1e-12)) for r in rows])

    def outcome_row(self, test, present):
        base = np.array(test.base)
        rows = [np.array(test.row(c)) for c in present]
        nothing = base[-1] * np.prod([r[-1] / base[-1] for r in rows]) if rows else base[-1]
        found = sum((r[:-1] for r in rows), np.zeros(base.size - 1)) if rows else base[:-1]
        return np.append(found / found.sum() * (1 - nothing), nothing)

    def outcome_table(self, test, members):
        names = np.array(self.causes)
        return np.array([self.outcome_row(test, names[row]) for row in members]).T

    def support_table(self, support, members):
        names = np.array(self.causes)
        found = []
        for row in members:
            present = set(names[row].tolist())
            if hasattr(support, "groups"):
                key = frozenset(k for k, g in enumerate(support.groups) if present & set(g))
                found.append(support.log_likelihood.get(key, 0.0))
            else:
                found.append(sum(support.log_likelihood.get(c, 0.0) for c in present))
        return np.array(found)

    def after_test(self, test, outcome):
        row = test.outcomes.index(outcome)
        more = {
            s: self.log_likelihood.get(s, 0.0) + np.log(self.outcome_row(test, sorted(s))[row])
            for s in self._sets()
        }
        return TinyBelief(self.family, more, self.second, self.none)

    def sure_of(self, *causes):
        """The belief of someone who knows."""
        return TinyBelief(
            self.family,
            {s: (0.0 if s == frozenset(causes) else -30.0) for s in self._sets()},
            self.second,
            self.none,
        )
