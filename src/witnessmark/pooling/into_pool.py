"""Pooled shares of all lines made into what odds and estimates ask for."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from witnessmark.model.pool import Pool, PooledComeback, PooledShares, PooledTest, PooledTime
from witnessmark.pooling.cells import Cells
from witnessmark.pooling.sums import Shared
from witnessmark.pooling.tally import MINUTES

__all__ = ["pool_of_shares", "time_at"]

#: A row of a test, a time and a comeback rate are told from these changes on (judgement): the
#: rest is the packs' still.
_ROW, _TIME, _RATE = 0.005, 0.01, 0.0005
#: Ends of the first and the last band of minutes (judgement).
_ENDS = (10.0, 960.0)


def pool_of_shares(cells: Cells, found: Shared, quarter: str) -> Pool:
    """Return the pool.

    Args:
        cells: the order of the cells.
        found: shares and weights.
        quarter: the newest quarter in it.
    """
    families: dict[str, PooledShares] = {}
    tests: dict[str, dict[str, PooledTest]] = {}
    minutes: dict[str, PooledTime] = {}
    comebacks: dict[str, PooledComeback] = {}
    judged, shops = cells.judged, found.shops
    for number, line in enumerate(cells.lines):
        part = slice(cells.start[number], cells.start[number] + cells.size[number])
        share, said = found.share[part].tolist(), cells.said[part].tolist()
        weight = float(found.weight[number])
        if line.table == "closings":
            names = judged.shares[line.family]
            shares = dict(zip(names, share, strict=True))
            families[line.family] = PooledShares(shares, weight, shops)
        elif line.table == "results":
            if np.abs(np.subtract(share, said)).max() < _ROW:
                continue
            outcomes = judged.tests[line.family][line.test]
            family = tests.setdefault(line.family, {})
            held = family.get(line.test)
            rows = {**(held.rows if held else {}), line.cause: tuple(share)}
            least = min(weight, held.weight) if held else weight
            family[line.test] = PooledTest(outcomes, rows, least, shops)
        elif line.table == "minutes":
            pack = judged.minutes.get(line.cause)
            if pack is None or pack.typical <= 0:
                continue
            usual = time_at(said, 0.5)
            typical = pack.typical * time_at(share, 0.5) / usual
            if abs(typical / pack.typical - 1.0) >= _TIME:
                p80 = max(typical, pack.typical * time_at(share, 0.8) / usual)
                minutes[line.cause] = PooledTime(typical, p80, weight, shops)
        elif abs(share[1] - said[1]) >= _RATE:
            rate = share[1] / max(share[0], 1e-9)
            comebacks[line.cause] = PooledComeback(min(rate, 1.0), weight, shops)
    return Pool(families, quarter, tests, minutes, comebacks)


def time_at(bands: Sequence[float], share: float) -> float:
    """Return the time [min] that a share of the jobs stays under, by the bands, log-even inside.

    Args:
        bands: P(band); they sum to 1.
        share: from 0 to 1.
    """
    edges = [math.log(edge) for edge in (_ENDS[0], *MINUTES, _ENDS[1])]
    done = 0.0
    for k, part in enumerate(bands):
        if done + part >= share and part > 0:
            return math.exp(edges[k] + (share - done) / part * (edges[k + 1] - edges[k]))
        done += part
    return _ENDS[1]
