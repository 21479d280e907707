"""One currency: hands-on time, parts, road tests and waiting, all in dollars."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace

from witnessmark.inference.shop_history import JobTimes, corrected, job_costs, job_times
from witnessmark.knowledge import Cause, Family, Test
from witnessmark.model.candidate import Candidate
from witnessmark.model.settings import Settings
from witnessmark.model.shop_record import History
from witnessmark.model.step import Spread
from witnessmark.words.say import steps as say

__all__ = [
    "mean",
    "needs_road",
    "price_of_test",
    "remeasure_minutes",
    "repair_usd",
    "seal_usd",
    "shared_minutes",
    "shop_minutes",
    "shop_parts",
    "start_minutes",
    "step_usd",
    "whose_figures",
    "work_of_test",
]

#: Mean price of one seal that goes with a repair, where its pack names none [USD] (judgement).
SEAL_USD = 10.0

#: Of the time of a test or repair, at most this share is disassembly that another has done
#: (judgement): the look or the part itself is never free.
SHARED_AT_MOST = 0.9

_ROAD = re.compile(r"\b(pull|road|hill|grade|cruise|mph|mi|miles?|drive[ns]?|coast|P7|P8)\b", re.I)


def mean(spread: Spread) -> float:
    """Return the mean of a low / typical / high figure, (low + 4 typical + high) / 6."""
    return (spread.low + 4.0 * spread.typical + spread.high) / 6.0


def needs_road(family: Family) -> bool:
    """Say whether the family's proof needs the road, from its points and its proof."""
    text = " ".join((family.proof, *family.operating_points))
    return bool(_ROAD.search(text))


def remeasure_minutes(family: Family, settings: Settings) -> float:
    """Return the hands-on time of measuring the same points again after a repair [min]."""
    return settings.remeasure_minutes + (settings.road_test_minutes if needs_road(family) else 0.0)


def step_usd(
    minutes: Spread, usd: Spread, needs: Iterable[str], settings: Settings, *, warm: bool = False
) -> float:
    """Return what a test or a measurement costs [USD].

    The driving is part of the stated minutes; arranging a load, a helper and the waiting for a
    warm or a cold engine are not.
    """
    wants = set(needs)
    time = mean(minutes)
    if "load" in wants:
        time += settings.load_minutes
    total = time / 60.0 * settings.labour_usd_per_hour + mean(usd)
    if "warm" in wants and not warm:
        total += settings.warm_up_minutes / 60.0 * settings.waiting_usd_per_hour
    if "cold" in wants:
        total += settings.cool_down_minutes / 60.0 * settings.waiting_usd_per_hour
    if "second person" in wants:
        total += time / 60.0 * settings.second_person_usd_per_hour
    return total


def price_of_test(test: Test | Candidate, settings: Settings, *, warm: bool = False) -> float:
    """Return what a test of the pack, or a candidate measurement, costs [USD]."""
    return step_usd(test.minutes, test.usd, test.needs, settings, warm=warm)


def shop_minutes(cause: Cause, history: History | None, technician: str = "") -> Spread:
    """Return the time of a repair as this shop needs it, and as this technician does.

    The shop's jobs move the pack's figure, the technician's own jobs move the shop's; both are
    drawn to what they move while they are few. What a job took is held against the pack's figure,
    not against what was quoted: a quote that has learnt already must not be corrected again.

    Args:
        cause: whose part is renewed.
        history: the shop's jobs.
        technician: who does it, empty where not known.
    """
    return _as_done(start_minutes(cause, history), _times(cause, history), technician, job_times)


def start_minutes(cause: Cause, history: History | None) -> Spread:
    """Return the time of a repair before any own job: many shops' where they are known, the pack's.

    Args:
        cause: whose part is renewed.
        history: with the pool, where the owner took one in.
    """
    told = history.pool.minutes.get(cause.id) if history is not None and history.pool else None
    if told is None or not told.shops:
        return cause.minutes
    moved = told.typical / cause.minutes.typical if cause.minutes.typical > 0 else 1.0
    return Spread(
        min(cause.minutes.low * min(1.0, moved), told.typical),
        told.typical,
        max(cause.minutes.high * moved, told.p80),
    )


def shop_parts(
    cause: Cause, history: History | None, technician: str = "", *, markup_percent: float = 0.0
) -> Spread:
    """Return what the parts of a repair cost as this shop bills them [USD], without the seals.

    As :func:`shop_minutes`; seals are on the bills too, so the bills are held against the pack's
    parts and seals together.

    Args:
        cause: whose part is renewed.
        history: the shop's jobs.
        technician: who does it, empty where not known.
        markup_percent: what the bills hold on top of the prices that the packs mean.
    """
    jobs = _costs(cause, history, markup_percent)
    return _as_done(cause.parts_usd, jobs, technician, job_costs)


def whose_figures(cause: Cause, history: History | None, technician: str = "") -> str:
    """Say where the time and the parts of a repair come from, in one sentence without a stop."""
    times, costs = _times(cause, history), _costs(cause, history, 0.0)
    told = []
    for what, of, ratio in (("time", times, job_times), ("parts", costs, job_costs)):
        shop = ratio(of)
        if shop is None:
            continue
        own = ratio(of, technician=technician) if technician else None
        mine = own.jobs if own is not None else 0
        told.append(say.shop_figures(what, shop.jobs, technician, mine, shop.median))
    pool = history.pool.minutes.get(cause.id) if history is not None and history.pool else None
    if pool is not None and pool.shops:
        told.append(say.pooled_time(pool.shops, pool.weight))
    return say.drawn_to_pack(told) if told else say.pack_figures()


def _times(cause: Cause, history: History | None) -> History:
    """Return the jobs of a repair, their time to be held against the pack's."""
    usual = start_minutes(cause, history).typical
    jobs = history.jobs_of(cause.id) if history is not None and usual > 0 else ()
    ages = (
        [d for w, d in history.settled.items() if w.endswith(f":{cause.id}:minutes")]
        if history
        else []
    )
    done = (j for j in jobs if j.minutes and all(j.days_ago < d for d in ages))
    return History(jobs=tuple(replace(j, quoted_minutes=usual) for j in done))


def _costs(cause: Cause, history: History | None, markup_percent: float) -> History:
    """Return the jobs of a repair, their bill to be held against the pack's parts and seals."""
    usual = (cause.parts_usd.typical + seal_usd(cause)) * (1.0 + markup_percent / 100.0)
    priced = history is not None and cause.parts_usd.typical > 0
    jobs = history.jobs_of(cause.id) if history is not None and priced else ()
    done = (j for j in jobs if j.usd)
    return History(jobs=tuple(replace(j, quoted_usd=usual) for j in done))


def _as_done(
    pack: Spread, jobs: History, technician: str, ratio: Callable[..., JobTimes | None]
) -> Spread:
    shop = corrected(pack, ratio(jobs))
    own = ratio(jobs, technician=technician) if technician else None
    if own is None:
        return shop
    usual = shop.typical / pack.typical
    return corrected(shop, replace(own, median=own.median / usual, p80=own.p80 / usual))


def shared_minutes(opening: Spread, one: Spread, other: Spread | None = None) -> float:
    """Return the time that is saved where two pieces of work share their disassembly [min].

    What the first has opened cannot have taken longer than the first itself, and the second
    cannot save more than most of its own time.

    Args:
        opening: time of the disassembly.
        one: time of one of them.
        other: time of the other; not given where it is the whole disassembly that lies open.
    """
    times = [one] if other is None else [one, other]
    return min(mean(opening), SHARED_AT_MOST * min(mean(t) for t in times))


def seal_usd(cause: Cause) -> float:
    """Return what goes with a repair costs [USD]: by its pack's prices, judgement where none."""
    priced = cause.renew_usd
    return sum(mean(priced[p][0]) if p in priced else SEAL_USD for p in cause.renew_with)


def repair_usd(
    cause: Cause,
    family: Family,
    settings: Settings,
    minutes: Spread,
    parts_usd: Spread | None = None,
    *,
    wait_usd: float | None = None,
) -> float:
    """Return what a repair costs with its seals, the wait for parts and the re-measurement [USD].

    Args:
        cause: whose part is renewed.
        family: the complaint it is measured against afterwards.
        settings: the shop's rates.
        minutes: its time, as this shop needs it.
        parts_usd: its parts, as this shop bills them; the pack's when not given.
        wait_usd: what waiting for its part costs; what is usual when not given.
    """
    parts = mean(cause.parts_usd if parts_usd is None else parts_usd)
    time = mean(minutes) + remeasure_minutes(family, settings)
    total = time / 60.0 * settings.labour_usd_per_hour + parts + seal_usd(cause)
    if wait_usd is not None:
        total += wait_usd
    elif parts > 0:
        total += settings.parts_wait_minutes / 60.0 * settings.waiting_usd_per_hour
    return total


def work_of_test(test: Test | Candidate) -> tuple[str, ...]:
    """Return what making a test or a measurement takes besides its needs."""
    if isinstance(test, Candidate):
        return ("open",) if test.invasive or test.must_renew else ()
    return tuple(d for d in test.demands if d not in test.needs)
