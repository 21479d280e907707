"""Low fuel pressure is measured before anything else is done about it.

Common practice, no source: until a gauge has been on, the complaint is a word, the model of the
circuit has nothing to go by, and there is nothing to hold the proof against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from witnessmark.inference.fuel.fuel_groups import FAMILY
from witnessmark.knowledge import Family
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData, RecordingData, TestData, WorkData
from witnessmark.model.odds import Odds
from witnessmark.model.settings import Settings
from witnessmark.model.step import Result, Spread, Step
from witnessmark.planner.ranking.costs import step_usd

__all__ = ["gauge_first", "look_before_kit"]

_WHY = (
    "Nothing has been measured yet: prove with a gauge that the pressure is low. The same readings "
    "are what the cure is proven by."
)
#: Below this the valve's repair waits for the look at the valve, through the same plug.
_SURE = 0.90
_KIT = "It is looked at through the plug that the repair opens anyway, before a kit is bought."


def gauge_first(
    steps: Sequence[Step], case: Case, family: Family, settings: Settings | None
) -> tuple[Step, ...]:
    """Put the gallery pressure first while nothing at all was measured or tested.

    Args:
        steps: ranked steps.
        case: the entries.
        family: the fuel family.
        settings: the shop's rates.
    """
    tests = {t.id for t in family.tests}
    begun = any(
        isinstance(e.data, WorkData | RecordingData)
        or (isinstance(e.data, ReadingData) and e.data.quantity.startswith(("fuel_", "gauge_")))
        or (isinstance(e.data, TestData) and e.data.test in tests)
        for e in case.live()
    )
    place = next(
        (k for k, s in enumerate(steps) if s.family == FAMILY and s.kind != "safety"), None
    )
    wanted = next((m for m in family.measurements if m.first), None)
    if begun or place is None or wanted is None:
        return tuple(steps)
    usd = Spread(wanted.usd, wanted.usd, wanted.usd)
    own = step_usd(wanted.minutes, usd, wanted.needs, settings or Settings())
    step = Step(
        step=wanted.id,
        kind="measure",
        family=FAMILY,
        name=wanted.name,
        minutes=wanted.minutes,
        usd=usd,
        expected_total_usd=steps[place].expected_total_usd + own,
        why=_WHY,
        access=wanted.access,
        needs=wanted.needs,
        cautions=(family.safety, *wanted.caution),
        results=(Result("read", 1.0, ()),),
    )
    return (*steps[:place], step, *steps[place:])


def look_before_kit(steps: Sequence[Step], odds: Sequence[Odds]) -> tuple[Step, ...]:
    """Put the look at the relief valve before its repair while the valve is not sure."""
    mine = next((o for o in odds if o.family == FAMILY), None)
    look = next((k for k, s in enumerate(steps) if s.step == "f_relief"), None)
    kit = next(
        (k for k, s in enumerate(steps) if (s.kind, s.step) == ("repair", "pump_relief")), None
    )
    if mine is None or look is None or kit is None or look < kit:
        return tuple(steps)
    if mine.probability("pump_relief") >= _SURE:
        return tuple(steps)
    first = replace(steps[look], why=f"{steps[look].why} {_KIT}")
    left = [s for k, s in enumerate(steps) if k != look]
    return (*left[:kit], first, *left[kit:])
