"""What is measured before anything else is done: the pack's first reading, and before opening.

Common practice, no source: until a gauge has been on, a complaint of a pressure is a word, no
model has anything to go by, and there is nothing to hold the proof against.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from witnessmark.knowledge import Family
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData, RecordingData, TestData, WorkData
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.ranking.costs import step_usd
from witnessmark.words.say import steps as say

__all__ = ["first_measurement", "measure_before_opening"]

#: A measurement goes before a look that opens a part where it costs at most this much of it.
_NEARLY = 1.10


def first_measurement(
    steps: Sequence[Step],
    case: Case,
    family: Family,
    settings: Settings | None,
    read: Collection[str] = (),
) -> tuple[Step, ...]:
    """Put the pack's first measurement first while nothing at all was measured or tested.

    Args:
        steps: ranked steps.
        case: the entries.
        family: a family; one without a first measurement changes nothing.
        settings: the shop's rates.
        read: quantities besides those of its measurements that count as measured.
    """
    wanted = next((m for m in family.measurements if m.first), None)
    place = next(
        (k for k, s in enumerate(steps) if s.family == family.id and s.kind != "safety"), None
    )
    if wanted is None or place is None or _begun(case, family, read):
        return tuple(steps)
    step = _as_step(wanted, family, settings or Settings(), steps[place].expected_total_usd)
    return (*steps[:place], step, *steps[place:])


def measure_before_opening(
    steps: Sequence[Step], looks: Collection[str], ready: Collection[str]
) -> tuple[Step, ...]:
    """Put a measurement before a look that opens a part, while little else has been read.

    Opening a part lets air and dirt in and asks for a new seal; neither is in its price. So the
    cheapest measurement goes first if it costs at most a tenth more.

    Args:
        steps: ranked steps.
        looks: tests that open a part.
        ready: measurements that can be taken without waiting.
    """
    look = next((i for i, s in enumerate(steps) if s.step in looks), None)
    own = next((i for i, s in enumerate(steps) if s.step in ready), None)
    if look is None or own is None or own < look:
        return tuple(steps)
    if steps[own].expected_total_usd > _NEARLY * steps[look].expected_total_usd:
        return tuple(steps)
    left = [s for i, s in enumerate(steps) if i != own]
    first = replace(steps[own], why=f"{steps[own].why} {say.opens_nothing()}")
    return (*left[:look], first, *left[look:])


def _begun(case: Case, family: Family, read: Collection[str]) -> bool:
    tests = {t.id for t in family.tests}
    quantities = {w.quantity for m in family.measurements for w in m.wanted} | set(read)
    return any(
        isinstance(e.data, WorkData | RecordingData)
        or (isinstance(e.data, ReadingData) and e.data.quantity in quantities)
        or (isinstance(e.data, TestData) and e.data.test in tests)
        for e in case.live()
    )


def _as_step(wanted: Measurement, family: Family, settings: Settings, before_usd: float) -> Step:
    usd = Spread(wanted.usd, wanted.usd, wanted.usd)
    return Step(
        step=wanted.id,
        kind="measure",
        family=family.id,
        name=wanted.name,
        minutes=wanted.minutes,
        usd=usd,
        expected_total_usd=before_usd + step_usd(wanted.minutes, usd, wanted.needs, settings),
        why=say.first_measurement(),
        access=wanted.access,
        needs=wanted.needs,
        cautions=(family.safety, *wanted.caution),
        results=(Result("read", 1.0, ()),),
    )
