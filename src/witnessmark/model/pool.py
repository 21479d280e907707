"""What many shops know together of one family of complaints, as the odds see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Pool", "PooledShares"]


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
class Pool:
    """All families of a pool.

    Attributes:
        families: family id -> its shares.
        quarter: the newest quarter in it.
    """

    families: Mapping[str, PooledShares] = field(default_factory=dict)
    quarter: str = ""
