"""What a physical model foretells of a reading, cut into ranges and offered to the planner."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.candidate import Candidate, CandidateOutcome
from witnessmark.model.step import Forecast, Spread

__all__ = ["cells_of", "offered", "places_in", "ranges_kept", "weighted_quantiles"]

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]

#: Ranges one measurement is cut into at most; the planner looks behind each of them.
MOST_RANGES = 5
#: A range that holds less than this of the probability goes to its nearest neighbour.
LEAST = 0.01


def weighted_quantiles(values: Floats, mass: Floats, shares: Sequence[float] | Floats) -> Floats:
    """Return the values below which the given shares of the probability lie.

    Args:
        values: (n,) what may be read.
        mass: (n,) probability of each, of any sum.
        shares: (k,) from 0 to 1.
    """
    order = np.argsort(values)
    held = np.cumsum(mass[order])
    at = np.searchsorted(held, np.asarray(shares) * held[-1])
    return np.asarray(values[order][np.minimum(at, len(values) - 1)])


def cells_of(shown: Floats, cuts: Sequence[Floats]) -> Places:
    """Number the cell of each row of readings.

    Args:
        shown: (n, readings) what may be read.
        cuts: for each reading the rising edges between its ranges.
    """
    cell = np.zeros(len(shown), dtype=np.int64)
    for column, edges in enumerate(cuts):
        cell = cell * (len(edges) + 1) + np.searchsorted(edges, shown[:, column])
    return cell


def places_in(cell: int, cuts: Sequence[Floats]) -> list[int]:
    """Return the range of each reading, from the number of a cell."""
    places = []
    for edges in reversed(cuts):
        places.append(cell % (len(edges) + 1))
        cell //= len(edges) + 1
    return places[::-1]


def ranges_kept(cell: Places, mass: Floats) -> tuple[list[int], Places]:
    """Return the cells that are told apart, and for each row which of them is the nearest.

    Args:
        cell: (n,) numbers of cells.
        mass: (n,) probability of each row.
    """
    share_of = np.bincount(cell, weights=mass)
    kept = sorted(int(c) for c in np.argsort(-share_of)[:MOST_RANGES] if share_of[c] >= LEAST)
    every = np.arange(len(share_of))
    nearest = np.argmin(np.abs(every[:, None] - np.array(kept)), axis=1)
    return kept, nearest[cell]


def offered(
    measurement: Measurement,
    outcomes: tuple[CandidateOutcome, ...],
    forecast: tuple[Forecast, ...],
    why: str,
) -> Candidate:
    """Return a measurement of a pack with what it may read, as the planner prices it."""
    return Candidate(
        id=measurement.id,
        family=measurement.family,
        name=measurement.name,
        minutes=measurement.minutes,
        usd=Spread(measurement.usd, measurement.usd, measurement.usd),
        outcomes=outcomes,
        access=measurement.access,
        needs=measurement.needs,
        cautions=measurement.caution,
        forecast=forecast,
        sets_up=measurement.sets_up,
        covers=measurement.covers,
        why=why,
    )
