"""The shop's own history as the thinking rooms see it: closed cases, times, parts, comebacks."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Closing", "Comeback", "History", "Job"]


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


@dataclass(frozen=True, slots=True)
class History:
    """Everything the shop has learnt, as plain records; the casebook fills it.

    Attributes:
        closings: closed complaints.
        jobs: work with its times and parts.
        comebacks: what came back.
    """

    closings: tuple[Closing, ...] = ()
    jobs: tuple[Job, ...] = ()
    comebacks: tuple[Comeback, ...] = ()
