"""What is asked when a fuel reading is entered that no running engine shows as it is written.

A figure that was taken counts, so one that hardly can be is not taken before somebody has said
what the gauge showed: the unit that was perhaps meant, or "about" with the figure where the pointer
really stood there.
"""

from __future__ import annotations

from collections.abc import Collection

from witnessmark.inference.fuel.draws.fuel_types import table_for
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    INHG,
    QUANTITIES_READ,
    VACUUM,
)
from witnessmark.inference.fuel.fuel_readings import collect, impossible
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.problem import Problem
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI
from witnessmark.words.say import fuel as say

__all__ = ["fuel_question"]

#: Readings inside these are never asked about (generous; the circuit decides beyond them).
_USUAL = {VACUUM: (0.0, 20.0 * INHG), FLOW: (25.0 * L_PER_H, 300.0 * L_PER_H)}
_USUAL_PRESSURE = (25.0 * PSI, 105.0 * PSI)


def fuel_question(case: Case, fresh: Collection[str]) -> Problem | None:
    """Return what has to be settled before a reading is taken, ``None`` where nothing has.

    Args:
        case: the entries, the new ones among them.
        fresh: ids of the entries that are new.
    """
    asked = [
        data
        for entry, data in case.of(ReadingData)
        if entry.id in fresh and data.quantity in QUANTITIES_READ and data.quantity != CHECK
    ]
    if all(_usual(data) for data in asked):
        return None
    collected = collect(case)
    _, bad = impossible(collected.observations, table_for(None))
    found = next((p for p in (*bad, *collected.problems) if p.where in fresh), None)
    if found is None or "rpm" in found.do or "engine speed" in found.do:
        return None
    written = next(d.value for e, d in case.of(ReadingData) if e.id == found.where)
    return Problem("value", say.not_taken(found.what), say.settle_at_entry(found.do, written))


def _usual(data: ReadingData) -> bool:
    read = data.as_read()
    low, high = _USUAL.get(data.quantity, _USUAL_PRESSURE)
    return read.half > 0.0 or low <= read.middle <= high
