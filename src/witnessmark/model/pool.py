"""What many shops know together, as odds and estimates see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Pool", "PooledComeback", "PooledShares", "PooledTest", "PooledTime"]


@dataclass(frozen=True, slots=True)
class PooledShares:
    """The shares of one family's causes over many shops.

    Attributes:
        shares: cause id -> share; they sum to 1.
        weight: own cases that it takes for a shop's own shares to count as much as these: many
            where shops are alike, few where each has trucks of its own kind.
        shops: how many shops stand behind it.
    """

    shares: Mapping[str, float]
    weight: float
    shops: int


@dataclass(frozen=True, slots=True)
class PooledTest:
    """The table of one test over many shops.

    Attributes:
        outcomes: outcome ids, in the order of the rows.
        rows: cause id -> P(outcome | cause); a cause that is not here keeps the pack's row.
        weight: own results that it takes to count as much as such a row.
        shops: how many shops stand behind it.
    """

    outcomes: tuple[str, ...]
    rows: Mapping[str, tuple[float, ...]]
    weight: float
    shops: int


@dataclass(frozen=True, slots=True)
class PooledTime:
    """Hands-on time of one repair over many shops, drawn to the pack's while the jobs are few.

    Attributes:
        typical: median [min].
        p80: 80th percentile [min].
        weight: what it weighs, in jobs.
        shops: how many shops stand behind it.
    """

    typical: float
    p80: float
    weight: float
    shops: int


@dataclass(frozen=True, slots=True)
class PooledComeback:
    """How often one repair comes back over many shops.

    Attributes:
        rate: comebacks over closings.
        weight: what it weighs, in closings.
        shops: how many shops stand behind it.
    """

    rate: float
    weight: float
    shops: int


@dataclass(frozen=True, slots=True)
class Pool:
    """All that a pool holds.

    Attributes:
        families: family id -> its shares.
        quarter: the newest quarter in it.
        tests: family id -> test id -> its table; only rows that the counts have moved.
        minutes: cause id -> time of its repair; only what the counts have moved.
        comebacks: cause id -> how often its repair comes back; likewise.
    """

    families: Mapping[str, PooledShares] = field(default_factory=dict)
    quarter: str = ""
    tests: Mapping[str, Mapping[str, PooledTest]] = field(default_factory=dict)
    minutes: Mapping[str, PooledTime] = field(default_factory=dict)
    comebacks: Mapping[str, PooledComeback] = field(default_factory=dict)
