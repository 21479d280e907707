"""The pack's first measurement: what proves the complaint while nothing was measured.

Common practice, no source: until a gauge has been on, a complaint of a pressure is a word, no
model has anything to go by, and there is nothing to hold the proof against.
"""

from __future__ import annotations

from collections.abc import Collection

from witnessmark.knowledge import Family
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData, RecordingData, TestData, WorkData
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.ranking.costs import step_usd
from witnessmark.words.say import steps as say

__all__ = ["first_reading", "first_reading_step"]


def first_reading(case: Case, family: Family, read: Collection[str] = ()) -> Measurement | None:
    """Return the pack's first measurement while nothing at all was measured or tested.

    A look that needs no tool measures nothing, nor does a check that only lifts a stop; a
    second instrument held against the first is no reading of the machine.

    Args:
        case: the entries.
        family: a family.
        read: quantities besides those of its measurements that count as measured.
    """
    first = next((m for m in family.measurements if m.first), None)
    if first is None:
        return None
    lifting = {check for stop in family.stops for check in stop.checks}
    tests = {t.id for t in family.tests if not t.free_look} - lifting
    compared = {w.quantity for m in family.measurements for w in m.wanted if m.when_unexplained}
    compared -= {w.quantity for w in first.wanted}
    quantities = (
        {w.quantity for m in family.measurements for w in m.wanted} | set(read)
    ) - compared
    begun = any(
        isinstance(e.data, WorkData | RecordingData)
        or (isinstance(e.data, ReadingData) and e.data.quantity in quantities)
        or (isinstance(e.data, TestData) and e.data.test in tests)
        for e in case.live()
    )
    return None if begun else first


def first_reading_step(
    wanted: Measurement, family: Family, settings: Settings, before_usd: float
) -> Step:
    """Return it as a step; at worst it costs its own price on top of what it precedes."""
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
