"""What is known of gauge and truck beside the readings: judged evidence.

A gauge somebody knows is wrong less often than one nobody looked at.

The share of "sensor or gauge reads wrong" in the pack is that of whatever showed the pressure,
mostly the truck's own sensor. Where the readings were taken with an instrument whose accuracy is
written down, and more so where its last calibration is, a plainly wrong one is rarer. It stays
possible: gauges are dropped. The factors are judgement (no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from witnessmark.inference.fuel.draws.fuel_samples import Repair
from witnessmark.inference.fuel.fuel_forecast import Band
from witnessmark.inference.fuel.fuel_groups import GAUGE, GROUPS, RETURN
from witnessmark.inference.fuel.fuel_observations import CHECK, GALLERY, VACUUM, Key, Observation
from witnessmark.inference.look_first import OneWord
from witnessmark.knowledge.readings_to_take import Measurement
from witnessmark.model.details.reading_details import SaidShort
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData, TestData
from witnessmark.model.finding import Evidence, Finding, Support
from witnessmark.model.problem import Problem
from witnessmark.physics.fuel.supply_circuit import PSI
from witnessmark.words.say import fuel as say

__all__ = [
    "gauge_factor",
    "gauge_finding",
    "of_the_truck",
    "one_word",
    "regulator_factor",
    "without_vacuum",
]

#: Factor on the odds of a wrong gauge: accuracy written down; calibration date too. Judgement.
ACCURACY_KNOWN, CALIBRATED = 0.5, 0.35
#: A reading so far above its healthy band is too high (judgement).
_TOO_HIGH = 2.0 * PSI
#: Log factor on what is not fitted.
_NOT_FITTED = -9.0
_CODE, _METHOD = "fuel_gauge_known", "fuel_gauge_known/1"


def gauge_factor(case: Case, observations: Sequence[Observation]) -> tuple[float, tuple[str, ...]]:
    """Return (factor on the odds of a wrong gauge, entries it rests on); 1.0 where not known."""
    main = {o.entry for o in observations if o.main and o.gauge_sd > 0}
    found = 1.0
    entries = []
    for entry, data in case.of(ReadingData):
        instrument = data.instrument
        if entry.id not in main or instrument is None or not instrument.id:
            continue
        if instrument.accuracy:
            found = min(found, CALIBRATED if instrument.calibrated else ACCURACY_KNOWN)
            entries.append(entry.id)
    return found, tuple(entries)


def gauge_finding(factor: float, entries: tuple[str, ...], family_id: str) -> tuple[Finding, ...]:
    """Return the finding; nothing where the gauge is not known."""
    if factor >= 1.0:
        return ()
    source = say.gauge_source()
    return (
        Finding(
            code=_CODE,
            sentence=say.gauge_known(factor <= CALIBRATED),
            outcome="seen",
            method=_METHOD,
            evidence=Evidence(entries=entries),
            source=source,
            support=(
                Support(family_id, dict.fromkeys(GROUPS[GAUGE].causes, float(np.log(factor)))),
            ),
            details=SaidShort(short=say.gauge_known_short(), assumptions=(source,)),
        ),
    )


def one_word(
    case: Case,
    observations: Sequence[Observation],
    measurements: Sequence[Measurement],
    repairs: Sequence[Repair],
    bands: Mapping[Key, Band],
) -> OneWord | None:
    """Return the checks that hold a second instrument against the only one that was read.

    ``None`` where two instruments read pressures, where one was held against the other, or where
    the instrument was renewed.

    Args:
        case: the entries.
        observations: the readings.
        measurements: what the pack can measure.
        repairs: the work done.
        bands: healthy band of the gallery by operating point [Pa].
    """
    gauges = {o.gauge for o in observations if o.gauge and o.quantity != CHECK}
    checks = [m for m in measurements if {q for q, _, _ in m.readings} == {CHECK}]
    tests = tuple(dict.fromkeys(test for m in checks for test in m.covers))
    held = any(o.quantity == CHECK for o in observations) or any(
        data.test in tests and data.result != "maybe" for _, data in case.of(TestData)
    )
    if len(gauges) != 1 or held or any(r.group == GAUGE for r in repairs):
        return None
    latest = max(o.stage for o in observations)
    tops = [(o.value, bands[o.key][1]) for o in observations if o.stage == latest
            and o.key in bands and o.quantity == GALLERY]  # fmt: skip
    high = any(top is not None and value > top + _TOO_HIGH for value, top in tops)
    return OneWord(GROUPS[GAUGE].causes[0], (*(m.id for m in checks), *tests), high)


def of_the_truck(case: Case, family_id: str) -> tuple[Finding, ...]:
    """Return what the facts of the truck rule out: a regulator that is not fitted is not it."""
    if regulator_factor(case) == 1.0:
        return ()
    return (
        Finding(
            code="fuel_truck_facts",
            sentence=say.no_regulator(),
            outcome="seen",
            method="fuel_truck_facts/1",
            source=say.truck_source(),
            support=(Support(family_id, dict.fromkeys(GROUPS[RETURN].causes, _NOT_FITTED)),),
            details=SaidShort(short=say.no_regulator_short()),
        ),
    )


def regulator_factor(case: Case) -> float:
    """Return the factor on the odds of the return regulator by the facts of the truck."""
    truck = case.truck()
    fitted = truck is None or truck.engine.fuel_regulator != "none"
    return 1.0 if fitted else float(np.exp(_NOT_FITTED))


def without_vacuum(
    case: Case, observations: Sequence[Observation]
) -> tuple[tuple[Observation, ...], tuple[Problem, ...], bool]:
    """Return (the readings, problems, whether fuel is pushed to the pump by an electric one).

    Behind an electric lift pump there is no vacuum to speak of a restriction by.
    """
    truck = case.truck()
    if truck is None or truck.engine.lift_pump != "electric":
        return tuple(observations), (), False
    left = [o for o in observations if o.quantity == VACUUM]
    problems = (Problem(o.entry, say.no_vacuum_pushed(), say.no_vacuum_pushed_do()) for o in left)
    return tuple(o for o in observations if o.quantity != VACUUM), tuple(problems), True
