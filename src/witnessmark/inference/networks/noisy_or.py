"""Noisy-OR networks of any size: exact posteriors by sums of positive terms only.

Causes are present independently with their prior; a finding is seen unless its background and
every present cause fail to bring it about (Pearl 1988). The classical closed form for many seen
findings (Heckerman 1989) sums terms of alternating sign and loses all digits; enumerating one and
two causes leaves the rest out. Here the causes are taken one after the other while a table holds,
for every set of seen findings, the probability that just this set is explained so far. All terms
are positive, so nothing cancels. A finding lives in the table only between its first and its last
possible cause, so the table has 2**width entries, where the width is at most the number of seen
findings and far smaller when findings have few causes each. What every further finding would say
takes the same pass, all of them side by side.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.inference.networks.noisy_or_order import order_of
from witnessmark.inference.networks.noisy_or_sums import Ends, Floats, sums

__all__ = ["NetworkPosterior", "NoisyOr", "Values"]

#: A finding less likely than this is summed for itself: a difference would lose digits.
RARE = 1e-3


@dataclass(frozen=True, slots=True)
class NetworkPosterior:
    """What is known after the evidence.

    Attributes:
        marginals: shape (n,), P(cause present | evidence).
        none: P(no cause present | evidence).
        two_or_more: P(two or more present | evidence).
        log_evidence: natural log of P(evidence).
    """

    marginals: Floats
    none: float
    two_or_more: float
    log_evidence: float


@dataclass(frozen=True, slots=True)
class Values:
    """What one more finding would say, for several findings at once.

    Attributes:
        findings: their numbers.
        seen: shape (t,), P(seen | evidence).
        if_seen: shape (t, n), P(cause present | evidence, seen).
        if_not: shape (t, n), P(cause present | evidence, not seen).
        bits: shape (t,), what the finding is expected to tell about each cause, summed [bit].
    """

    findings: tuple[int, ...]
    seen: Floats
    if_seen: Floats
    if_not: Floats
    bits: Floats


class NoisyOr:
    """A two-layer noisy-OR network.

    Args:
        prior: shape (n,), P(cause present), each above 0 and below 1.
        leak: shape (m,), P(finding seen | no cause), at least 0 and below 1.
        link: shape (n, m), P(a present cause brings the finding about by itself), 0 to below 1;
            0 where there is no link.

    Raises:
        ValueError: a number is outside its range or a shape does not fit.
    """

    def __init__(self, prior: Floats, leak: Floats, link: Floats) -> None:
        self.prior = np.asarray(prior, dtype=float)
        self.leak = np.asarray(leak, dtype=float)
        self.link = np.asarray(link, dtype=float)
        if self.link.shape != (self.prior.size, self.leak.size):
            raise ValueError("link has one row a cause and one column a finding")
        if not (np.all(self.prior > 0.0) and np.all(self.prior < 1.0)):
            raise ValueError("every prior lies above 0 and below 1")
        for name, array in (("leak", self.leak), ("link", self.link)):
            if not (np.all(array >= 0.0) and np.all(array < 1.0)):
                raise ValueError(f"every {name} lies from 0 to below 1")
        self._odds = self.prior / (1.0 - self.prior)
        self._spared = 1.0 - self.link
        self._parents = [sum(1 << int(i) for i in np.flatnonzero(column)) for column in self.link.T]

    def posterior(
        self,
        seen: Sequence[int],
        not_seen: Sequence[int] = (),
        soft: Mapping[int, tuple[float, float]] | None = None,
    ) -> NetworkPosterior:
        """Return the posterior of every cause.

        Args:
            seen: findings that were seen.
            not_seen: findings that were looked for and not seen; all others were not looked for.
            soft: finding -> (weight if not seen, weight if seen) for doubtful findings.

        Raises:
            ValueError: a finding is named twice, or the evidence is impossible.
        """
        ends = _ends(seen, not_seen, soft)
        odds = self._odds * np.prod(self._spared[:, list(not_seen)], axis=1)
        total, joint = self._sums(odds[None, :], ends)
        if not total[0] > 0.0:
            raise ValueError("the evidence is impossible: a seen finding has no cause and no leak")
        outside = float(np.log1p(-self.prior).sum() + np.log1p(-self.leak[list(not_seen)]).sum())
        none, single = self._alone(odds, ends)
        none, single = none / total[0], single / total[0]
        return NetworkPosterior(
            marginals=np.asarray(joint[0] / total[0]),
            none=float(none),
            two_or_more=max(0.0, 1.0 - float(none) - float(single.sum())),
            log_evidence=outside + float(np.log(total[0])),
        )

    def values(
        self,
        seen: Sequence[int],
        not_seen: Sequence[int] = (),
        soft: Mapping[int, tuple[float, float]] | None = None,
        findings: Sequence[int] | None = None,
    ) -> Values:
        """Return what each further finding would say, all in one pass.

        Args:
            seen: as for :meth:`posterior`.
            not_seen: as for :meth:`posterior`.
            soft: as for :meth:`posterior`.
            findings: the findings to value; all that were not looked for when not given.
        """
        ends = _ends(seen, not_seen, soft)
        known = {*ends, *not_seen}
        asked = [f for f in range(self.leak.size) if f not in known]
        asked = asked if findings is None else [f for f in findings if f not in known]
        base = self._odds * np.prod(self._spared[:, list(not_seen)], axis=1)
        odds = np.vstack([base, base * self._spared[:, asked].T])
        total, joint = self._sums(odds, ends)
        now = joint[0] / total[0]
        absent = (1.0 - self.leak[asked]) * total[1:] / total[0]
        if_not = joint[1:] / total[1:, None]
        # One difference of two sums of positive terms; its loss is bounded by 1 / P(seen).
        both = np.maximum(now - absent[:, None] * if_not, 0.0)
        present = np.maximum(1.0 - absent, 1e-300)
        if_seen = np.minimum(both / present[:, None], 1.0)
        for row in np.flatnonzero(present < RARE):
            present[row], if_seen[row] = self._rare(asked[row], base, ends, total[0])
        bits = (
            _entropy(now).sum()
            - present * _entropy(if_seen).sum(axis=1)
            - absent * _entropy(if_not).sum(axis=1)
        )
        return Values(tuple(asked), np.asarray(present), if_seen, if_not, np.asarray(bits))

    def _rare(self, finding: int, odds: Floats, ends: Ends, total: float) -> tuple[float, Floats]:
        """Return (P(seen), P(cause present | seen)) of a finding too rare for a difference."""
        some, joint = self._sums(odds[None, :], {**ends, finding: (0.0, 1.0)})
        if not some[0] > 0.0:
            return 1e-300, np.zeros(odds.size)
        return float(some[0] / total), np.asarray(joint[0] / some[0])

    def _alone(self, odds: Floats, ends: Ends) -> tuple[float, Floats]:
        """Return the weights of "no cause" and of each cause alone."""
        none, single = 1.0, np.array(odds)
        for finding, (off, on) in ends.items():
            missed = (1.0 - self.leak[finding]) * self._spared[:, finding]
            none *= off * (1.0 - self.leak[finding]) + on * self.leak[finding]
            single *= off * missed + on * (1.0 - missed)
        return none, single

    def _sums(self, odds: Floats, ends: Ends) -> tuple[Floats, Floats]:
        return sums(odds, self.link, self.leak, ends, order_of(list(ends), self._parents))


def _ends(
    seen: Sequence[int], not_seen: Sequence[int], soft: Mapping[int, tuple[float, float]] | None
) -> dict[int, tuple[float, float]]:
    named = [*seen, *not_seen, *(soft or {})]
    if len(set(named)) != len(named):
        raise ValueError("a finding is named twice")
    return {**dict.fromkeys(seen, (0.0, 1.0)), **(soft or {})}


def _entropy(chance: Floats) -> Floats:
    inside = np.clip(chance, 1e-300, 1.0)
    outside = np.clip(1.0 - chance, 1e-300, 1.0)
    return np.asarray(-(chance * np.log2(inside) + (1.0 - chance) * np.log2(outside)))
