"""What a shop's own cases have taught, in one view: shares, times, costs, seals, comebacks."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from witnessmark.errors import NotFound
from witnessmark.inference.comebacks_by_person import PersonComebacks, comebacks_by_person
from witnessmark.inference.family.learnt_tests import learnt_rows, pooled_rows
from witnessmark.inference.shop_history import (
    ComebackRate,
    JobTimes,
    Renewal,
    Shares,
    comeback_rates,
    job_costs,
    job_times,
    renewals,
    shares,
)
from witnessmark.model.entries.case import Case
from witnessmark.model.pool import PooledTime
from witnessmark.model.shop_record import History
from witnessmark.planner.own_way import Score
from witnessmark.workflow.case.packs_of_shop import Knowledge, knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.shop.own_ways import score_overrides

__all__ = ["Experience", "JobRow", "MovedTest", "experience_json", "experience_of", "family_shares"]


@dataclass(frozen=True, slots=True)
class JobRow:
    """One kind of job, done by one technician or by all.

    Attributes:
        cause: cause whose repair it is; empty: all jobs.
        technician: empty: everybody.
        done: how often it was done.
        minutes: mean hands-on time, ``None`` where none was written down.
        times: actual over quoted time, ``None`` without both figures.
        costs: billed over quoted parts, ``None`` without both figures.
        renewals: parts that keep turning up with it.
        pooled: time of many shops that the own jobs start from; ``None`` where none is known.
    """

    cause: str
    technician: str
    done: int
    minutes: float | None
    times: JobTimes | None
    costs: JobTimes | None
    renewals: tuple[Renewal, ...] = ()
    pooled: PooledTime | None = None


@dataclass(frozen=True, slots=True)
class MovedTest:
    """A test whose table many shops' results have moved.

    Attributes:
        family: family id.
        test: test id.
        rows: how many causes' rows were moved.
        weight: own results that a row weighs, at least.
        shops: shops behind it.
        own: the shop's own results of it, after proven closings.
    """

    family: str
    test: str
    rows: int
    weight: float
    shops: int
    own: float


@dataclass(frozen=True, slots=True)
class Experience:
    """Everything the shop's cases have taught.

    Attributes:
        families: families with at least one closing, most closings first.
        jobs: kinds of job, most frequent first; under each the technicians who did it.
        comebacks: by cause, worst first, tied where the data cannot tell.
        overrides: the score of the tool and of the technician.
        tests: tables of tests that many shops' results have moved, by family.
        people: comebacks by who did the work, by name; nobody is ranked.
    """

    families: tuple[Shares, ...]
    jobs: tuple[JobRow, ...]
    comebacks: tuple[ComebackRate, ...]
    overrides: Score
    tests: tuple[MovedTest, ...] = ()
    people: tuple[PersonComebacks, ...] = ()


def experience_of(shop: Shop) -> Experience:
    """Return what the shop's cases have taught so far."""
    history, _ = learnt(shop, Case("", ()))
    knowledge = knowledge_of(shop)
    families = [_shares(history, knowledge, name) for name in knowledge.families]
    told = [f for f in families if f.proven + f.unproven + f.unlisted]
    return Experience(
        tuple(sorted(told, key=lambda f: -(f.proven + f.unproven + f.unlisted))),
        _jobs(history),
        comeback_rates(history),
        score_overrides(shop, history),
        _moved_tests(history, knowledge),
        comebacks_by_person(history),
    )


def family_shares(shop: Shop, family: str) -> Shares:
    """Return the shares of one family's causes: the pack's and the shop's proven closings.

    Raises:
        NotFound: no such family.
    """
    knowledge = knowledge_of(shop)
    if family not in knowledge.families:
        raise NotFound("There is no such family of complaints.")
    return _shares(learnt(shop, Case("", ()))[0], knowledge, family)


def experience_json(found: Experience) -> dict[str, Any]:
    """Return the view as JSON."""
    return {
        "families": [
            {
                "family": f.family,
                "proven": f.proven,
                "unproven_left_out": f.unproven,
                "unlisted_left_out": f.unlisted,
                "two_causes": f.two_causes,
                "words": f.words,
                "causes": [asdict(c) for c in f.causes],
            }
            for f in found.families
        ],
        "jobs": [asdict(j) for j in found.jobs],
        "comebacks": [asdict(c) for c in found.comebacks],
        "comebacks_by_person": [{**asdict(p), "told": p.told} for p in found.people],
        "pooled_tests": [asdict(t) for t in found.tests],
        "overrides": {
            "tool": found.overrides.tool,
            "technician": found.overrides.technician,
            "level": found.overrides.level,
            "open": found.overrides.open,
        },
    }


def _shares(history: History, knowledge: Knowledge, family: str) -> Shares:
    priors = {c.id: c.prior for c in knowledge.families[family].causes}
    return shares(history, family, priors)


def _moved_tests(history: History, knowledge: Knowledge) -> tuple[MovedTest, ...]:
    found = []
    for name in history.pool.tests if history.pool is not None else ():
        family = knowledge.families.get(name)
        if family is None or history.pool is None:
            continue
        own = learnt_rows(history, family)
        for test, (rows, weight) in pooled_rows(history, family).items():
            mine = float(sum(row.sum() for row in own.get(test, {}).values()))
            shops = history.pool.tests[name][test].shops
            found.append(MovedTest(name, test, len(rows), weight, shops, mine))
    return tuple(found)


def _jobs(history: History) -> tuple[JobRow, ...]:
    kinds: dict[str, set[str]] = {}
    for job in history.jobs:
        kinds.setdefault(job.cause, set()).add(job.technician)
    rows: list[JobRow] = []
    by_count = sorted(kinds, key=lambda c: (-len(history.jobs_of(c)), c))
    for cause in by_count:
        rows.append(_job_row(history, cause, ""))
        named = sorted(kinds[cause] - {""})
        if len(named) > 1:
            rows += [_job_row(history, cause, technician) for technician in named]
    return tuple(rows)


def _job_row(history: History, cause: str, technician: str) -> JobRow:
    jobs = [j for j in history.jobs_of(cause) if not technician or j.technician == technician]
    minutes = [j.minutes for j in jobs if j.minutes is not None]
    return JobRow(
        cause,
        technician,
        len(jobs),
        sum(minutes) / len(minutes) if minutes else None,
        job_times(history, cause=cause, technician=technician),
        job_costs(history, cause=cause, technician=technician),
        () if technician else renewals(history, cause),
        history.pool.minutes.get(cause) if history.pool is not None and not technician else None,
    )
