"""The shop's own history as the thinking rooms see it: closed cases, times, parts, comebacks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from witnessmark.model.pool import Pool

__all__ = ["Closing", "Comeback", "History", "Job"]

#: A job that took more than so many times what was quoted, or less than so small a part of it,
#: was written down wrongly (judgement).
_WORST_RATIO = 100.0


@dataclass(frozen=True, slots=True)
class Closing:
    """One complaint that was closed.

    Attributes:
        case: case id.
        family: family id.
        causes: the causes that were proven, in the order of the work; empty when none was.
        proven: the cure was shown by the same measurement before and after. Closings that are
            not proven are counted and shown, never learnt from.
        days_ago: age [days] at the time of asking.
        engine_type: the shop's own type name, empty where not known.
        results: (test id, result id) of the tests made before the proven repair.
        came_back: the complaint was gone, and came back; nothing was proven then, whatever was
            proven later.
    """

    case: str
    family: str
    causes: tuple[str, ...]
    proven: bool
    days_ago: float
    engine_type: str = ""
    results: tuple[tuple[str, str], ...] = ()
    came_back: bool = False


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of work as it went.

    Attributes:
        case: case id.
        cause: cause id whose repair it was (the operation).
        technician: who did it, empty where not written down.
        minutes: actual hands-on time, ``None`` where not written down.
        quoted_minutes: as estimated, ``None`` where there was no estimate.
        usd: parts as billed, ``None`` where not written down.
        quoted_usd: parts as estimated.
        parts: names of the parts and seals that were used.
        days_ago: age [days] at the time of asking.
    """

    case: str
    cause: str
    technician: str = ""
    minutes: float | None = None
    quoted_minutes: float | None = None
    usd: float | None = None
    quoted_usd: float | None = None
    parts: tuple[str, ...] = ()
    days_ago: float = 0.0

    def time_ratio(self) -> float | None:
        """Return actual over quoted time, ``None`` where either is missing or a slip."""
        return _sane(self.minutes, self.quoted_minutes)

    def cost_ratio(self) -> float | None:
        """Return billed over quoted parts, ``None`` where either is missing or a slip."""
        return _sane(self.usd, self.quoted_usd)


def _sane(actual: float | None, quoted: float | None) -> float | None:
    """Return a ratio; a slip of the pen in one case must teach the others nothing."""
    if not actual or not quoted:
        return None
    ratio = actual / quoted
    return ratio if 1 / _WORST_RATIO <= ratio <= _WORST_RATIO else None


@dataclass(frozen=True, slots=True)
class Comeback:
    """A complaint that came back after it was closed.

    Attributes:
        case: case id.
        family: family id.
        cause: the cause that had been called proven.
        after_days: days between closing and return.
        kind: same cause, our work, new fault, not found; empty where nobody has judged it yet.
        days_ago: age [days] at the time of asking.
    """

    case: str
    family: str
    cause: str
    after_days: float
    kind: str = ""
    days_ago: float = 0.0


@dataclass(frozen=True)
class History:
    """Everything the shop has learnt, as plain records; the casebook fills it.

    Attributes:
        closings: closed complaints.
        jobs: work with its times and parts.
        comebacks: what came back.
        pool: what many shops know together, where the owner took it in.
        settled: figures that a person has accepted into the pack -> days ago; what was closed
            before that day stands in the pack and is not counted beside it. Keys are
            ``FAMILY:shares``, ``FAMILY:TEST:CAUSE`` and ``FAMILY:CAUSE:minutes``.
    """

    closings: tuple[Closing, ...] = ()
    jobs: tuple[Job, ...] = ()
    comebacks: tuple[Comeback, ...] = ()
    pool: Pool | None = None
    settled: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def _by_family(self) -> dict[str, tuple[Closing, ...]]:
        found: dict[str, list[Closing]] = {}
        for closing in self.closings:
            found.setdefault(closing.family, []).append(closing)
        return {family: tuple(rows) for family, rows in found.items()}

    @cached_property
    def _by_cause(self) -> dict[str, tuple[Job, ...]]:
        found: dict[str, list[Job]] = {}
        for job in self.jobs:
            found.setdefault(job.cause, []).append(job)
        return {cause: tuple(rows) for cause, rows in found.items()}

    def closings_of(self, family: str) -> tuple[Closing, ...]:
        """Return the closings of one family, in their order."""
        return self._by_family.get(family, ())

    def jobs_of(self, cause: str) -> tuple[Job, ...]:
        """Return the jobs of one cause, or of all where none is named, in their order."""
        return self._by_cause.get(cause, ()) if cause else self.jobs

    def counts(self, what: str, days_ago: float) -> bool:
        """Say whether a closing or job of that age counts for a figure, or stands in the pack."""
        return days_ago < self.settled.get(what, math.inf)

    def causes_done(self) -> frozenset[str]:
        """Return the causes whose repair was ever done."""
        return frozenset(self._by_cause)
