"""A coolant reading that is steadily off, or wanders off: what a recording alone can say.

A steady offset does not show in the shape of a trace. Two things of the engine know better:

- the thermostat holds the true coolant within a few degrees whatever the load, at its own rating.
  A reading that is held just as well, but where no thermostat is rated, is off by the difference
  (or the thermostat is of another rating). A thermostat that stands open does not hold: then the
  reading follows load and air, and the reading is believed;
- the other temperatures (``warm_temperatures``): the oil follows the coolant within minutes, the
  air in the manifold stands upon the air outside. A reading that wanders alone is off.

Everything else needs a second instrument: cold soak, a probe at the housing, a gauge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.an_analysis import Bench
from witnessmark.analyses.sensors.cross_words import cross_findings
from witnessmark.model.details.trace_details import HeldLevel
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Channel, Floats, Recording

__all__ = ["NEEDS", "Held", "analyse", "held"]

NEEDS = ("a recording of twenty warm minutes with coolant temperature, oil temperature and load",)
METHOD = "steadily_off/1"
#: Ratings of thermostats in use [degC]: 77 to 93 begin to open, full open 8 to 10 later.
RATED = (74.0, 104.0)
_GRID = 10.0
_LEAST_S = 600.0
_SOURCE = "ratings of 77 to 93 degC that open over 10 K: common practice, no source"


@dataclass(frozen=True, slots=True)
class Held:
    """A reading that the thermostat holds.

    Attributes:
        level: where it is held [degC].
        spread: half of the range that holds nine tenths of it [degC].
        per_load: change from no load to full load [degC].
        start_s: since when [s].
        end_s: until when [s].
    """

    level: float
    spread: float
    per_load: float
    start_s: float
    end_s: float


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return what the recordings say on a steady offset or a slow drift of the coolant reading."""
    found: list[Finding] = []
    for entry_id, recording in bench.recordings.items():
        stage = bench.stage(entry_id)
        held_off = list(_of(recording, entry_id, stage))
        named = {f.code for f in held_off}
        apart = cross_findings(bench, recording, entry_id, stage)
        found += held_off + [f for f in apart if f.code not in named]
    return tuple(found)


def held(time: Floats, values: Floats, load: Floats) -> Held | None:
    """Return the level at which a reading is held against the load; ``None`` when it is not.

    Args:
        time: shape (n,), even grid of ten seconds [s].
        values: shape (n,), reading [degC].
        load: shape (n,), engine load [%].
    """
    settled = _settled(values)
    if (values.size - settled) * _GRID < _LEAST_S:
        return None
    time, values = time[settled:], values[settled:]
    slow = _mean(load, 12)[settled:]
    if np.percentile(slow, 90) - np.percentile(slow, 10) < 20.0:
        return None  # the load did not change for long enough to move anything
    level = float(np.median(values))
    low, high = np.percentile(values, [5.0, 95.0])
    lagged = _mean(load, 6)[settled:]
    per_load = 100.0 * float(np.polyfit(lagged - lagged.mean(), values, 1)[0])
    if high - low > 6.0 or abs(per_load) > 6.0:
        return None
    return Held(level, float(high - low) / 2.0, per_load, float(time[0]), float(time[-1]))


def _of(recording: Recording, entry_id: str, stage: int) -> Iterator[Finding]:
    coolant, load = recording.channel("coolant_temperature"), recording.channel("engine_load")
    if coolant is None or load is None or recording.duration_s is None:
        return
    good = coolant.valid()
    if np.count_nonzero(good) < 60:
        return
    grid = np.arange(coolant.time_s[good][0], coolant.time_s[good][-1], _GRID)
    if grid.size * _GRID < _LEAST_S or not load.valid().any():
        return
    values, work = _on(coolant, grid), _on(load, grid)
    evidence = Evidence((entry_id,), recording.sha256, "coolant_temperature",
                        float(grid[0]), float(grid[-1]))  # fmt: skip
    still = held(grid, values, work)
    if still is not None and not RATED[0] <= still.level <= RATED[1]:
        low = still.level < RATED[0]
        off = still.level - (RATED[0] if low else RATED[1])
        caution = "" if low else " Treat it as truly hot until the probe says otherwise."
        yield Finding(
            code="coolant_temperature_steadily_off",
            sentence=f"The coolant reading is held at {_degrees(still.level)} within "
            f"{_gap(still.spread)} whatever the load, as only a thermostat does it, but at least "
            f"{_gap(abs(off))} {'below' if low else 'above'} where thermostats are rated: the "
            "reading is steadily off, or the thermostat is of another rating; one that stands "
            f"open would let it follow the load. A probe at the housing settles it.{caution}",
            outcome="seen",
            quantity="coolant_temperature",
            value=off,
            unit="degC",
            method=METHOD,
            evidence=evidence,
            source=_SOURCE,
            stage=stage,
            details=HeldLevel(difference=True, kind="offset", level=still.level),
        )


def _settled(values: Floats) -> int:
    """Return where the warm part begins: within eight degrees of what most of it reads."""
    level = float(np.median(values[values.size // 2 :]))
    off = np.flatnonzero(np.abs(values[: values.size // 2] - level) > 8.0)
    return int(off[-1]) + 1 if off.size else 0


def _on(channel: Channel, grid: Floats) -> Floats:
    """Return a channel as medians of the ten seconds after each point of the grid."""
    mask = channel.valid()
    time, values = channel.time_s[mask], channel.values[mask]
    place = np.searchsorted(time, np.append(grid, grid[-1] + _GRID))
    plain = np.interp(grid, time, values)
    return np.array(
        [
            float(np.median(values[a:b])) if b > a else float(p)
            for a, b, p in zip(place[:-1], place[1:], plain, strict=True)
        ]
    )


def _mean(values: Floats, points: int) -> Floats:
    """Return the mean over the points before each one."""
    sums = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(values.size)
    first = np.maximum(index - points + 1, 0)
    return np.asarray((sums[index + 1] - sums[first]) / (index + 1 - first))


def _degrees(value: float) -> str:
    return f"{1.8 * value + 32.0:.0f} degF ({value:.0f} degC)"


def _gap(value: float, *, signed: bool = False) -> str:
    sign = "+" if signed else ""
    return f"{1.8 * value:{sign}.0f} degF ({value:{sign}.0f} degC)"
