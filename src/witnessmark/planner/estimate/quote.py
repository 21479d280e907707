"""The estimate: lines, seals, overlap billed once, and the chance that it is exceeded.

Low and high of every figure are taken as its 10 % and 90 % points (judgement: that is how a
technician means "usually between"). The total is not the sum of the lows and the highs: the
items are added as distributions, labour with one common factor (rust, access, the day), for
long jobs tend to run long together.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from witnessmark.model.estimate import Estimate, EstimateLine
from witnessmark.model.settings import Settings
from witnessmark.model.step import Spread
from witnessmark.planner.ranking.costs import shared_minutes
from witnessmark.words.say import estimate as say

__all__ = [
    "ACCESS_SHARE",
    "Estimate",
    "EstimateLine",
    "QuoteJob",
    "access_minutes",
    "estimate",
    "overlap_minutes",
]

Floats = npt.NDArray[np.float64]

#: Share of a job's time that is getting there and back, by access level 1..5 (judgement).
ACCESS_SHARE = {1: 0.10, 2: 0.20, 3: 0.35, 4: 0.50, 5: 0.60}

#: One seal or sealing washer that is not in the box [USD] (judgement).
SEAL_USD = Spread(3.0, 10.0, 30.0)

#: Standard deviation of the log of the factor that all labour of one truck shares (judgement).
_COMMON_LOG_SD = 0.15
_Z90 = 1.2815515655446004
_BINS = 1024


@dataclass(frozen=True, slots=True)
class QuoteJob:
    """One job to be priced.

    Attributes:
        cause: cause id.
        name: what will be done, in words.
        minutes: hands-on time with access.
        usd: parts.
        renew_with: seals and fasteners that go with it.
        access: 1 (hood up) to 5 (engine or transmission out).
        access_group: jobs of one group share the disassembly; empty: none.
        cures: chance that this job, alone, cures the complaint; ``None`` where not known.
        core_usd: deposit on the old part, credited when it goes back.
        caution: what can hurt the person or the truck.
        quoted_seals: names out of *renew_with* whose price is already in *usd*.
        source: where time and parts come from, in words.
        opening: time of the group's disassembly, ``None`` where the pack does not say.
        renew_usd: name out of *renew_with* -> its price, where the pack gives one.
    """

    cause: str
    name: str
    minutes: Spread
    usd: Spread
    renew_with: tuple[str, ...] = ()
    access: int = 2
    access_group: str = ""
    cures: float | None = None
    core_usd: float = 0.0
    caution: str = ""
    quoted_seals: tuple[str, ...] = ()
    source: str = ""
    opening: Spread | None = None
    renew_usd: Mapping[str, Spread] = field(default_factory=dict)


def estimate(
    jobs: Sequence[QuoteJob], settings: Settings, *, quoted_usd: float | None = None
) -> Estimate:
    """Price *jobs* together.

    Args:
        jobs: what is to be done on one visit.
        settings: the shop's rates.
        quoted_usd: the sum to be quoted; the 80 % point of the total when not given.
    """
    lines = [*_labour_lines(jobs, settings), *_parts_lines(jobs, settings)]
    lines += _whole_lines(lines, settings)
    labour = [line.usd for line in lines if line.kind == "labour"]
    saved = -sum(line.usd.typical for line in lines if line.kind == "overlap")
    money = [line.usd for line in lines if line.kind in {"parts", "seal", "consumables", "tax"}]
    grid, density = _total(labour, saved, money)
    total = Spread(*(_point(grid, density, share) for share in (0.1, 0.5, 0.9)))
    quoted = _point(grid, density, 0.8) if quoted_usd is None else quoted_usd
    exceeded = float(np.clip(density[grid > quoted].sum(), 0.0, 1.0))
    cures = [job.cures for job in jobs]
    more = None
    if jobs and None not in cures:
        more = max(0.0, 1.0 - sum(c for c in cures if c is not None))
    return Estimate(
        lines=tuple(lines),
        total=total,
        quoted_usd=quoted,
        chance_exceeded=exceeded,
        chance_more_work=more,
        deposits_usd=sum(job.core_usd for job in jobs),
        diagnostic_fee_usd=settings.diagnostic_fee_usd,
        diagnostic_limit_usd=settings.diagnostic_limit_usd,
        contingency=_contingency(jobs, total, quoted, exceeded, more),
        cautions=tuple(dict.fromkeys(job.caution for job in jobs if job.caution)),
        source=settings.source,
    )


def access_minutes(minutes: float, access: int) -> float:
    """Return the part of a job's time that is getting there and back [min] (judgement)."""
    return minutes * ACCESS_SHARE[min(5, max(1, access))]


def overlap_minutes(jobs: Sequence[QuoteJob]) -> list[float]:
    """Return for every job the minutes that another job of its group already pays.

    One job of each group pays the disassembly in full; the others save what they share with it,
    as the plan counts it. Where the pack does not say how long the disassembly takes, it is
    judged by the access.
    """
    saved = [0.0] * len(jobs)
    groups = {job.access_group for job in jobs if job.access_group}
    for group in groups:
        rows = [k for k, job in enumerate(jobs) if job.access_group == group]
        times = {k: access_minutes(jobs[k].minutes.typical, jobs[k].access) for k in rows}
        pays = max(rows, key=lambda k: (times[k], -k))
        for k in rows:
            if k != pays:
                opening = jobs[k].opening
                saved[k] = times[k]
                if opening is not None:
                    saved[k] = shared_minutes(opening, jobs[k].minutes, jobs[pays].minutes)
    return saved


def _labour_lines(jobs: Sequence[QuoteJob], settings: Settings) -> list[EstimateLine]:
    rate = settings.labour_usd_per_hour / 60.0
    lines = []
    for job, saved in zip(jobs, overlap_minutes(jobs), strict=True):
        lines.append(
            EstimateLine(
                "labour",
                job.name,
                _scaled(job.minutes, rate),
                job.minutes,
                job.cause,
                job.source,
            )
        )
        if saved > 0:
            time = Spread(-saved, -saved, -saved)
            lines.append(
                EstimateLine(
                    "overlap",
                    say.shared_opening(job.access_group.replace("_", " ")),
                    _scaled(time, rate),
                    time,
                    job.cause,
                    say.share_judged(job.opening is not None),
                )
            )
    return lines


def _parts_lines(jobs: Sequence[QuoteJob], settings: Settings) -> list[EstimateLine]:
    lines = []
    markup = 1.0 + settings.parts_markup_percent / 100.0
    for job in jobs:
        if job.usd.high > 0:
            usd = _scaled(job.usd, markup)
            lines.append(EstimateLine("parts", say.parts_of(job.name), usd, None, job.cause))
        for seal in job.renew_with:
            inside = seal in job.quoted_seals
            lines.append(
                EstimateLine(
                    "seal",
                    say.goes_with(seal),
                    Spread(0.0, 0.0, 0.0) if inside else job.renew_usd.get(seal, SEAL_USD),
                    None,
                    job.cause,
                    say.seal_price(inside),
                )
            )
        if job.core_usd > 0:
            core = Spread(job.core_usd, job.core_usd, job.core_usd)
            lines.append(
                EstimateLine(
                    "core",
                    say.deposit(job.name),
                    core,
                    None,
                    job.cause,
                    say.deposit_back(),
                )
            )
    return lines


def _whole_lines(lines: Sequence[EstimateLine], settings: Settings) -> list[EstimateLine]:
    def added(kinds: set[str]) -> Spread:
        rows = [line.usd for line in lines if line.kind in kinds]
        return Spread(
            sum(r.low for r in rows), sum(r.typical for r in rows), sum(r.high for r in rows)
        )

    labour, parts = added({"labour", "overlap"}), added({"parts", "seal"})
    share, cap = settings.consumables_percent / 100.0, settings.consumables_cap_usd
    found = []
    if share > 0 and labour.typical > 0:
        usd = Spread(*(min(cap, share * max(0.0, x)) for x in _points(labour)))
        note = say.supplies(settings.consumables_percent, cap)
        found.append(EstimateLine("consumables", "Shop supplies", usd, None, "", note))
    on_parts, on_labour = settings.tax_percent_parts / 100.0, settings.tax_percent_labour / 100.0
    if on_parts > 0 or on_labour > 0:
        taxes = zip(_points(labour), _points(parts), strict=True)
        usd = Spread(*(on_labour * x + on_parts * y for x, y in taxes))
        found.append(EstimateLine("tax", "Tax", usd))
    return found


def _contingency(
    jobs: Sequence[QuoteJob], total: Spread, quoted: float, exceeded: float, more: float | None
) -> tuple[str, ...]:
    if not jobs:
        return (say.nothing_quoted(),)
    found = [say.expected(total.low, total.high, quoted, exceeded)]
    if more is not None and more >= 0.01:
        found.append(say.perhaps_more(more))
    if any(job.core_usd > 0 for job in jobs):
        found.append(say.deposits_credited())
    return tuple(found)


def _total(
    labour: Sequence[Spread], saved: float, money: Sequence[Spread]
) -> tuple[Floats, Floats]:
    """Return a grid [USD] and the probability of each cell of the total."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(7)
    weights = weights / weights.sum()
    factors = np.exp(_COMMON_LOG_SD * nodes)
    top = (
        1.0
        + sum(_far(s) for s in (*labour, *money))
        + (max(factors) - 1.0) * sum(_far(s) for s in labour)
    )
    step = top / _BINS
    grid = np.arange(_BINS) * step
    hands = _added([_cells(s, grid, step) for s in money])
    work = _added([_cells(s, grid, step) for s in labour])
    mean = np.zeros(_BINS)
    for factor, weight in zip(factors, weights, strict=True):
        moved = np.maximum(0.0, factor * grid - saved) / step
        low = np.minimum(_BINS - 1, np.floor(moved).astype(np.intp))
        part = np.clip(moved - low, 0.0, 1.0)
        high = np.minimum(_BINS - 1, low + 1)
        mean += weight * np.bincount(low, work * (1 - part), _BINS)
        mean += weight * np.bincount(high, work * part, _BINS)
    return grid, np.convolve(mean, hands)[:_BINS]


def _cells(spread: Spread, grid: Floats, step: float) -> Floats:
    """Return the probabilities of a two-piece normal with these 10 %, 50 %, 90 % points."""
    low = max((spread.typical - spread.low) / _Z90, 1e-6 * step)
    high = max((spread.high - spread.typical) / _Z90, 1e-6 * step)
    edges = np.concatenate([[-np.inf], grid[:-1] + 0.5 * step, [np.inf]])
    away = edges - spread.typical
    from_zero = _normal(np.where(away < 0, away / low, away / high))
    return np.asarray(np.diff(from_zero), dtype=np.float64)


def _normal(z: Floats) -> Floats:
    # Of a few hundred points the standard library's is as quick as loading a better one is slow.
    return np.array([0.5 * math.erfc(-x) for x in (z / math.sqrt(2.0)).tolist()])


def _added(parts: Sequence[Floats]) -> Floats:
    total = np.zeros(_BINS)
    total[0] = 1.0
    for part in parts:
        total = np.convolve(total, part)[:_BINS]
    return total


def _point(grid: Floats, density: Floats, share: float) -> float:
    """Return the *share* point of the distribution on *grid*."""
    if grid.size < 2 or density.sum() <= 0:
        return 0.0
    cumulated = np.cumsum(density) / density.sum()
    middle = cumulated - 0.5 * density / density.sum()
    return float(np.interp(share, middle, grid))


def _far(spread: Spread) -> float:
    return max(0.0, spread.typical + 3.5 * max(0.0, spread.high - spread.typical) / _Z90)


def _scaled(spread: Spread, factor: float) -> Spread:
    return Spread(spread.low * factor, spread.typical * factor, spread.high * factor)


def _points(spread: Spread) -> tuple[float, float, float]:
    return spread.low, spread.typical, spread.high
