"""A gauge somebody knows is wrong less often than one nobody looked at: judged evidence.

The share of "sensor or gauge reads wrong" in the pack is that of whatever showed the pressure,
mostly the truck's own sensor. Where the readings were taken with an instrument whose accuracy is
written down, and more so where its last calibration is, a plainly wrong one is rarer. It stays
possible: gauges are dropped. The factors are judgement (no source).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from witnessmark.inference.fuel.fuel_groups import GAUGE, GROUPS
from witnessmark.inference.fuel.fuel_observations import Observation
from witnessmark.model.details.reading_details import SaidShort
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.finding import Evidence, Finding, Support
from witnessmark.words.say import fuel as say

__all__ = ["gauge_factor", "gauge_finding"]

#: Factor on the odds of a wrong gauge: accuracy written down; calibration date too. Judgement.
ACCURACY_KNOWN, CALIBRATED = 0.5, 0.35
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
