"""What the shop's own history teaches: shares, times, seals, comebacks. Always with a band.

The packs' shares count as 20 pseudo-cases a family (judgement: after about 40 own cases the
shop's own figures weigh twice the pack's). Only proven closings teach; the others are counted so
that they can be shown. Old closings fade with a half-life, for prices, engines and customers
drift (judgement: three years). Nothing is sorted inside its own noise: figures that the data
cannot tell apart share a rank and stand in the pack's order.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from witnessmark.inference.few_cases import beta_band, median_ranks, quantile
from witnessmark.model.shop_record import Closing, History, Job
from witnessmark.model.step import Spread
from witnessmark.words.say import assumed

__all__ = [
    "HALF_LIFE_DAYS",
    "PSEUDO_CASES",
    "ComebackRate",
    "JobTimes",
    "Renewal",
    "Share",
    "Shares",
    "comeback_rates",
    "corrected",
    "faded",
    "job_costs",
    "job_times",
    "renewals",
    "shares",
]

PSEUDO_CASES = 20.0
HALF_LIFE_DAYS = 3 * 365.25
_Z90 = 1.6448536269514722
#: With so many jobs the shop's own ratio weighs as much as the pack's figure (judgement).
_TIME_PSEUDO = 4.0


@dataclass(frozen=True, slots=True)
class Share:
    """The share of one cause among a family's cases.

    Attributes:
        cause: cause id.
        prior: the pack's share.
        share: pack and history together.
        size: cases that stand behind it, the pack's counted with them.
        proven: proven closings with this cause as the first one found.
        second: proven closings in which it was found after another cause.
        rank: 1 for the most frequent; causes that cannot be told apart share a rank.
    """

    cause: str
    prior: float
    share: float
    size: float
    proven: int
    second: int
    rank: int

    @property
    def low(self) -> float:
        """Return the lower end of the 90 % band."""
        return beta_band(self.share * self.size, (1.0 - self.share) * self.size)[0]

    @property
    def high(self) -> float:
        """Return the upper end of the 90 % band."""
        return beta_band(self.share * self.size, (1.0 - self.share) * self.size)[1]


@dataclass(frozen=True, slots=True)
class Shares:
    """The shares of one family.

    Attributes:
        family: family id.
        causes: by rank, in the pack's order inside a rank.
        proven: proven closings used.
        unproven: closings left out because nothing was proven.
        unlisted: proven closings whose cause the pack does not list; left out as well.
        weight: what the proven closings weigh after fading.
        two_causes: share of the proven closings that had two or more causes; ``None`` without.
        words: one sentence that says whose odds these are.
        start_weight: own cases at which they count as much as the shares they start from.
        shops: shops behind those shares; 0: the pack's judgement alone.
    """

    family: str
    causes: tuple[Share, ...]
    proven: int
    unproven: int
    unlisted: int
    weight: float
    two_causes: float | None
    words: str
    start_weight: float = PSEUDO_CASES
    shops: int = 0

    def prior(self) -> dict[str, float]:
        """Return cause id -> share, for the odds."""
        return {c.cause: c.share for c in self.causes}


@dataclass(frozen=True, slots=True)
class JobTimes:
    """How long an operation takes, or what its parts cost, against what was quoted.

    Attributes:
        cause: cause id (operation), empty for all.
        technician: empty for all.
        jobs: jobs with both figures.
        median: median of actual over quoted.
        low: lower end of the median's 90 % band; ``None`` with fewer than three jobs.
        high: upper end.
        p80: 80th percentile of actual over quoted.
    """

    cause: str
    technician: str
    jobs: int
    median: float
    low: float | None
    high: float | None
    p80: float


@dataclass(frozen=True, slots=True)
class Renewal:
    """A part that keeps turning up with a job.

    Attributes:
        part: its name as written on the work entries.
        share: share of the jobs that used it.
        jobs: jobs of this operation with parts written down.
    """

    part: str
    share: float
    jobs: int


@dataclass(frozen=True, slots=True)
class ComebackRate:
    """How often a cause's repair comes back.

    Attributes:
        cause: cause id.
        closings: proven closings that have been out long enough, and those that came back.
        comebacks: how many of them came back.
        rate: comebacks over closings, drawn to the shop's mean by one pseudo-case, or to many
            shops' rate by what that weighs.
        low: lower end of the 90 % band.
        high: upper end.
        rank: 1 for the worst; rates that cannot be told apart share a rank.
        start_weight: closings that the rate it starts from weighs.
        shops: shops behind that rate; 0: the shop's own mean.
    """

    cause: str
    closings: int
    comebacks: int
    rate: float
    low: float
    high: float
    rank: int
    start_weight: float = 1.0
    shops: int = 0


def shares(
    history: History | None,
    family: str,
    priors: Mapping[str, float],
    *,
    pseudo_cases: float = PSEUDO_CASES,
    half_life_days: float = HALF_LIFE_DAYS,
    engine_type: str | None = None,
) -> Shares:
    """Return the shares of *family*'s causes: (pseudo * prior + n) / (pseudo + N).

    Args:
        history: the shop's closings; ``None``: nothing yet.
        family: family id.
        priors: cause id -> share of the pack, in the pack's order.
        pseudo_cases: weight of the pack's shares.
        half_life_days: age at which a closing counts half [days].
        engine_type: only closings of this type count, where given.
    """
    judged = {c: p / (sum(priors.values()) or 1.0) for c, p in priors.items()}
    start, pseudo_cases, shops = _start(history, family, judged, pseudo_cases)
    mine = history.closings_of(family) if history else ()
    if history and history.settled:
        mine = tuple(c for c in mine if history.counts(f"{family}:shares", c.days_ago))
    closings = [c for c in mine if engine_type in {None, c.engine_type}]
    proven = [c for c in closings if c.proven and c.causes]
    listed = [(c, [k for k in c.causes if k in priors]) for c in proven]
    known = [(closing, causes) for closing, causes in listed if causes]
    count = dict.fromkeys(priors, 0.0)
    plain, second = Counter[str](), Counter[str]()
    for closing, causes in known:
        count[causes[0]] += faded(closing, half_life_days)
        plain[causes[0]] += 1
        second.update(set(causes[1:]))
    weight = sum(count.values())
    size = pseudo_cases + weight
    posterior = {c: (pseudo_cases * p + count[c]) / size for c, p in start.items()}
    ranks = _ranks(
        posterior,
        lambda a, b: math.sqrt(
            max(0.0, (posterior[a] + posterior[b] - (posterior[a] - posterior[b]) ** 2))
            / (size + 1.0)
        ),
    )
    found = [
        Share(
            cause,
            judged[cause],
            posterior[cause],
            size,
            plain[cause],
            second[cause],
            ranks[cause],
        )
        for cause in sorted(priors, key=lambda c: ranks[c])
    ]
    several = sum(1 for _, causes in known if len(causes) > 1)
    unproven = sum(1 for c in closings if not c.came_back) - len(proven)
    words = assumed.shop_shares(pseudo_cases, len(known), unproven, shops)
    return Shares(
        family,
        tuple(found),
        len(known),
        unproven,
        len(proven) - len(known),
        weight,
        several / len(known) if known else None,
        words,
        pseudo_cases,
        shops,
    )


def _start(
    history: History | None, family: str, judged: Mapping[str, float], pseudo_cases: float
) -> tuple[Mapping[str, float], float, int]:
    """Return (share of each cause before any own case, what it weighs [cases], shops behind it).

    Many shops' shares stand in place of the pack's where the owner took them in; a cause they do
    not know keeps the pack's.
    """
    pool = history.pool if history is not None else None
    pooled = pool.families.get(family) if pool is not None else None
    if pooled is None or not pooled.shops:
        return judged, pseudo_cases, 0
    start = {c: pooled.shares.get(c, p) for c, p in judged.items()}
    whole = sum(start.values()) or 1.0
    return {c: p / whole for c, p in start.items()}, pooled.weight, pooled.shops


def job_times(
    history: History | None,
    *,
    cause: str = "",
    technician: str = "",
    half_life_days: float = HALF_LIFE_DAYS,
) -> JobTimes | None:
    """Return the ratio of actual to quoted time, ``None`` where nothing is known.

    Args:
        history: the shop's jobs.
        cause: operation, empty for all.
        technician: empty for all.
        half_life_days: age at which a job counts half [days].
    """
    return _ratio(history, Job.time_ratio, cause, technician, half_life_days)


def job_costs(
    history: History | None,
    *,
    cause: str = "",
    technician: str = "",
    half_life_days: float = HALF_LIFE_DAYS,
) -> JobTimes | None:
    """Return the ratio of billed to quoted parts, as :func:`job_times` does for time."""
    return _ratio(history, Job.cost_ratio, cause, technician, half_life_days)


def _ratio(
    history: History | None,
    figure: Callable[[Job], float | None],
    cause: str,
    technician: str,
    half_life_days: float,
) -> JobTimes | None:
    rows = sorted(
        (ratio, faded(job, half_life_days))
        for job in (history.jobs_of(cause) if history else ())
        if (ratio := figure(job)) is not None and technician in {"", job.technician}
    )
    if not rows:
        return None
    logs = [math.log(ratio) for ratio, _ in rows]
    weights = [weight for _, weight in rows]
    low = high = None
    if len(rows) >= 3:
        first, last = median_ranks(len(rows))
        low, high = math.exp(logs[first]), math.exp(logs[last])
    return JobTimes(
        cause,
        technician,
        len(rows),
        math.exp(quantile(logs, weights, 0.5)),
        low,
        high,
        math.exp(quantile(logs, weights, 0.8)),
    )


def corrected(spread: Spread, times: JobTimes | None) -> Spread:
    """Return a pack's time as this shop needs it.

    The typical time moves by the median ratio, the high one at least to the 80th percentile;
    both are drawn to 1 while the jobs are few.
    """
    if times is None:
        return spread
    weight = times.jobs / (times.jobs + _TIME_PSEUDO)
    middle = times.median**weight
    far = max(middle, times.p80**weight)
    typical = spread.typical * middle
    return Spread(
        min(spread.low * min(1.0, middle), typical),
        typical,
        max(spread.high * middle, spread.typical * far, typical),
    )


def renewals(
    history: History | None, cause: str, *, least_jobs: int = 3, least_share: float = 0.5
) -> tuple[Renewal, ...]:
    """Return the parts that go with an operation by co-occurrence on the work entries.

    Args:
        history: the shop's jobs.
        cause: operation.
        least_jobs: fewer jobs with parts written down teach nothing.
        least_share: parts rarer than this are left out.
    """
    jobs = [job for job in (history.jobs_of(cause) if history else ()) if job.parts]
    if len(jobs) < least_jobs:
        return ()
    counts = Counter(part for job in jobs for part in {_part(p) for p in job.parts})
    spelled = {_part(p): p for job in jobs for p in job.parts}
    found = [
        Renewal(spelled[part], n / len(jobs), len(jobs))
        for part, n in counts.items()
        if n / len(jobs) >= least_share
    ]
    return tuple(sorted(found, key=lambda r: (-r.share, r.part)))


def comeback_rates(
    history: History | None, *, family: str = "", exposure_days: float = 30.0
) -> tuple[ComebackRate, ...]:
    """Return the comeback rate by cause, worst first, tied where the data cannot tell.

    Closings count that were proven and have been out for *exposure_days*, and those that came
    back; comebacks that were judged unrelated or declined work do not. A closing is booked on
    the repair that ended it.
    """
    closings = Counter[str]()
    back = Counter[str]()
    for closing in history.closings if history else ():
        out = closing.came_back or (closing.proven and closing.days_ago >= exposure_days)
        if closing.causes and out and family in {"", closing.family}:
            closings[closing.causes[-1]] += 1
    for comeback in history.comebacks if history else ():
        if comeback.kind not in {"unrelated", "declined work"} and family in {"", comeback.family}:
            back[comeback.cause] += 1
    back = Counter({c: min(back[c], closings[c]) for c in closings})
    if not closings:
        return ()
    mean = (sum(back.values()) + 0.5) / (sum(closings.values()) + 1.0)
    shared = {
        c: told
        for c, told in (history.pool.comebacks if history and history.pool else {}).items()
        if told.shops
    }
    start = {
        c: (shared[c].rate, shared[c].weight) if c in shared else (mean, 1.0) for c in closings
    }
    rate = {
        c: (back[c] + start[c][0] * start[c][1]) / (n + start[c][1]) for c, n in closings.items()
    }
    ranks = _ranks(
        rate,
        lambda a, b: math.sqrt(
            rate[a] * (1 - rate[a]) / (closings[a] + start[a][1] + 1)
            + rate[b] * (1 - rate[b]) / (closings[b] + start[b][1] + 1)
        ),
    )
    found = []
    for cause in sorted(rate, key=lambda c: (ranks[c], c)):
        size = closings[cause] + start[cause][1]
        low, high = beta_band(rate[cause] * size, (1.0 - rate[cause]) * size)
        behind = (start[cause][1], shared[cause].shops) if cause in shared else (1.0, 0)
        figures = (closings[cause], back[cause], rate[cause], low, high, ranks[cause])
        found.append(ComebackRate(cause, *figures, *behind))
    return tuple(found)


def faded(closing: Closing | Job, half_life_days: float) -> float:
    """Return what a closing or job still weighs at its age."""
    return float(0.5 ** (max(0.0, closing.days_ago) / half_life_days))


def _ranks(values: Mapping[str, float], noise: Callable[[str, str], float]) -> dict[str, int]:
    """Rank values; one that cannot be told from the first of its rank (90 %) shares the rank."""
    ranks: dict[str, int] = {}
    head, rank = "", 0
    ordered = sorted(values, key=lambda c: -values[c])
    for number, cause in enumerate(ordered):
        gap = values[head] - values[cause] if head else math.inf
        if not head or gap > _Z90 * noise(head, cause):
            head, rank = cause, number + 1
        ranks[cause] = rank
    return ranks


def _part(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").split())
